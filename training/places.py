"""Free places for writing on a part: rectangles at any angle and bands along arcs, found from a map of distances.

A rectangle of half height h is free where every place of its middle line is at least h from the nearest edge: each of
its points then lies within such a circle about a place of the middle line.
"""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np

Rng = np.random.Generator
Arc = tuple[float, float, float]
ROOM_SHRINK = 4
"""How much smaller than the window the map of distances is."""
LEAST_HEIGHT_PX = 10.0
LEAST_RATIO = 1.5
MOST_PLACES = 12


class Place(NamedTuple):
    """A free band: its middle (x, y) and size in px; the writing runs along ``angle`` (degrees, 0 right, 90 down).

    ``radius`` is 0 for a rectangle. Otherwise the middle line is an arc through (x, y) whose tangent is ``angle``; its
    centre lies at (x, y) + radius × (−sin angle, cos angle): below the letters where positive (writing arched up),
    above them where negative; ``length`` is measured along the middle line.
    """

    x: float
    y: float
    angle: float
    length: float
    height: float
    radius: float = 0.0


def outline_of(place: Place, steps: int = 16) -> np.ndarray:
    """The outline of a place in window px: 4 corners, or a bent band of ``2 * steps`` points."""
    way = np.deg2rad(place.angle)
    along, down = np.array([np.cos(way), np.sin(way)]), np.array([-np.sin(way), np.cos(way)])
    half, middle = place.height / 2, np.array([place.x, place.y])
    if place.radius == 0.0:
        ends = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (place.length / 2, half)
        return middle + ends[:, :1] * along + ends[:, 1:] * down
    turns = np.linspace(-0.5, 0.5, steps) * place.length / place.radius
    rays = np.sin(turns)[:, None] * along - np.cos(turns)[:, None] * down
    centre = middle + place.radius * down
    return np.concatenate([centre + rays * (place.radius + half), (centre + rays * (place.radius - half))[::-1]])


def straight(place: Place) -> Place:
    """A rectangle that lies wholly within a bent place, at least half as high; a rectangle is given back as it is."""
    if place.radius == 0.0:
        return place
    radius, half = abs(place.radius), place.height / 2
    inner, outer = radius - half, radius + half
    reach = min(place.length / radius / 2, 1.2)
    wide = min(np.sqrt(outer**2 - radius**2), inner * np.tan(reach))
    top = float(np.sqrt(outer**2 - wide**2))
    way, inward = np.deg2rad(place.angle), np.sign(place.radius) * (radius - (top + inner) / 2)
    x, y = place.x - np.sin(way) * inward, place.y + np.cos(way) * inward
    return Place(float(x), float(y), place.angle, float(2 * wide), top - inner)


def find_places(room: np.ndarray, arcs: tuple[Arc, ...], axis: float, rng: Rng) -> list[Place]:
    """Free places from a map of distances in px (``ROOM_SHRINK`` times smaller than the window), biggest first.

    ``axis`` (degrees) is a direction that half of the rectangles follow, either way or across.
    """
    found = _rectangles(room, axis, rng)
    for arc in arcs:
        found += _bands(room, arc, rng)
    found.sort(key=lambda place: place.length * place.height, reverse=True)
    used, kept = np.zeros(room.shape, np.uint8), []
    for place in found:
        if used[int(place.y / ROOM_SHRINK), int(place.x / ROOM_SHRINK)]:
            continue
        layer = np.zeros(room.shape, np.uint8)
        cv2.fillPoly(layer, [np.round(outline_of(place) / ROOM_SHRINK).astype(np.int32)], (1,))
        if not (layer & used).any():
            used |= layer
            kept.append(place)
            if len(kept) == MOST_PLACES:
                break
    return kept


def _angles(axis: float, rng: Rng, count: int) -> np.ndarray:
    """Directions to try: along or across the part's own axis, or any."""
    own = axis + 90.0 * rng.choice(4, count, p=[0.35, 0.15, 0.35, 0.15]) + rng.normal(0, 2.0, count)
    return np.where(rng.random(count) < 0.5, own, rng.uniform(0, 360, count)) % 360.0


