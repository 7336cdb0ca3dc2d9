"""Things that lie about a workshop, and rows of marks that look like text to a machine and are none.

Everything is made of strokes: filled polygons, thick lines and discs, each in one colour. A maker takes the generator
and a size in px and gives strokes about the origin; ``place`` turns and moves them; ``paint`` draws them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from .colours import draw_colour, near

Rng = np.random.Generator
_SHIFT = 4


@dataclass(frozen=True)
class Stroke:
    """One shape in one colour: ``kind`` is ``fill`` (polygon), ``line`` (open) or ``disc`` (points are centres)."""

    kind: str
    points: np.ndarray
    size: float
    colour: tuple[int, int, int]


Strokes = list[Stroke]
Maker = Callable[[Rng, float], Strokes]


def _rgb(colour: np.ndarray) -> tuple[int, int, int]:
    red, green, blue = (int(v) for v in np.clip(colour * 255.0, 0, 255))
    return red, green, blue


def _stroke(kind: str, points: Sequence[Sequence[float]] | np.ndarray, size: float, colour: np.ndarray) -> Stroke:
    return Stroke(kind, np.asarray(points, np.float64).reshape(-1, 2), size, _rgb(colour))


def place(strokes: Strokes, x: float, y: float, angle: float, scale: float = 1.0) -> Strokes:
    """The strokes turned by ``angle`` (radians), scaled, moved to (x, y)."""
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]) * scale
    return [Stroke(s.kind, s.points @ turn + (x, y), s.size * scale, s.colour) for s in strokes]


def paint(picture: np.ndarray, strokes: Strokes, colour: tuple[int, int, int] | None = None) -> None:
    """Draws strokes into an RGB (or, with ``colour`` given, any uint8) picture, in place."""
    for s in strokes:
        ink = s.colour if colour is None else colour
        points = np.round(np.clip(s.points, -4000, 8000) * (1 << _SHIFT)).astype(np.int32)
        if s.kind == "fill":
            cv2.fillPoly(picture, [points], ink, cv2.LINE_AA, _SHIFT)
        elif s.kind == "line":
            cv2.polylines(picture, [points], False, ink, max(1, round(s.size)), cv2.LINE_AA, _SHIFT)
        else:
            for px, py in points:
                cv2.circle(
                    picture, (int(px), int(py)), max(1, round(s.size * (1 << _SHIFT))), ink, -1, cv2.LINE_AA, _SHIFT
                )


def _rounded(points: np.ndarray, thick: float, colour: np.ndarray, light: float) -> Strokes:
    """A tube along points: from its dark edge to a bright line off its middle."""
    way = points[-1] - points[0]
    side = np.array([-way[1], way[0]]) / (np.hypot(*way) + 1e-6)
    steps = ((1.0, 0.45), (0.82, 0.75), (0.6, 1.0), (0.3, 1.0 + 0.3 * light), (0.12, 1.0 + 0.9 * light))
    return [
        _stroke("line", points + side * thick * 0.25 * (1 - w), thick * w, np.clip(colour * tone, 0, 1))
        for w, tone in steps
    ]


def _polygon(sides: int, radius: float, turn: float = 0.0) -> np.ndarray:
    angles = turn + np.arange(sides) * 2 * np.pi / sides
    return np.stack([np.cos(angles), np.sin(angles)], axis=1) * radius


def _star(points: int, outer: float, inner: float) -> np.ndarray:
    angles = np.arange(2 * points) * np.pi / points
    radius = np.where(np.arange(2 * points) % 2 == 0, outer, inner)
    return np.stack([np.cos(angles), np.sin(angles)], axis=1) * radius[:, None]


def _teeth(count: int, radius: float, depth: float, sharp: float) -> np.ndarray:
    """The outline of a toothed disc."""
    turns = np.arange(count)[:, None] + np.array([0.0, 0.5 - sharp, 0.5, 1.0 - sharp * 0.5])[None, :]
    radii = np.broadcast_to(np.array([radius - depth, radius, radius, radius - depth]), turns.shape)
    angles = turns.ravel() * 2 * np.pi / count
    return np.stack([np.cos(angles), np.sin(angles)], axis=1) * radii.ravel()[:, None]


def tube(rng: Rng, size: float) -> Strokes:
    """A straight tube, rod, handle or spoke, shaded round."""
    colour = draw_colour(rng, str(rng.choice(["any", "steel", "black", "wood", "red", "blue"])))
    thick = size * 10 ** rng.uniform(-1.9, -0.5)
    return _rounded(
        np.array([[-size, 0.0], [size * rng.uniform(0, 1.5), 0.0]]), max(2.0, thick), colour, rng.uniform(0, 1)
    )


def cable(rng: Rng, size: float) -> Strokes:
    """A cable or hose in a soft curve."""
    t = np.linspace(-1.6, 1.6, 48)
    bend = rng.normal(0, 0.4, 3)
    y = bend[0] * np.sin(t * rng.uniform(0.8, 2.5) + rng.uniform(0, 6)) + bend[1] * t * t * 0.4 + bend[2] * t * 0.3
    colour = draw_colour(rng, str(rng.choice(["black", "any", "steel", "white", "red", "blue"])))
    thick = max(2.0, size * rng.uniform(0.015, 0.09))
    points = np.stack([t, y], axis=1) * size
    return [
        _stroke("line", points - np.array([0.0, thick * o]), thick * w, colour * c)
        for w, c, o in ((1, 0.5, 0), (0.7, 1, 0.08), (0.2, 1.3, 0.2))
    ]


def screw(rng: Rng, size: float) -> Strokes:
    """A screw or bolt head from above: hexagon, star, cross or slot, some on a washer or with a knurled rim."""
    radius = size * rng.uniform(0.12, 0.3)
    metal = draw_colour(rng, str(rng.choice(["steel", "black", "brass", "warm steel"])))
    out: Strokes = []
    if rng.random() < 0.35:
        out.append(_stroke("disc", [[0, 0]], radius * 1.7, near(rng, metal, 0.3)))
    if rng.random() < 0.3:
        out.append(_stroke("fill", _teeth(int(rng.integers(18, 40)), radius * 1.12, radius * 0.1, 0.2), 0, metal * 0.6))
    body = _polygon(6, radius * 1.1) if rng.random() < 0.25 else _polygon(28, radius)
    out.append(_stroke("fill", body, 0, metal * 0.55))
    out.append(_stroke("fill", body * 0.9, 0, metal))
    out.append(_stroke("disc", [[-radius * 0.15, -radius * 0.2]], radius * 0.6, np.clip(metal * 1.2, 0, 1)))
    dark, deep = metal * rng.uniform(0.05, 0.4), radius * rng.uniform(0.4, 0.62)
    style = int(rng.integers(5))
    if style == 0:
        out.append(_stroke("fill", _polygon(6, deep, rng.uniform(0, 1)), 0, dark))
    elif style == 1:
        out.append(_stroke("fill", _star(6, deep, deep * 0.7), 0, dark))
    elif style == 2:
        out += [_stroke("line", way, radius * 0.2, dark) for way in ([[-deep, 0], [deep, 0]], [[0, -deep], [0, deep]])]
    elif style == 3:
        out.append(_stroke("line", [[-radius, 0], [radius, 0]], radius * 0.22, dark))
    return out


def washer(rng: Rng, size: float) -> Strokes:
    """A washer, nut, coin or ring."""
    radius, metal = (
        size * rng.uniform(0.12, 0.4),
        draw_colour(rng, str(rng.choice(["steel", "brass", "copper", "black"]))),
    )
    body = _polygon(6, radius) if rng.random() < 0.3 else _polygon(36, radius)
    out = [_stroke("fill", body, 0, metal * 0.6), _stroke("fill", body * 0.94, 0, metal)]
    if rng.random() < 0.6:
        out.append(_stroke("disc", [[0, 0]], radius * rng.uniform(0.3, 0.75), draw_colour(rng, "black")))
    else:
        out.append(_stroke("disc", [[0, 0]], radius * rng.uniform(0.6, 0.85), near(rng, metal, 0.15)))
    return out


def spring(rng: Rng, size: float) -> Strokes:
    """A coil spring or thread from the side."""
    turns, thick, length = int(rng.integers(6, 26)), size * rng.uniform(0.08, 0.25), size * rng.uniform(0.6, 1.6)
    x = np.linspace(-length / 2, length / 2, turns * 2)
    points = np.stack([x, np.where(np.arange(turns * 2) % 2 == 0, -thick, thick)], axis=1)
    metal, wire = draw_colour(rng, "steel"), max(1.5, length / turns * rng.uniform(0.2, 0.5))
    return [
        _stroke("line", points, wire, metal * 0.5),
        _stroke("line", points - wire * 0.15, wire * 0.5, np.clip(metal * 1.2, 0, 1)),
    ]


def chain(rng: Rng, size: float) -> Strokes:
    """A row of chain links, straight or bent."""
    count, pitch, bend = int(rng.integers(5, 26)), size * rng.uniform(0.1, 0.28), rng.normal(0, 0.08)
    angles = np.cumsum(np.full(count, bend) * rng.uniform(0, 1.6, count))
    pins = np.cumsum(np.stack([np.cos(angles), np.sin(angles)], axis=1) * pitch, axis=0)
    pins -= pins.mean(axis=0)
    metal, plate = (
        draw_colour(rng, str(rng.choice(["steel", "warm steel", "black", "brass"]))),
        pitch * rng.uniform(0.45, 0.7),
    )
    out: Strokes = []
    for k in range(count - 1):
        tone, wide = (0.65, 0.85) if k % 2 else (1.0, 1.0)
        out.append(_stroke("line", pins[k : k + 2], plate * wide, metal * tone * 0.6))
        out.append(_stroke("line", pins[k : k + 2], plate * wide * 0.8, metal * tone))
    out.append(_stroke("disc", pins, plate * 0.3, metal * 0.45))
    out.append(_stroke("disc", pins - plate * 0.04, plate * 0.2, np.clip(metal * 1.25, 0, 1)))
    return out


def cog(rng: Rng, size: float) -> Strokes:
    """A toothed disc with cut-outs, or only its rim."""
    count, radius = int(rng.integers(11, 53)), size * rng.uniform(0.4, 1.6)
    depth = radius * 3.0 / count
    metal = draw_colour(rng, str(rng.choice(["steel", "black", "warm steel", "gold"])))
    outline = _teeth(count, radius, depth, rng.uniform(0.05, 0.35))
    out = [_stroke("fill", outline, 0, metal * 0.6), _stroke("fill", outline * 0.985, 0, metal)]
    hole = draw_colour(rng, "black")
    if rng.random() < 0.5:
        out.append(_stroke("disc", [[0, 0]], radius * rng.uniform(0.5, 0.8), hole))
    else:
        cuts = int(rng.integers(3, 10))
        out.append(_stroke("disc", _polygon(cuts, radius * 0.6), radius * rng.uniform(0.08, 1.3 / cuts), hole))
        out.append(_stroke("disc", [[0, 0]], radius * rng.uniform(0.1, 0.35), hole))
    return out


def tool(rng: Rng, size: float) -> Strokes:
    """A screwdriver, spanner or bent key."""
    metal, grip = draw_colour(rng, "steel"), draw_colour(rng, "any")
    thick = size * rng.uniform(0.05, 0.14)
    if rng.random() < 0.4:
        elbow = np.array([[-size, 0.0], [size * 0.5, 0.0], [size * 0.6, size * 0.1], [size * 0.6, size * 0.5]])
        return [_stroke("line", elbow, thick, metal * 0.4), _stroke("line", elbow - thick * 0.1, thick * 0.5, metal)]
    shaft = _rounded(np.array([[-size * 1.2, 0.0], [0.0, 0.0]]), thick, metal, 0.6)
    return shaft + _rounded(np.array([[0.0, 0.0], [size * 0.7, 0.0]]), thick * rng.uniform(1.5, 3), grip, 0.4)


def blob(rng: Rng, size: float) -> Strokes:
    """A sticker, rag, leaf or stain: a smooth shape of one colour, or a rounded box."""
    angles = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    wave = np.sum([rng.normal(0, 0.25 / k) * np.cos(k * angles + rng.uniform(0, 6)) for k in range(1, 5)], axis=0)
    radius = size * rng.uniform(0.2, 0.7) * (1.0 + wave)
    points = np.stack([np.cos(angles), np.sin(angles) * rng.uniform(0.4, 1.0)], axis=1) * radius[:, None]
    if rng.random() < 0.4:
        points = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size * rng.uniform(0.1, 0.6, 2)
    colour = draw_colour(rng, "any")
    return [_stroke("fill", points, 0, colour * 0.8), _stroke("fill", points * 0.96, 0, colour)]


def finger(rng: Rng, size: float) -> Strokes:
    """A finger or thumb that reaches in from the left: skin, creases at the joints, a nail on some."""
    skin = draw_colour(rng, "skin")
    thick, reach = size * rng.uniform(0.3, 0.5), size * rng.uniform(0.3, 0.9)
    bend = rng.normal(0, 0.12) * size
    points = np.array([[-size * 4.0, bend * 3], [-size * 0.6, bend], [reach, 0.0]])
    out = _rounded(points, thick, skin, 0.25)
    for x in (-0.1, -0.16, -0.7):
        y = np.linspace(-0.35, 0.35, 7) * thick
        crease = np.stack([x * size + np.cos(y / thick * 3) * thick * 0.08, y], axis=1)
        out.append(_stroke("line", crease, max(1.0, thick * 0.03), skin * 0.65))
    if rng.random() < 0.6:
        nail = _polygon(20, 1.0) * (thick * 0.33, thick * rng.uniform(0.22, 0.32)) + (reach + thick * 0.08, 0.0)
        out.append(_stroke("fill", nail, 0, skin * 0.8))
        out.append(_stroke("fill", nail * (1, 0.9), 0, np.clip(skin * 1.1 + 0.08, 0, 1)))
    return out


def spokes(rng: Rng, size: float) -> Strokes:
    """Wires that fan out from a hub or run side by side, crossing each other."""
    metal, count = draw_colour(rng, str(rng.choice(["steel", "black"]))), int(rng.integers(4, 16))
    thick, spread = max(1.0, size * rng.uniform(0.008, 0.03)), rng.uniform(0.05, 0.5)
    out: Strokes = []
    for k in range(count):
        angle, off = (k - count / 2) * spread * rng.choice((-1, 1)), rng.normal(0, 0.15) * size
        way = np.array([np.cos(angle), np.sin(angle)]) * size * 2
        line = np.stack([(off, k * size * 0.05) - way * 0.1, way + np.array([off, 0.0])])
        out.append(_stroke("line", line, thick, metal * 0.5))
        out.append(_stroke("line", line - thick * 0.15, thick * 0.4, np.clip(metal * 1.3, 0, 1)))
    return out


def rag_shadow(rng: Rng, size: float) -> Strokes:
    """A pointed dark shape, as the shadow of something outside the picture."""
    points = rng.uniform(-1.5, 1.5, (int(rng.integers(3, 5)), 2)) * size
    return [_stroke("fill", cv2.convexHull(points.astype(np.float32))[:, 0], 0, draw_colour(rng, "black"))]


THINGS: dict[str, tuple[Maker, float]] = {
    "tube": (tube, 0.16),
    "cable": (cable, 0.14),
    "screw": (screw, 0.15),
    "washer": (washer, 0.12),
    "spring": (spring, 0.06),
    "chain": (chain, 0.08),
    "cog": (cog, 0.12),
    "tool": (tool, 0.08),
    "finger": (finger, 0.07),
    "spokes": (spokes, 0.05),
    "blob": (blob, 0.07),
    "shadow": (rag_shadow, 0.02),
}
"""Things with the share they are drawn by."""


def draw_thing(rng: Rng, size: float) -> Strokes:
    """One thing of about ``size`` px, about the origin; sometimes several alike side by side."""
    shares = np.array([share for _, share in THINGS.values()])
    name = str(rng.choice(list(THINGS), p=shares / shares.sum()))
    out = THINGS[name][0](rng, size)
    if name in ("tube", "screw", "washer", "finger") and rng.random() < 0.3:
        gap, bow = size * rng.uniform(0.2, 0.7), rng.normal(0, 0.05)
        out = [
            s for k in range(int(rng.integers(2, 6))) for s in place(out, rng.normal(0, gap * 0.1), k * gap, k * bow)
        ]
    return out
