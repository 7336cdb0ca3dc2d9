"""A line's box on a photo → small level pictures of it under several lightings, dark signs on a light ground."""

from __future__ import annotations

import math
from collections.abc import Callable

import cv2
import numpy as np

from .locate import LineBox

HEIGHT_PX = 60
"""Height of a level cut, of which the letters take about half."""
BORDER_PX = 10
_WIDEST_PX = 1400


def cut_level(pixels: np.ndarray, line: LineBox, height_px: int = HEIGHT_PX) -> np.ndarray:
    """The line turned level and scaled to ``height_px``, with a margin of what stands around it; RGB."""
    scale = min(height_px / line.height, _WIDEST_PX / line.length)
    width = math.ceil(line.length * scale) + 2 * BORDER_PX
    height = math.ceil(line.height * scale) + 2 * BORDER_PX
    reach = math.ceil(math.hypot(line.length, line.height) / 2 + 2 * BORDER_PX / scale)
    left, top = max(0, int(line.x) - reach), max(0, int(line.y) - reach)
    source = pixels[top : int(line.y) + reach, left : int(line.x) + reach]
    x, y = line.x - left, line.y - top
    if scale < 0.5:
        shrink = 2 * scale
        source = cv2.resize(source, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
        x, y, scale = x * shrink, y * shrink, 0.5
    turn = math.radians(line.angle)
    cos, sin = scale * math.cos(turn), scale * math.sin(turn)
    matrix = np.array(
        [
            [cos, sin, width / 2 - cos * x - sin * y],
            [-sin, cos, height / 2 + sin * x - cos * y],
        ]
    )
    return cv2.warpAffine(source, matrix, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)


def upside_down(cut: np.ndarray) -> np.ndarray:
    """The same cut turned by half a turn."""
    return np.ascontiguousarray(cut[::-1, ::-1])


def find_contrast(cut: np.ndarray) -> np.ndarray:
    """RGB → the one channel in which the signs stand out most, its background taken away; zero is the ground.

    The channel is the colour direction along which the cut varies most around its own background (principal axis).
    """
    colours = cut.astype(np.float32)
    detail = colours - cv2.GaussianBlur(colours, (0, 0), cut.shape[0] * 0.35)
    flat = detail.reshape(-1, 3)
    _, axes = np.linalg.eigh(flat.T @ flat)
    axis = axes[:, -1] * (1.0 if axes[:, -1].sum() >= 0 else -1.0)
    return (detail @ axis).astype(np.float32)


def _stretched(values: np.ndarray) -> np.ndarray:
    """Any values → grey levels, all but the outermost hundredth of them spread over the whole range."""
    low, high = np.percentile(values, (1, 99))
    return np.clip((values - low) * (255.0 / max(1e-6, high - low)), 0, 255).astype(np.uint8)


def dark_signs(contrast: np.ndarray) -> np.ndarray:
    """Signs darker than their ground, as they are."""
    return _stretched(cv2.GaussianBlur(contrast, (0, 0), 1.0))


def light_signs(contrast: np.ndarray) -> np.ndarray:
    """Signs lighter than their ground, turned dark."""
    return 255 - dark_signs(contrast)


def relief(contrast: np.ndarray) -> np.ndarray:
    """Signs with a light and a dark flank, both turned dark: the strength of the deviation, whatever its sign."""
    rows = contrast.shape[0]
    power = cv2.GaussianBlur(contrast * contrast, (0, 0), max(1.2, rows * 0.03))
    return 255 - _stretched(np.sqrt(power))


def dark_dots(contrast: np.ndarray) -> np.ndarray:
    """Rows of dark dots joined to strokes: opened by a disc about as wide as the gaps."""
    return _joined(contrast)


def light_dots(contrast: np.ndarray) -> np.ndarray:
    """Rows of light dots joined to strokes and turned dark."""
    return _joined(-contrast)


def _joined(contrast: np.ndarray) -> np.ndarray:
    radius = max(2, round(contrast.shape[0] * 0.035))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1,) * 2)
    smooth = cv2.GaussianBlur(contrast, (0, 0), 1.2)
    return _stretched(cv2.GaussianBlur(cv2.morphologyEx(smooth, cv2.MORPH_OPEN, disc), (0, 0), 1.0))


LIGHTINGS: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "dark": dark_signs,
    "light": light_signs,
    "relief": relief,
    "dark_dots": dark_dots,
    "light_dots": light_dots,
}
"""Ways of showing a cut, by name; each takes what ``find_contrast`` gives."""
