"""The parts of the product that the generator shares: the box of a line and how it is cut out of a photo.

They need NumPy and OpenCV only, so that they load also where the product itself is not installed.
"""

from __future__ import annotations

import importlib
import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

_ROOT = Path(__file__).resolve().parent.parent


def _light(name: str) -> ModuleType:
    """A module of the product; where the product is not installed, from its source without its packages' own code."""
    if "cogledger" not in sys.modules and importlib.util.find_spec("cogledger") is None:
        whole = ModuleType("cogledger")
        whole.__path__ = [str(_ROOT)]
        sys.modules["cogledger"] = whole
        for inner in ("schema", "extract", "extract.stamps"):
            package = ModuleType(f"cogledger.{inner}")
            package.__path__ = [str(_ROOT / inner.replace(".", "/"))]
            sys.modules[package.__name__] = package
    return importlib.import_module(f"cogledger.{name}")


if TYPE_CHECKING:
    from extract.stamps.grids import ALPHABET, CUT_HEIGHT_PX
    from extract.stamps.linebox import LineBox
    from extract.stamps.rectify import cut_level
else:
    LineBox = _light("extract.stamps.linebox").LineBox
    cut_level = _light("extract.stamps.rectify").cut_level
    ALPHABET = _light("extract.stamps.grids").ALPHABET
    CUT_HEIGHT_PX = _light("extract.stamps.grids").CUT_HEIGHT_PX

__all__ = ["ALPHABET", "CUT_HEIGHT_PX", "LineBox", "cut_level"]
