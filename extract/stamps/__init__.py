"""Photos of stamped codes → model code, variant and tooth counts."""

from .scaled import read_photos

STAMP_READER = "3"
"""The version of this reader. Stores read photos of parts again when it changes: raise it with every change of models
or rules."""

__all__ = ["STAMP_READER", "read_photos"]
