"""Signs of font faces: their pictures and their strokes, at a given height of capitals, drawn once and kept."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from .strokes import PLAIN_HIGH, Line, find_strokes, plain_strokes

_STROKES_PX = 64


@dataclass(frozen=True, eq=False)
class Sign:
    """A sign of a font: picture 0–255, where its left edge and top stand from pen and baseline, and its advance."""

    picture: np.ndarray
    left: int
    top: int
    advance: float


@lru_cache(maxsize=1024)
def _face(font: str, cap: int) -> ImageFont.FreeTypeFont:
    """A font at the size that makes its H ``cap`` pixels high."""
    trial = ImageFont.truetype(font, 200)
    _, top, _, _ = trial.getbbox("H", anchor="ls")
    return ImageFont.truetype(font, 200 * cap / max(1.0, -top))


def _bits(face: ImageFont.FreeTypeFont, sign: str) -> bytes:
    """What a face draws for a sign, to be compared."""
    drawn: Any = face.getmask(sign)
    return bytes(drawn)


@lru_cache(maxsize=30000)
def draw_sign(font: str, sign: str, cap: int) -> Sign:
    """A sign of a font with capitals ``cap`` pixels high; one that the font lacks is drawn in plain strokes."""
    if sign == " ":
        return Sign(np.zeros((0, 0), np.uint8), 0, 0, 0.45 * cap)
    face = _face(font, cap)
    missing = _bits(face, "\uffff")
    shown = next((s for s in (sign, sign.upper()) if _bits(face, s) not in (missing, b"")), None)
    if shown is None:
        return _plain_sign(sign, cap)
    left, top, right, bottom = (int(v) for v in face.getbbox(shown, anchor="ls"))
    picture = Image.new("L", (right - left + 4, bottom - top + 4))
    ImageDraw.Draw(picture).text((2 - left, 2 - top), shown, font=face, fill=255, anchor="ls")
    advance = float(face.getlength(shown))
    if advance < 0.6 * (right - left) or advance > 2.5 * (right - left) + cap:
        advance = right - left + 0.15 * cap
    return Sign(np.asarray(picture), left - 2, top - 2, advance)


def _plain_sign(sign: str, cap: int) -> Sign:
    unit, pad = cap / PLAIN_HIGH, cap // 6 + 2
    picture = np.zeros((cap + 2 * pad, int(4 * unit) + 2 * pad), np.uint8)
    for line in plain_strokes(sign, 2):
        cv2.polylines(
            picture, [np.round(line * unit + pad).astype(np.int32)], False, 255, max(2, cap // 7), cv2.LINE_AA
        )
    return Sign(picture, -pad // 2, -cap - pad, 4 * unit + pad)


@lru_cache(maxsize=30000)
def stroke_sign(font: str, sign: str) -> tuple[tuple[Line, ...], float, float]:
    """Strokes of a font's sign from pen and baseline, its advance, and half the width of its widest stroke.

    All are parts of the height of capitals.
    """
    drawn = draw_sign(font, sign, _STROKES_PX)
    if not drawn.picture.size:
        return (), drawn.advance / _STROKES_PX, 0.0
    depth = cv2.distanceTransform((drawn.picture > 127).astype(np.uint8), cv2.DIST_L2, 5)
    lines = find_strokes(drawn.picture / 255)
    shift = (drawn.left + 0.5, drawn.top + 0.5)
    return (
        tuple((line + shift) / _STROKES_PX for line in lines),
        drawn.advance / _STROKES_PX,
        float(depth.max()) / _STROKES_PX,
    )


@lru_cache(maxsize=4096)
def stroke_plain_sign(sign: str, rounds: int) -> tuple[tuple[Line, ...], float]:
    """The same of a sign of our own alphabet, without the width of strokes."""
    lines = tuple((line - (0, PLAIN_HIGH)) / PLAIN_HIGH for line in plain_strokes(sign, rounds))
    if sign == " " or not lines:
        return (), 0.45
    left = min(float(line[:, 0].min()) for line in lines)
    right = max(float(line[:, 0].max()) for line in lines)
    return tuple(line + np.array((0.1 - left, 0.0)) for line in lines), right - left + 0.3
