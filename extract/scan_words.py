"""The signs of a run → its words with boxes, size and footnote marks, in pixels of the page."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from ..schema.claims import Box
from .engines.signs import Sign
from .records import Word
from .scan_runs import Run

_FREE_GAPS = (0.24, 0.44)
"""Shares of a capital's height: a gap this wide parts words if the engine saw a blank there, and if it did not."""
_BESIDE_ONE = 0.14
"""How much more room a 1 has at its sides."""
_FIXED_STEPS = (1.4, 1.6)
"""The same for type of one width, in its steps."""
_FIXED_STEP = 0.85
_ENOUGH_STEPS = 4
_ENOUGH_SIGNS = 8
_STEADY = 0.07
_FIXED_ADVANCE = 0.6
_BEARING = 0.05
_SAME_LINE = 0.14
_SAME_SIZE = 0.22
_RAISED_FOOT = 0.2
_RAISED_DIGIT = 0.8
_RAISED_LETTER = 0.58
"""A raised mark stands this share of a capital above the line, and is no taller than the other two."""
_STARS = frozenset("*†‡")
_MAYBE_RAISED = _STARS | frozenset("0123456789abcde")
_NOTHING = re.compile(r"^(\.[1IJjl|!/]|J)\.$")
"""The sign ./. for "nothing", whose stroke is taken for a letter."""
_CLEAR = 0.9
_COUNT = re.compile(r"^[±+]?(O|\dO|O\d)[Tt]$")
_SUPERSCRIPTS = {"¹": "1", "²": "2", "³": "3"}


@dataclass(frozen=True)
class Placed:
    """A sign with the box of its ink in the picture of its run."""

    sign: Sign
    x0: float
    top: float
    x1: float
    bottom: float


@dataclass(frozen=True)
class ReadRun:
    """A run with its signs placed in its picture, whose left edge lies at ``left`` on the page."""

    run: Run
    signs: tuple[Sign, ...]
    placed: tuple[Placed, ...]
    left: int


def find_words(runs: Sequence[ReadRun]) -> list[Word]:
    """The words of a page's runs; where most of them are set in type of one width, so are the gaps judged."""
    runs = [run for run in runs if run.placed]
    judged = [run for run in runs if len(run.placed) >= _ENOUGH_SIGNS]
    fixed = 2 * sum(_is_fixed_width(run.placed) for run in judged) > len(judged)
    lines = [_line_of("".join(p.sign.text for p in run.placed), run.run) for run in runs]
    stretch = _fixed_stretch(judged, lines, runs) if fixed else 1.0
    evened = _evened([replace(line, size=stretch * line.size) for line in lines], runs)
    words: list[Word] = []
    for run, line, even in zip(runs, lines, evened, strict=True):
        capital, foot = _CAPITAL * line.size, _foot(run.placed)
        for group in _split_at_gaps(run.signs, run.placed, capital, fixed):
            parts = _split_at_raised(group, foot, capital)
            words.extend(_word(part, run.left, even, raised, fixed) for part, raised in parts)
    return words


def _fixed_stretch(judged: Sequence[ReadRun], lines: Sequence[_Line], runs: Sequence[ReadRun]) -> float:
    """By how much the type is larger than its capitals tell: one step of typewriter type is 0.6 of its size."""
    size = {id(run): line.size for run, line in zip(runs, lines, strict=True)}
    shares = [_step(run.placed) / size[id(run)] for run in judged]
    return min(1.5, max(1.0, float(np.median(shares)) / _FIXED_ADVANCE))


def _step(placed: Sequence[Placed]) -> float:
    return float(np.median(np.diff([(p.x0 + p.x1) / 2 for p in placed])))


def _evened(lines: Sequence[_Line], runs: Sequence[ReadRun]) -> list[_Line]:
    """Lines with the size and base line that they share with those beside them on the page."""
    size, base = np.array([line.size for line in lines]), np.array([line.baseline for line in lines])
    weight = np.array([float(len(run.placed)) for run in runs])
    evened = []
    for line in lines:
        beside = (np.abs(base - line.baseline) < _SAME_LINE * line.size) & (np.abs(size / line.size - 1) < _SAME_SIZE)
        evened.append(_Line(_middle(size[beside], weight[beside]), _middle(base[beside], weight[beside])))
    return evened


def _middle(values: np.ndarray, weights: np.ndarray) -> float:
    """The weighted median."""
    order = np.argsort(values)
    sums = np.cumsum(weights[order])
    return float(values[order][int(np.searchsorted(sums, sums[-1] / 2))])


