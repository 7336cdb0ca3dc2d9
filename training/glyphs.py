"""Text → a mask of one line at a given height of its capitals: solid letters, cut by a tool, or peened in dots.

Sizes in a ``Style`` are parts of the height of capitals. Everything random comes from the generator that is given, so
that the same generator draws the same line. Letters are drawn at twice their size and then halved.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

from .dotted import GRIDS, matrix_dots
from .faces import Sign, draw_sign, stroke_plain_sign, stroke_sign
from .strokes import Line

_TWICE = 2
_NOMINAL_PX = (24, 36, 52, 76, 112, 164)
_MARGIN = 0.35
_SHIFT = 4
"""Binary digits behind the point in OpenCV's drawing calls."""
_SOFT_EDGE = 1.4
"""By so many pixels OpenCV's smoothed lines of even width and discs are wider than asked for."""
_BRIDGED = frozenset("ABCDGOPQRS02345689&")
"""Signs that a stencil needs bridges in."""


@dataclass(frozen=True, eq=False)
class GlyphMask:
    """A line: ``mask`` 0–1 float32, ``boxes`` (x0, x1) of every sign in order, ``middle`` row of its capitals, ``cap``.

    ``dots`` holds the middles and strengths (x, y, 0–1) of a line of dots, else it is empty.
    """

    mask: np.ndarray
    boxes: tuple[tuple[float, float], ...]
    middle: float
    cap: float
    dots: np.ndarray


@dataclass(frozen=True)
class Style:
    """How a line is drawn, in parts of the height of capitals (``slant`` and ``turn`` in degrees)."""

    tracking: float = 0.0
    stretch: float = 1.0
    slant: float = 0.0
    weight: float = 0.0
    corner: float = 0.0
    stencil: float = 0.0
    pitch: bool = False
    shift: float = 0.0
    turn: float = 0.0
    unequal: float = 0.0
    cutter: float = 0.13
    plain: bool = False
    rounds: int = 2
    dot: float = 0.12
    dot_step: float = 1.0
    dot_shift: float = 0.0
    dot_weak: float = 0.0
    grid: tuple[int, int] | None = None
    open_zero: bool = True


def random_style(rng: np.random.Generator) -> Style:
    """A style as found on parts: most lines regular, some stretched, slanted, stencilled or struck sign by sign."""
    struck = rng.random() < 0.18
    plain_dots = rng.random()
    return Style(
        tracking=float(rng.choice((0.0, rng.uniform(-0.03, 0.12), rng.uniform(0.1, 0.4)), p=(0.3, 0.45, 0.25))),
        stretch=float(np.exp(rng.normal(0, 0.12))) if rng.random() < 0.6 else float(rng.uniform(0.75, 1.35)),
        slant=float(rng.uniform(-12, 12)) if rng.random() < 0.15 else 0.0,
        weight=float(rng.normal(0, 0.018)),
        corner=float(rng.uniform(0.01, 0.05)) if rng.random() < 0.5 else 0.0,
        stencil=float(rng.uniform(0.07, 0.13)) if rng.random() < 0.06 else 0.0,
        pitch=bool(rng.random() < 0.15),
        shift=float(rng.uniform(0.015, 0.07)) if struck else 0.0,
        turn=float(rng.uniform(0.5, 4.0)) if struck else 0.0,
        unequal=float(rng.uniform(0.1, 0.8)) if struck else 0.0,
        cutter=float(rng.uniform(0.07, 0.2)),
        plain=bool(rng.random() < 0.3),
        rounds=int(rng.integers(0, 4)),
        dot=float(rng.uniform(0.085, 0.16)),
        dot_step=float(rng.triangular(0.6, 1.15, 1.4)),
        dot_shift=float(rng.uniform(0, 0.16)) if rng.random() < 0.5 else 0.0,
        dot_weak=float(rng.uniform(0, 0.2)) if rng.random() < 0.5 else 0.0,
        grid=GRIDS[min(int(rng.exponential(1.2)), len(GRIDS) - 1)] if plain_dots < 0.5 else None,
        open_zero=bool(rng.random() < 0.6),
    )


def draw_text(text: str, font: Path, cap: float, *, rng: np.random.Generator, style: Style | None = None) -> GlyphMask:
    """``text`` in solid letters of ``font``, capitals ``cap`` pixels high, in a ``style`` (random if not given)."""
    style = style or random_style(rng)
    nominal = next((n for n in _NOMINAL_PX if n >= cap * _TWICE * 0.95), _NOMINAL_PX[-1])
    signs = [draw_sign(str(font), sign, nominal) for sign in text]
    scale = cap * _TWICE / nominal
    advances = [sign.advance * scale * style.stretch for sign in signs]
    pens, wide = _pens(advances, cap * _TWICE, style)
    patches = []
    for sign, text_sign, pen, advance in zip(signs, text, pens, advances, strict=True):
        moves = _moves(rng, cap * _TWICE, advance, style)
        if sign.picture.size:
            picture = _bridged(sign, text_sign, style.stencil * nominal) if style.stencil else sign.picture
            patches.append(_warped(picture, sign, scale, pen, style, moves))
    canvas, origin = _laid(patches, cap * _TWICE, wide)
    boxes = _boxes(pens, advances, origin[0])
    _shape(rng, canvas, boxes, cap * _TWICE, style)
    return _halved(canvas, origin, boxes, cap, np.zeros((0, 3), np.float32))


