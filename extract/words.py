"""Letters → words: by baseline into lines, then along each line by gaps, blanks and leader dots."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from ..schema.claims import Box
from .letters import Letters
from .records import Word
from .settings import ReadSettings

_LEADER = frozenset(".·…_‥")
_LEAST_LEADERS = 4
_OVERPRINT = 0.15


def find_words(letters: Letters, settings: ReadSettings) -> list[Word]:
    """The words of letters that run from left to right, from top to bottom and left to right."""
    if not len(letters):
        return []
    order, line = _in_lines(letters, settings)
    texts = [letters.texts[n] for n in order.tolist()]
    boxes, sizes, bold = letters.boxes[order], letters.sizes[order], letters.bold[order]
    same_line = np.zeros(len(order), dtype=bool)
    same_line[1:] = line[1:] == line[:-1]
    twice = _printed_twice(texts, boxes, sizes, same_line)
    if twice.any():
        keep = ~twice
        texts = [t for t, k in zip(texts, keep.tolist(), strict=True) if k]
        boxes, sizes, bold, line = boxes[keep], sizes[keep], bold[keep], line[keep]
    blank = np.array([t.isspace() for t in texts], dtype=bool)
    starts = _starts(boxes, sizes, line, blank, settings)
    solid = ~blank
    texts = [t for t, s in zip(texts, solid.tolist(), strict=True) if s]
    if not texts:
        return []
    runs = np.flatnonzero(starts[solid])
    cuts = _without_leaders(texts, [*runs.tolist(), len(texts)])
    words = _words(texts, boxes[solid], sizes[solid], bold[solid], cuts)
    return sorted(words, key=lambda w: (round(w.box.top, 1), w.box.x0))


def _in_lines(letters: Letters, settings: ReadSettings) -> tuple[np.ndarray, np.ndarray]:
    """The letters' order by line and place, and the number of each one's line."""
    x0, base, sizes = letters.boxes[:, 0], letters.baselines, letters.sizes
    by_base = np.lexsort((x0, base))
    step = np.diff(base[by_base])
    least = np.minimum(sizes[by_base][1:], sizes[by_base][:-1])
    line = np.concatenate([[0], np.cumsum(step > settings.baseline_drift * least)])
    along = np.lexsort((x0[by_base], line))
    return by_base[along], line[along]


def _printed_twice(texts: list[str], boxes: np.ndarray, sizes: np.ndarray, same_line: np.ndarray) -> np.ndarray:
    """Letters that repeat the one before nearly at its place, as print that imitates bold type does."""
    near = same_line.copy()
    near[1:] &= np.abs(np.diff(boxes[:, 0])) < _OVERPRINT * sizes[1:]
    for n in np.flatnonzero(near).tolist():
        near[n] = texts[n] == texts[n - 1] and not texts[n].isspace()
    return near


def _starts(
    boxes: np.ndarray, sizes: np.ndarray, line: np.ndarray, blank: np.ndarray, settings: ReadSettings
) -> np.ndarray:
    """Which letters begin a word: first of a line, after a blank or a gap, or of another size than the one before."""
    starts = np.ones(len(boxes), dtype=bool)
    larger, smaller = np.maximum(sizes[1:], sizes[:-1]), np.minimum(sizes[1:], sizes[:-1])
    gap = boxes[1:, 0] - boxes[:-1, 2] > settings.word_gap * larger
    starts[1:] = (line[1:] != line[:-1]) | blank[:-1] | gap | (smaller < settings.raised_size * larger)
    return starts


def _without_leaders(texts: list[str], bounds: list[int]) -> list[tuple[int, int]]:
    """Runs as (start, end), those that hold a row of leader dots cut before and after it."""
    cuts: list[tuple[int, int]] = []
    for start, end in pairwise(bounds):
        leaders = end - start >= _LEAST_LEADERS and sum(t in _LEADER for t in texts[start:end]) >= _LEAST_LEADERS
        cuts.extend(_split_leaders(texts, start, end) if leaders else [(start, end)])
    return cuts


def _split_leaders(texts: list[str], start: int, stop: int) -> list[tuple[int, int]]:
    cuts = []
    while start < stop:
        leader = texts[start] in _LEADER
        end = start + 1
        while end < stop and (texts[end] in _LEADER) == leader:
            end += 1
        if not leader or end - start < _LEAST_LEADERS:
            while end < stop and not _leader_at(texts, end, stop):
                end += 1
        cuts.append((start, end))
        start = end
    return cuts


def _leader_at(texts: list[str], at: int, stop: int) -> bool:
    return stop - at >= _LEAST_LEADERS and all(t in _LEADER for t in texts[at : at + _LEAST_LEADERS])


def _words(
    texts: list[str], boxes: np.ndarray, sizes: np.ndarray, bold: np.ndarray, cuts: list[tuple[int, int]]
) -> list[Word]:
    firsts = np.array([start for start, _ in cuts])
    lasts = np.array([end for _, end in cuts]) - 1
    top = np.minimum.reduceat(boxes[:, 1], firsts).tolist()
    bottom = np.maximum.reduceat(boxes[:, 3], firsts).tolist()
    right = np.maximum.reduceat(boxes[:, 2], firsts).tolist()
    left = boxes[firsts, 0].tolist()
    one_size = np.minimum.reduceat(sizes, firsts) == np.maximum.reduceat(sizes, firsts)
    heavy = (2 * np.add.reduceat(bold.astype(int), firsts) > lasts - firsts + 1).tolist()
    size = np.where(one_size, sizes[firsts], 0.0).tolist()
    return [
        Word("".join(texts[start:end]), Box(left[n], top[n], right[n], bottom[n]), 1.0,
             size[n] or float(np.sort(sizes[start:end])[(end - start) // 2]), heavy[n])
        for n, (start, end) in enumerate(cuts)
    ]  # fmt: skip
