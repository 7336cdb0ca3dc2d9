"""Photos of stamped codes → model code, variant and tooth counts."""

from .reader import read_photos

__all__ = ["read_photos"]
