"""A picture file → whether it shows a page of print, or a part with perhaps a stamp on it.

Print is many marks of the size of letters that stand in rows on an even ground. A part may have as many marks (knurls,
dirt, teeth, noise of a dark photo), but few of them stand in rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import cv2
import numpy as np

from .photos import read_photo

_SIDE = 2000
"""Longest side, in pixels, at which a picture is looked at."""
_INK = 0.72
_PAPER = 0.88
"""Shares of the brightness around: darker is ink, brighter is paper."""
_MOST_MARKS = 4000


class Shown(StrEnum):
    """What a picture shows."""

    PAGE = "page"
    PART = "part"
    EITHER = "either"


@dataclass(frozen=True)
class Marks:
    """What there is of letter size: ``count`` marks, ``in_rows`` of them with neighbours, and how much is paper."""

    count: int
    in_rows: int
    paper: float

    @property
    def shown(self) -> Shown:
        """The bounds lie between drawn pages, straight and as photographed, and photos of parts; see the tests."""
        if self.in_rows >= 60 and self.in_rows >= 0.45 * self.count and self.paper >= 0.6:
            return Shown.PAGE
        if self.in_rows < 16 or self.in_rows < 0.25 * self.count or self.paper < 0.5:
            return Shown.PART
        return Shown.EITHER


def find_shown(path: Path) -> Shown:
    """What the picture in a file shows. Raises ``DocumentError`` where it cannot be opened."""
    return find_marks(read_photo(path)).shown


def find_marks(pixels: np.ndarray) -> Marks:
    """RGB pixels → what stands there of letter size."""
    shrink = min(1.0, _SIDE / max(pixels.shape[:2]))
    small: np.ndarray = cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    flat = grey / np.maximum(_ground(grey), 1.0)
    stats = cv2.connectedComponentsWithStats((flat < _INK).astype(np.uint8), connectivity=8)[2][1:]
    x, y, width, height, area = (stats[:, n].astype(np.float64) for n in range(5))
    like_letter = (height >= 6) & (height <= 56) & (width >= 2) & (width <= 80) & (area >= 0.12 * width * height)
    like_letter &= area >= 8
    level = np.stack((x + width / 2, y + height / 2, height), axis=1)[like_letter][:_MOST_MARKS]
    sideways = np.stack((y + height / 2, x + width / 2, width), axis=1)[like_letter][:_MOST_MARKS]
    in_rows = max(_count_in_rows(level), _count_in_rows(sideways))
    return Marks(int(like_letter.sum()), in_rows, float((flat > _PAPER).mean()))


def _ground(grey: np.ndarray) -> np.ndarray:
    """The brightness of what marks stand on."""
    quarter = cv2.resize(cv2.medianBlur(grey, 3), None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    bright = cv2.GaussianBlur(cv2.dilate(quarter, np.ones((9, 9), np.uint8)), (0, 0), 7).astype(np.float32)
    return cv2.resize(bright, (grey.shape[1], grey.shape[0]), interpolation=cv2.INTER_LINEAR)


def _count_in_rows(places: np.ndarray) -> int:
    """Marks (x, y, height) with at least two others of like height close beside them."""
    found = 0
    for x, y, height in places:
        beside = (np.abs(places[:, 0] - x) < 2.2 * height + 8) & (np.abs(places[:, 1] - y) < 0.6 * height + 1)
        alike = (places[:, 2] > 0.4 * height) & (places[:, 2] < 2.5 * height)
        found += int((beside & alike).sum() >= 3)
    return found