def _is_fixed_width(placed: Sequence[Placed]) -> bool:
    """Whether the middles of signs stand at multiples of one step, as in typewriter type."""
    middles = np.array([(p.x0 + p.x1) / 2 for p in placed])
    steps = np.diff(middles)
    step = float(np.median(steps))
    if step <= 0:
        return False
    off = np.abs(steps / step - np.round(steps / step))
    return float(off.mean()) < _STEADY


def place_signs(signs: list[Sign], cut: np.ndarray) -> list[Placed]:
    """Signs (without blanks) with the boxes of their ink: one column of ink each where their numbers agree."""
    inked = [s for s in signs if s.text.strip()]
    columns = _columns(cut)
    if not inked or not columns:
        return []
    if len(columns) == len(inked) and _agree(inked, columns, cut.shape[0]):
        return [Placed(sign, *column) for sign, column in zip(inked, columns, strict=True)]
    return _placed_by_middle(inked, columns, cut)


def _agree(signs: list[Sign], columns: list[tuple[float, float, float, float]], height: int) -> bool:
    """Whether every sign was seen near its column of ink."""
    return all(c[0] - 0.2 * height <= s.x <= c[2] + 0.2 * height for s, c in zip(signs, columns, strict=True))


def _ink_of(cut: np.ndarray) -> np.ndarray:
    """1 where a pixel of a white picture is nearer to its darkest ink than to white."""
    darkest = float(np.percentile(cut, 1))
    return (cut < 255 - 0.45 * (255 - darkest)).astype(np.uint8)


