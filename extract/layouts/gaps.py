"""Columns of a table without upright rules: by the gaps that run through its lines."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from ..lines import Line, Segment
from ..records import Rule, Word

_COLUMN_GAP = 0.55
_CROSSING_SHARE = 0.1
_OVER_BLANK = 1.35
_LEAST_BLANKS = 8
_LEAST_ORDERED = 4
_NEARLY_ALL = 0.8
_RULE_END = 8.0


@dataclass(frozen=True)
class GapColumn:
    """A column: the stretch that its words cover, and the territory up to the middle of the gaps beside it."""

    x0: float
    x1: float
    left: float
    right: float

    @property
    def middle(self) -> float:
        """The middle of the stretch."""
        return (self.x0 + self.x1) / 2


def find_columns(block: Sequence[Line], rules: Sequence[Rule] = ()) -> list[GapColumn]:
    """The columns of a block, by the gaps that run through its fullest lines, and by where short rules start."""
    most = max(len(line.segments) for line in block)
    core = [line for line in block if len(line.segments) >= max(2, 0.6 * most)]
    plain = [line for line in core if not all(s.bold for s in line.segments)]
    core = plain if len(plain) >= 2 else core
    size = sorted(s.size for line in core for s in line.segments)[0]
    gap = _least_gap(block)
    spans = [[(s.box.x0, s.box.x1) for s in _runs(line, gap)] for line in core]
    start, end = min(a for row in spans for a, _ in row), max(b for row in spans for _, b in row)
    steps = int(end - start) + 2
    cover = [0] * steps
    for row in spans:
        for a, b in row:
            for x in range(int(a - start), min(int(b - start) + 1, steps)):
                cover[x] += 1
    allowed = int(_CROSSING_SHARE * len(core)) if len(core) >= 5 else 0
    intervals: list[list[float]] = []
    for x, n in enumerate(cover):
        if n > allowed:
            if intervals and start + x - intervals[-1][1] <= gap * size:
                intervals[-1][1] = start + x + 1
            else:
                intervals.append([start + x, start + x + 1])
    found = [part for a, b in intervals for part in _by_order(a, b, spans)]
    for line in block:
        for piece in line.segments if line not in core else ():
            if all(piece.box.x1 < a or piece.box.x0 > b for a, b in found):
                found.append((piece.box.x0, piece.box.x1))
    return with_territory(_parted_at_rules(sorted(found), block, rules))


def _parted_at_rules(
    intervals: list[tuple[float, float]], block: Sequence[Line], rules: Sequence[Rule]
) -> list[tuple[float, float]]:
    """Columns parted where short rules within the block start, if words of several lines start there too."""
    top, bottom = min(k.box.top for k in block), max(k.box.bottom for k in block)
    left, right = intervals[0][0], intervals[-1][1]
    starts = {round(r.x0) for r in rules if r.horizontal and top < r.y0 < bottom and r.x1 > right - _RULE_END
              and r.x0 > left + _RULE_END}  # fmt: skip
    parted: list[tuple[float, float]] = []
    for a, b in intervals:
        inner = [x for x in starts if a + _RULE_END < x < b - _RULE_END]
        held = [s.box.x0 for k in block for s in k.segments if inner and abs(s.box.x0 - inner[0]) < _RULE_END]
        parted.extend([(a, min(held) - 1), (min(held), b)] if len(inner) == 1 and len(held) > 1 else [(a, b)])
    return parted


def _by_order(start: float, end: float, spans: Sequence[Sequence[tuple[float, float]]]) -> list[tuple[float, float]]:
    """One stretch as the columns that nearly every line shows in it, where wide words of some lines close the gaps.

    The columns then end half-way between the middling ends and starts of the runs on either side.
    """
    held = [[(a, b) for a, b in row if start <= (a + b) / 2 <= end] for row in spans]
    held = [runs for runs in held if runs]
    counts = Counter(len(runs) for runs in held)
    most, lines = counts.most_common(1)[0] if counts else (1, 0)
    if most < 2 or lines < _LEAST_ORDERED or lines < _NEARLY_ALL * len(held):
        return [(start, end)]
    runs = [sorted(run[n] for run in held if len(run) == most) for n in range(most)]
    parts = [(min(a for a, _ in run), max(b for _, b in run)) for run in runs]
    for n in range(most - 1):
        if parts[n][1] >= parts[n + 1][0]:
            last = sorted(b for _, b in runs[n])[lines // 2]
            first = sorted(a for a, _ in runs[n + 1])[lines // 2]
            if last >= first:
                return [(start, end)]
            parts[n], parts[n + 1] = (parts[n][0], last), (first, parts[n + 1][1])
    return parts


def _least_gap(lines: Sequence[Line]) -> float:
    """The least gap between columns as a share of the text size: wider than the blanks, which wide types have wide."""
    gaps = sorted(
        (b.box.x0 - a.box.x1) / max(a.size, b.size)
        for line in lines
        for segment in line.segments
        for a, b in itertools.pairwise(segment.words)
    )
    blank = gaps[len(gaps) // 4] if len(gaps) >= _LEAST_BLANKS else 0.0
    return max(_COLUMN_GAP, _OVER_BLANK * blank) if blank > 0.45 else _COLUMN_GAP


def with_territory(intervals: list[tuple[float, float]]) -> list[GapColumn]:
    """Columns from the stretches that their words cover, left to right."""
    edges = [(a[1] + b[0]) / 2 for a, b in itertools.pairwise(intervals)]
    bounds = [-1e9, *edges, 1e9]
    return [GapColumn(a, b, bounds[n], bounds[n + 1]) for n, (a, b) in enumerate(intervals)]


def _runs(line: Line, gap: float) -> list[Segment]:
    """The line's words, parted at gaps wider than ``gap`` times their size."""
    runs: list[list[Word]] = []
    for segment in line.segments:
        runs.append([])
        for word in segment.words:
            if runs[-1] and word.box.x0 - runs[-1][-1].box.x1 > gap * word.size:
                runs.append([])
            runs[-1].append(word)
    return [Segment(tuple(run)) for run in runs if run]


