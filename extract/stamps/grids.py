"""What a reader of signs says about one cut: a grid of sign probabilities over time steps, and the readers' protocol.

A grid is read by connectionist temporal classification (Graves et al., 2006): class 0 is the blank, class ``i`` the
sign ``ALPHABET[i - 1]``. Small letters are folded to capitals; ``*`` stands for any other mark, such as an arrow or a
logo.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-./* "
BLANK = 0
CLASSES = len(ALPHABET) + 1
CUT_HEIGHT_PX = 40
LEAST_SHARE = 1e-6
"""No sign is ever ruled out further than this by one step of a grid."""


@dataclass(frozen=True, eq=False)
class SignGrid:
    """Log-probabilities of one cut, ``steps × CLASSES``, float32, each row summing to 1; steps run along the cut."""

    shares: np.ndarray

    @property
    def steps(self) -> int:
        """The number of time steps, spread evenly over the width of the cut."""
        return len(self.shares)


class SignReader(Protocol):
    """Anything that reads signs off cuts."""

    @property
    def name(self) -> str:
        """Which reader it is, in lower case without blanks."""
        ...

    def read(self, cuts: Sequence[np.ndarray]) -> list[SignGrid]:
        """Cuts (RGB, uint8, ``CUT_HEIGHT_PX`` high, any width) → one grid for each, in their order.

        Raises ``InstallationError`` where what it needs is not installed, ``DocumentError`` where it fails on a cut.
        """
        ...


def class_of(sign: str) -> int:
    """The class of one sign, small letters like capitals; signs outside the alphabet count as ``*``."""
    place = ALPHABET.find(sign.upper()) if sign else -1
    return place + 1 if place >= 0 else ALPHABET.index("*") + 1


def as_grid(shares: np.ndarray) -> SignGrid:
    """Probabilities ``steps × CLASSES`` (not necessarily summing to 1) → a grid; none is below ``LEAST_SHARE``."""
    bounded = np.maximum(np.asarray(shares, dtype=np.float32), LEAST_SHARE)
    return SignGrid(np.log(bounded / bounded.sum(axis=1, keepdims=True)).astype(np.float32))
