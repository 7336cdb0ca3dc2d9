"""The frozen records that travel between stages. All of them pickle; workers take and give nothing else."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from ..schema.claims import Box, Claim
from ..schema.errors import Fault
from ..schema.validation import HeldBack


class SourceKind(StrEnum):
    """What a file is, by its content."""

    PDF = "pdf"
    IMAGE = "image"


@dataclass(frozen=True)
class Source:
    """One file to read. ``name`` is the file name that claims carry; ``sha256`` its identity."""

    path: Path
    name: str
    sha256: str
    size: int
    kind: SourceKind


@dataclass(frozen=True)
class Word:
    """A run of letters without a blank, from a text layer or an OCR engine; ``confidence`` 1 for a text layer.

    ``size`` is the font size in points (the word's height where no font is known), ``bold`` what the font's name or
    weight says. ``raised`` marks a superscript. ``upright`` is false for words that do not run from left to right.
    """

    text: str
    box: Box
    confidence: float = 1.0
    size: float = 0.0
    bold: bool = False
    raised: bool = False
    upright: bool = True


@dataclass(frozen=True)
class Rule:
    """A drawn straight line, horizontal or vertical, in page points; a thin filled rectangle counts as one."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def horizontal(self) -> bool:
        """Whether it runs from left to right."""
        return abs(self.x1 - self.x0) >= abs(self.y1 - self.y0)


@dataclass(frozen=True)
class PageContent:
    """Words and rules of one page as it is shown (rotation applied), in points from the top left corner."""

    number: int
    width: float
    height: float
    words: tuple[Word, ...]
    rules: tuple[Rule, ...] = ()
    fills: tuple[Box, ...] = ()
    origin: str = "text"


@dataclass(frozen=True)
class Reading:
    """Everything one source gave: valid claims, held-back records, pages that failed, and how long it took."""

    source: Source
    pages: int
    claims: tuple[Claim, ...]
    held_back: tuple[HeldBack, ...] = ()
    failed_pages: tuple[Fault, ...] = ()
    seconds: float = 0.0
    reader: str = ""


@dataclass(frozen=True)
class StampCandidate:
    """One possible reading of a stamped code."""

    code: str
    variant: str | None
    confidence: float
    known: bool


@dataclass(frozen=True)
class StampReading:
    """What one photo says. ``bbox`` is in pixels after EXIF rotation; ``advice`` tells how to retake it."""

    file: str
    code: str | None
    variant: str | None
    teeth: tuple[int, ...]
    confidence: float
    candidates: tuple[StampCandidate, ...] = field(default_factory=tuple)
    bbox: Box | None = None
    advice: str | None = None