def place_pieces(line: Line, columns: list[GapColumn], rules: Sequence[Rule]) -> list[tuple[int, int, Segment]]:
    """Each segment of a line with the columns that it covers."""
    placed = []
    for segment in line.segments:
        over = _rule_under(segment, line, columns, rules)
        for piece in [segment] if over else _parted_at_columns(segment, columns):
            first = last = _home(piece, columns)
            for n, column in enumerate(columns):
                shared = min(piece.box.x1, column.x1) - max(piece.box.x0, column.x0)
                if shared > 0.5 * (column.x1 - column.x0):
                    first, last = min(first, n), max(last, n)
            under = _rule_under(piece, line, columns, rules)
            if under:
                first, last = min(first, under[0]), max(last, under[1])
            placed.append((first, last, piece))
    return placed


def _home(piece: Segment, columns: list[GapColumn]) -> int:
    middle = (piece.box.x0 + piece.box.x1) / 2
    shares = [min(piece.box.x1, c.x1) - max(piece.box.x0, c.x0) for c in columns]
    best = max(range(len(columns)), key=lambda n: shares[n])
    return best if shares[best] > 0 else next(n for n, c in enumerate(columns) if c.left <= middle <= c.right)


def _parted_at_columns(segment: Segment, columns: list[GapColumn]) -> list[Segment]:
    """A segment, parted where two of its words are homed in different columns and a column gap lies between."""
    pieces: list[list[Word]] = []
    homes: list[int] = []
    for word in segment.words:
        home = _home(Segment((word,)), columns)
        wide = pieces and word.box.x0 - pieces[-1][-1].box.x1 > 0.4 * word.size
        if pieces and (home == homes[-1] or not wide):
            pieces[-1].append(word)
        else:
            pieces.append([word])
            homes.append(home)
    return [Segment(tuple(p)) for p in pieces]


def _rule_under(piece: Segment, line: Line, columns: list[GapColumn], rules: Sequence[Rule]) -> tuple[int, int] | None:
    """The columns over which a short rule right below a header piece runs."""
    whole = columns[-1].x1 - columns[0].x0
    for rule in rules:
        if not rule.horizontal or not 0 <= rule.y0 - piece.box.bottom < 0.8 * piece.size:
            continue
        if rule.x1 - rule.x0 > 0.8 * whole or not rule.x0 - 2 <= (piece.box.x0 + piece.box.x1) / 2 <= rule.x1 + 2:
            continue
        covered = [n for n, c in enumerate(columns) if rule.x0 - 2 <= c.middle <= rule.x1 + 2]
        if len(covered) > 1:
            return covered[0], covered[-1]
    return None