def draw_engraved(
    text: str, font: Path, cap: float, *, rng: np.random.Generator, style: Style | None = None
) -> GlyphMask:
    """``text`` as a round cutter of one width leaves it along the middle of the letters' strokes."""
    style = style or random_style(rng)
    lines, boxes, origin, size = _line_strokes(rng, text, font, cap * _TWICE, style)
    canvas = np.zeros(size, np.uint8)
    width = max(2, 2 * int((style.cutter * cap * _TWICE - _SOFT_EDGE) / 2 + rng.random()))
    whole = [np.round(np.vstack((line, line[-1:])) * (1 << _SHIFT)).astype(np.int32) for line in lines]
    cv2.polylines(canvas, whole, False, 255, width, cv2.LINE_AA, _SHIFT)
    return _halved(canvas.astype(np.float32) / 255, origin, boxes, cap, np.zeros((0, 3), np.float32))


def draw_dots(text: str, font: Path, cap: float, *, rng: np.random.Generator, style: Style | None = None) -> GlyphMask:
    """``text`` as a row of round pits: on a matrix where the style has one, else along the letters' strokes."""
    style = style or random_style(rng)
    if style.grid:
        spots, boxes, origin, size = _line_matrix(rng, text, cap * _TWICE, style)
        step = cap * _TWICE / (style.grid[1] - 1)
    else:
        lines, boxes, origin, size = _line_strokes(rng, text, font, cap * _TWICE, style)
        step = max(style.dot * style.dot_step, 0.085) * cap * _TWICE
        spots = _along(lines, step)
    wide = (
        style.dot * cap * _TWICE
        if not style.grid
        else float(np.clip(style.dot * cap * _TWICE, 0.5 * step, 1.15 * step))
    )
    spots = spots + rng.normal(0, 1, spots.shape) * style.dot_shift * wide
    strength = np.where(rng.random(len(spots)) < style.dot_weak, rng.uniform(0.45, 0.9, len(spots)), 1.0)
    canvas = np.zeros(size, np.uint8)
    for (x, y), strong in zip(np.round(spots * (1 << _SHIFT)).astype(int), strength, strict=True):
        radius = round((wide * math.sqrt(strong) - _SOFT_EDGE) / 2 * (1 << _SHIFT))
        cv2.circle(canvas, (int(x), int(y)), radius, round(255 * max(0.6, strong)), -1, cv2.LINE_AA, _SHIFT)
    dots = np.column_stack(((spots + 0.5) / _TWICE - 0.5, strength)).astype(np.float32)
    return _halved(canvas.astype(np.float32) / 255, origin, boxes, cap, dots)


def _pens(advances: Sequence[float], cap: float, style: Style) -> tuple[list[float], float]:
    """Where each sign's pen stands along the line, and the line's length."""
    pens, at = [], 0.0
    cell = max(advances, default=0.0)
    for advance in advances:
        pens.append(at + (cell - advance) / 2 if style.pitch else at)
        at += (cell if style.pitch else advance) + style.tracking * cap
    return pens, at


def _moves(rng: np.random.Generator, cap: float, advance: float, style: Style) -> np.ndarray:
    """What the striking of one sign does to its place: a turn about its middle and a shift, as a 2 × 3 matrix."""
    if not style.shift:
        return np.array([[1.0, 0, 0], [0, 1, 0]])
    angle = math.radians(float(rng.normal(0, style.turn)))
    dx, dy = rng.normal(0, style.shift * cap, 2)
    cos, sin, x, y = math.cos(angle), math.sin(angle), advance / 2, -cap / 2
    return np.array([[cos, -sin, x - cos * x + sin * y + dx], [sin, cos, y - sin * x - cos * y + dy]])


def _bridged(sign: Sign, text: str, gap: float) -> np.ndarray:
    if text not in _BRIDGED:
        return sign.picture
    picture = sign.picture.copy()
    middle = picture.shape[1] / 2
    picture[:, round(middle - gap / 2) : round(middle + gap / 2) + 1] = 0
    return picture


