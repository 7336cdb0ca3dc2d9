"""Photos of blocks → level cuts with the text that they show, as the reader of signs is trained on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from .backdrop import draw_backdrop
from .camera import take
from .feed import Field
from .light import shade
from .marks import PROCESSES
from .parts import draw_part
from .product import ALPHABET, CUT_HEIGHT_PX, LineBox, cut_level
from .scenes import Photo, Shown, bare_canvas, draw_patch

WIDTH_PX = 384
LONGEST = 30
FIELDS = (
    Field("pixels", (CUT_HEIGHT_PX, WIDTH_PX, 3), "uint8"),
    Field("width", (), "int32"),
    Field("label", (LONGEST,), "uint8"),
    Field("count", (), "int32"),
    Field("cap", (), "float32"),
    Field("process", (), "int32"),
)
_CLASS = {sign: index + 1 for index, sign in enumerate(ALPHABET)}


def as_classes(text: str) -> list[int]:
    """Text of the alphabet → class numbers."""
    return [_CLASS[sign] for sign in text]


def jittered(rng: np.random.Generator, box: LineBox, amount: float = 1.0) -> LineBox:
    """The true box of a line with margins, moved, turned and resized as a finder errs."""
    height = box.height * float(np.exp(rng.normal(0, 0.11 * amount)))
    cap = 0.6 * box.height
    left, right = (float(rng.uniform(-0.05, 1.0)) * cap for _ in range(2))
    along = (right - left) / 2 + float(rng.normal(0, 0.05)) * cap
    across = float(rng.normal(0, 0.085 * amount)) * cap
    angle = np.radians(box.angle)
    turn = float(rng.normal(0, 1.6 * amount)) * min(1.0, 6 * cap / max(1.0, box.length))
    bend = box.bend * float(rng.uniform(0.6, 1.2)) + float(rng.normal(0, 0.03)) * cap
    return LineBox(
        box.x + along * float(np.cos(angle)) - across * float(np.sin(angle)),
        box.y + along * float(np.sin(angle)) + across * float(np.cos(angle)),
        max(height * 0.4, box.length + left + right), height, box.angle + turn, 1.0, bend,
    )  # fmt: skip


def as_sample(pixels: np.ndarray, label: str, cap: float, process: int) -> dict[str, Any]:
    """A cut, padded at its right."""
    if pixels.shape[1] > WIDTH_PX:
        pixels = cv2.resize(pixels, (WIDTH_PX, CUT_HEIGHT_PX), interpolation=cv2.INTER_AREA)
    width = pixels.shape[1]
    whole = np.zeros((CUT_HEIGHT_PX, WIDTH_PX, 3), np.uint8)
    whole[:, :width] = pixels
    classes = as_classes(label)[:LONGEST]
    padded = np.zeros(LONGEST, np.uint8)
    padded[: len(classes)] = classes
    return {
        "pixels": whole, "width": width, "label": padded, "count": len(classes), "cap": cap, "process": process,
    }  # fmt: skip


def draw_cuts(rng: np.random.Generator, fonts: Sequence[Path]) -> list[dict[str, Any]]:
    """The samples of one photo: each of its lines, now and then upside down or beside any text, read as nothing."""
    if rng.random() < 0.015:
        return draw_textless(rng)
    photo = draw_patch(rng, fonts)
    process = PROCESSES.index(photo.process)
    samples = []
    for line in photo.lines:
        repeat = 2 if line.words.role in ("code", "jumble", "teeth") else 1
        for _ in range(repeat):
            samples.append(_cut(rng, photo, line, process))
    return samples


def _cut(rng: np.random.Generator, photo: Photo, line: Shown, process: int) -> dict[str, Any]:
    box = jittered(rng, line.box)
    stretch = float(np.exp(rng.normal(0, 0.12)))
    cut = cut_level(photo.pixels, box, CUT_HEIGHT_PX, stretch)
    cap = line.box.height * 0.6
    if rng.random() < 0.05 and not turnable(line.words.label):
        return as_sample(np.ascontiguousarray(cut[::-1, ::-1]), "", cap, process)
    return as_sample(cut, line.words.label, cap, process)


_EITHER_WAY = frozenset("0O8HINXZSM1WL6957D-. /UCEBQ")
"""Signs that can be taken for some sign when they stand on their heads."""


def turnable(label: str) -> bool:
    """Whether most of a text would be legible upside down too."""
    return sum(sign in _EITHER_WAY for sign in label) > 0.7 * len(label)


def draw_textless(rng: np.random.Generator) -> list[dict[str, Any]]:
    """Cuts of clutter, edges, screws and grain."""
    side = 320
    scene = draw_backdrop(rng, side, side)
    if rng.random() < 0.6:
        part = draw_part(rng, side, side)
        plain = bare_canvas(rng, side, side, np.ones(3), 20.0)
        lit = shade(rng, plain.height + part.height_map, plain.albedo * part.albedo, plain.gloss, 20.0)
        scene = part.mask[:, :, None] * lit + (1 - part.mask[:, :, None]) * scene
    pixels = take(rng, scene.astype(np.float32), float(rng.uniform(0, 1.5)))
    samples = []
    for _ in range(10):
        height = float(np.exp(rng.uniform(np.log(12), np.log(70))))
        x, y = (float(v) for v in rng.uniform(40, side - 40, 2))
        box = LineBox(x, y, height * float(rng.uniform(1.5, 6)), height, float(rng.uniform(0, 360)), 1.0)
        samples.append(as_sample(cut_level(pixels, box, CUT_HEIGHT_PX), "", height * 0.6, -1))
    return samples
