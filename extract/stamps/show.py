"""A reading's place on its photo → pictures for people: the stamp level, the same with contrast, the place framed."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from ...schema.claims import Box
from ..records import SignPlace
from .linebox import LineBox
from .rectify import cut_level

_AROUND_LINE = (1.9, 1.2)
"""How much more than the line is shown: its height is multiplied by the first, and the second times its height is
added to its length."""
_AROUND_BOX = 0.35
_HIGHEST_PX = 900


@dataclass(frozen=True)
class StampViews:
    """RGB pictures: ``level`` is the stamp read from left to right, ``enhanced`` the same with its contrast raised."""

    level: np.ndarray
    enhanced: np.ndarray


def show_stamp(pixels: np.ndarray, box: Box | None, place: SignPlace | None, size: tuple[int, int]) -> StampViews:
    """The stamp as it fits into ``size`` (width, height), with some of what stands around it.

    Without a place the box is cut out as it stands; without either the whole photo is shown.
    """
    cut = _level_cut(pixels, place, size) if place else _box_cut(pixels, box)
    level = fit_into(cut, size)
    return StampViews(level, raise_contrast(level))


def frame_place(pixels: np.ndarray, box: Box | None, place: SignPlace | None, size: tuple[int, int],
                colour: tuple[int, int, int]) -> np.ndarray:  # fmt: skip
    """The whole photo as it fits into ``size``, with a frame around the place that was read."""
    small = fit_into(pixels, size).copy()
    grow = small.shape[1] / pixels.shape[1]
    if place:
        wide = _line(place, 1.5, 0.6)
        outline = wide.outline()
    elif box:
        gap = 0.15 * (box.bottom - box.top) + 4 / grow
        x0, top, x1, bottom = box.x0 - gap, box.top - gap, box.x1 + gap, box.bottom + gap
        outline = np.array([(x0, top), (x1, top), (x1, bottom), (x0, bottom)])
    else:
        return small
    points = np.round(_at_least(outline * grow, 7.0)).astype(np.int32)
    cv2.polylines(small, [points], isClosed=True, color=(255, 255, 255), thickness=6, lineType=cv2.LINE_AA)
    cv2.polylines(small, [points], isClosed=True, color=colour, thickness=3, lineType=cv2.LINE_AA)
    return small


def _at_least(points: np.ndarray, reach: float) -> np.ndarray:
    """Points moved away from their middle, where the shape would be too small to be seen."""
    middle = points.mean(axis=0)
    spread = float(np.abs(points - middle).max())
    return middle + (points - middle) * max(1.0, 2 * reach / max(spread, 1e-6))


def fit_into(pixels: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """The picture scaled to fill as much of ``size`` (width, height) as its shape allows; small ones grow smoothly."""
    scale = min(size[0] / pixels.shape[1], size[1] / pixels.shape[0])
    wanted = max(1, round(pixels.shape[1] * scale)), max(1, round(pixels.shape[0] * scale))
    return cv2.resize(pixels, wanted, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC)


def raise_contrast(pixels: np.ndarray) -> np.ndarray:
    """RGB → grey shown as RGB: uneven light taken away, local contrast raised (Zuiderveld, 1994)."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2LAB)[:, :, 0].astype(np.float32)
    flat = grey - cv2.GaussianBlur(grey, (0, 0), max(2.0, 0.3 * min(grey.shape)))
    low, high = np.percentile(flat, (0.5, 99.5))
    spread = np.clip((flat - low) * (255.0 / max(4.0, float(high - low))), 0, 255).astype(np.uint8)
    tiles = max(1, round(grey.shape[1] / max(8, grey.shape[0])))
    clearer = cv2.createCLAHE(clipLimit=2.0, tileGridSize=(2 * tiles, 2)).apply(spread)
    return np.repeat(clearer[:, :, None], 3, axis=2)


def _line(place: SignPlace, higher: float, longer: float) -> LineBox:
    return LineBox(
        place.x, place.y, place.length + longer * place.height, place.height * higher, place.angle, 0.0, place.bend
    )


def _level_cut(pixels: np.ndarray, place: SignPlace, size: tuple[int, int]) -> np.ndarray:
    line = _line(place, *_AROUND_LINE)
    return cut_level(pixels, line, min(_HIGHEST_PX, max(16, round(line.height), round(size[1] / 2))))


def _box_cut(pixels: np.ndarray, box: Box | None) -> np.ndarray:
    if box is None:
        return pixels
    gap = _AROUND_BOX * max(8.0, min(box.x1 - box.x0, box.bottom - box.top))
    rows, columns = pixels.shape[:2]
    left, top = (max(0, round(v - gap)) for v in (box.x0, box.top))
    cut = pixels[min(top, rows - 1) : round(box.bottom + gap) + 1, min(left, columns - 1) : round(box.x1 + gap) + 1]
    return cut if cut.size else pixels
