"""Grounds that parts lie on: wood, tiles, concrete, cloth, cardboard, grass, paper, rubber, gravel, metal, plain blur.

Each maker of a ground takes the generator, height and width and gives an RGB uint8 picture of that size.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from .colours import draw_colour, near, ramp
from .fields import draw_clouds, draw_field, enlarge, shrunk, stretch_field

Rng = np.random.Generator
Ground = Callable[[Rng, int, int], np.ndarray]


def _bytes(colour: np.ndarray) -> tuple[int, int, int]:
    red, green, blue = (int(v) for v in np.clip(colour * 255.0, 0, 255))
    return red, green, blue


def _grey(field: np.ndarray, gain: float) -> np.ndarray:
    """A zero-mean field as bytes about 128."""
    return cv2.convertScaleAbs(np.maximum(field, np.float32(-127.0 / gain)), alpha=gain, beta=128.0)


def _coloured(grey: np.ndarray, table: np.ndarray) -> np.ndarray:
    """Bytes as a picture: each looked up in a colour table of 256 entries."""
    return cv2.LUT(cv2.merge([grey, grey, grey]), table)


def _toned(field: np.ndarray, table: np.ndarray, gain: float = 50.0) -> np.ndarray:
    """A zero-mean field as a picture."""
    return _coloured(_grey(field, gain), table)


def _seen(square: np.ndarray, rng: Rng, height: int, width: int, upright: float = 0.3) -> np.ndarray:
    """A larger square seen from above or aslant, turned to any angle (or left upright with the given share)."""
    side = square.shape[0]
    angle = 90.0 * int(rng.integers(4)) + rng.normal(0, 3) if rng.random() < upright else rng.uniform(0, 360)
    turn = np.eye(3)
    turn[:2] = cv2.getRotationMatrix2D((side / 2, side / 2), float(angle), 1.0)
    turn[:2, 2] += ((width - side) / 2, (height - side) / 2)
    if rng.random() < 0.6:
        return cv2.warpAffine(square, turn[:2], (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    middle, tilt = np.eye(3), np.eye(3)
    middle[:2, 2] = (-width / 2, -height / 2)
    tilt[2, :2] = rng.normal(0, 0.35, 2) / max(height, width)
    matrix = np.linalg.inv(middle) @ tilt @ middle @ turn
    return cv2.warpPerspective(square, matrix, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)


def _tones(rng: Rng, family: str, spread: float) -> tuple[np.ndarray, np.ndarray]:
    """A dark and a light tone of one colour of a family."""
    colour = draw_colour(rng, family)
    return near(rng, colour, 0.1) * (1.0 - spread), np.clip(near(rng, colour, 0.1) * (1.0 + spread), 0, 1)


def _grain(rng: Rng, family: str, spread: float, field: np.ndarray) -> np.ndarray:
    """A ground of one colour family whose tone follows a field."""
    return _toned(field, ramp(*_tones(rng, family, spread)), float(rng.uniform(30, 55)))


def _pattern(rng: Rng, tile: np.ndarray, height: int, width: int, grain: float) -> np.ndarray:
    """A tile of values repeated over the window, turned or aslant, with fine grain of the given strength: a field."""
    side = int(np.hypot(height, width)) + 2
    reach = side // tile.shape[0] + 1
    bytes_ = cv2.convertScaleAbs(tile.astype(np.float32), alpha=40.0, beta=128.0)
    sheet = _seen(np.tile(bytes_, (reach, reach))[:side, :side].copy(), rng, height, width)
    field = sheet.astype(np.float32) * np.float32(1 / 40.0) - np.float32(128.0 / 40.0)
    return field + draw_field(rng, height, width, rng.uniform(1, 4)) * np.float32(grain)


def wood(rng: Rng, height: int, width: int) -> np.ndarray:
    """Planks: long fibres, wavy by low noise, dark joints, here and there a knot."""
    side = int(np.hypot(height, width)) + 2
    grey = _grey(stretch_field(rng, side, side, rng.uniform(1.0, 4.0), rng.uniform(25, 120)), rng.uniform(10, 50))
    wide = _grey(stretch_field(rng, side, side, rng.uniform(6, 30), rng.uniform(100, 400)), rng.uniform(10, 50))
    grey = cv2.addWeighted(grey, 0.5, wide, 0.5, 0)
    plank, y = int(rng.uniform(0.1, 0.7) * side), 0
    if rng.random() < 0.75:
        while y < side:
            part = grey[y : y + plank]
            cv2.convertScaleAbs(part, part, alpha=float(rng.uniform(0.8, 1.15)))
            cv2.line(grey, (0, y), (side, y), (0,), int(rng.integers(1, 8)), cv2.LINE_AA)
            x = int(rng.uniform(-1, 1) * side)
            if 0 < x < side:
                cv2.line(grey, (x, y), (x, y + plank), (0,), int(rng.integers(1, 5)), cv2.LINE_AA)
            y += plank
    for _ in range(int(rng.integers(0, 4))):
        at, size = (int(rng.uniform(0, side)), int(rng.uniform(0, side))), rng.uniform(6, 40)
        for ring in range(4, 0, -1):
            axes = (int(size * ring / 4 * 1.7) + 1, int(size * ring / 4) + 1)
            cv2.ellipse(grey, at, axes, 0, 0, 360, (int(rng.integers(20, 110)),), -1, cv2.LINE_AA)
    dark, light = _tones(rng, "wood", rng.uniform(0.2, 0.8))
    return _coloured(_seen(grey, rng, height, width), ramp(dark * 0.4, light, (dark + light) / 2))


def tiles(rng: Rng, height: int, width: int) -> np.ndarray:
    """Tiles, bricks or a cutting mat's grid: joints darker or lighter than the faces."""
    side = int(np.hypot(height, width)) + 2
    grey = np.maximum(_grey(draw_clouds(rng, side, side, rng.uniform(6, 60), 3), rng.uniform(15, 45)), 90)
    step = 10 ** rng.uniform(1.0, 2.5)
    thick = max(1, int(min(10 ** rng.uniform(0, 1.0), step / 6)))
    ratio, bond = rng.uniform(1.0, 2.5) if rng.random() < 0.4 else 1.0, rng.random() < 0.4 and step > side / 25
    for row, y in enumerate(np.arange(rng.uniform(0, step), side, step)):
        cv2.line(grey, (0, int(y)), (side, int(y)), (0,), thick, cv2.LINE_AA)
        shift = (row % 2) * step * ratio / 2
        for x in np.arange(shift, side, step * ratio) if bond else ():
            cv2.line(grey, (int(x), int(y)), (int(x), int(y + step)), (0,), thick, cv2.LINE_AA)
    for x in () if bond else np.arange(0.0, side, step * ratio):
        cv2.line(grey, (int(x), 0), (int(x), side), (0,), thick, cv2.LINE_AA)
    family = str(rng.choice(["stone", "white", "any", "earth", "green", "rubber"], p=[0.4, 0.2, 0.1, 0.1, 0.1, 0.1]))
    dark, light = _tones(rng, family, rng.uniform(0.1, 0.4))
    joint = np.clip(draw_colour(rng, "stone") * rng.uniform(0.3, 1.2), 0, 1)
    return _coloured(_seen(grey, rng, height, width), ramp(joint, light, dark))


