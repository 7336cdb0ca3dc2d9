"""Pieces of photos with parts, clutter and lines of text → what the finder of lines is trained on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from .backdrop import draw_backdrop
from .blocks import CAP_PX, draw_marked_block
from .camera import take
from .colours import draw_part_colour
from .feed import Field
from .parts import draw_part, flat_places
from .places import Place, straight
from .scenes import (
    LEAST_VISIBLE,
    Canvas,
    Photo,
    Shown,
    bare_canvas,
    lay,
    light,
    placement,
    shown_line,
    spoil,
    visibility,
)  # fmt: skip

SIDE_PX = 512
STRIDE = 4
FIELDS = (
    Field("pixels", (SIDE_PX, SIDE_PX, 3), "uint8"),
    Field("core", (SIDE_PX // STRIDE, SIDE_PX // STRIDE), "uint8"),
    Field("ignore", (SIDE_PX // STRIDE, SIDE_PX // STRIDE), "uint8"),
    Field("maps", (3, SIDE_PX // STRIDE, SIDE_PX // STRIDE), "float16"),
)
SMALLEST, LARGEST = 4.5, 80.0


def draw_window(rng: np.random.Generator, fonts: Sequence[Path], side: int = SIDE_PX) -> tuple[Photo, list[Shown]]:
    """A square window, its lines, and those of them that nobody could read (too small, cut off, off the part)."""
    near = rng.random() < 0.25
    base = draw_part_colour(rng)
    cap = float(np.exp(rng.uniform(np.log(SMALLEST), np.log(LARGEST))))
    if near:
        canvas = bare_canvas(rng, side, side, base, cap)
        mask = np.ones((side, side), np.float32)
        places = [
            Place(
                side * float(rng.uniform(0.2, 0.8)),
                side * float(rng.uniform(0.2, 0.8)),
                float(rng.uniform(0, 360)),
                side,
                side,
            )
        ]
    else:
        part = draw_part(rng, side, side)
        canvas = bare_canvas(rng, side, side, np.ones(3), max(cap, 14))
        canvas = Canvas(canvas.height + part.height_map, canvas.albedo * part.albedo, canvas.gloss)
        base = np.median(part.albedo[part.mask > 0.9], axis=0) if (part.mask > 0.9).any() else base
        mask = part.mask
        places = flat_places(part, rng)
    lines: list[Shown] = []
    bare = canvas.copy()
    if rng.random() < 0.88:
        lines = _lay_blocks(rng, fonts, canvas, base, places, cap)
    lit, change = light(rng, bare, canvas, cap)
    clear = [visibility(line, lit, change) > LEAST_VISIBLE for line in lines]
    lit = spoil(rng, lit, cap)
    if not near:
        lit = mask[:, :, None] * lit + (1 - mask[:, :, None]) * draw_backdrop(rng, side, side)
    blur = min(6.0, cap * 0.11 * float(rng.random()) ** 2)
    pixels = take(rng, lit.astype(np.float32), blur)
    good, doubtful = [], []
    for line, seen in zip(lines, clear, strict=True):
        large = line.box.height * 0.6 >= SMALLEST * 0.9
        (good if seen and large and _is_whole(line, mask) else doubtful).append(line)
    return Photo(pixels, tuple(good)), doubtful


def _lay_blocks(
    rng: np.random.Generator, fonts: Sequence[Path], canvas: Canvas, base: np.ndarray,
    places: Sequence[Place], cap: float,
) -> list[Shown]:  # fmt: skip
    """One to three blocks on free places, the next ones in other sizes."""
    lines: list[Shown] = []
    taken = np.zeros(canvas.height.shape, np.uint8)
    for place in list(places)[: int(rng.choice((1, 2, 3), p=(0.55, 0.3, 0.15)))]:
        x, y, angle, length, height = (float(v) for v in straight(place)[:5])
        block = draw_marked_block(rng, fonts, base)
        high, wide = block.mark.height.shape
        size = min(cap, CAP_PX * max(0.15, 1.15 * length / wide), CAP_PX * max(0.15, 1.4 * height / high))
        if size < SMALLEST:
            size = min(cap, 8.0)
        turned = angle + (180 if rng.random() < 0.5 else 0) + float(rng.normal(0, 4))
        if rng.random() < 0.1:
            turned = float(rng.uniform(0, 360))
        matrix = placement(rng, block, x, y, turned, size)
        found = [shown_line(line, matrix) for line in block.lines]
        if any(_touches(taken, line) for line in found):
            continue
        lay(canvas, block, matrix, size / CAP_PX)
        for line in found:
            cv2.fillPoly(taken, [line.box.outline().astype(np.int32)], 1)
        lines += found
        cap = float(np.clip(cap * np.exp(rng.normal(0, 0.5)), SMALLEST, LARGEST))
    return lines


def _touches(taken: np.ndarray, line: Shown) -> bool:
    own = np.zeros_like(taken)
    cv2.fillPoly(own, [line.box.outline().astype(np.int32)], 1)
    return bool((own & taken).any())


def _is_whole(line: Shown, mask: np.ndarray) -> bool:
    """Whether the whole line stands within the picture and on the part."""
    rows, columns = mask.shape
    outline = line.box.outline()
    if (outline < -2).any() or (outline[:, 0] > columns + 1).any() or (outline[:, 1] > rows + 1).any():
        return False
    own = np.zeros((rows, columns), np.uint8)
    cv2.fillPoly(own, [outline.astype(np.int32)], 1)
    return float(mask[own > 0].mean() if own.any() else 0.0) > 0.93


def as_sample(photo: Photo, doubtful: Sequence[Shown]) -> dict[str, Any]:
    """The maps that the finder should give; where ``ignore`` is 1 it may say what it likes."""
    rows, columns = photo.pixels.shape[0] // STRIDE, photo.pixels.shape[1] // STRIDE
    core = np.zeros((rows, columns), np.uint8)
    ignore = np.zeros((rows, columns), np.uint8)
    maps = np.zeros((3, rows, columns), np.float32)
    for line in doubtful:
        _fill(ignore, line, 1.4)
    for line in photo.lines:
        own = np.zeros((rows, columns), np.uint8)
        _fill(own, line, 0.3)
        inside = own > 0
        core[inside] = 1
        ignore[inside] = 0
        wide = np.zeros((rows, columns), np.uint8)
        _fill(wide, line, 0.42)
        ignore[(wide > 0) & ~inside & (core == 0)] = 1
        angle = math.radians(line.box.angle)
        maps[0][inside], maps[1][inside] = math.cos(angle), math.sin(angle)
        maps[2][inside] = math.log(line.box.height * 0.6 / 16)
    return {"pixels": photo.pixels, "core": core, "ignore": ignore, "maps": maps.astype(np.float16)}


def _fill(image: np.ndarray, line: Shown, share: float) -> None:
    """Fill the middle band of a line, ``share`` of the line's height high but never below a cell and a half."""
    box = line.box
    half = max(share * box.height / 2, 0.75 * STRIDE)
    along = np.linspace(-0.5, 0.5, 9) * box.length
    bow = box.bend * (2 * along / max(1e-6, box.length)) ** 2
    u, v = np.concatenate((along, along[::-1])), np.concatenate((bow - half, (bow + half)[::-1]))
    turn = math.radians(box.angle)
    x = box.x + u * math.cos(turn) - v * math.sin(turn)
    y = box.y + u * math.sin(turn) + v * math.cos(turn)
    points = (np.stack((x, y), axis=1) + 0.5) / STRIDE - 0.5
    cv2.fillPoly(image, [(points * 16).round().astype(np.int32)], 1, shift=4)


def draw_windows(rng: np.random.Generator, fonts: Sequence[Path]) -> list[dict[str, Any]]:
    """One window as a sample."""
    photo, doubtful = draw_window(rng, fonts)
    return [as_sample(photo, doubtful)]
