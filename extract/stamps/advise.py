"""A photo without a legible code → how to take it again, by the defects that can be measured, the worst first.

What is measured is measured where the stamp seems to be, and over the whole picture besides. Every bound lies between
whole photos of drawn parts and the same photos darkened, blurred, blown out and made smaller; the figures of both stand
beside the bounds.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .linebox import CAPITALS_SHARE, LineBox

ONLY_TEETH = "Only tooth counts were found: if a model code is stamped elsewhere on the part, take a photo of it too."
DARK = "The photo is too dark: use more light, from the side."
GLARE = "Bright reflections cover parts of it: turn the part or the lamp so that the light comes from the side."
BLUR = (
    "The photo is blurred: hold the camera still, tap on the stamp to focus, and do not come nearer than it can focus."
)
SMALL = "The signs are too small: come nearer, so that the stamp fills at least a quarter of the picture's width."
CUT_OFF = "The stamp may be cut off by the edge of the photo: bring the whole stamp into the picture."
FLAT = "The stamp hardly stands out: wipe it clean and let the light fall flat across it from one side."
NOTHING = (
    "No model code was found: take the photo straight from the front and from near, with light from the side and the "
    "stamp in the middle."
)


@dataclass(frozen=True)
class AdviceBounds:
    """Where a defect begins. Lengths are in pixels of a picture ``side`` pixels long, brightness in grey levels.

    ``dark``: nine in ten pixels are darker (whole photos: 65 and more; a fifth of their light: 13 to 49);
    ``dark_median``: half of them are (33 and more; 6 to 37). ``glaring``: brightness of a reflection in every channel.
    ``glare_share``: its part of the picture (whole: 0 to 0.004; the stamp covered: 0.019 and more),
    ``stamp_glare_share``: its part of the stamp. ``spread``: how far edges are smeared, as the deviation of a Gaussian
    (whole: 0 to 2.2; smeared by 4: 2.9 and more), ``sign_spread``: the same as a part of the signs' height.
    ``least_side``: no photo straight from a camera is as small. ``sign_height``: in pixels of the photo itself, from
    experience. ``contrast``: range of brightness at the stamp, from experience.
    """

    side: int = 1600
    least_side: int = 640
    dark: float = 48.0
    dark_median: float = 22.0
    glaring: int = 250
    glare_share: float = 0.012
    stamp_glare_share: float = 0.25
    spread: float = 2.5
    sign_spread: float = 0.2
    sign_height: float = 9.0
    contrast: float = 12.0


BOUNDS = AdviceBounds()
_MOST = 2
_JUST_BEYOND = 1.001
"""The weight of a line at the picture's edge: whatever else is wrong is likelier to be the reason."""
_LEAST_GLARE = 0.001
_LEAST_AT_EDGE = 0.05
"""Patches of white that are a smaller part of the picture are no reflections that matter."""
_NEARLY_WHITE = 205
_ANYTHING = 3.0
"""A place with less contrast holds no stamp at all."""
_NO_EDGE = 12.0
_UNEVEN = 25.0
_LEAST_SLOPE = 0.3
_OF_STRONGEST = 0.4
"""Edges weaker than this, in grey levels per pixel, or than this part of the strongest, may be noise."""


def advise(pixels: np.ndarray, line: LineBox | None, bounds: AdviceBounds = BOUNDS) -> str:
    """RGB pixels and the likeliest line, if any → one or two sentences on how to retake the photo."""
    found = find_defects(pixels, line, bounds)
    worst = sorted(found, key=lambda words: -found[words])[:_MOST]
    return " ".join(worst) or NOTHING


def find_defects(pixels: np.ndarray, line: LineBox | None, bounds: AdviceBounds = BOUNDS) -> dict[str, float]:
    """The defects of a photo, as sentences, each with how far it is beyond its bound: above 1, more is worse."""
    shrink = min(1.0, bounds.side / max(pixels.shape[:2]))
    small: np.ndarray = cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    middle, bright = (float(v) for v in np.percentile(grey, (50, 90)))
    beyond = {
        DARK: max(bounds.dark / max(1.0, bright), bounds.dark_median / max(1.0, middle)),
        SMALL: bounds.least_side / max(pixels.shape[:2]),
        GLARE: find_glare(small, bounds.glaring) / bounds.glare_share,
        BLUR: _find_whole_spread(grey) / bounds.spread,
    }
    if line is not None:
        for words, much in _at_line(small, grey, line, shrink, bounds).items():
            beyond[words] = max(beyond.get(words, 0.0), much)
        beyond[SMALL] = max(beyond[SMALL], bounds.sign_height / max(1.0, CAPITALS_SHARE * line.height))
        if _at_edge(pixels, line):
            beyond[CUT_OFF] = _JUST_BEYOND
    defects = {words: much for words, much in beyond.items() if much > 1}
    if DARK in defects:  # what little light there is tells nothing of edges and contrast
        defects = {words: much for words, much in defects.items() if words not in (BLUR, FLAT)}
    if GLARE in defects:  # what is white all over has no contrast
        defects.pop(FLAT, None)
    return defects