def concrete(rng: Rng, height: int, width: int) -> np.ndarray:
    """Concrete, stone or asphalt: clouds, fine grain, some pits."""
    field = draw_clouds(rng, height, width, rng.uniform(30, 200), 3)
    field += draw_field(rng, height, width, rng.uniform(1, 4)) * np.float32(rng.uniform(0.2, 1.2))
    picture = _grain(rng, "stone", rng.uniform(0.1, 0.5), field)
    for _ in range(int(10 ** rng.uniform(0, 1.9)) - 1):
        at = (int(rng.uniform(0, width)), int(rng.uniform(0, height)))
        cv2.circle(picture, at, int(rng.integers(1, 5)), (int(rng.integers(20, 90)),) * 3, -1, cv2.LINE_AA)
    return picture


def cloth(rng: Rng, height: int, width: int) -> np.ndarray:
    """Woven or knitted cloth: a tile of threads repeated, with folds as wide soft shading."""
    period = int(10 ** rng.uniform(0.5, 1.45))
    steps = np.arange(4 * period) / period
    style = int(rng.integers(4))
    u, v = steps[None, :], steps[:, None]
    if style == 0:
        tile = np.where((np.floor(u) + np.floor(v)) % 2 > 0, np.abs(np.sin(np.pi * u)), np.abs(np.sin(np.pi * v)))
    elif style == 1:
        tile = np.abs(np.sin(np.pi * (v + np.abs((u % 2) - 1.0) * 0.8)))
    elif style == 2:
        tile = np.abs(np.sin(np.pi * (u + v))) * np.ones_like(u * v)
    else:
        tile = np.abs(np.sin(np.pi * u)) ** 0.5 * np.ones_like(v)
    field = _pattern(rng, tile * 3.0 - 2.0, height, width, rng.uniform(0.1, 0.7))
    return _folded(rng, _grain(rng, "muted" if rng.random() < 0.6 else "any", rng.uniform(0.1, 0.5), field))


