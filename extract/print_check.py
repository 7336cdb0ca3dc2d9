"""An image on a page → whether it can be a picture of print, by how even its ground is. Photos of parts are not.

The verdict is kept by the image's own bytes: a catalogue shows the same picture on many pages.
"""

from __future__ import annotations

import ctypes
import zlib
from typing import Any

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as raw

from ..schema.claims import Box

_DPI = 40.0
_TILES = 6
_LEAST_TILES = 0.75
_LEAST_GROUND = 0.4
_SAME_TONE = 16
_LIGHT, _DARK = 150, 60
"""Print stands on a light ground, or light on a dark one."""
_LEAST_MARKS = 0.01


class PrintCheck:
    """The verdicts of one document."""

    def __init__(self) -> None:
        self._known: dict[tuple[int, int], bool] = {}

    def can_hold_print(self, page: pdfium.PdfPage, image: Any, box: Box) -> bool:
        """Whether most of ``image``, an object of the page that is shown at ``box``, has one tone."""
        key = _digest(image)
        if key not in self._known:
            self._known[key] = _is_even(_drawn(page, box))
        return self._known[key]


def _digest(image: Any) -> tuple[int, int]:
    size = raw.FPDFImageObj_GetImageDataRaw(image, None, 0)
    data = ctypes.create_string_buffer(size)
    raw.FPDFImageObj_GetImageDataRaw(image, data, size)
    return size, zlib.crc32(data.raw)


def _drawn(page: pdfium.PdfPage, box: Box) -> np.ndarray:
    width, height = page.get_size()
    left, top = max(box.x0, 0.0), max(box.top, 0.0)
    right, bottom = max(width - box.x1, 0.0), max(height - box.bottom, 0.0)
    if left + right >= width - 1 or top + bottom >= height - 1:
        return np.zeros((0, 0), dtype=np.uint8)
    bitmap = page.render(scale=_DPI / 72, crop=(left, bottom, right, top), grayscale=True)  # pyright: ignore[reportArgumentType]
    return bitmap.to_numpy()


def _is_even(grey: np.ndarray) -> bool:
    """Whether one tone, give or take a little, is the ground of nearly all of a picture, and something stands on it."""
    if min(grey.shape, default=0) < _TILES:
        return False
    counts = np.convolve(np.bincount(grey.ravel(), minlength=256), np.ones(2 * _SAME_TONE + 1), mode="same")
    tone = int(counts.argmax())
    if _DARK < tone < _LIGHT:
        return False
    ground = np.abs(grey.astype(int) - tone) <= _SAME_TONE
    tiles = [tile.mean() for band in np.array_split(ground, _TILES) for tile in np.array_split(band, _TILES, axis=1)]
    even = sum(share >= _LEAST_GROUND for share in tiles)
    return even >= _LEAST_TILES * len(tiles) and ground.mean() <= 1 - _LEAST_MARKS
