"""A lit scene → the photo of it: exposure, colour cast, blur of lens and hand, noise, what the telephone does, JPEG."""

from __future__ import annotations

import cv2
import numpy as np


def take(rng: np.random.Generator, scene: np.ndarray, blur: float, mood: float = 1.0) -> np.ndarray:
    """RGB about 0–1 → RGB uint8.

    :param blur: the lens's blur in pixels (standard deviation)
    :param mood: how bad photos may be otherwise: 0 clean, 1 as telephones take them in a shed
    """
    picture = scene
    if rng.random() < 0.5:
        picture = picture * _falloff(rng, *picture.shape[:2])[:, :, None]
    if blur > 0.25:
        picture = cv2.GaussianBlur(picture, (0, 0), blur)
    if rng.random() < 0.25 * mood:
        picture = _moved(rng, picture, 1 + blur * 2.0)
    cast = 1 + rng.normal(0, 0.05, 3).astype(np.float32)
    picture = np.clip(picture * cast * _exposure(rng, picture), 0, 1.6)
    picture = _toned(rng, picture)
    picture = picture + _noise(rng, picture, mood)
    if rng.random() < 0.4:
        amount, width = float(rng.uniform(0.3, 1.6)), float(rng.uniform(0.7, 1.8))
        picture = picture + amount * (picture - cv2.GaussianBlur(picture, (0, 0), width))
    if rng.random() < 0.2:
        eight = (np.clip(picture, 0, 1) * 255).astype(np.uint8)
        picture = cv2.medianBlur(eight, 3).astype(np.float32) / 255
    return _packed(rng, (np.clip(picture, 0, 1) * 255 + 0.5).astype(np.uint8))


def _exposure(rng: np.random.Generator, picture: np.ndarray) -> float:
    """What a telephone's automatic exposure makes of the scene: the middle brightness comes near a third, not quite."""
    middle = float(np.median(picture[::3, ::3, 1])) + 0.02
    wanted = float(np.exp(rng.normal(np.log(0.36), 0.38)))
    return (wanted / middle) ** float(rng.uniform(0.45, 1.0))


def _falloff(rng: np.random.Generator, rows: int, columns: int) -> np.ndarray:
    """A slope of brightness over the picture, or a soft spot of light."""
    x = np.linspace(-1, 1, columns, dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, rows, dtype=np.float32)[:, None]
    a, b = (float(v) for v in rng.normal(0, 0.25, 2))
    slope = 1 + a * x + b * y
    if rng.random() < 0.3:
        cx, cy = (float(v) for v in rng.uniform(-1, 1, 2))
        wide = float(rng.uniform(0.3, 1.5))
        slope = slope + float(rng.uniform(0.1, 0.9)) * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / wide**2)
    return np.clip(slope, 0.25, 2.2).astype(np.float32)


def _moved(rng: np.random.Generator, picture: np.ndarray, length: float) -> np.ndarray:
    """The hand's movement: a short straight smear."""
    reach = float(rng.uniform(0.5, 1.0)) * length
    size = 2 * int(np.ceil(reach)) + 1
    kernel = np.zeros((size, size), np.float32)
    angle = float(rng.uniform(0, np.pi))
    middle = size // 2
    for step in np.linspace(-reach, reach, 4 * size):
        x, y = round(middle + step * np.cos(angle) / 2), round(middle + step * np.sin(angle) / 2)
        kernel[min(size - 1, max(0, y)), min(size - 1, max(0, x))] += 1
    return cv2.filter2D(picture, -1, kernel / kernel.sum())


def _toned(rng: np.random.Generator, picture: np.ndarray) -> np.ndarray:
    """Gamma, contrast, saturation."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)[:, :, None]
    picture = grey + (picture - grey) * float(rng.uniform(0.5, 1.25))
    contrast = float(rng.uniform(0.7, 1.35))
    level = float(grey.mean())
    picture = np.clip(level + (picture - level) * contrast, 0, 1.2)
    return np.power(picture, float(rng.uniform(0.75, 1.3))).astype(np.float32)


def _noise(rng: np.random.Generator, picture: np.ndarray, mood: float) -> np.ndarray:
    """Sensor noise, grainier where a telephone has smoothed it, part of it common to the channels."""
    rows, columns = picture.shape[:2]
    strength = float(rng.uniform(0, 0.045)) * mood * float(rng.random())
    grey = rng.standard_normal((rows, columns, 1), dtype=np.float32)
    colour = rng.standard_normal((rows, columns, 3), dtype=np.float32)
    noise = strength * (0.8 * grey + 0.5 * colour)
    if rng.random() < 0.5:
        noise = cv2.GaussianBlur(noise, (0, 0), float(rng.uniform(0.5, 1.0))) * 1.7
    return noise


def _packed(rng: np.random.Generator, picture: np.ndarray) -> np.ndarray:
    """Through JPEG, at any quality that telephones and messengers use."""
    if rng.random() < 0.15:
        return picture
    quality = int(rng.integers(38, 97))
    good, data = cv2.imencode(".jpg", picture[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    back = cv2.imdecode(data, cv2.IMREAD_COLOR) if good else None
    return picture if back is None else back[:, :, ::-1]