def _folded(rng: Rng, picture: np.ndarray) -> np.ndarray:
    """Wide soft shading as of folds."""
    height, width = picture.shape[:2]
    low = shrunk(height, width, 8)
    folds = stretch_field(rng, low[0], low[1], rng.uniform(3, 12), rng.uniform(12, 50)) * np.float32(
        rng.uniform(0.02, 0.25)
    )
    gain = enlarge(cv2.convertScaleAbs(1.0 + folds, alpha=128.0), height, width)
    return cv2.multiply(picture, cv2.merge([gain, gain, gain]), scale=1 / 128.0)


def cardboard(rng: Rng, height: int, width: int) -> np.ndarray:
    """Cardboard: fine fibres, faint corrugation, sometimes a cut edge or a strip of tape."""
    field = draw_field(rng, height, width, 1.6) * np.float32(0.6) + stretch_field(
        rng, height, width, rng.uniform(4, 12), 200
    )
    picture = _grain(rng, "card", rng.uniform(0.03, 0.15), field)
    if rng.random() < 0.5:
        corners = np.array([[-1, -0.15], [1, -0.15], [1, 0.15], [-1, 0.15]]) * max(height, width)
        angle = rng.uniform(0, np.pi)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        band = corners @ turn.T + rng.uniform(0, 1, 2) * (width, height)
        tape = picture.copy()
        cv2.fillPoly(tape, [band.astype(np.int32)], _bytes(draw_colour(rng, "any")), cv2.LINE_AA)
        picture = cv2.addWeighted(picture, 0.4, tape, 0.6, 0)
    return picture


def grass(rng: Rng, height: int, width: int) -> np.ndarray:
    """Grass or leaves: blades as many short strokes over dark green clouds, or leaves as pointed ovals."""
    field = draw_clouds(rng, height, width, rng.uniform(6, 30), 3)
    base = draw_colour(rng, "grass")
    picture = _toned(field, ramp(base * 0.25, np.clip(base * 1.5, 0, 1), base), float(rng.uniform(30, 60)))
    leaves = rng.random() < 0.35
    count = int(rng.integers(10, 60)) if leaves else int(rng.integers(60, 260))
    size = (10 ** rng.uniform(1.2, 1.9)) if leaves else 10 ** rng.uniform(1.0, 1.9)
    places, angles = rng.uniform(0, 1, (count, 2)) * (width, height), rng.uniform(0, 360, count)
    family = "grass" if rng.random() < 0.7 else "earth"
    colours = [_bytes(near(rng, draw_colour(rng, family), 0.3)) for _ in range(12)]
    for k in range(count):
        x, y = (int(v) for v in places[k])
        if leaves:
            cv2.ellipse(
                picture, (x, y), (int(size), int(size * 0.4)), angles[k], 0, 360, colours[k % 12], -1, cv2.LINE_AA
            )
        else:
            way = np.deg2rad(angles[k])
            tip = (int(x + size * np.cos(way)), int(y + size * np.sin(way)))
            cv2.line(picture, (x, y), tip, colours[k % 12], 1 + k % 3, cv2.LINE_AA)
    return picture


def paper(rng: Rng, height: int, width: int) -> np.ndarray:
    """White or coloured paper with a few coarse shapes and rules on it."""
    field = draw_clouds(rng, height, width, rng.uniform(60, 200), 2) + draw_field(rng, height, width, 1.5) * np.float32(
        0.3
    )
    picture = _grain(rng, "white" if rng.random() < 0.7 else "muted", rng.uniform(0.02, 0.08), field)
    for _ in range(int(rng.integers(0, 9))):
        colour, at = _bytes(draw_colour(rng, "any")), rng.uniform(0, 1, 2) * (width, height)
        size = rng.uniform(0.04, 0.4) * max(height, width)
        corners = at + rng.uniform(-1, 1, (int(rng.integers(3, 6)), 2)) * size
        if rng.random() < 0.5:
            cv2.fillPoly(picture, [cv2.convexHull(corners.astype(np.int32))], colour, cv2.LINE_AA)
        else:
            cv2.polylines(picture, [corners.astype(np.int32)], True, colour, int(rng.integers(1, 9)), cv2.LINE_AA)
    return picture


