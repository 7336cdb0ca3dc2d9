"""The frozen records that travel between stages. All of them pickle; workers take and give nothing else."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from ..schema.claims import Box, Claim
from ..schema.errors import Fault
from ..schema.limits import PartKind
from ..schema.validation import HeldBack
from .labels import LabelHit
from .subjects import Subject


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

    def __hash__(self) -> int:
        """Words at different places differ; the rest need not be looked at."""
        return hash((self.text, self.box.x0, self.box.top))


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


Affine = tuple[float, float, float, float, float, float]
"""``(a, b, c, d, e, f)``: x' = a·x + b·y + c, y' = d·x + e·y + f."""

IDENTITY: Affine = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)


@dataclass(frozen=True)
class PageContent:
    """Words and rules of one page, turned so that the text runs from left to right, in points from the top left.

    ``back`` leads from these coordinates to those of the page as it is shown (they differ where text stands sideways
    or a scan was straightened). ``origin`` is ``text`` or the name of the OCR engine.
    """

    number: int
    width: float
    height: float
    words: tuple[Word, ...]
    rules: tuple[Rule, ...] = ()
    fills: tuple[Box, ...] = ()
    origin: str = "text"
    back: Affine = IDENTITY
    trusted: bool = True
    """Whether the text layer is shown and reads as language; if not, the picture of the page has the say."""

    def shown(self, box: Box) -> Box:
        """``box`` in the coordinates of the page as it is shown."""
        a, b, c, d, e, f = self.back
        corners = [(x, y) for x in (box.x0, box.x1) for y in (box.top, box.bottom)]
        xs = [a * x + b * y + c for x, y in corners]
        ys = [d * x + e * y + f for x, y in corners]
        return Box(min(xs), min(ys), max(xs), max(ys))


@dataclass(frozen=True)
class Heading:
    """Words that stand over others and name a part."""

    text: str
    box: Box
    subject: Subject


@dataclass(frozen=True)
class Entry:
    """One place where a label meets a value, before they are understood.

    ``hits`` are the limits that the label can mean for the subject's kind, best first. ``certain`` is how sure the
    layout makes it that label, value and subject belong together; ``confidence`` the least of the words' own.
    """

    subject: Subject
    label: str
    hits: tuple[LabelHit, ...]
    value: str
    box: Box
    reader: str
    condition: tuple[tuple[str, float | str], ...] = ()
    certain: float = 1.0
    confidence: float = 1.0
    kinds: tuple[PartKind, ...] = ()
    """Kinds that the subject may have where its own is not known."""


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
    part_photo: bool = False
    """Whether it is a photo of a part and not of a page: its stamp is read by who knows the codes it may be."""
    dated: datetime | None = None
    """The date that the document itself bears, in UTC; of two documents of one maker the newer one may be gone by."""


@dataclass(frozen=True)
class StampCandidate:
    """One possible reading of a stamped code."""

    code: str
    variant: str | None
    confidence: float
    known: bool


@dataclass(frozen=True)
class SignPlace:
    """Where a line of signs stands on a photo, in its pixels after EXIF rotation.

    Middle, length along the line and height across it; ``angle`` is the direction of reading in degrees, clockwise from
    the picture's right; ``bend`` how far its ends lie further down than its middle, seen along the line.
    """

    x: float
    y: float
    length: float
    height: float
    angle: float
    bend: float = 0.0


@dataclass(frozen=True)
class StampReading:
    """What one photo says. ``bbox`` is in pixels after EXIF rotation; ``advice`` tells how to retake it.

    ``place`` is the line that the code, or else the teeth, were read from. ``teeth_confidence`` is how sure the tooth
    counts are, ``None`` where that is not known. ``files`` are the photos that took part where several show one part.
    ``reading_id`` is set where a store keeps the reading.
    """

    file: str
    code: str | None
    variant: str | None
    teeth: tuple[int, ...]
    confidence: float
    candidates: tuple[StampCandidate, ...] = field(default_factory=tuple)
    bbox: Box | None = None
    advice: str | None = None
    place: SignPlace | None = None
    teeth_confidence: float | None = None
    files: tuple[str, ...] = ()
    reading_id: str | None = None