def _rectangles(room: np.ndarray, axis: float, rng: Rng) -> list[Place]:
    """Rectangles about places with much room, as long as their height allows."""
    rows, columns = np.nonzero(room >= LEAST_HEIGHT_PX / 2)
    if len(rows) == 0:
        return []
    weight = room[rows, columns]
    picks = rng.choice(len(rows), size=36, p=weight / weight.sum())
    best = int(np.argmax(weight))
    picks[:6] = best
    angles = np.deg2rad(_angles(axis, rng, len(picks)))
    starts = np.stack([columns[picks], rows[picks]], axis=1).astype(np.float64)
    reach = int(np.hypot(*room.shape)) + 1
    steps = np.arange(-reach, reach + 1)
    x = np.rint(starts[:, :1] + steps * np.cos(angles)[:, None]).astype(np.int32)
    y = np.rint(starts[:, 1:] + steps * np.sin(angles)[:, None]).astype(np.int32)
    inside = (x >= 0) & (y >= 0) & (x < room.shape[1]) & (y < room.shape[0])
    line = np.where(inside, room[np.clip(y, 0, room.shape[0] - 1), np.clip(x, 0, room.shape[1] - 1)], -1.0)
    found: list[Place] = []
    for share in (1.0, 0.7, 0.45, 0.25):
        half = np.maximum(weight[picks] * share * rng.uniform(0.8, 1.0, len(picks)), LEAST_HEIGHT_PX / 2)
        clear = line >= half[:, None]
        before = np.argmin(clear[:, reach::-1], axis=1) - 1
        after = np.argmin(clear[:, reach:], axis=1) - 1
        length, shift = (before + after) * ROOM_SHRINK, (after - before) / 2
        for k in np.nonzero(length >= LEAST_RATIO * 2 * half)[0]:
            at = (starts[k] + shift[k] * np.array([np.cos(angles[k]), np.sin(angles[k])]) + 0.5) * ROOM_SHRINK
            angle = float(np.rad2deg(angles[k]))
            found.append(Place(float(at[0]), float(at[1]), angle, float(length[k]), float(2 * half[k])))
    return found


def _bands(room: np.ndarray, arc: Arc, rng: Rng) -> list[Place]:
    """Bands along one circle: at each height, the longest free run of it, split where it is more than half a turn."""
    count = 180
    turns = (np.arange(count) + rng.uniform(0, 1)) * 2 * np.pi / count
    x = np.floor((arc[0] + arc[2] * np.cos(turns)) / ROOM_SHRINK).astype(np.int32)
    y = np.floor((arc[1] + arc[2] * np.sin(turns)) / ROOM_SHRINK).astype(np.int32)
    inside = (x >= 0) & (y >= 0) & (x < room.shape[1]) & (y < room.shape[0])
    line = np.where(inside, room[np.clip(y, 0, room.shape[0] - 1), np.clip(x, 0, room.shape[1] - 1)], -1.0)
    most, found = float(line.max()), []
    for share in (0.9, 0.6, 0.35):
        half = min(most * share, arc[2] * 0.45)
        if half < LEAST_HEIGHT_PX / 2:
            break
        first, length = _longest_run(line >= half)
        length = min(length, int(count * rng.uniform(0.2, 0.5)))
        turn = turns[0] + (first + (length - 1) / 2) * 2 * np.pi / count
        along = (length - 1) * 2 * np.pi / count * arc[2]
        if along < LEAST_RATIO * 2 * half:
            continue
        out = rng.random() < 0.6
        at = (arc[0] + arc[2] * np.cos(turn), arc[1] + arc[2] * np.sin(turn))
        angle = float(np.rad2deg(turn) + (90.0 if out else -90.0)) % 360.0
        found.append(
            Place(float(at[0]), float(at[1]), angle, float(along), float(2 * half), arc[2] if out else -arc[2])
        )
    return found


def _longest_run(clear: np.ndarray) -> tuple[int, int]:
    """Start and length of the longest run of True round a circle."""
    count = len(clear)
    if clear.all():
        return 0, count
    start = int(np.argmin(clear))
    best, run = (0, 0), 0
    for k in range(1, count + 1):
        if clear[(start + k) % count]:
            run += 1
            if run > best[1]:
                best = ((start + k - run + 1) % count, run)
        else:
            run = 0
    return best
