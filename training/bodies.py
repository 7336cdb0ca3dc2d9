"""Outlines of invented parts: plates, arms, cranks, rings, cogs, cages, castings, tubes.

A body is made of solid polygons, holes cut through it, and presses: shapes raised from or sunk into its face. All is in
units of about half the body's length, depths too. Coordinates have y down, as pictures have.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from .colours import draw_colour
from .rows import draw_row_marks

Rng = np.random.Generator


@dataclass(frozen=True)
class Press:
    """Outlines raised (``depth`` above 0) or sunk together; ``soft`` is the width of their flank over their depth."""

    outlines: list[np.ndarray]
    depth: float
    soft: float = 1.0
    colour: np.ndarray | None = None


@dataclass
class Body:
    """A body in its own units; ``arcs`` are circles (x, y, radius) along which writing may run."""

    kind: str
    solids: list[np.ndarray]
    holes: list[np.ndarray] = field(default_factory=list)
    presses: list[Press] = field(default_factory=list)
    arcs: list[tuple[float, float, float]] = field(default_factory=list)
    rounded: float = 0.0
    """Half width of a round section (tubes, arms), 0 for a flat face with a narrow bevel."""


def disc(x: float, y: float, radius: float, sides: int = 40) -> np.ndarray:
    """A circle as a polygon."""
    angles = np.arange(sides) * 2 * np.pi / sides
    return np.stack([x + np.cos(angles) * radius, y + np.sin(angles) * radius], axis=1)


def capsule(start: np.ndarray, end: np.ndarray, first: float, last: float) -> np.ndarray:
    """A bar with round ends of half widths ``first`` and ``last``."""
    way = np.arctan2(*(end - start)[::-1])
    turns = np.linspace(np.pi / 2, 3 * np.pi / 2, 14) + way
    head = start + first * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    tail = end - last * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    return np.concatenate([head, tail])


def smooth(points: np.ndarray, rounds: int, keep: float = 0.25) -> np.ndarray:
    """Corners cut ``rounds`` times: a polygon with rounded corners."""
    for _ in range(rounds):
        after = np.roll(points, -1, axis=0)
        points = np.stack([points * (1 - keep) + after * keep, points * keep + after * (1 - keep)], axis=1).reshape(
            -1, 2
        )
    return points


def band(line: np.ndarray, half: np.ndarray) -> np.ndarray:
    """A bent bar along ``line`` (n × 2) with half widths ``half`` (n), round at both ends."""
    way = np.gradient(line, axis=0)
    way /= np.linalg.norm(way, axis=1, keepdims=True) + 1e-9
    side = np.stack([-way[:, 1], way[:, 0]], axis=1) * half[:, None]
    turns = np.linspace(0, np.pi, 12)[1:-1]
    ends = []
    for at, sign in ((-1, 1.0), (0, -1.0)):
        ahead, out = way[at] * half[at] * sign, side[at] * sign
        ends.append(line[at] + np.cos(turns)[:, None] * out + np.sin(turns)[:, None] * ahead)
    return np.concatenate([line + side, ends[0], (line - side)[::-1], ends[1]])


def toothed(rng: Rng, count: int, radius: float, depth: float) -> np.ndarray:
    """The rim of a cog: teeth pointed, flat or worn to one side."""
    tip, root, lean = rng.uniform(0.1, 0.35), rng.uniform(0.2, 0.4), rng.normal(0, 0.04)
    turns = np.arange(count)[:, None] + np.array(
        [0.0, root, 0.5 + root / 2 - tip / 2 + lean, 0.5 + root / 2 + tip / 2 + lean]
    )
    radii = np.broadcast_to(np.array([radius - depth, radius - depth, radius, radius]), turns.shape)
    angles = turns.ravel() * 2 * np.pi / count
    return np.stack([np.cos(angles), np.sin(angles)], axis=1) * radii.ravel()[:, None]


def screw_presses(rng: Rng, x: float, y: float, radius: float) -> list[Press]:
    """A screw head, usually in a counterbore, with a hexagon, star, cross or slot."""
    metal = draw_colour(rng, str(rng.choice(["steel", "black", "warm steel", "brass"])))
    out = (
        [Press([disc(x, y, radius * rng.uniform(1.1, 1.5))], -radius * rng.uniform(0.1, 0.5), 0.6)]
        if rng.random() < 0.7
        else []
    )
    out.append(Press([disc(x, y, radius)], radius * rng.uniform(0.1, 0.45), rng.uniform(0.5, 1.5), metal))
    deep, turn, style = radius * rng.uniform(0.4, 0.6), rng.uniform(0, np.pi), int(rng.integers(4))
    if style == 0:
        recess = [disc(0, 0, deep, 6)]
    elif style == 1:
        star = disc(0, 0, deep, 12)
        star[1::2] *= 0.7
        recess = [smooth(star, 1)]
    else:
        bar = np.array([[-deep, -radius * 0.09], [deep, -radius * 0.09], [deep, radius * 0.09], [-deep, radius * 0.09]])
        recess = [bar] if style == 2 else [bar, bar[:, ::-1]]
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    out.append(Press([shape @ spin + (x, y) for shape in recess], -radius * rng.uniform(0.3, 0.7), 0.3, metal * 0.35))
    return out


def _hole(rng: Rng, body: Body, at: np.ndarray, radius: float) -> None:
    """A hole, a counterbored hole or a screw at a place of a body."""
    x, y = float(at[0]), float(at[1])
    style = rng.random()
    if style < 0.35:
        body.presses += screw_presses(rng, x, y, radius * rng.uniform(0.8, 1.2))
        return
    if style < 0.65:
        body.presses.append(
            Press([disc(x, y, radius * rng.uniform(1.25, 1.7))], radius * rng.uniform(-0.4, 0.25), rng.uniform(0.3, 1))
        )
    body.holes.append(disc(x, y, radius))


def row_press(rng: Rng, at: np.ndarray, high: float) -> Press:
    """A row of marks that look like text, ``high`` high, pressed into or raised on a face about a place."""
    turn = rng.uniform(0, 2 * np.pi)
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    outlines = [mark @ spin + at for mark in draw_row_marks(rng, high)]
    colour = draw_colour(rng, str(rng.choice(["black", "white"]))) if rng.random() < 0.3 else None
    return Press(outlines, high * rng.uniform(-0.3, 0.25), 0.5, colour)


def plate(rng: Rng) -> Body:
    """A plate with rounded corners and holes, slots and cut-outs."""
    corners = int(rng.integers(3, 8))
    angles = np.sort(rng.uniform(0, 2 * np.pi, corners) * 0.35 + np.arange(corners) * 2 * np.pi / corners)
    radii = rng.uniform(0.7, 1.1, corners)
    points = np.stack([np.cos(angles), np.sin(angles) * rng.uniform(0.35, 1.0)], axis=1) * radii[:, None]
    body = Body("plate", [smooth(points, 3, rng.uniform(0.1, 0.3))])
    for corner in points:
        if rng.random() < 0.5:
            _hole(rng, body, corner * rng.uniform(0.6, 0.7), rng.uniform(0.04, 0.1))
    for _ in range(int(rng.integers(0, 3))):
        at = points[rng.integers(corners)] * rng.uniform(0.1, 0.5)
        way, half = rng.normal(0, 0.15, 2), rng.uniform(0.03, 0.09)
        body.holes.append(capsule(at, at + way, half, half))
    if rng.random() < 0.4:
        inset = smooth(points, 3) * rng.uniform(0.7, 0.9)
        body.presses.append(Press([inset], rng.uniform(-0.05, 0.04), rng.uniform(0.5, 2)))
    return body


def arm(rng: Rng) -> Body:
    """A curved arm, thicker at one end, rounded or flat, with holes at its ends, perhaps a groove along it."""
    t = np.linspace(0, 1, 30)
    bend = rng.normal(0, 0.5)
    line = np.stack([t * 2 - 1, bend * (t - t * t) * 2 + rng.normal(0, 0.3) * t**3], axis=1)
    half = np.interp(t, [0, rng.uniform(0.3, 0.7), 1], rng.uniform(0.12, 0.4, 3))
    body = Body("arm", [band(line, half)], rounded=float(half.min()) if rng.random() < 0.5 else 0.0)
    for end in (0, -1):
        if rng.random() < 0.75:
            _hole(rng, body, line[end], float(half[end]) * rng.uniform(0.3, 0.65))
    if rng.random() < 0.3:
        body.presses.append(
            Press([band(line[5:-5], half[5:-5] * rng.uniform(0.3, 0.6))], rng.uniform(-0.05, 0.03), 1.5)
        )
    return body


def crank(rng: Rng) -> Body:
    """A straight arm between a big and a small boss."""
    start, end = np.array([-1.0, 0.0]), np.array([1.0, 0.0])
    big, small = rng.uniform(0.22, 0.36), rng.uniform(0.14, 0.24)
    shapes = [capsule(start, end, big * rng.uniform(0.6, 1.0), small), disc(-1, 0, big), disc(1, 0, small)]
    body = Body("crank", shapes, rounded=small * 0.9 if rng.random() < 0.4 else 0.0)
    body.presses.append(Press([disc(-1, 0, big * 0.85)], rng.uniform(-0.04, 0.06), 0.6))
    _hole(rng, body, start, big * rng.uniform(0.35, 0.6))
    _hole(rng, body, end, small * rng.uniform(0.3, 0.6))
    if rng.random() < 0.35:
        groove = capsule(np.array([-0.5, 0.0]), np.array([0.6, 0.0]), small * 0.5, small * 0.35)
        body.presses.append(Press([groove], -rng.uniform(0.02, 0.07), 1.0))
    return body


def ring(rng: Rng) -> Body:
    """A toothed ring with bolt tabs inside, whole or a piece of it."""
    count, wide = int(rng.integers(22, 56)), rng.uniform(0.15, 0.42)
    rim, inner = toothed(rng, count, 1.0, rng.uniform(2.0, 4.0) / count), 1.0 - wide
    body = Body("ring", [rim], [disc(0, 0, inner, 90)])
    tabs = int(rng.choice([0, 4, 4, 5, 5, 3]))
    for k in range(tabs):
        angle = 2 * np.pi * (k + 0.25) / tabs
        at, to = (
            np.array([np.cos(angle), np.sin(angle)]) * inner * 0.86,
            np.array([np.cos(angle), np.sin(angle)]) * (inner + 0.06),
        )
        body.solids.append(capsule(at, to, 0.09, 0.14))
        _hole(rng, body, at, rng.uniform(0.035, 0.06))
    if rng.random() < 0.5:
        body.presses.append(Press([disc(0, 0, 1.0 - wide * rng.uniform(0.3, 0.6), 90)], rng.uniform(-0.04, 0.04), 1.0))
    for _ in range(int(rng.integers(0, 5))):
        angle = rng.uniform(0, 2 * np.pi)
        reach = 1.0 - wide * rng.uniform(0.35, 0.6)
        body.presses += screw_presses(rng, reach * np.cos(angle), reach * np.sin(angle), 0.025)[-2:]
    body.arcs += [(0.0, 0.0, 1.0 - wide * share) for share in (0.45, 0.55, 0.65, 0.8)]
    return body


def cog(rng: Rng) -> Body:
    """A cog with cut-outs round a splined hole; sometimes smaller cogs stand on it, as in a stack."""
    count = int(rng.integers(11, 50))
    depth, hub = rng.uniform(2.5, 4.0) / count, rng.uniform(0.18, 0.4)
    body = Body("cog", [toothed(rng, count, 1.0, depth)])
    body.holes.append(toothed(rng, int(rng.integers(6, 14)), hub, hub * rng.uniform(0.05, 0.15)))
    cuts, middle = int(rng.choice([0, 0, 3, 4, 5, 6, 8])), (1.0 - depth + hub) / 2
    size = (1.0 - depth - hub) * rng.uniform(0.12, 0.3)
    for k in range(cuts):
        angle = 2 * np.pi * k / cuts
        body.holes.append(disc(middle * np.cos(angle), middle * np.sin(angle), min(size, 1.6 * middle / cuts)))
    if cuts == 0 and rng.random() < 0.4:
        for share in (0.8, 0.62):
            rim = toothed(rng, max(10, int(count * share)), share, depth)
            body.presses.append(Press([rim], rng.uniform(0.03, 0.1), 0.4))
    body.arcs += [(0.0, 0.0, hub + (1.0 - depth - hub) * share) for share in (0.2, 0.5, 0.7, 0.85)]
    return body


def cage(rng: Rng) -> Body:
    """A long cage plate with slots, and toothed pulleys at both ends."""
    start, end = np.array([-0.9, 0.0]), np.array([0.9, rng.normal(0, 0.15)])
    first, last = rng.uniform(0.2, 0.35), rng.uniform(0.18, 0.33)
    body = Body("cage", [capsule(start, end, first, last)])
    for at, size in ((start, first), (end, last)):
        if rng.random() < 0.7:
            count, radius = int(rng.integers(10, 15)), size * rng.uniform(0.8, 1.15)
            colour = draw_colour(rng, str(rng.choice(["black", "black", "any", "steel"])))
            rim = toothed(rng, count, radius, radius * 0.18) + at
            body.solids.append(rim)
            body.presses.append(Press([rim], -0.05, 0.4, colour))
            body.presses.append(
                Press([disc(float(at[0]), float(at[1]), radius * 0.6)], rng.uniform(0.02, 0.08), 0.4, None)
            )
        body.presses += screw_presses(rng, float(at[0]), float(at[1]), size * rng.uniform(0.2, 0.35))
    for share in rng.uniform(0.35, 0.65, int(rng.integers(0, 3))):
        at, half = start + (end - start) * share, rng.uniform(0.02, 0.09)
        reach = np.array([rng.uniform(0, 0.15), 0.0])
        body.holes.append(capsule(at - reach, at + reach, half, half))
    return body


def casting(rng: Rng) -> Body:
    """A cast body: a smooth lump with ribs, bosses and screws."""
    angles = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    wave = np.sum([rng.normal(0, 0.22 / k) * np.cos(k * angles + rng.uniform(0, 6)) for k in range(1, 6)], axis=0)
    radius = np.clip(0.8 * (1.0 + wave), 0.3, 1.3)
    points = np.stack([np.cos(angles), np.sin(angles) * rng.uniform(0.5, 1.0)], axis=1) * radius[:, None]
    body = Body("casting", [points], rounded=rng.uniform(0.08, 0.4) if rng.random() < 0.6 else 0.0)
    for _ in range(int(rng.integers(0, 4))):
        a, b = points[rng.integers(60)] * 0.75, points[rng.integers(60)] * 0.75
        half = rng.uniform(0.015, 0.05)
        body.presses.append(Press([capsule(a, b, half, half * 0.7)], rng.uniform(0.02, 0.1), rng.uniform(0.5, 1.5)))
    for _ in range(int(rng.integers(1, 4))):
        at = points[rng.integers(60)] * rng.uniform(0.4, 0.75)
        if rng.random() < 0.4:
            body.presses.append(
                Press(
                    [disc(float(at[0]), float(at[1]), rng.uniform(0.1, 0.25))],
                    rng.uniform(0.02, 0.1),
                    rng.uniform(0.5, 2),
                )
            )
        _hole(rng, body, at, rng.uniform(0.05, 0.12))
    return body


def tube(rng: Rng) -> Body:
    """A tube, post or handlebar: a long round bar, perhaps with a collar."""
    half = rng.uniform(0.12, 0.4)
    body = Body(
        "tube", [np.array([[-3, -half], [3, -half * rng.uniform(0.8, 1.1)], [3, half], [-3, half]])], rounded=half
    )
    if rng.random() < 0.5:
        x, wide = rng.uniform(-1, 1), rng.uniform(0.05, 0.4)
        collar = half * rng.uniform(1.0, 1.15)
        body.solids.append(np.array([[x - wide, -collar], [x + wide, -collar], [x + wide, collar], [x - wide, collar]]))
        body.presses.append(Press([body.solids[-1]], rng.uniform(0.01, 0.05), 0.6))
    return body


def slab(rng: Rng) -> Body:
    """A face so near that it fills the picture, with a few details."""
    body = Body("slab", [np.array([[-5, -5], [5, -5], [5, 5], [-5, 5]])])
    if rng.random() < 0.5:
        _hole(rng, body, rng.uniform(-1, 1, 2), rng.uniform(0.08, 0.35))
    if rng.random() < 0.3:
        step = np.array([[-5, -5], [5, -5], [5, rng.uniform(-1, 0)], [-5, rng.uniform(-1, 0)]])
        body.presses.append(Press([step], rng.uniform(-0.1, 0.1), rng.uniform(0.3, 3)))
    return body


BODIES: dict[str, tuple[Callable[[Rng], Body], float]] = {
    "plate": (plate, 0.18),
    "arm": (arm, 0.12),
    "crank": (crank, 0.10),
    "ring": (ring, 0.13),
    "cog": (cog, 0.09),
    "cage": (cage, 0.10),
    "casting": (casting, 0.12),
    "tube": (tube, 0.06),
    "slab": (slab, 0.10),
}
"""Every kind of body with the share of parts that are of it."""


def draw_body(rng: Rng) -> Body:
    """A body drawn by its share."""
    shares = np.array([share for _, share in BODIES.values()])
    return BODIES[str(rng.choice(list(BODIES), p=shares / shares.sum()))][0](rng)