def _at_line(
    small: np.ndarray, grey: np.ndarray, line: LineBox, shrink: float, bounds: AdviceBounds
) -> dict[str, float]:
    """How far glare, blur and want of contrast go at the line itself."""
    box, margin = line.upright(), line.height * shrink * 0.4
    x0, top, x1, bottom = (round(v * shrink) for v in (box.x0, box.top, box.x1, box.bottom))
    rows = slice(max(0, top - round(margin)), bottom + round(margin) + 1)
    columns = slice(max(0, x0 - round(margin)), x1 + round(margin) + 1)
    there, colours = grey[rows, columns], small[rows, columns]
    if min(there.shape) < 8:
        return {}
    signs = max(1.0, CAPITALS_SHARE * line.height * shrink)
    low, high = np.percentile(cv2.GaussianBlur(there, (0, 0), 1.0), (2, 98))
    return {
        GLARE: float((colours.min(axis=2) >= bounds.glaring).mean()) / bounds.stamp_glare_share,
        BLUR: (find_spread(there) or 0.0) / max(bounds.spread, bounds.sign_spread * signs),
        FLAT: bounds.contrast / float(high - low) if high - low > _ANYTHING else 0.0,
    }


def _find_whole_spread(grey: np.ndarray) -> float:
    """The spread over the whole picture; one whose brightness changes without any edge is smeared beyond measure."""
    found = find_spread(grey)
    if found is not None:
        return found
    low, high = np.percentile(cv2.GaussianBlur(grey, (0, 0), 3.0), (1, 99))
    return _NO_EDGE if high - low > _UNEVEN else 0.0


def find_glare(pixels: np.ndarray, glaring: int) -> float:
    """The part of the picture that reflections cover.

    White that reaches the picture's edge may be a table: it counts where it fades out softly, as light does.
    """
    white = (pixels.min(axis=2) >= glaring).astype(np.uint8)
    rows, columns = white.shape
    labels, stats = cv2.connectedComponentsWithStats(white, connectivity=8)[1:3]
    covered = 0
    for number, (x, y, width, height, area) in enumerate(stats[1:].tolist(), 1):
        if area < _LEAST_GLARE * white.size:
            continue
        inside = x > 0 and y > 0 and x + width < columns and y + height < rows
        if inside or (area > _LEAST_AT_EDGE * white.size and _fades(pixels, labels == number)):
            covered += area
    return covered / white.size


def _fades(pixels: np.ndarray, patch: np.ndarray) -> bool:
    """Whether what stands a little way outside a white patch is nearly white too."""
    near, far = (cv2.dilate(patch.astype(np.uint8), np.ones((size, size), np.uint8)) for size in (9, 17))
    ring = (far > 0) & (near == 0)
    return bool(ring.any()) and float(np.median(pixels.max(axis=2)[ring])) >= _NEARLY_WHITE


def find_spread(grey: np.ndarray, fine: float = 1.0, coarse: float = 3.0) -> float | None:
    """How far the sharpest of the strong edges are smeared: the deviation of a Gaussian, in pixels; None without any.

    An edge smeared by a deviation s and smoothed by a further t has the slope 1 / sqrt(2 pi (s² + t²)), so that the
    ratio of two such slopes tells s.
    """
    slopes = [_slope(grey, smooth) for smooth in (fine, coarse)]
    usual, strongest = np.percentile(slopes[1], (99, 99.9))
    strong = slopes[1] >= max(_LEAST_SLOPE, float(usual), _OF_STRONGEST * float(strongest))
    peaks = strong & (slopes[1] >= cv2.dilate(slopes[1], np.ones((5, 5), np.uint8)))
    if np.count_nonzero(peaks) < 5:
        return None
    sharp = cv2.dilate(slopes[0], np.ones((5, 5), np.uint8))
    ratio = np.clip(sharp[peaks] / slopes[1][peaks], 1.0005, coarse / fine)
    smeared = (coarse**2 - (fine * ratio) ** 2) / (ratio**2 - 1)
    return float(np.percentile(np.sqrt(np.maximum(smeared, 0)), 25))


def _slope(grey: np.ndarray, smooth: float) -> np.ndarray:
    """The steepest change of brightness per pixel, after smoothing."""
    even = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), smooth)
    dx, dy = (cv2.Sobel(even, cv2.CV_32F, *order, scale=0.125) for order in ((1, 0), (0, 1)))
    return np.hypot(dx, dy)


def _at_edge(pixels: np.ndarray, line: LineBox) -> bool:
    outline = line.outline()
    rows, columns = pixels.shape[:2]
    return bool((outline < 1).any() or (outline[:, 0] > columns - 2).any() or (outline[:, 1] > rows - 2).any())
