"""A surface's heights, colours and gloss → how it looks under a lamp: diffuse, highlight, mirrored surroundings.

Diffuse light follows Lambert's cosine law, highlights Blinn's half-way vector (Blinn, 1977); what a shiny surface
mirrors is drawn as a few smooth waves over the directions of its normal.
"""

from __future__ import annotations

import cv2
import numpy as np


def shade(
    rng: np.random.Generator, height: np.ndarray, albedo: np.ndarray, gloss: np.ndarray, size: float
) -> np.ndarray:
    """Heights in pixels, RGB 0–1, gloss 0–2, ``size`` the scale of a letter in pixels → RGB, about 0–1."""
    rows, columns = height.shape
    dx = cv2.Sobel(height, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    dy = cv2.Sobel(height, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    inverse = 1 / np.sqrt(dx * dx + dy * dy + 1)
    nx, ny, nz = -dx * inverse, -dy * inverse, inverse
    light = _lamp(rng, rows, columns)
    lx, ly, lz = light
    diffuse = np.maximum(0, nx * lx + ny * ly + nz * lz)
    ambient = float(rng.uniform(0.2, 0.65))
    tone = ambient + (1 - ambient) * diffuse * float(rng.uniform(0.8, 1.3))
    shiny = float(rng.uniform(0, 1)) ** 1.5
    if shiny > 0.05:
        tone = tone * (1 - 0.6 * shiny) + shiny * _mirrored(rng, nx, ny, gloss) * 0.9
    if rng.random() < 0.7:
        deep = cv2.GaussianBlur(height, (0, 0), max(0.8, size * 0.08)) - height
        tone = tone * (1 - np.clip(deep / max(0.5, size * 0.1), 0, 1) * float(rng.uniform(0.1, 0.6)))
    picture = albedo * tone[:, :, None]
    strength = float(rng.uniform(0, 0.7)) * (rng.random() < 0.75)
    if strength:
        half_z = lz + 1
        norm = np.sqrt(lx * lx + ly * ly + half_z * half_z)
        facing = np.maximum(0, (nx * lx + ny * ly + nz * half_z) / norm)
        sharp = float(np.exp(rng.uniform(np.log(6), np.log(90))))
        picture = picture + (strength * np.power(facing, sharp) * np.clip(gloss, 0, 2))[:, :, None]
    return picture.astype(np.float32)


def _lamp(rng: np.random.Generator, rows: int, columns: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Unit vectors towards the lamp at each pixel; near lamps make them differ over the picture."""
    azimuth, elevation = float(rng.uniform(0, 2 * np.pi)), float(np.radians(rng.uniform(15, 80)))
    far = float(np.exp(rng.uniform(np.log(0.8), np.log(12)))) * max(rows, columns)
    x0, y0 = (float(far * np.cos(elevation) * way) for way in (np.cos(azimuth), np.sin(azimuth)))
    x = (x0 + columns / 2 - np.arange(columns, dtype=np.float32))[None, :]
    y = (y0 + rows / 2 - np.arange(rows, dtype=np.float32))[:, None]
    z = np.float32(far * np.sin(elevation))
    length = np.sqrt(x * x + y * y + z * z)
    return x / length, y / length, z / length


def _mirrored(rng: np.random.Generator, nx: np.ndarray, ny: np.ndarray, gloss: np.ndarray) -> np.ndarray:
    """The brightness of what the surface mirrors, 0–1."""
    total = np.zeros_like(nx)
    for _ in range(2):
        fx, fy = (float(v) for v in rng.normal(0, 3.5, 2))
        total += np.sin(fx * nx + fy * ny + float(rng.uniform(0, 2 * np.pi))).astype(np.float32)
    return np.clip(0.5 + 0.28 * total * np.clip(gloss, 0, 1.5), 0, 1)
