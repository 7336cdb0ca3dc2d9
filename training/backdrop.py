"""What lies around parts in photos taken by phone: a ground, things on it with their shadows, all more or less blurred.

There is never a letter or a digit in a backdrop, but there are rows of marks that look like them from afar.
"""

from __future__ import annotations

import cv2
import numpy as np

from .clutter import Strokes, cable, draw_thing, finger, paint, place, tool, tube
from .colours import draw_colour
from .fields import draw_clouds, enlarge, shrunk, soften
from .grounds import draw_ground
from .rows import draw_row

Rng = np.random.Generator
_SHADE_SHRINK = 4


def draw_backdrop(rng: Rng, height: int, width: int) -> np.ndarray:
    """One backdrop, RGB float32 from 0 to 1, of the given size in px; one generator state gives one picture."""
    blur = _draw_blur(rng, max(height, width))
    shrink = 1 if blur < 2.5 else 2 if blur < 10 else 4
    low = shrunk(height, width, shrink)
    picture = draw_ground(rng, *low)
    if rng.random() < 0.85:
        picture = _with_things(rng, picture)
    picture = _lit(rng, picture)
    if blur > 0.4:
        picture = soften(picture, blur / shrink)
    if shrink > 1:
        picture = enlarge(picture, height, width)
    return np.multiply(picture, np.float32(1 / 255), dtype=np.float32)


def draw_foreground(rng: Rng, height: int, width: int) -> tuple[np.ndarray, np.ndarray]:
    """What hides a part in places: a finger, cable, tube or tool that reaches in from a side of the window.

    Gives how far it covers (h × w, 0–1) and its picture (h × w × 3 RGB, 0–1), both float32.
    """
    side = max(height, width)
    picture, cover = np.zeros((height, width, 3), np.uint8), np.zeros((height, width), np.uint8)
    for _ in range(int(rng.integers(1, 3))):
        maker = (finger, finger, cable, tube, tool)[int(rng.integers(5))]
        angle = rng.uniform(0, 2 * np.pi)
        strokes = maker(rng, side * 10 ** rng.uniform(-0.8, -0.15))
        tip = max(float(stroke.points[:, 0].max()) for stroke in strokes)
        cos, sin = float(np.cos(angle)), float(np.sin(angle))
        edge = min(width / 2 / max(abs(cos), 1e-6), height / 2 / max(abs(sin), 1e-6))
        back = edge * rng.uniform(0.2, 0.9) + tip
        x, y = width / 2 - cos * back, height / 2 - sin * back
        laid = place(strokes, x, y, angle)
        paint(picture, laid)
        paint(cover, laid, (255, 255, 255))
    blur = float(rng.choice((0.6, 10 ** rng.uniform(0, 0.9) * side / 768)))
    picture, cover = soften(picture, blur), soften(cover, blur)
    share = cover.astype(np.float32) * np.float32(1 / 255)
    # The blurred picture fades into black where the cover does: take that out again.
    colour = picture.astype(np.float32) / np.maximum(cover, 1).astype(np.float32)[:, :, None]
    return share, np.minimum(colour, np.float32(1.0))


def _draw_blur(rng: Rng, side: int) -> float:
    """The spread of the blur in px: sharp in a third of the pictures, wide in some."""
    if rng.random() < 0.3:
        return float(rng.uniform(0.0, 1.2))
    return float(10 ** rng.uniform(0.0, 1.25)) * side / 768


def _with_things(rng: Rng, picture: np.ndarray) -> np.ndarray:
    """Things and rows of marks on a ground, each with a soft shadow to the same side."""
    height, width = picture.shape[:2]
    side = max(height, width)
    layers: list[Strokes] = []
    for _ in range(int(rng.integers(0, 8))):
        thing = draw_thing(rng, side * 10 ** rng.uniform(-1.2, -0.2))
        layers.append(place(thing, *_spot(rng, height, width)))
    flat: list[Strokes] = []
    for _ in range(int(rng.choice([0, 0, 1, 1, 2, 3]))):
        flat.append(place(draw_row(rng, side * 10 ** rng.uniform(-2.0, -1.0)), *_spot(rng, height, width)))
    for strokes in flat:
        paint(picture, strokes)
    if layers:
        picture = _shaded(rng, picture, layers)
    for strokes in layers:
        paint(picture, strokes)
    return picture


def _spot(rng: Rng, height: int, width: int) -> tuple[float, float, float]:
    """A place (x, y) in or near the window and an angle."""
    return rng.uniform(-0.1, 1.1) * width, rng.uniform(-0.1, 1.1) * height, rng.uniform(0, 2 * np.pi)


def _shaded(rng: Rng, picture: np.ndarray, layers: list[Strokes]) -> np.ndarray:
    """The picture darkened by the shadows of the things, all thrown the same way."""
    height, width = picture.shape[:2]
    shade = np.full(shrunk(height, width, _SHADE_SHRINK), 255, np.uint8)
    angle, far = rng.uniform(0, 2 * np.pi), max(height, width) * 10 ** rng.uniform(-2.6, -1.2)
    dark = int(rng.uniform(40, 200))
    for strokes in layers:
        moved = place(strokes, far * np.cos(angle), far * np.sin(angle), 0.0)
        paint(shade, place(moved, 0.0, 0.0, 0.0, 1 / _SHADE_SHRINK), (dark, dark, dark))
    shade = soften(shade, 0.8 + far / _SHADE_SHRINK * float(rng.uniform(0.2, 0.8)))
    return _times(picture, shade, 255.0)


def _lit(rng: Rng, picture: np.ndarray) -> np.ndarray:
    """Uneven light over the whole: a slope, clouds, at times a bright pool or the edge of a large shadow."""
    height, width = picture.shape[:2]
    low = shrunk(height, width, 8)
    y, x = np.mgrid[-0.5 : 0.5 : low[0] * 1j, -0.5 : 0.5 : low[1] * 1j].astype(np.float32)
    angle, slope = rng.uniform(0, 2 * np.pi), rng.uniform(0, 0.7)
    along = x * np.float32(np.cos(angle)) + y * np.float32(np.sin(angle))
    light = np.float32(rng.uniform(0.55, 1.15)) * (1.0 + np.float32(slope) * along)
    light += draw_clouds(rng, *low, 30, 2) * np.float32(rng.uniform(0, 0.12))
    if rng.random() < 0.2:
        cx, cy = rng.uniform(-0.5, 0.5, 2)
        light += np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / np.float32(rng.uniform(0.01, 0.1))) * np.float32(
            rng.uniform(0.2, 1.0)
        )
    if rng.random() < 0.25:
        edge = np.clip((along - rng.uniform(-0.3, 0.3)) / np.float32(rng.uniform(0.01, 0.3)), 0.0, 1.0)
        light *= 1.0 - edge * np.float32(rng.uniform(0.2, 0.7))
    gain = cv2.convertScaleAbs(np.maximum(light, 0.05), alpha=100.0)
    tint = np.clip(draw_colour(rng, "white") / 0.85, 0.7, 1.15)
    return _times(picture, gain, 100.0, tint)


def _times(picture: np.ndarray, gain: np.ndarray, one: float, tint: np.ndarray | None = None) -> np.ndarray:
    """A picture times a small grey map in which ``one`` means unchanged, each channel tinted."""
    height, width = picture.shape[:2]
    big = enlarge(gain, height, width)
    if tint is None:
        return cv2.multiply(picture, cv2.merge([big, big, big]), scale=1 / one)
    return cv2.multiply(picture, cv2.merge([cv2.convertScaleAbs(big, alpha=float(t)) for t in tint]), scale=1 / one)
