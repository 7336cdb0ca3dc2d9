"""A line's box on a photo → small level pictures of it under several lightings, dark signs on a light ground."""

from __future__ import annotations

import math
from collections.abc import Callable

import cv2
import numpy as np

from .linebox import LineBox

HEIGHT_PX = 60
"""Height of a level cut, of which the letters take somewhat more than half."""
_WIDEST_PX = 1600


def cut_level(pixels: np.ndarray, line: LineBox, height_px: int = HEIGHT_PX, stretch: float = 1.0) -> np.ndarray:
    """The line turned level, its bend taken out, scaled to ``height_px`` and widened by ``stretch``; RGB.

    Places outside the picture repeat its edge.
    """
    scale = height_px / line.height
    width = max(8, min(_WIDEST_PX, round(line.length * scale * stretch)))
    x, y = _places(line, width, height_px)
    left, top = max(0, math.floor(float(x.min())) - 2), max(0, math.floor(float(y.min())) - 2)
    right, bottom = math.ceil(float(x.max())) + 3, math.ceil(float(y.max())) + 3
    source = pixels[min(top, pixels.shape[0] - 1) : bottom, min(left, pixels.shape[1] - 1) : right]
    left, top = min(left, pixels.shape[1] - 1), min(top, pixels.shape[0] - 1)
    if scale < 0.5:
        shrink = 2 * scale
        small = cv2.resize(source, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
        grow_x, grow_y = small.shape[1] / source.shape[1], small.shape[0] / source.shape[0]
        source = small
    else:
        grow_x = grow_y = 1.0
    return cv2.remap(
        source,
        ((x - left + 0.5) * grow_x - 0.5).astype(np.float32),
        ((y - top + 0.5) * grow_y - 0.5).astype(np.float32),
        cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )


def _places(line: LineBox, width: int, height_px: int) -> tuple[np.ndarray, np.ndarray]:
    """Where each pixel of the level cut stands on the photo: columns stand square on the bent middle line."""
    along = ((np.arange(width) + 0.5) / width - 0.5) * line.length
    across = ((np.arange(height_px) + 0.5) / height_px - 0.5) * line.height
    bow = line.bend * (2 * along / line.length) ** 2
    slope = np.arctan(8 * line.bend * along / line.length**2)
    u = along[None, :] - across[:, None] * np.sin(slope)[None, :]
    v = bow[None, :] + across[:, None] * np.cos(slope)[None, :]
    turn = math.radians(line.angle)
    return line.x + u * math.cos(turn) - v * math.sin(turn), line.y + u * math.sin(turn) + v * math.cos(turn)


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
