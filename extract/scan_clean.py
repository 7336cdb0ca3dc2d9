"""The picture of a page made ready for reading: even light, straight lines, no leader dots; its tinted cells."""

from __future__ import annotations

import cv2
import numpy as np

from ..schema.claims import Box
from .records import Affine

_MOST_SKEW_DEG = 6.0
_TINT = 7


def flatten(grey: np.ndarray) -> np.ndarray:
    """Grey pixels with uneven light and paper colour taken out: paper near 255."""
    small = cv2.resize(grey, None, fx=1 / 16, fy=1 / 16, interpolation=cv2.INTER_AREA)
    paper = cv2.medianBlur(cv2.dilate(small, np.ones((7, 7), np.uint8)), 25)
    paper = cv2.resize(paper, (grey.shape[1], grey.shape[0]), interpolation=cv2.INTER_LINEAR)
    return cv2.divide(grey, np.maximum(paper, 60), scale=255)


def find_skew(grey: np.ndarray) -> float:
    """The angle in degrees by which lines of text climb, found where their row profile is sharpest."""
    scale = min(1.0, 1000 / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    ink = (small < 160).astype(np.uint8)
    if ink.sum() < 50:
        return 0.0

    def sharpness(angle: float) -> float:
        profile = _turned(ink, angle).sum(axis=1).astype(float)
        return float(np.square(np.diff(profile)).sum())

    best = max(np.arange(-_MOST_SKEW_DEG, _MOST_SKEW_DEG + 0.01, 0.5), key=sharpness)
    return float(max(np.arange(best - 0.5, best + 0.51, 0.05), key=sharpness))


def _turned(image: np.ndarray, angle: float) -> np.ndarray:
    height, width = image.shape
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), angle, 1.0)
    return cv2.warpAffine(image, matrix, (width, height), flags=cv2.INTER_NEAREST)


def straightened(grey: np.ndarray, angle: float) -> tuple[np.ndarray, Affine]:
    """The picture turned by ``angle``, and the matrix that leads its pixels back."""
    height, width = grey.shape
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), angle, 1.0)
    straight = grey if abs(angle) < 0.04 else cv2.warpAffine(grey, matrix, (width, height), flags=cv2.INTER_CUBIC,
                                                             borderValue=255)  # fmt: skip
    inverse = cv2.invertAffineTransform(matrix)
    a, b, c, d, e, f = (float(v) for v in inverse.ravel())
    return straight, (a, b, c, d, e, f)


def find_fills(grey: np.ndarray, dpi: float) -> list[Box]:
    """Tinted areas with straight sides, in pixels: cells and rows with a ground of their own."""
    scale = 0.25
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    ground = cv2.medianBlur(cv2.dilate(small, np.ones((5, 5), np.uint8)), 9)
    tinted = (ground < float(np.median(ground)) - _TINT).astype(np.uint8)
    least = np.ones((round(dpi * scale / 14), round(dpi * scale / 10)), np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(cv2.morphologyEx(tinted, cv2.MORPH_OPEN, least), connectivity=4)
    return [
        Box((x - 2) / scale, (y - 2) / scale, (x + w + 2) / scale, (y + h + 2) / scale)
        for x, y, w, h, area in stats[1:]
        if area > 0.85 * w * h
    ]


def without_leaders(grey: np.ndarray, dpi: float) -> np.ndarray:
    """The picture without rows of leader dots, which OCR takes for letters: small marks at even distances."""
    ink = cv2.threshold(grey, 160, 255, cv2.THRESH_BINARY_INV)[1]
    _, _, stats, centres = cv2.connectedComponentsWithStats(ink, connectivity=8)
    most = max(4, dpi / 32)
    dots = [n for n, (_, _, w, h, _) in enumerate(stats) if n and w <= most and h <= most]
    dots.sort(key=lambda n: (round(centres[n][1] / (dpi / 50)), centres[n][0]))
    bare = grey.copy()
    run: list[int] = []
    for n in [*dots, -1]:
        if run and (n < 0 or not _goes_on(centres[run[-1]], centres[n], dpi)):
            if _is_leader([centres[k][0] for k in run]):
                for k in run:
                    x, y, w, h, _ = stats[k]
                    bare[max(0, y - 1) : y + h + 1, max(0, x - 1) : x + w + 1] = 255
            run = []
        run.append(n)
    return bare


def _goes_on(last: np.ndarray, dot: np.ndarray, dpi: float) -> bool:
    return abs(dot[1] - last[1]) < dpi / 75 and 0 < dot[0] - last[0] < dpi / 9


def _is_leader(places: list[float]) -> bool:
    if len(places) < 6:
        return False
    steps = np.diff(places)
    return float(steps.std()) < 0.35 * float(steps.mean())
