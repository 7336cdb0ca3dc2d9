"""Blocks of text laid on surfaces → photos with the true place of every line.

``draw_patch`` shows one block from near, for what reads lines; ``draw_window`` shows a piece of a larger photo with
parts and clutter, for what finds lines. Both are drawn at the size of the photo, small ones at twice that size.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from .blocks import CAP_PX, Block, FlatLine, draw_marked_block
from .camera import take
from .colours import draw_part_colour
from .light import shade
from .lines import Words
from .product import LineBox
from .textures import draw_surface

CAPITALS_SHARE = 0.6
LEAST_VISIBLE = 1.0
"""Lines that stand out less are not asked for: nobody could read them."""


@dataclass(frozen=True)
class Shown:
    """A line as it stands on the photo; ``box`` has the exact length and line height, without any margin."""

    words: Words
    box: LineBox


@dataclass(frozen=True)
class Photo:
    """RGB uint8 with the lines that can be read on it."""

    pixels: np.ndarray
    lines: tuple[Shown, ...]
    process: str = ""


@dataclass
class Canvas:
    """A surface before it is lit: heights in pixels, RGB 0–1, gloss about 1."""

    height: np.ndarray
    albedo: np.ndarray
    gloss: np.ndarray

    def copy(self) -> Canvas:
        """The same, to be changed apart."""
        return Canvas(self.height.copy(), self.albedo.copy(), self.gloss.copy())


def light(rng: np.random.Generator, bare: Canvas, marked: Canvas, size: float) -> tuple[np.ndarray, np.ndarray]:
    """The marked canvas under one random lamp, and how much brightness or colour the marks alone change, 0–1."""
    again = np.random.default_rng()
    again.bit_generator.state = rng.bit_generator.state
    lit = shade(rng, marked.height, marked.albedo, marked.gloss, size)
    plain = shade(again, bare.height, bare.albedo, bare.gloss, size)
    gone = cv2.absdiff(np.clip(lit, 0, 1.1), np.clip(plain, 0, 1.1))
    return lit, np.maximum(np.maximum(gone[:, :, 0], gone[:, :, 1]), gone[:, :, 2])


def visibility(line: Shown, lit: np.ndarray, change: np.ndarray) -> float:
    """How strongly a line stands out: the change that its marks make over what its ground does without them.

    Letters thinner than the finest grain or lighter than noise give values below about a half.
    """
    x0, y0, x1, y1 = _bounds(line.box.outline(), lit.shape[:2])
    if x1 - x0 < 3 or y1 - y0 < 3:
        return 0.0
    inside = np.zeros((y1 - y0, x1 - x0), np.uint8)
    cv2.fillPoly(inside, [(line.box.outline() - (x0, y0)).astype(np.int32)], 1)
    if not inside.any():
        return 0.0
    grey = cv2.cvtColor(lit[y0:y1, x0:x1], cv2.COLOR_RGB2GRAY)
    own = change[y0:y1, x0:x1]
    quiet = inside & (own < 0.25 * float(own[inside > 0].max())).astype(np.uint8)
    fine = grey - cv2.GaussianBlur(grey, (0, 0), max(1.0, 0.2 * line.box.height))
    ground = float(fine[quiet > 0].std()) if quiet.any() else 0.0
    mean = float(grey[inside > 0].mean())
    strength = float(np.sqrt(np.square(own[inside > 0]).mean()))
    return strength / (ground + 0.03 * mean + 0.012)


def _bounds(points: np.ndarray, size: tuple[int, ...]) -> tuple[int, int, int, int]:
    (x0, y0), (x1, y1) = np.floor(points.min(axis=0)).astype(int), np.ceil(points.max(axis=0)).astype(int) + 1
    return max(0, x0), max(0, y0), min(size[1], x1), min(size[0], y1)


def lay(canvas: Canvas, block: Block, matrix: np.ndarray, scale: float) -> None:
    """Put a block on the canvas through a 3 × 3 matrix; ``scale`` is its size there over its flat size."""
    rows, columns = canvas.height.shape
    blur = 0.42 / scale if scale < 0.9 else 0.0
    x0, y0, x1, y1 = _reach(block, matrix, rows, columns)
    if x1 - x0 < 2 or y1 - y0 < 2:
        return
    shift = np.array([[1, 0, -x0], [0, 1, -y0], [0, 0, 1]], float) @ matrix
    part = slice(y0, y1), slice(x0, x1)

    def warped(values: np.ndarray, ground: float) -> np.ndarray:
        smooth = cv2.GaussianBlur(values, (0, 0), blur) if blur > 0.3 else values
        return cv2.warpPerspective(
            smooth,
            shift,
            (x1 - x0, y1 - y0),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=ground,
        )

    mark = block.mark
    canvas.height[part] += warped(mark.height, 0.0) * scale
    if mark.cover.any():
        cover = np.clip(warped(mark.cover, 0.0), 0, 1)[:, :, None]
        canvas.albedo[part] = canvas.albedo[part] * (1 - cover) + cover * mark.colour
    canvas.gloss[part] *= warped(mark.gloss, 1.0)


def _reach(block: Block, matrix: np.ndarray, rows: int, columns: int) -> tuple[int, int, int, int]:
    """The part of the canvas that a block may touch."""
    high, wide = block.mark.height.shape
    corners = project(matrix, np.array([[0, 0], [wide, 0], [wide, high], [0, high]], float))
    (x0, y0), (x1, y1) = np.floor(corners.min(axis=0)) - 2, np.ceil(corners.max(axis=0)) + 2
    return max(0, int(x0)), max(0, int(y0)), min(columns, int(x1)), min(rows, int(y1))


def project(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Points n × 2 through a 3 × 3 matrix."""
    full = np.concatenate((points, np.ones((len(points), 1))), axis=1) @ matrix.T
    return full[:, :2] / full[:, 2:]


