"""Rows of marks that a careless eye takes for text: holes, slots, ticks, teeth, dots, hatching, screw heads in line.

None of them is a letter or digit. ``draw_row`` gives strokes for pictures; ``draw_row_marks`` gives bare outlines that
parts press into their relief.
"""

from __future__ import annotations

import numpy as np

from .clutter import Stroke, Strokes, place, screw
from .colours import draw_colour

Rng = np.random.Generator
ROWS = ("holes", "dots", "slots", "ticks", "teeth", "hatch", "zigzag", "bars", "squares", "chevrons", "double")
"""The kinds of row."""


def draw_row_marks(rng: Rng, height_px: float, kind: str | None = None) -> list[np.ndarray]:
    """The marks of one row along x about the origin, each a closed outline (n × 2, px), about ``height_px`` high."""
    kind = kind or str(rng.choice(ROWS))
    count, high = int(rng.integers(4, 15)), height_px / 2
    step = height_px * rng.uniform(0.45, 1.2)
    lean = rng.uniform(-0.5, 0.5)
    x = (np.arange(count) - (count - 1) / 2) * step
    return [
        outline + np.array([at, 0.0]) for k, at in enumerate(x) for outline in _mark(rng, kind, k, high, step, lean)
    ]


def _box(wide: float, high: float, lean: float = 0.0, down: float = 0.0) -> np.ndarray:
    x = np.array([-wide, wide, wide, -wide]) + lean * high * np.array([1, 1, -1, -1])
    return np.stack([x, np.array([-high, -high, high, high]) + down], axis=1)


def _oval(wide: float, high: float, down: float = 0.0) -> np.ndarray:
    angles = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    return np.stack([np.cos(angles) * wide, np.sin(angles) * high + down], axis=1)


def _mark(rng: Rng, kind: str, k: int, high: float, step: float, lean: float) -> list[np.ndarray]:
    """The outlines of the k-th mark of a row, about the origin."""
    thin = step * 0.14
    shapes = {
        "holes": lambda: [_oval(step * 0.33, min(high, step * 0.33))],
        "dots": lambda: [_oval(step * 0.2, step * 0.2, row * step * 0.7) for row in (-0.5, 0.5)],
        "slots": lambda: [_box(step * 0.22, high, lean)],
        "ticks": lambda: [
            _box(thin * 0.6, high * (1.0, 0.5, 0.5, 0.5, 0.7)[k % 5], 0.0, -high * (0.0, 0.5, 0.5, 0.5, 0.3)[k % 5])
        ],
        "teeth": lambda: [
            np.array([[-step * 0.45, high], [-step * 0.15, -high], [step * 0.15, -high], [step * 0.45, high]])
        ],
        "hatch": lambda: [_box(thin, high, 0.8)],
        "zigzag": lambda: [
            np.array(
                [
                    [-step / 2, high],
                    [0, -high],
                    [step / 2, high],
                    [step / 2 - thin, high],
                    [0, -high + 2 * thin],
                    [-step / 2 + thin, high],
                ]
            )
        ],
        "bars": lambda: [_box(step * rng.uniform(0.08, 0.4), high)],
        "squares": lambda: [_box(step * 0.3, min(high, step * 0.3))],
        "chevrons": lambda: [
            np.array(
                [
                    [-thin, -high],
                    [thin, -high],
                    [step * 0.4, 0],
                    [thin, high],
                    [-thin, high],
                    [step * 0.4 - 2 * thin, 0],
                ]
            )
        ],
        "double": lambda: [_box(step * 0.25, high * 0.35, lean, down * high) for down in (-0.6, 0.6)],
    }
    return shapes[kind]()


def draw_row(rng: Rng, height_px: float) -> Strokes:
    """A row as strokes in one colour (or of screw heads), straight or bent; sometimes two or three rows."""
    if rng.random() < 0.12:
        head, gap = screw(rng, height_px * 2.5), height_px * rng.uniform(1.1, 2.0)
        return [s for k in range(int(rng.integers(3, 9))) for s in place(head, k * gap, 0.0, rng.uniform(0, 6))]
    ink = draw_colour(rng, str(rng.choice(["black", "white", "any", "stone"])))
    red, green, blue = (int(v) for v in ink * 255)
    bend = rng.normal(0, 0.002) if rng.random() < 0.4 else 0.0
    out: Strokes = []
    kind = str(rng.choice(ROWS))
    for row in range(int(rng.choice([1, 1, 1, 2, 3]))):
        for outline in draw_row_marks(rng, height_px, kind if rng.random() < 0.8 else None):
            bowed = outline + np.stack(
                [np.zeros(len(outline)), outline[:, 0] ** 2 * bend + row * height_px * 1.5], axis=1
            )
            out.append(Stroke("fill", bowed, 0.0, (red, green, blue)))
    return out
