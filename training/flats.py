"""Lines of text as bare masks, which a studio lights on the accelerator; and textless pictures to lay them on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from .backdrop import draw_backdrop
from .blocks import CAP_PX, flat_block
from .camera import take
from .colours import draw_part_colour
from .cuts import LONGEST, as_classes, turnable
from .feed import Field
from .light import shade
from .marks import PROCESSES
from .parts import draw_part
from .scenes import bare_canvas, spoil

ROWS, COLUMNS = 88, 640
FIELDS = (
    Field("mask", (ROWS, COLUMNS), "uint8"),
    Field("span", (3,), "float32"),
    Field("label", (LONGEST,), "uint8"),
    Field("count", (), "int32"),
    Field("process", (), "int32"),
    Field("turnable", (), "bool"),
)
SIDE = 320
GROUND_FIELDS = (Field("pixels", (SIDE, SIDE, 3), "uint8"),)


def draw_flats(rng: np.random.Generator, fonts: Sequence[Path]) -> list[dict[str, Any]]:
    """Every line of one block: its mask with capitals ``CAP_PX`` high, its middle at the mask's own.

    ``span`` is where its first sign begins, its last ends, and its bend, in pixels.
    """
    process = str(rng.choice(PROCESSES, p=(0.18, 0.18, 0.16, 0.17, 0.16, 0.15)))
    mask, lines = flat_block(rng, fonts, process)
    samples = []
    for line in lines:
        scale = CAP_PX / line.cap
        length = float(line.points[-1, 0] - line.points[0, 0])
        squeeze = min(1.0, (COLUMNS - 2 * CAP_PX) / (length * scale))
        middle = line.points[len(line.points) // 2]
        matrix = np.array(
            [
                [scale * squeeze, 0, COLUMNS / 2 - middle[0] * scale * squeeze],
                [0, scale, ROWS / 2 - middle[1] * scale],
            ]
        )
        flat = cv2.warpAffine(mask, matrix, (COLUMNS, ROWS), flags=cv2.INTER_LINEAR)
        half = length * scale * squeeze / 2
        ends = (line.points[0, 1] + line.points[-1, 1]) / 2 - middle[1]
        classes = as_classes(line.words.label)[:LONGEST]
        label = np.zeros(LONGEST, np.uint8)
        label[: len(classes)] = classes
        samples.append({
            "mask": (flat * 255).astype(np.uint8),
            "span": np.array([COLUMNS / 2 - half, COLUMNS / 2 + half, ends * scale], np.float32),
            "label": label, "count": len(classes), "process": PROCESSES.index(process),
            "turnable": turnable(line.words.label),
        })  # fmt: skip
    return samples


def draw_ground(rng: np.random.Generator, fonts: Sequence[Path]) -> list[dict[str, Any]]:
    """A picture of a bare surface, a part or clutter, without any text; ``fonts`` are not used."""
    chance = rng.random()
    if chance < 0.55:
        canvas = bare_canvas(rng, SIDE, SIDE, draw_part_colour(rng), float(rng.uniform(10, 40)))
        scene = spoil(rng, shade(rng, canvas.height, canvas.albedo, canvas.gloss, 20.0), 20.0)
    elif chance < 0.9:
        part = draw_part(rng, SIDE, SIDE)
        plain = bare_canvas(rng, SIDE, SIDE, np.ones(3), 24.0)
        lit = shade(rng, plain.height + part.height_map, plain.albedo * part.albedo, plain.gloss, 24.0)
        scene = part.mask[:, :, None] * lit + (1 - part.mask[:, :, None]) * draw_backdrop(rng, SIDE, SIDE)
    else:
        scene = draw_backdrop(rng, SIDE, SIDE)
    return [{"pixels": take(rng, scene.astype(np.float32), float(rng.uniform(0, 1.2)), 0.3)}]
