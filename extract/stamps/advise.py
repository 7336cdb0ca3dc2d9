"""A photo without a legible code → how to take it again, by the defect that can be measured."""

from __future__ import annotations

import cv2
import numpy as np

from .linebox import LineBox

_WORKING_SIDE = 1600
_DARK_MEDIAN = 35.0
_GLARING = 250
_GLARE_SHARE = 0.05
_LEAST_SHARPNESS = 0.06
_SMALL_SHARE = 0.006

ONLY_TEETH = "Only tooth counts were found: if a model code is stamped elsewhere on the part, take a photo of it too."
DARK = "The photo is too dark: use more light, from the side."
GLARE = "Bright reflections cover parts of it: turn the part or the lamp so that the light comes from the side."
BLUR = (
    "The photo is blurred: hold the camera still, tap on the stamp to focus, and do not come nearer than it can focus."
)
SMALL = "The signs are too small: come nearer, so that the stamp fills at least a quarter of the picture's width."
CUT_OFF = "The stamp may be cut off by the edge of the photo: bring the whole stamp into the picture."
NOTHING = (
    "No model code was found: take the photo straight from the front and from near, with light from the side and the "
    "stamp in the middle."
)


def advise(pixels: np.ndarray, line: LineBox | None) -> str:
    """RGB pixels and the likeliest line, if any → one sentence on how to retake the photo.

    The thresholds are experience with few photos, without a source.
    """
    side = max(pixels.shape[:2])
    shrink = min(1.0, _WORKING_SIDE / side)
    small: np.ndarray = cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    if float(np.median(grey)) < _DARK_MEDIAN:
        return DARK
    if float((small.min(axis=2) >= _GLARING).mean()) > _GLARE_SHARE:
        return GLARE
    if find_sharpness(grey) < _LEAST_SHARPNESS:
        return BLUR
    if line is not None and line.height < _SMALL_SHARE * side:
        return SMALL
    if line is not None and _at_edge(pixels, line):
        return CUT_OFF
    return NOTHING


def find_sharpness(grey: np.ndarray) -> float:
    """How sudden brightness changes are for their size: the steepest change per pixel over the whole range (0 to 1)."""
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.0).astype(np.float32)
    dx, dy = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125)
    low, high = np.percentile(smooth, (1, 99))
    return float(np.percentile(np.hypot(dx, dy), 99.5)) / max(8.0, float(high - low))


def _at_edge(pixels: np.ndarray, line: LineBox) -> bool:
    corners = line.corners()
    rows, columns = pixels.shape[:2]
    return bool((corners < 1).any() or (corners[:, 0] > columns - 2).any() or (corners[:, 1] > rows - 2).any())