def _columns(cut: np.ndarray) -> list[tuple[float, float, float, float]]:
    """The boxes of ink that stand apart, from left to right; parts over each other (i, ä, %) are one."""
    ink = _ink_of(cut)
    _, _, stats, _ = cv2.connectedComponentsWithStats(ink, connectivity=8)
    least = max(2, cut.shape[0] // 24)
    boxes = sorted((int(x), int(y), int(x + w), int(y + h)) for x, y, w, h, _ in stats[1:] if max(w, h) >= least)
    columns: list[tuple[float, float, float, float]] = []
    for x0, top, x1, bottom in boxes:
        if columns and min(x1, columns[-1][2]) - max(x0, columns[-1][0]) > 0.4 * min(
            x1 - x0, columns[-1][2] - columns[-1][0]
        ):
            last = columns[-1]
            columns[-1] = (min(last[0], x0), min(last[1], top), max(last[2], x1), max(last[3], bottom))
        else:
            columns.append((x0, top, x1, bottom))
    return columns


def _placed_by_middle(
    signs: list[Sign], columns: list[tuple[float, float, float, float]], cut: np.ndarray
) -> list[Placed]:
    """Signs placed half way between their neighbours' middles; the ends and tops are those of the ink there."""
    dark = _ink_of(cut)
    profile = dark.sum(axis=0)
    edges = [columns[0][0]]
    for before, after in itertools.pairwise(signs):
        edges.append(_emptiest(profile, before.x, after.x))
    edges.append(columns[-1][2])
    placed = []
    for n, sign in enumerate(signs):
        start, end = int(edges[n]), max(int(edges[n]) + 1, int(edges[n + 1]))
        ys, xs = np.nonzero(dark[:, start:end])
        if len(xs):
            placed.append(Placed(sign, start + xs.min(), ys.min(), start + xs.max() + 1.0, ys.max() + 1.0))
        else:
            placed.append(Placed(sign, start, columns[0][1], end, columns[0][3]))
    return placed


def _emptiest(profile: np.ndarray, before: float, after: float) -> float:
    """The middle of the widest stretch with the least ink between two places."""
    start, end = int(before), max(int(before) + 1, int(np.ceil(after)))
    part = profile[start:end]
    if not len(part):
        return (before + after) / 2
    empty = np.flatnonzero(part <= part.min())
    runs = np.split(empty, np.flatnonzero(np.diff(empty) > 1) + 1)
    widest = max(runs, key=len)
    return start + float(widest[0] + widest[-1] + 1) / 2


def _split_at_gaps(
    signs: Sequence[Sign], placed: Sequence[Placed], capital: float, fixed: bool
) -> list[list[Placed]]:  # fmt: skip
    """Placed signs by word: parted where the ink leaves a wide gap, or a fair one in which the engine saw a blank."""
    blank_after: set[int] = set()
    count = 0
    for sign in signs:
        if sign.text.strip():
            count += 1
        elif count:
            blank_after.add(count - 1)
    middles = [(p.x0 + p.x1) / 2 for p in placed]
    steps = np.diff(middles)
    step = float(np.median(steps)) if len(steps) >= _ENOUGH_STEPS else _FIXED_STEP * capital
    groups = [[placed[0]]]
    for n, (before, after) in enumerate(itertools.pairwise(placed)):
        fair, wide = _FREE_GAPS
        gap = (after.x0 - before.x1) / capital
        if fixed:
            gap, (fair, wide) = steps[n] / step, _FIXED_STEPS
        elif "1" in (before.sign.text, after.sign.text):
            gap -= _BESIDE_ONE
        if gap > wide or (n in blank_after and gap > fair):
            groups.append([])
        groups[-1].append(after)
    return groups


def _split_at_raised(group: list[Placed], foot: float, capital: float) -> list[tuple[list[Placed], bool]]:
    """A word and the small raised signs at its end apart; ``foot`` is where the signs of the line stand."""
    end = len(group)
    while end and _is_raised(group[end - 1], foot, capital):
        end -= 1
    parts = [(group[:end], False), (group[end:], True)]
    return [part for part in parts if part[0]]


def _is_raised(placed: Placed, foot: float, capital: float) -> bool:
    sign, height = placed.sign.text, placed.bottom - placed.top
    if sign in _SUPERSCRIPTS:
        return True
    least, most = (0.1, 1.0) if sign in _STARS else (_RAISED_FOOT, _RAISED_LETTER if sign in "abcde" else _RAISED_DIGIT)
    return sign in _MAYBE_RAISED and foot - placed.bottom > least * capital and height < most * capital


def _foot(placed: Sequence[Placed]) -> float:
    """Where the signs of a line stand: the usual bottom of letters and digits without a part below the base line."""
    bottoms = [p.bottom for p in placed if p.sign.text.isalnum() and p.sign.text not in _DESCENDING]
    return float(np.median(bottoms or [p.bottom for p in placed]))


@dataclass(frozen=True)
class _Line:
    """The size of a run's type, and where its base line lies on the page."""

    size: float
    baseline: float


def _line_of(text: str, run: Run) -> _Line:
    ink = run.bottom - run.top
    if not any(c.isalnum() for c in text) or run.height > ink:
        size = run.height / _CAPITAL
        return _Line(size, (run.top + run.bottom) / 2 + 0.25 * size)
    size = type_size(text, ink)
    return _Line(size, run.bottom - (_DESCENT * size if _DESCENDING & set(text) else 0.0))


def _told_apart(text: str, sure: float) -> str:
    """A word whose shape leaves no doubt what a sign like others must be: ``OT`` is ``0T``, ``.J.`` is ``./.``."""
    if _NOTHING.match(text) or (text == "1." and sure < _CLEAR):
        return "./."
    return text.replace("O", "0") if _COUNT.match(text) else text


def _word(group: list[Placed], left: int, line: _Line, raised: bool, fixed: bool) -> Word:
    sure = min(p.sign.confidence for p in group)
    text = _told_apart("".join(p.sign.text for p in group), sure)
    if raised:
        text = "".join(_SUPERSCRIPTS.get(c, c) for c in text)
    x0, x1 = group[0].x0 - _BEARING * line.size, group[-1].x1 + _BEARING * line.size
    if fixed and not raised:
        half = _FIXED_ADVANCE * line.size / 2
        x0 = min(x0, (group[0].x0 + group[0].x1) / 2 - half)
        x1 = max(x1, (group[-1].x0 + group[-1].x1) / 2 + half)
    top, bottom = line.baseline - 0.85 * line.size, line.baseline + 0.25 * line.size
    return Word(text, Box(left + x0, top, left + x1, bottom), sure, 0.7 * line.size if raised else line.size,
                raised=raised)  # fmt: skip


_DESCENT = 0.21
_CAPITAL = 0.72
_SMALL = 0.52
_DESCENDING = frozenset("gjpqy,;()[]{}Q")
_TALL = frozenset("bdfhkltißäöüéèàáíóúñ()[]/|'")


def type_size(text: str, height: float) -> float:
    """The size of type from the height of the ink: capitals and digits stand 0.72 of it above the base line."""
    tall = any(c.isupper() or c.isdigit() or c in _TALL for c in text)
    share = (_CAPITAL if tall else _SMALL) + (_DESCENT if _DESCENDING & set(text) else 0.0)
    return height / share
