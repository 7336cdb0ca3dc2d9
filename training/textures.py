"""Surfaces of parts: how metal, paint and plastic are grained, how they shine, what lies on them.

``draw_surface`` gives three maps of one window: relief in pixels (to be added to the part's own height), roughness from
0 (mirror) to 1 (chalk), and a factor for the part's colour, RGB around 1.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import cv2
import numpy as np

from .colours import draw_colour
from .fields import draw_clouds, draw_field, draw_rings, draw_streaks, enlarge, shrunk, soften

Rng = np.random.Generator


class Surface(NamedTuple):
    """The maps of a surface: ``height_map`` px, ``roughness`` 0–1, both h × w; ``albedo`` h × w × 3; all float32."""

    height_map: np.ndarray
    roughness: np.ndarray
    albedo: np.ndarray


class _Base(NamedTuple):
    """A clean surface: relief in px, its roughness, and how strongly relief shades the colour itself."""

    relief: np.ndarray
    roughness: float
    tint: np.ndarray | None = None


def _cast(rng: Rng, height: int, width: int) -> _Base:
    grain = draw_field(rng, height, width, rng.uniform(1.5, 5.0))
    relief = grain * np.float32(10 ** rng.uniform(-1.3, -0.15))
    if rng.random() < 0.5:
        relief += draw_clouds(rng, height, width, rng.uniform(12, 40), 2) * np.float32(rng.uniform(0.3, 1.2))
    return _Base(relief, rng.uniform(0.45, 0.85))


def _orange_peel(rng: Rng, height: int, width: int) -> _Base:
    size = rng.uniform(5.0, 16.0)
    return _Base(
        draw_field(rng, height, width, size) * np.float32(10 ** rng.uniform(-2.0, -0.95) * size), rng.uniform(0.2, 0.6)
    )


def _blasted(rng: Rng, height: int, width: int) -> _Base:
    relief = draw_field(rng, height, width, rng.uniform(1.0, 2.4)) * np.float32(rng.uniform(0.05, 0.3))
    return _Base(relief, rng.uniform(0.55, 0.95))


def _brushed(rng: Rng, height: int, width: int) -> _Base:
    angle, length = rng.uniform(0, 180), 10 ** rng.uniform(1.0, 2.2)
    lines = draw_streaks(rng, height, width, angle, length)
    return _Base(
        lines * np.float32(rng.uniform(0.05, 0.4)), rng.uniform(0.25, 0.6), lines * np.float32(rng.uniform(0, 0.07))
    )


def _turned(rng: Rng, height: int, width: int) -> _Base:
    centre = (rng.uniform(-0.8, 1.8) * width, rng.uniform(-0.8, 1.8) * height)
    rings = draw_rings(rng, height, width, centre, rng.uniform(1.0, 5.0))
    rings = cv2.blur(rings, (3, 3))
    return _Base(
        rings * np.float32(rng.uniform(0.1, 0.6)), rng.uniform(0.2, 0.5), rings * np.float32(rng.uniform(0, 0.06))
    )


def _polished(rng: Rng, height: int, width: int) -> _Base:
    relief = draw_clouds(rng, height, width, rng.uniform(40, 160), 2) * np.float32(rng.uniform(0.2, 1.5))
    return _Base(relief, rng.uniform(0.05, 0.3))


def _anodised(rng: Rng, height: int, width: int) -> _Base:
    relief = draw_field(rng, height, width, rng.uniform(1.0, 2.0)) * np.float32(rng.uniform(0.01, 0.12))
    return _Base(relief, rng.uniform(0.25, 0.7))


def _painted(rng: Rng, height: int, width: int) -> _Base:
    relief = draw_field(rng, height, width, rng.uniform(10, 30)) * np.float32(rng.uniform(0.1, 0.8))
    flakes = draw_field(rng, height, width, 1.4) * np.float32(rng.uniform(0, 0.1)) if rng.random() < 0.4 else None
    return _Base(relief, rng.uniform(0.08, 0.5), flakes)


def _plastic(rng: Rng, height: int, width: int) -> _Base:
    grain = np.maximum(draw_field(rng, height, width, rng.uniform(2.0, 7.0)), np.float32(rng.uniform(-0.6, 0.6)))
    return _Base(grain * np.float32(rng.uniform(0.15, 0.9)), rng.uniform(0.35, 0.8))


def _weave(rng: Rng, height: int, width: int) -> _Base:
    """Two sets of bands that pass over and under each other, as in cloth of carbon."""
    period = int(rng.integers(6, 26))
    steps = np.arange(4 * period)
    warp = ((steps[:, None] // period + steps[None, :] // period) % 4 < 2).astype(np.float32)
    across = np.abs(np.sin(np.pi * steps / period)).astype(np.float32)
    tile = np.where(warp > 0, across[None, :], across[:, None]).astype(np.float32)
    tone = np.where(warp > 0, 1.0, -1.0).astype(np.float32)
    turn = cv2.getRotationMatrix2D((0, 0), float(rng.uniform(0, 180)), float(rng.uniform(0.6, 1.2)))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    reach = int(np.hypot(height, width)) // tile.shape[0] + 2
    sheet = np.tile(np.dstack([tile, tone]), (reach, reach, 1))
    turn[:, 2] = sheet.shape[0] * 0.5
    turn[:, 2] -= turn[:, :2] @ np.array([width / 2, height / 2])
    bent = cv2.warpAffine(sheet, turn, (width, height), flags=flags, borderMode=cv2.BORDER_REFLECT)
    tint = bent[..., 1] * np.float32(rng.uniform(0.05, 0.35))
    return _Base(bent[..., 0] * np.float32(rng.uniform(0.1, 1.0)), rng.uniform(0.08, 0.4), tint)


def _knurled(rng: Rng, height: int, width: int) -> _Base:
    """A diamond or straight knurl: waves of two directions, the higher one wins."""
    period, angle = rng.uniform(5, 14), rng.uniform(0, np.pi)
    x, y = np.arange(width, dtype=np.float32)[None, :], np.arange(height, dtype=np.float32)[:, None]
    relief = np.zeros((height, width), np.float32)
    for turn in (0.0, rng.uniform(0.6, 1.6))[: int(rng.integers(1, 3))]:
        kx, ky = 2 * np.pi / period * np.cos(angle + turn), 2 * np.pi / period * np.sin(angle + turn)
        cx, sx, cy, sy = np.cos(kx * x), np.sin(kx * x), np.cos(ky * y), np.sin(ky * y)
        relief += (cx * cy - sx * sy).astype(np.float32)
    return _Base(relief * np.float32(rng.uniform(0.3, 1.2)), rng.uniform(0.3, 0.6))


_BASES: dict[str, tuple[Callable[[Rng, int, int], _Base], float]] = {
    "cast": (_cast, 0.18),
    "orange_peel": (_orange_peel, 0.10),
    "blasted": (_blasted, 0.16),
    "brushed": (_brushed, 0.16),
    "turned": (_turned, 0.08),
    "polished": (_polished, 0.08),
    "anodised": (_anodised, 0.10),
    "painted": (_painted, 0.06),
    "plastic": (_plastic, 0.05),
    "weave": (_weave, 0.02),
    "knurled": (_knurled, 0.01),
}
SURFACES = tuple(_BASES)
"""The kinds of surface that ``draw_surface`` knows."""


def draw_surface(rng: Rng, height: int, width: int, kind: str | None = None) -> Surface:
    """A surface of the window's size; ``kind`` one of ``SURFACES``, drawn by its share when None.

    Wear and dirt are drawn on top: blotches, scratches, smears, dust, fingerprints. Raises KeyError for other kinds.
    """
    if kind is None:
        shares = np.array([share for _, share in _BASES.values()])
        kind = str(rng.choice(SURFACES, p=shares / shares.sum()))
    base = _BASES[kind][0](rng, height, width)
    relief = np.ascontiguousarray(base.relief, np.float32)
    tone = np.ones((height, width), np.float32) if base.tint is None else base.tint + np.float32(1.0)
    plain = base.tint is None
    low = shrunk(height, width, 4)
    rough = np.full(low, base.roughness, np.float32)
    rough += draw_clouds(rng, low[0], low[1], rng.uniform(8, 60), 2) * np.float32(rng.uniform(0, 0.08))
    stain = np.ones((*low, 3), np.float32) * rng.uniform(0.97, 1.03, 3).astype(np.float32)
    if rng.random() < 0.7:
        _cloud(rng, stain)
    for share, wear in ((0.12, _rust), (0.4, _dirt), (0.25, _grease), (0.1, _fingerprint)):
        if rng.random() < share:
            wear(rng, stain, rough)
    for share, marks in ((0.55, _scratch), (0.25, _dust)):
        if rng.random() < share:
            marks(rng, relief, tone)
            plain = False
    albedo = enlarge(np.maximum(stain, np.float32(0.02)), height, width)
    if not plain:
        albedo = cv2.multiply(albedo, cv2.merge([tone := np.maximum(tone, np.float32(0.05)), tone, tone]))
    roughness = enlarge(np.clip(rough, 0.03, 1.0), height, width)
    return Surface(relief, roughness, albedo)


def _cloud(rng: Rng, stain: np.ndarray) -> None:
    """Wide uneven colour, light against dark."""
    clouds = draw_clouds(rng, stain.shape[0], stain.shape[1], rng.uniform(15, 90), 3) * np.float32(
        rng.uniform(0.01, 0.08)
    )
    stain *= 1.0 + clouds[..., None]


def _patch(rng: Rng, size: tuple[int, int], cover: float) -> np.ndarray:
    """A soft-edged share 0–1 of blotches that cover about ``cover`` of the window."""
    clouds = draw_clouds(rng, size[0], size[1], rng.uniform(8, 50), 3)
    edge = np.float32(10 ** rng.uniform(-0.7, 0.4))
    threshold = np.float32(np.quantile(clouds[::4, ::4], 1.0 - cover))
    return np.clip((clouds - threshold) / edge, 0.0, 1.0)


def _rust(rng: Rng, stain: np.ndarray, rough: np.ndarray) -> None:
    """Oxide: blotches of brown, or white on aluminium, that dull the surface."""
    colour = draw_colour(rng, "copper" if rng.random() < 0.7 else "white") * np.float32(rng.uniform(0.6, 1.2))
    share = _patch(rng, rough.shape, rng.uniform(0.05, 0.4)) * np.float32(rng.uniform(0.3, 0.9))
    stain += (colour - stain) * share[..., None]
    rough += (np.float32(0.9) - rough) * share


def _dirt(rng: Rng, stain: np.ndarray, rough: np.ndarray) -> None:
    """Dark blobs with soft edges, alone or in a group, some of them long."""
    height, width = rough.shape
    layer = np.zeros((height, width), np.uint8)
    for _ in range(int(rng.integers(1, 9))):
        at = (int(rng.uniform(0, width)), int(rng.uniform(0, height)))
        size = 10 ** rng.uniform(0.3, 1.35) * max(height, width) / 192
        axes = (max(1, int(size)), max(1, int(size * rng.uniform(0.3, 1.0))))
        cv2.ellipse(layer, at, axes, float(rng.uniform(0, 180)), 0, 360, int(rng.integers(90, 256)), -1)
    soft = soften(layer, float(rng.uniform(0.8, 6.0))).astype(np.float32) / 255.0
    soft *= np.clip(1.0 + draw_field(rng, height, width, 6.0) * np.float32(0.35), 0.0, 1.3)
    share = np.clip(soft, 0.0, 1.0) * np.float32(rng.uniform(0.2, 0.92))
    stain += (draw_colour(rng, "earth" if rng.random() < 0.4 else "black") - stain) * share[..., None]
    rough += (np.float32(rng.uniform(0.2, 0.9)) - rough) * share


def _grease(rng: Rng, stain: np.ndarray, rough: np.ndarray) -> None:
    """A smear: darker and shinier, drawn out in one direction."""
    height, width = rough.shape
    streaks = draw_streaks(rng, height, width, rng.uniform(0, 180), rng.uniform(10, 60))
    share = _patch(rng, rough.shape, rng.uniform(0.1, 0.5)) * np.clip(0.7 + 0.4 * streaks, 0.0, 1.0)
    dark = rng.uniform(0.03, 0.45) * rng.uniform(0.75, 1.0, 3)
    stain *= 1.0 - share[..., None] * dark.astype(np.float32)
    rough += (np.float32(rng.uniform(0.08, 0.35)) - rough) * share


def _fingerprint(rng: Rng, stain: np.ndarray, rough: np.ndarray) -> None:
    """Whorls of dull, slightly darker lines within an oval."""
    height, width = rough.shape
    centre = (rng.uniform(0.1, 0.9) * width, rng.uniform(0.1, 0.9) * height)
    bend = draw_clouds(rng, height, width, 40, 2) * np.float32(rng.uniform(2, 8))
    x = np.arange(width, dtype=np.float32)[None, :] - np.float32(centre[0])
    y = (np.arange(height, dtype=np.float32)[:, None] - np.float32(centre[1])) * np.float32(rng.uniform(0.6, 1.0))
    radius = np.sqrt(x * x + y * y) + bend
    size = rng.uniform(0.08, 0.2) * max(height, width)
    inside = np.clip((np.float32(size) - radius) / np.float32(0.3 * size), 0.0, 1.0)
    lines = (np.sin(radius * np.float32(2 * np.pi / rng.uniform(2.2, 4.0))) * 0.5 + 0.5) * inside
    stain *= 1.0 - lines[..., None] * np.float32(rng.uniform(0.02, 0.1))
    rough += lines * np.float32(rng.uniform(0.05, 0.3))


def _scratch(rng: Rng, relief: np.ndarray, tone: np.ndarray) -> None:
    """Scratches: straight or slightly bent, many fine ones or a few deep ones, bright or dark; in bundles too."""
    height, width = relief.shape
    layer = np.zeros((height, width), np.uint8)
    bundle, direction = rng.random() < 0.5, rng.uniform(0, np.pi)
    for _ in range(int(10 ** rng.uniform(0.2, 1.6))):
        angle = direction + rng.normal(0, 0.15) if bundle else rng.uniform(0, np.pi)
        length = 10 ** rng.uniform(1.0, 2.6)
        start = rng.uniform(-0.1, 1.1, 2) * (width, height)
        way = np.array([np.cos(angle), np.sin(angle)]) * length
        points = np.stack([start, start + way / 2 + rng.normal(0, length * 0.03, 2), start + way])
        depth, thick = int(rng.integers(40, 256)), 1 if rng.random() < 0.85 else int(rng.integers(2, 4))
        cv2.polylines(layer, [np.round(points * 8).astype(np.int32)], False, depth, thick, cv2.LINE_AA, 3)
    cuts = layer.astype(np.float32) * np.float32(1 / 255)
    relief -= cuts * np.float32(rng.uniform(0.1, 1.5))
    tone += cuts * np.float32(rng.uniform(-0.35, 0.45))


def _dust(rng: Rng, relief: np.ndarray, tone: np.ndarray) -> None:
    """Specks, and a few short hairs."""
    height, width = relief.shape
    specks = draw_field(rng, height, width, rng.uniform(1.0, 2.5)) > rng.uniform(2.6, 3.6)
    tone[specks] += np.float32(rng.uniform(-0.5, 0.6))
    relief[specks] += np.float32(rng.uniform(-1.0, 1.0))