def _warped(
    picture: np.ndarray, sign: Sign, scale: float, pen: float, style: Style, moves: np.ndarray
) -> tuple[np.ndarray, int, int]:
    """A sign's picture where it stands on the line → patch, and its left and top from the line's pen and baseline."""
    lean = math.tan(math.radians(style.slant))
    place = np.array([[scale * style.stretch, -scale * lean, 0], [0, scale, 0], [0, 0, 1]])
    place[:2, 2] = place[:2, :2] @ (sign.left, sign.top)
    matrix = np.vstack((moves, (0, 0, 1))) @ place
    rows, columns = picture.shape
    corners = matrix[:2, :2] @ np.array([[0, columns, 0, columns], [0, 0, rows, rows]]) + matrix[:2, 2:]
    left, top = math.floor(corners[0].min() + pen), math.floor(corners[1].min())
    right, bottom = math.ceil(corners[0].max() + pen) + 1, math.ceil(corners[1].max()) + 1
    matrix[0, 2] += pen - left
    matrix[1, 2] -= top
    patch = cv2.warpAffine(picture, matrix[:2], (right - left, bottom - top), flags=cv2.INTER_LINEAR)
    return patch, left, top


def _laid(
    patches: Sequence[tuple[np.ndarray, int, int]], cap: float, wide: float
) -> tuple[np.ndarray, tuple[float, float]]:
    """Patches → the whole line with a margin, and where pen 0 and baseline stand on it."""
    margin = math.ceil(_MARGIN * cap)
    left = min([0, *(x for _, x, _ in patches)]) - margin
    top = min([-math.ceil(cap), *(y for _, _, y in patches)]) - margin
    right = max([math.ceil(wide), *(x + p.shape[1] for p, x, _ in patches)]) + margin
    bottom = max([0, *(y + p.shape[0] for p, _, y in patches)]) + margin
    canvas = np.zeros((bottom - top + (bottom - top) % 2, right - left + (right - left) % 2), np.uint8)
    for patch, x, y in patches:
        part = canvas[y - top : y - top + patch.shape[0], x - left : x - left + patch.shape[1]]
        np.maximum(part, patch, out=part)
    return canvas.astype(np.float32) / 255, (float(-left), float(-top))


def _boxes(pens: Sequence[float], advances: Sequence[float], start: float) -> list[tuple[float, float]]:
    return [(pen + start, pen + advance + start) for pen, advance in zip(pens, advances, strict=True)]


def _shape(
    rng: np.random.Generator, canvas: np.ndarray, boxes: Sequence[tuple[float, float]], cap: float, style: Style
) -> None:
    """Heavier or lighter strokes, rounder corners, and signs struck unequally deep, all in place."""
    solid, inside, thin, half = _stroke_widths(canvas, 0.5)
    if thin < 0.03 * cap:
        solid, inside, thin, half = _stroke_widths(canvas, 0.25)
    outside = cv2.distanceTransform(1 - solid, cv2.DIST_L2, 3)
    change = float(np.clip(style.weight * cap, -0.3 * thin, max(0.0, 0.5 * (0.16 * cap - half))))
    change = max(change, min(0.03 * cap - thin, 0.045 * cap))
    blur = min(style.corner * cap, 0.6 * thin)
    if not style.unequal and abs(change) < 0.3 and blur < 0.5:
        return
    edge = np.where(solid == 1, inside - 0.5, 0.5 - outside).astype(np.float32)
    edge = cv2.GaussianBlur(edge, (0, 0), max(0.6, blur))
    for x0, x1 in boxes if style.unequal else ():
        edge[:, max(0, int(x0)) : int(x1)] += float(rng.normal(0, style.unequal)) * 0.15 * half
    canvas[...] = np.clip(edge + change + 0.5, 0, 1)


def _stroke_widths(canvas: np.ndarray, level: float) -> tuple[np.ndarray, np.ndarray, float, float]:
    """The letters as 0 or 1, the distance from their edge inside, and half the width of thinner and wider strokes."""
    solid = (canvas > level).astype(np.uint8)
    inside = cv2.distanceTransform(solid, cv2.DIST_L2, 3)
    ridge = inside[(inside > 0) & (inside >= cv2.dilate(inside, np.ones((3, 3), np.uint8)))]
    if not len(ridge):
        return solid, inside, 0.0, 0.0
    thin, wide = np.percentile(ridge, (15, 90)) - 0.5
    return solid, inside, float(thin), float(wide)


