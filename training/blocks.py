"""A few lines of text as they are laid out on a part: masks, what the process leaves, and where each line stands.

The lines are drawn flat, with capitals ``cap`` pixels high; ``scenes`` then lays the block on a part at any place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from .glyphs import Style, draw_dots, draw_engraved, draw_text, random_style
from .lines import Words, draw_block
from .marks import PROCESSES, Mark, draw_mark

CAP_PX = 32


@dataclass(frozen=True)
class FlatLine:
    """A line on its block: points along the middle of its letters (n × 2), and height of capitals."""

    words: Words
    points: np.ndarray
    cap: float


@dataclass(frozen=True)
class Block:
    """Lines with what they do to the surface beneath."""

    mark: Mark
    lines: tuple[FlatLine, ...]
    process: str


def draw_marked_block(
    rng: np.random.Generator, fonts: Sequence[Path], base: np.ndarray, words: Sequence[Words] | None = None,
    process: str | None = None,
) -> Block:  # fmt: skip
    """A block of ``words`` (drawn too, if not given) on a ground of colour ``base``, RGB 0–1."""
    how = process or str(rng.choice(PROCESSES, p=(0.18, 0.18, 0.16, 0.17, 0.16, 0.15)))
    mask, lines = flat_block(rng, fonts, how, words)
    return Block(draw_mark(rng, mask, CAP_PX, how, base), lines, how)


def flat_block(
    rng: np.random.Generator, fonts: Sequence[Path], process: str, words: Sequence[Words] | None = None
) -> tuple[np.ndarray, tuple[FlatLine, ...]]:
    """The mask of a block, 0–1, as the letters of a process are shaped, and its lines."""
    chosen = list(words) if words is not None else draw_block(rng)
    font = fonts[int(rng.integers(len(fonts)))]
    style = random_style(rng)
    masks = []
    for index, line in enumerate(chosen):
        if index and rng.random() < 0.12:
            font, style = fonts[int(rng.integers(len(fonts)))], random_style(rng)
        share = 1.0 if line.role == "code" else float(rng.uniform(0.55, 1.15))
        masks.append((*_line_mask(rng, line.shown, font, style, CAP_PX * share, process), CAP_PX * share))
    mask, places = _stacked(rng, masks)
    bend = 0.0
    if rng.random() < 0.16 and mask.shape[1] > 2.5 * CAP_PX:
        bend = float(rng.uniform(-0.11, 0.11)) * mask.shape[1]
    columns = mask.shape[1]
    lines = tuple(
        FlatLine(word, _points(x, y, length, bend, columns), cap)
        for word, (x, y, length, cap) in zip(chosen, places, strict=True)
    )
    return (_bent(mask, bend) if bend else mask), lines


def _points(x: float, y: float, length: float, bend: float, columns: int) -> np.ndarray:
    """The middle of a line, sampled, after the block was bent (which also grows it upwards)."""
    along = x + np.linspace(-0.5, 0.5, 9) * length
    return np.stack((along, y + np.ceil(abs(bend)) + bend * (2 * along / columns - 1) ** 2), axis=1)


def _line_mask(
    rng: np.random.Generator, text: str, font: Path, style: Style, cap: float, process: str
) -> tuple[np.ndarray, float, float, float]:
    """A line's mask 0–1, the middle row of its capitals, and where its first sign begins and its last ends."""
    if process == "dot_peen" or (process in ("etched", "printed") and rng.random() < 0.06):
        drawn = draw_dots(text, font, cap, rng=rng, style=style)
    elif process == "engraved" and rng.random() < 0.5:
        drawn = draw_engraved(text, font, cap, rng=rng, style=style)
    else:
        drawn = draw_text(text, font, cap, rng=rng, style=style)
    return drawn.mask, drawn.middle, drawn.boxes[0][0], drawn.boxes[-1][1]


def _stacked(
    rng: np.random.Generator, masks: Sequence[tuple[np.ndarray, float, float, float, float]]
) -> tuple[np.ndarray, list[tuple[float, float, float, float]]]:
    """Line masks under each other, flush left or centred → one mask, and (x, y, length, cap) of each line."""
    margin = round(0.6 * CAP_PX)
    wide = max(mask.shape[1] for mask, *_ in masks) + 2 * margin
    centred = rng.random() < 0.5
    spread = float(rng.uniform(0.35, 1.3))
    rows: list[tuple[int, int]] = []
    bottom = float(margin)
    for mask, middle, _, _, cap in masks:
        top = round(bottom + cap / 2 - middle)
        left = (wide - mask.shape[1]) // 2 if centred else margin
        rows.append((top, left))
        bottom += cap + spread * CAP_PX * float(rng.uniform(0.7, 1.2))
    low = max(0, -min(top for top, _ in rows)) + margin
    high = max(top + mask.shape[0] for (top, _), (mask, *_) in zip(rows, masks, strict=True)) + low + margin
    whole = np.zeros((high, wide), np.float32)
    places = []
    for (top, left), (mask, middle, start, end, cap) in zip(rows, masks, strict=True):
        part = whole[top + low : top + low + mask.shape[0], left : left + mask.shape[1]]
        np.maximum(part, mask, out=part)
        places.append((left + (start + end) / 2, top + low + middle, end - start, cap))
    return whole, places


def _bent(mask: np.ndarray, bend: float) -> np.ndarray:
    """The mask with its ends ``bend`` pixels lower than its middle, along a parabola; it grows by as much each side."""
    rows, columns = mask.shape
    grow = int(np.ceil(abs(bend)))
    x = np.arange(columns, dtype=np.float32)
    bow = np.float32(bend) * (2 * x / columns - 1) ** 2
    y = np.arange(rows + 2 * grow, dtype=np.float32)[:, None] - grow - bow[None, :]
    return cv2.remap(
        mask, np.repeat(x[None, :], rows + 2 * grow, 0), y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT
    )