def placement(rng: np.random.Generator, block: Block, x: float, y: float, angle: float, cap: float) -> np.ndarray:
    """The matrix that puts a block's middle at (x, y), turned by ``angle`` degrees, capitals ``cap`` high, tilted."""
    high, wide = block.mark.height.shape
    scale = cap / CAP_PX
    middle = np.array([[1, 0, -wide / 2], [0, 1, -high / 2], [0, 0, 1]], float)
    squeeze = math.exp(-abs(float(rng.normal(0, 0.12))))
    towards = float(rng.uniform(0, math.pi))
    tilt = _turned(towards) @ np.diag([1.0, squeeze, 1.0]) @ _turned(-towards)
    keystone = np.eye(3)
    keystone[2, :2] = rng.normal(0, 0.05, 2) / max(wide, high)
    place = np.array([[scale, 0, x], [0, scale, y], [0, 0, 1]], float)
    return place @ _turned(math.radians(angle)) @ keystone @ tilt @ middle


def _turned(angle: float) -> np.ndarray:
    cos, sin = math.cos(angle), math.sin(angle)
    return np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]])


def shown_line(line: FlatLine, matrix: np.ndarray) -> Shown:
    """Where a line of a block stands on the canvas."""
    points = project(matrix, line.points)
    upper = project(matrix, line.points - np.array([0, line.cap / 2]))
    lower = project(matrix, line.points + np.array([0, line.cap / 2]))
    chord = points[-1] - points[0]
    length = float(np.hypot(*chord))
    along = chord / max(1e-6, length)
    across = np.array([-along[1], along[0]])
    middle = points[len(points) // 2]
    cap = float(np.abs((lower - upper) @ across).mean())
    bend = float(((points[0] + points[-1]) / 2 - middle) @ across)
    centre = middle + along * float(((points[0] + points[-1]) / 2 - middle) @ along)
    angle = math.degrees(math.atan2(along[1], along[0]))
    box = LineBox(float(centre[0]), float(centre[1]), length, cap / CAPITALS_SHARE, angle, 1.0, bend)
    return Shown(line.words, box)


def scaled(line: Shown, by: float, dx: float = 0.0, dy: float = 0.0) -> Shown:
    """A line on a picture resized by ``by`` and then moved."""
    box = line.box
    return Shown(
        line.words,
        LineBox(
            (box.x + 0.5) * by - 0.5 + dx, (box.y + 0.5) * by - 0.5 + dy, box.length * by, box.height * by, box.angle,
            box.score, box.bend * by,
        ),
    )  # fmt: skip


def bare_canvas(rng: np.random.Generator, rows: int, columns: int, base: np.ndarray, size: float) -> Canvas:
    """A surface of colour ``base`` without text: grain, stains, a bow, now and then an edge or a hole near by.

    :param size: the height of a letter in pixels, by which the grain is kept in bounds
    """
    drawn = draw_surface(rng, rows, columns)
    calm = min(1.0, size / 24) * float(rng.uniform(0.2, 1.0))
    height = drawn.height_map * np.float32(calm)
    if rng.random() < 0.35:
        height = height + _bow(rng, rows, columns, size)
    if rng.random() < 0.3:
        height = height + _edges(rng, rows, columns, size)
    return Canvas(
        height.astype(np.float32), drawn.albedo * base.astype(np.float32), np.float32(1.6) * (1 - drawn.roughness)
    )


def _bow(rng: np.random.Generator, rows: int, columns: int, size: float) -> np.ndarray:
    """The height of a round bar, an arm or a dome across the picture."""
    turn = float(rng.uniform(0, np.pi))
    x = np.arange(columns, dtype=np.float32)[None, :] - columns / 2
    y = np.arange(rows, dtype=np.float32)[:, None] - rows / 2
    across = x * np.float32(np.cos(turn)) + y * np.float32(np.sin(turn)) + float(rng.normal(0, size))
    radius = max(rows, columns) * float(rng.uniform(0.7, 4.0))
    return np.sqrt(np.maximum(radius * radius - across * across, (0.3 * radius) ** 2)) - np.float32(radius)


def _edges(rng: np.random.Generator, rows: int, columns: int, size: float) -> np.ndarray:
    """Steps of height near the picture's rim: edges of parts, holes, ribs."""
    mask = np.zeros((rows, columns), np.float32)
    for _ in range(int(rng.integers(1, 3))):
        if rng.random() < 0.5:
            side = rng.uniform(0, 1, 2) * (columns, rows)
            out = side - (columns / 2, rows / 2)
            out = out / max(1e-6, float(np.hypot(*out)))
            reach = float(rng.uniform(0.35, 0.6)) * max(rows, columns)
            out = (float(out[0]), float(out[1]))
            x = np.arange(columns, dtype=np.float32)[None, :] - columns / 2
            y = np.arange(rows, dtype=np.float32)[:, None] - rows / 2
            mask[(x * out[0] + y * out[1]) > reach] = 1
        else:
            corner = (int(rng.choice((0.05, 0.95)) * columns), int(rng.choice((0.05, 0.95)) * rows))
            cv2.circle(mask, corner, int(rng.uniform(0.3, 1.2) * size) + 1, 1.0, -1, cv2.LINE_AA)
    return cv2.GaussianBlur(mask, (0, 0), max(0.7, 0.06 * size)) * np.float32(rng.uniform(-0.6, 0.6) * size)


def spoil(rng: np.random.Generator, picture: np.ndarray, size: float) -> np.ndarray:
    """Glare and shadows that fall over a lit surface."""
    rows, columns = picture.shape[:2]
    if rng.random() < 0.15:
        x, y = (float(v) for v in rng.uniform(0, 1, 2) * (columns, rows))
        wide = float(rng.uniform(0.5, 4.0)) * size
        gx = np.exp(-(((np.arange(columns, dtype=np.float32) - x) / wide) ** 2))[None, :]
        gy = np.exp(-(((np.arange(rows, dtype=np.float32) - y) / (wide * float(rng.uniform(0.3, 1)))) ** 2))[:, None]
        picture = picture + (gx * gy * np.float32(rng.uniform(0.1, 0.7)))[:, :, None]
    if rng.random() < 0.2:
        points = (rng.uniform(-0.3, 1.3, (4, 2)) * (columns, rows)).astype(np.int32)
        shadow = np.zeros((rows, columns), np.float32)
        cv2.fillConvexPoly(shadow, cv2.convexHull(points), 1.0)
        shadow = cv2.GaussianBlur(shadow, (0, 0), max(1.0, float(rng.uniform(0.05, 1.0)) * size))
        picture = picture * (1 - shadow * np.float32(rng.uniform(0.2, 0.65)))[:, :, None]
    return picture.astype(np.float32)


def draw_patch(rng: np.random.Generator, fonts: Sequence[Path], words: Sequence[Words] | None = None) -> Photo:
    """One block from near: capitals 7 to 42 pixels high on the photo, at any angle."""
    cap = float(np.exp(rng.uniform(np.log(7), np.log(42))))
    twice = 2 if cap < 22 else 1
    angle = float(rng.uniform(0, 360))
    base = draw_part_colour(rng)
    block = draw_marked_block(rng, fonts, base, words)
    high, wide = block.mark.height.shape
    factor = cap * twice / CAP_PX
    turn = math.radians(angle)
    columns = int((abs(wide * math.cos(turn)) + abs(high * math.sin(turn))) * factor) + 8 * twice
    rows = int((abs(wide * math.sin(turn)) + abs(high * math.cos(turn))) * factor) + 8 * twice
    canvas = bare_canvas(rng, rows, columns, base, cap * twice)
    bare = canvas.copy()
    matrix = placement(rng, block, columns / 2, rows / 2, angle, cap * twice)
    lay(canvas, block, matrix, factor)
    lines = [shown_line(line, matrix) for line in block.lines]
    picture, change = light(rng, bare, canvas, cap * twice)
    lines = [line for line in lines if visibility(line, picture, change) > LEAST_VISIBLE]
    picture = spoil(rng, picture, cap * twice)
    if twice == 2:
        picture = cv2.resize(picture, (columns // 2, rows // 2), interpolation=cv2.INTER_AREA)
        lines = [scaled(line, 0.5) for line in lines]
    blur = cap * 0.11 * float(rng.random()) ** 2
    return Photo(take(rng, picture, blur), tuple(lines), block.process)