def rubber(rng: Rng, height: int, width: int) -> np.ndarray:
    """A rubber or foam mat: ribs, dots or diamonds pressed in, dark."""
    period = int(rng.integers(8, 60))
    u = np.arange(2 * period)[None, :] / period
    v = np.arange(2 * period)[:, None] / period
    style = int(rng.integers(4))
    if style == 0:
        tile = np.sign(np.sin(np.pi * u)) * np.ones_like(v)
    elif style == 1:
        tile = ((u % 1 - 0.5) ** 2 + (v % 1 - 0.5) ** 2 < rng.uniform(0.03, 0.16)) * 2.0 - 1.0
    elif style == 2:
        tile = np.sign(
            np.abs(np.sin(np.pi * (u + v) / 2)) + np.abs(np.sin(np.pi * (u - v) / 2)) - rng.uniform(0.9, 1.3)
        )
    else:
        tile = np.zeros_like(u * v)
    field = _pattern(rng, cv2.blur(tile.astype(np.float32), (3, 3)), height, width, rng.uniform(0.1, 0.6))
    return _grain(rng, "rubber" if rng.random() < 0.7 else "any", rng.uniform(0.1, 0.5), field)


def gravel(rng: Rng, height: int, width: int) -> np.ndarray:
    """Gravel, earth or chippings: stones of many tones, packed."""
    grain = rng.uniform(8, 40)
    stones = draw_field(rng, height, width, grain)
    tones = draw_clouds(rng, height, width, grain * 2, 2)
    field = tones * np.float32(0.6) - np.exp(-np.abs(stones) * np.float32(4)) * np.float32(2.5) + np.float32(0.5)
    return _grain(rng, "earth" if rng.random() < 0.5 else "stone", rng.uniform(0.3, 0.7), field)


def metal(rng: Rng, height: int, width: int) -> np.ndarray:
    """A bench top or tin: brushed or dented sheet with a wide sheen."""
    field = stretch_field(rng, height, width, 1.2, rng.uniform(20, 200)) * np.float32(0.5)
    field += draw_clouds(rng, height, width, rng.uniform(100, 300), 2) * np.float32(1.2)
    return _grain(rng, str(rng.choice(["steel", "muted", "green", "red"])), rng.uniform(0.1, 0.5), field)


def carpet(rng: Rng, height: int, width: int) -> np.ndarray:
    """Carpet or a lap: curly pile of one colour, folds."""
    field = draw_field(rng, height, width, rng.uniform(2, 7)) + draw_clouds(rng, height, width, 80, 2) * np.float32(0.5)
    return _folded(rng, _grain(rng, "muted" if rng.random() < 0.6 else "any", rng.uniform(0.15, 0.6), field))


def plain(rng: Rng, height: int, width: int) -> np.ndarray:
    """Something far out of focus: two to four colours that flow into each other."""
    low = shrunk(height, width, 16)
    colours = [
        draw_colour(rng, str(rng.choice(["any", "muted", "stone", "grass", "white", "earth", "black"])))
        for _ in range(3)
    ]
    small = _toned(draw_clouds(rng, *low, rng.uniform(8, 40), 2), ramp(colours[0], colours[1], colours[2]), 45.0)
    return enlarge(small, height, width)


GROUNDS: dict[str, tuple[Ground, float]] = {
    "wood": (wood, 0.17),
    "tiles": (tiles, 0.14),
    "concrete": (concrete, 0.13),
    "cloth": (cloth, 0.11),
    "cardboard": (cardboard, 0.06),
    "grass": (grass, 0.09),
    "paper": (paper, 0.07),
    "rubber": (rubber, 0.06),
    "gravel": (gravel, 0.05),
    "metal": (metal, 0.05),
    "carpet": (carpet, 0.04),
    "plain": (plain, 0.08),
}
"""Every ground with the share of pictures that have it."""


def draw_ground(rng: Rng, height: int, width: int) -> np.ndarray:
    """A ground drawn by its share: RGB uint8."""
    shares = np.array([share for _, share in GROUNDS.values()])
    name = str(rng.choice(list(GROUNDS), p=shares / shares.sum()))
    return GROUNDS[name][0](rng, height, width)
