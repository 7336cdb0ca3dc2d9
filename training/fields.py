"""Random grey fields: grain, clouds, streaks and rings, cut out of noise plates that are made once.

A field is a float32 array of about zero mean and unit spread. The plates come from a fixed seed; which piece of them is
cut out, mirrored and stretched is drawn from the caller's generator, so one generator state always gives one field.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

PLATE_PX = 1536
_SIGMAS = (0.0, 0.7, 1.2, 2.0, 3.2)
_PLATE_SEED = 20417


@lru_cache(maxsize=len(_SIGMAS))
def _plate(index: int) -> np.ndarray:
    """A square of noise blurred by the ``index``-th sigma, wrapping round at its edges."""
    white = np.random.default_rng(_PLATE_SEED + index).standard_normal((PLATE_PX, PLATE_PX), dtype=np.float32)
    if _SIGMAS[index] == 0.0:
        return white
    margin = 16
    wrapped = cv2.copyMakeBorder(white, margin, margin, margin, margin, cv2.BORDER_WRAP)
    soft = cv2.GaussianBlur(wrapped, (0, 0), _SIGMAS[index])[margin:-margin, margin:-margin]
    return np.ascontiguousarray(soft / soft.std())


def _cut(rng: np.random.Generator, index: int, height: int, width: int) -> np.ndarray:
    """A piece of a plate at a random place, mirrored at random; wraps where the piece is larger than the plate."""
    plate = _plate(index)
    top, left = int(rng.integers(PLATE_PX)), int(rng.integers(PLATE_PX))
    if height + width > 3 * PLATE_PX or top + height > PLATE_PX or left + width > PLATE_PX:
        rows = (np.arange(height) + top) % PLATE_PX
        piece = plate[rows][:, (np.arange(width) + left) % PLATE_PX]
    else:
        piece = plate[top : top + height, left : left + width]
    return piece[:: rng.choice((-1, 1)), :: rng.choice((-1, 1))]


def draw_field(rng: np.random.Generator, height: int, width: int, grain_px: float) -> np.ndarray:
    """Noise whose grains are about ``grain_px`` pixels wide (1 is white noise)."""
    sigma = max(0.0, grain_px - 1.0) / 2.0
    index = int(np.argmin([abs(s - sigma) for s in _SIGMAS]))
    if sigma <= 3.5:
        return np.ascontiguousarray(_cut(rng, index, height, width))
    return stretch_field(rng, height, width, sigma / 1.2, sigma / 1.2)


def stretch_field(rng: np.random.Generator, height: int, width: int, down: float, across: float) -> np.ndarray:
    """Noise stretched by ``down`` in y and ``across`` in x: long fibres where they differ."""
    rows, columns = max(3, round(height / down) + 2), max(3, round(width / across) + 2)
    piece = np.ascontiguousarray(_cut(rng, 2, rows, columns))
    how = cv2.INTER_CUBIC if min(down, across) > 2 else cv2.INTER_LINEAR
    size = max(width, round(columns * across)), max(height, round(rows * down))
    big = cv2.resize(piece, size, interpolation=how)
    return np.ascontiguousarray(big[:height, :width])


def draw_clouds(rng: np.random.Generator, height: int, width: int, grain_px: float, octaves: int = 3) -> np.ndarray:
    """Noise of several sizes added up: grains of ``grain_px`` and, weaker, of a half, a quarter … of it."""
    rows, columns, shrink = height, width, 1
    while grain_px / shrink / 2 ** (octaves - 1) > 5:
        shrink *= 2
    rows, columns = -(-height // shrink), -(-width // shrink)
    total, share = np.zeros((rows, columns), np.float32), 1.0
    for octave in range(octaves):
        total += share * draw_field(rng, rows, columns, max(1.0, grain_px / shrink / 2**octave))
        share *= 0.55
    total *= 1.0 / np.sqrt((1 - 0.3025**octaves) / (1 - 0.3025))
    return total if shrink == 1 else cv2.resize(total, (width, height), interpolation=cv2.INTER_CUBIC)


def draw_streaks(rng: np.random.Generator, height: int, width: int, angle_deg: float, length_px: float) -> np.ndarray:
    """Brushed lines ``length_px`` long that run at ``angle_deg``, fine across."""
    side = int(np.hypot(height, width)) + 4
    flat = stretch_field(rng, side, side, float(rng.uniform(1.0, 1.5)), length_px)
    turn = cv2.getRotationMatrix2D((side / 2, side / 2), -angle_deg, 1.0)
    turn[:, 2] += ((width - side) / 2, (height - side) / 2)
    return cv2.warpAffine(flat, turn, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)


def draw_rings(
    rng: np.random.Generator, height: int, width: int, centre: tuple[float, float], spacing_px: float
) -> np.ndarray:
    """Turned lines: circles about ``centre`` (x, y) whose depth changes at random from one to the next."""
    x = np.arange(width, dtype=np.float32) - np.float32(centre[0])
    y = np.arange(height, dtype=np.float32) - np.float32(centre[1])
    radius = cv2.magnitude(np.broadcast_to(x, (height, width)).copy(), np.repeat(y[:, None], width, axis=1))
    reach = int(radius[[0, 0, -1, -1], [0, -1, 0, -1]].max() / spacing_px) + 4
    steps = rng.standard_normal(reach).astype(np.float32)
    return np.take(steps, (radius * np.float32(1 / spacing_px)).astype(np.int32), mode="clip")


def soften(values: np.ndarray, sigma: float) -> np.ndarray:
    """A picture or map blurred by ``sigma`` px; wide blurs are two box blurs of the same spread, which cost no more."""
    if sigma < 1.8:
        return cv2.GaussianBlur(values, (0, 0), max(sigma, 0.1))
    side = 2 * round((np.sqrt(6.0 * sigma * sigma + 1.0) - 1.0) / 2.0) + 1
    return cv2.blur(cv2.blur(values, (side, side)), (side, side))


def shrunk(height: int, width: int, shrink: int) -> tuple[int, int]:
    """The size (height, width) of a window ``shrink`` times smaller, at least 4 px a side."""
    return max(4, -(-height // shrink)), max(4, -(-width // shrink))


def enlarge(small: np.ndarray, height: int, width: int) -> np.ndarray:
    """A small field or picture at the size of the window."""
    return cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
