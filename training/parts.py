"""Parts that codes stand on: where they are in the window, their relief, colour and free faces."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .bodies import Body, Press, draw_body, row_press
from .colours import draw_part_colour
from .fields import draw_clouds, enlarge, shrunk, soften
from .places import ROOM_SHRINK, Arc, Place, find_places

__all__ = ["Part", "Place", "draw_part", "flat_places"]

Rng = np.random.Generator
_SHIFT = 4
_PREVIEW = 64
SMALLEST_SHARE, LARGEST_SHARE = 0.25, 1.0
"""The share of the window that a part covers."""


@dataclass(frozen=True)
class Part:
    """One part in one window.

    ``mask`` h × w, 0–1, soft at the edges and in holes; ``height_map`` h × w, px towards the viewer, 0 at the outer
    edge; ``albedo`` h × w × 3, RGB 0–1; ``room`` the distance in px from each place to the nearest edge or detail, 4
    times smaller; ``arcs`` circles (x, y, radius; px) along which writing may run; ``axis`` the part's own direction in
    degrees.
    """

    mask: np.ndarray
    height_map: np.ndarray
    albedo: np.ndarray
    kind: str
    room: np.ndarray
    arcs: tuple[Arc, ...]
    axis: float


@dataclass(frozen=True)
class _Pose:
    """How a body lies in the window: turned, scaled (px per unit), moved."""

    turn: np.ndarray
    scale: float
    anchor: np.ndarray
    at: np.ndarray

    def of(self, points: np.ndarray) -> np.ndarray:
        """Points of the body in window px."""
        return (points - self.anchor) @ self.turn * self.scale + self.at


_IN_PLACE = _Pose(np.eye(2), 1.0, np.zeros(2), np.zeros(2))
"""The pose of what is already in window px."""


def _fixed(points: np.ndarray, factor: float = 1.0) -> np.ndarray:
    """Points as the fixed-point integers that OpenCV draws, kept within its range."""
    return np.round(np.clip(points * factor, -6000, 12000) * (1 << _SHIFT)).astype(np.int32)


def _fill(layer: np.ndarray, outline: np.ndarray, value: int, factor: float = 1.0) -> None:
    cv2.fillPoly(layer, [_fixed(outline, factor)], (value,), cv2.LINE_AA, _SHIFT)


def _anchor(rng: Rng, body: Body) -> np.ndarray:
    """A place on the body well away from its edges, to be put near the middle of the window."""
    layer = np.zeros((96, 96), np.uint8)
    for outline in body.solids:
        _fill(layer, outline + 1.2, 255, 40.0)
    for outline in body.holes:
        _fill(layer, outline + 1.2, 0, 40.0)
    room = cv2.distanceTransform((layer > 128).astype(np.uint8), cv2.DIST_L2, 3)
    rows, columns = np.nonzero(room >= max(0.4, rng.uniform(0.2, 0.9) * float(room.max())))
    if len(rows) == 0:
        return np.zeros(2)
    pick = int(rng.integers(len(rows)))
    return np.array([columns[pick], rows[pick]]) / 40.0 - 1.2


def _pose(rng: Rng, body: Body, height: int, width: int) -> _Pose:
    """A pose in which the body covers a share of the window drawn at random, found by halving."""
    angle = rng.uniform(0, 2 * np.pi)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    anchor, at = _anchor(rng, body), rng.uniform(0.25, 0.75, 2) * (width, height)
    side = max(height, width)
    # A ring or cog that fills the window would show two or three giant teeth.
    most = 0.6 if body.kind in ("ring", "cog") and rng.random() < 0.8 else LARGEST_SHARE
    wanted = rng.uniform(SMALLEST_SHARE * 1.12, most)
    low, high = np.log(side * 0.1), np.log(side * 6.0)
    for _ in range(9):
        middle = (low + high) / 2
        if _share(_Pose(turn, float(np.exp(middle)), anchor, at), body, height, width) < wanted:
            low = middle
        else:
            high = middle
    return _Pose(turn, float(np.exp(high)), anchor, at)


def _share(pose: _Pose, body: Body, height: int, width: int) -> float:
    """The share of the window that a body covers in a pose, from a small preview."""
    factor = _PREVIEW / max(height, width)
    layer = np.zeros((max(1, round(height * factor)), max(1, round(width * factor))), np.uint8)
    for outline in body.solids:
        _fill(layer, pose.of(outline), 255, factor)
    for outline in body.holes:
        _fill(layer, pose.of(outline), 0, factor)
    return float(layer.mean()) / 255.0


def draw_part(rng: Rng, height: int, width: int) -> Part:
    """One part that covers a quarter to the whole of a window, at any angle; the same state gives the same part."""
    body = draw_body(rng)
    pose = _pose(rng, body, height, width)
    layer = np.zeros((height, width), np.uint8)
    for outline in body.solids:
        _fill(layer, pose.of(outline), 255)
    for outline in body.holes:
        _fill(layer, pose.of(outline), 0)
    relief = _relief(rng, body, pose, layer)
    colour = draw_part_colour(rng)
    albedo = cv2.merge([np.full((height, width), c, np.float32) for c in colour])
    bevel = float(rng.uniform(0.0, 0.015) * max(height, width))
    taken = np.zeros(shrunk(height, width, ROOM_SHRINK), np.uint8)
    for press in body.presses:
        _press(press, pose, relief, albedo, taken)
    for press in _rows(rng, layer):
        _press(press, _IN_PLACE, relief, albedo, taken)
    free = cv2.resize(layer, taken.shape[::-1], interpolation=cv2.INTER_AREA) == 255
    free = np.pad((free & (taken == 0)).astype(np.uint8), 1)
    room = cv2.distanceTransform(free, cv2.DIST_L2, 5)[1:-1, 1:-1] * np.float32(ROOM_SHRINK) - np.float32(
        2 * ROOM_SHRINK + bevel
    )
    arcs = tuple(_arc(pose, arc) for arc in body.arcs)
    axis = float(np.rad2deg(np.arctan2(pose.turn[0, 1], pose.turn[0, 0])))
    return Part(layer.astype(np.float32) * np.float32(1 / 255), relief, albedo, body.kind, room, arcs, axis)


def _rows(rng: Rng, layer: np.ndarray) -> list[Press]:
    """Rows of marks that look like text, in window px, on a third of the parts: one row or a few."""
    height, width = layer.shape
    out: list[Press] = []
    for _ in range(int(rng.choice((0, 1, 2, 3), p=(0.66, 0.2, 0.09, 0.05)))):
        at = rng.uniform(0.05, 0.95, 2) * (width, height)
        if layer[int(at[1]), int(at[0])] > 0:
            out.append(row_press(rng, at, max(height, width) * 10 ** rng.uniform(-2.0, -1.05)))
    return out


def _arc(pose: _Pose, arc: Arc) -> Arc:
    """A circle of the body in window px."""
    x, y = pose.of(np.array([arc[:2]]))[0]
    return float(x), float(y), arc[2] * pose.scale


def _relief(rng: Rng, body: Body, pose: _Pose, layer: np.ndarray) -> np.ndarray:
    """The face of a body: round across, or flat with a bevel, a rounding or a chamfer at the edges; a little uneven."""
    height, width = layer.shape
    side = max(height, width)
    wide = min(body.rounded * pose.scale, 0.6 * side) if body.rounded else side * 10 ** rng.uniform(-2.6, -1.3)
    shrink = 1 if wide < 12 else 2 if wide < 40 else 4
    low = shrunk(height, width, shrink)
    inside = (layer if shrink == 1 else cv2.resize(layer, low[::-1], interpolation=cv2.INTER_AREA)) > 127
    # The window's edge is no edge of the part: what is cut off there goes on outside.
    depth = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 5)
    share = np.minimum(depth * np.float32(shrink / max(wide, 1.0)), 1.0)
    if body.rounded or rng.random() < 0.6:
        share = np.sqrt(np.maximum(share * (2.0 - share), 0.0))
    relief = share * np.float32(wide * rng.uniform(0.4, 1.0))
    if body.rounded:
        relief = soften(relief, max(0.8, wide / shrink * 0.06))
    if rng.random() < 0.6:
        relief += draw_clouds(rng, *low, max(low) * rng.uniform(0.2, 0.6), 2) * np.float32(rng.uniform(0, 0.012) * side)
    return relief if shrink == 1 else enlarge(relief, height, width)


def _press(press: Press, pose: _Pose, relief: np.ndarray, albedo: np.ndarray, taken: np.ndarray) -> None:
    """Raises or sinks the outlines of one press, colours them, and marks their place as taken."""
    outlines = [pose.of(outline) for outline in press.outlines]
    flank = float(np.clip(abs(press.depth) * pose.scale * press.soft, 0.7, 24.0))
    window = _window(outlines, flank, relief.shape)
    if window is None:
        return
    rows, columns = window
    layer = np.zeros((rows.stop - rows.start, columns.stop - columns.start), np.uint8)
    for outline in outlines:
        _fill(layer, outline - (columns.start, rows.start), 255)
        edge = _fixed(outline, 1 / ROOM_SHRINK)
        cv2.polylines(taken, [edge], True, (255,), 2, cv2.LINE_8, _SHIFT)
        if _area(outline) < 0.04 * relief.size or press.colour is not None:
            cv2.fillPoly(taken, [edge], (255,), cv2.LINE_8, _SHIFT)
    share = soften(layer, flank * 0.5).astype(np.float32) * np.float32(1 / 255)
    relief[window] += share * np.float32(np.clip(press.depth * pose.scale, -30.0, 30.0))
    if press.colour is not None:
        cover = layer.astype(np.float32)[..., None] * np.float32(1 / 255)
        albedo[window] += (press.colour - albedo[window]) * cover


def _area(outline: np.ndarray) -> float:
    return float(cv2.contourArea(outline.astype(np.float32)))


def _window(outlines: list[np.ndarray], flank: float, size: tuple[int, ...]) -> tuple[slice, slice] | None:
    """The rows and columns that outlines with soft flanks reach, within the window; None where there are none."""
    every = np.concatenate(outlines)
    left, top = (int(v) for v in np.floor(every.min(axis=0) - 2 * flank - 1))
    right, bottom = (int(v) for v in np.ceil(every.max(axis=0) + 2 * flank + 2))
    top, bottom, left, right = max(top, 0), min(bottom, size[0]), max(left, 0), min(right, size[1])
    if top >= bottom or left >= right:
        return None
    return slice(top, bottom), slice(left, right)


def flat_places(part: Part, rng: Rng) -> list[Place]:
    """Free places for lines of text on a part, biggest first, none over another; may be empty on a crowded part."""
    return find_places(part.room, part.arcs, part.axis, rng)
