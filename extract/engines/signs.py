"""The record that every reader of single lines gives: signs with confidence and place."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Sign:
    """One sign of a line: ``x`` is the middle of where it was seen, in pixels of the picture handed in.

    ``confidence`` is its share among all signs let through; ``rival`` the second best sign there, or "".
    """

    text: str
    confidence: float
    x: float
    rival: str = ""


def text_of(signs: Iterable[Sign]) -> str:
    """The signs as text."""
    return "".join(sign.text for sign in signs)