def _halved(
    canvas: np.ndarray, origin: tuple[float, float], boxes: Sequence[tuple[float, float]], cap: float, dots: np.ndarray
) -> GlyphMask:
    rows, columns = canvas.shape
    mask = cv2.resize(canvas, (columns // _TWICE, rows // _TWICE), interpolation=cv2.INTER_AREA)
    halves = tuple((x0 / _TWICE, x1 / _TWICE) for x0, x1 in boxes)
    return GlyphMask(mask, halves, origin[1] / _TWICE - cap / 2, cap, dots)


def _line_strokes(
    rng: np.random.Generator, text: str, font: Path, cap: float, style: Style
) -> tuple[list[Line], list[tuple[float, float]], tuple[float, float], tuple[int, int]]:
    """Strokes of a whole line in pixels, boxes of its signs, where pen 0 and baseline stand, and the canvas's size."""
    own = [stroke_sign(str(font), sign) for sign in text]
    if style.plain or max((half for *_, half in own), default=0.0) > 0.13:
        signs = [stroke_plain_sign(sign, style.rounds) for sign in text]
    else:
        signs = [(lines, advance) for lines, advance, _ in own]
    advances = [advance * cap * style.stretch for _, advance in signs]
    pens, wide = _pens(advances, cap, style)
    lean = math.tan(math.radians(style.slant))
    shape = np.array([[cap * style.stretch, -cap * lean], [0, cap]])
    placed = []
    for (lines, _), pen, advance in zip(signs, pens, advances, strict=True):
        moves = _moves(rng, cap, advance, style)
        placed.extend(line @ shape.T @ moves[:, :2].T + moves[:, 2] + (pen, 0) for line in lines)
    return (*_framed(placed, pens, advances, cap, wide, style),)


def _framed(
    placed: Sequence[Line], pens: Sequence[float], advances: Sequence[float], cap: float, wide: float, style: Style
) -> tuple[list[Line], list[tuple[float, float]], tuple[float, float], tuple[int, int]]:
    """Points about pen and baseline → points on a canvas with a margin; the rest as ``_line_strokes`` gives it."""
    points = np.vstack([*placed, [(0.0, -cap), (wide, 0.0)]])
    margin = math.ceil((_MARGIN + max(style.cutter, style.dot)) * cap)
    left, top = np.floor(points.min(axis=0)) - margin
    columns, rows = (int(v) for v in np.ceil(points.max(axis=0)) + margin - (left, top))
    lines = [line - (left, top) for line in placed]
    size = (rows + rows % 2, columns + columns % 2)
    return lines, _boxes(pens, advances, -left), (float(-left), float(-top)), size


def _along(lines: Sequence[Line], step: float) -> np.ndarray:
    """Points evenly along each stroke, both ends included, about ``step`` apart; none too near an earlier one."""
    parts: list[np.ndarray] = []
    for line in (part for whole in lines for part in _corner_to_corner(whole)):
        lengths = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))
        count = max(1, round(float(lengths[-1]) / step))
        at = np.linspace(0, lengths[-1], count + 1)
        parts.append(np.stack([np.interp(at, lengths, line[:, i]) for i in (0, 1)], axis=1))
    spots = np.vstack([*parts, np.zeros((0, 2))])
    gaps = np.abs(spots[:, None, 0] - spots[None, :, 0]) + np.abs(spots[:, None, 1] - spots[None, :, 1])
    return spots[~np.tril(gaps < 0.62 * step, -1).any(axis=1)]


def _corner_to_corner(line: Line) -> list[Line]:
    """A stroke cut at its sharp corners, so that a dot falls on each."""
    steps = np.diff(line, axis=0)
    turns = (steps[:-1] * steps[1:]).sum(axis=1) < 0.4 * np.hypot(*steps[:-1].T) * np.hypot(*steps[1:].T)
    ends = [0, *(np.nonzero(turns)[0] + 1), len(line) - 1]
    return [line[a : b + 1] for a, b in pairwise(ends)] or [line]


def _line_matrix(
    rng: np.random.Generator, text: str, cap: float, style: Style
) -> tuple[np.ndarray, list[tuple[float, float]], tuple[float, float], tuple[int, int]]:
    """Dots of a whole line on a matrix, and the rest as ``_line_strokes`` gives it."""
    columns, rows = style.grid or GRIDS[0]
    step = cap / (rows - 1)
    across = step * style.stretch
    advances = [across * (columns + 0.6)] * len(text)
    pens, wide = _pens(advances, cap, style)
    lean = math.tan(math.radians(style.slant))
    placed: list[Line] = []
    for sign, pen, advance in zip(text, pens, advances, strict=True):
        dots = matrix_dots(sign, columns, rows, style.open_zero) * (across, step) - (0, cap)
        dots = dots @ np.array([[1, 0], [-lean, 1]]) + (0.8 * across, 0)
        moves = _moves(rng, cap, advance, style)
        placed.append(dots @ moves[:, :2].T + moves[:, 2] + (pen, 0))
    lines, boxes, origin, size = _framed(placed, pens, advances, cap, wide, style)
    return np.vstack([*lines, np.zeros((0, 2))]), boxes, origin, size
