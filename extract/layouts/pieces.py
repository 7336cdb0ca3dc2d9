"""Lines drawn piece by piece, one under each cell: the column borders that they imply without upright lines."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..lines import Line, find_lines, union
from ..records import Rule, Word
from ..settings import DEFAULT_SETTINGS, ReadSettings

_LEAST_PIECE_PT = 14.0
_TOUCH_PT = 0.7
_LEAST_LEVELS = 3
_LEAST_SHARED = 2
_CROSSING_PT = 1.5
_HEADER_GAP = 1.2
_NEAR_PT = 20.0
_FULL = 0.6
_CROWDED = 0.2
_BLANK_LINE = 0.9


@dataclass(frozen=True)
class _Level:
    """Pieces at one height, from left to right, each touching the next."""

    y: float
    pieces: tuple[Rule, ...]

    @property
    def x0(self) -> float:
        return self.pieces[0].x0

    @property
    def x1(self) -> float:
        return self.pieces[-1].x1

    def borders(self) -> list[float]:
        """The places where two pieces meet."""
        return [p.x0 for p in self.pieces[1:]]


def implied_uprights(
    rules: Sequence[Rule], words: Sequence[Word], settings: ReadSettings = DEFAULT_SETTINGS
) -> list[Rule]:
    """Upright lines at both ends of every cell that has a line of its own below it.

    Pieces count where three lines or more of one width meet at the same places and no upright line is drawn there.
    """
    found: list[Rule] = []
    for stack, lines in _cut(_pieced_stacks(rules), words, settings):
        if not _has_tall_rows(stack, lines) and not _is_crowded(lines, _columns_of(stack)):
            found.extend(_uprights_of(stack, lines))
    return found


def _cut(
    stacks: Sequence[list[_Level]], words: Sequence[Word], settings: ReadSettings
) -> Iterable[tuple[list[_Level], list[Line]]]:
    """Stacks with the lines that stand in them, cut where other than rows of cells stand between two levels."""
    for stack in stacks:
        lines = find_lines([w for w in words if stack[0].x0 - 3 < w.box.x0 and w.box.x1 < stack[0].x1 + 3], settings)
        part = [stack[0]]
        for level in stack[1:]:
            between = [k for k in lines if part[-1].y < (k.box.top + k.box.bottom) / 2 < level.y]
            if between and are_apart(between) and _is_apart(lines, part[-1].y, level.y, level.pieces):
                yield part, lines
                part = []
            part.append(level)
        yield part, lines


def are_apart(lines: Sequence[Line]) -> bool:
    """Whether lines between two rules are none of a table: single segments, or mostly so and with a gap."""
    single = [len(k.segments) == 1 for k in lines]
    gaps = [b.box.top - a.box.bottom for a, b in itertools.pairwise(lines)]
    height = lines[0].box.bottom - lines[0].box.top
    return all(single) or (single[0] and sum(single) > 0.6 * len(single) and max(gaps) > _BLANK_LINE * height)


def columns_of_pieces(rules: Sequence[Rule], block: Sequence[Line]) -> list[tuple[float, float]]:
    """The columns of a block by the places where the pieces of its lines meet; empty where they do not tell."""
    area = union(line.box for line in block)
    near = [r for r in rules if area.top - _NEAR_PT < r.y0 < area.bottom + _NEAR_PT]
    for stack in _pieced_stacks(near):
        if stack[0].x0 > area.x0 + 3 or stack[0].x1 < area.x1 - 3:
            continue
        columns = _columns_of(stack)
        return [] if _is_crowded(block, columns) else columns
    return []


def _columns_of(stack: Sequence[_Level]) -> list[tuple[float, float]]:
    borders = sorted(x for x, n in _meetings(stack).items() if n >= _LEAST_SHARED)
    return list(itertools.pairwise([stack[0].x0, *borders, stack[0].x1]))


def _is_crowded(lines: Sequence[Line], columns: Sequence[tuple[float, float]]) -> bool:
    """Whether many lines have several runs of words in one column: the pieces then part groups of columns only."""
    crowded = 0
    for line in lines:
        middles = [(s.box.x0 + s.box.x1) / 2 for s in line.segments]
        crowded += any(sum(a < m < b for m in middles) > 1 for a, b in columns)
    return crowded > _CROWDED * len(lines)


def _pieced_stacks(rules: Sequence[Rule]) -> list[list[_Level]]:
    """Stacks of three levels or more whose pieces meet at the same places, with no upright lines between them."""
    uprights = [r for r in rules if not r.horizontal]
    stacks = _stacks(_levels(r for r in rules if r.horizontal and r.x1 - r.x0 >= _LEAST_PIECE_PT))
    return [s for s in stacks if len(s) >= _LEAST_LEVELS and max(_meetings(s).values(), default=0) >= _LEAST_SHARED
            and not _is_upright_drawn(uprights, s)]  # fmt: skip


def _meetings(stack: Sequence[_Level]) -> Counter[int]:
    return Counter(round(x) for level in stack for x in level.borders())


def _has_tall_rows(stack: Sequence[_Level], lines: Sequence[Line]) -> bool:
    """Whether several lines that fill most columns stand between two levels: there is no line under every row then."""
    columns = max(len(level.pieces) for level in stack)
    heights = [level.y for level in stack if len(level.pieces) > 1]
    for top, bottom in itertools.pairwise([0.0, *heights]):
        full = [k for k in lines if top < (k.box.top + k.box.bottom) / 2 < bottom
                and len(k.segments) >= max(2, _FULL * columns)]  # fmt: skip
        if top and sum(any(c.isdigit() for c in k.text) for k in full) > 1:
            return True
    return False


def _levels(rules: Iterable[Rule]) -> list[_Level]:
    """Pieces that touch at one height, as levels from top to bottom."""
    levels: list[_Level] = []
    run: list[Rule] = []
    for rule in sorted(rules, key=lambda r: (round(r.y0), r.x0)):
        if run and (abs(rule.y0 - run[-1].y0) > _TOUCH_PT or rule.x0 > run[-1].x1 + _TOUCH_PT):
            levels.append(_Level(run[0].y0, tuple(run)))
            run = []
        if not run or rule.x0 > run[-1].x1 - _TOUCH_PT:
            run.append(rule)
    return [*levels, _Level(run[0].y0, tuple(run))] if run else levels


def _stacks(levels: Iterable[_Level]) -> list[list[_Level]]:
    """Levels over each other: whole ones of one width, and within them those of a part of it."""
    stacks: list[list[_Level]] = []
    for level in sorted(levels, key=lambda k: k.x0 - k.x1):
        home = next((s for s in stacks if _belongs(level, s)), None)
        if home is None:
            stacks.append([level])
        else:
            home.append(level)
    return [sorted(s, key=lambda k: k.y) for s in stacks]


def _belongs(level: _Level, stack: Sequence[_Level]) -> bool:
    first = stack[0]
    if abs(first.x0 - level.x0) < 2 and abs(first.x1 - level.x1) < 2:
        return True
    within = first.x0 - 2 < level.x0 and level.x1 < first.x1 + 2
    return within and min(k.y for k in stack) < level.y < max(k.y for k in stack)


def _is_upright_drawn(uprights: Sequence[Rule], stack: Sequence[_Level]) -> bool:
    """Whether lines are drawn where the pieces meet."""
    top, bottom = stack[0].y, stack[-1].y
    inner = [u for u in uprights if stack[0].x0 + 3 < u.x0 < stack[0].x1 - 3
             and min(u.y1, bottom) - max(u.y0, top) > 3]  # fmt: skip
    return bool(inner)


def _uprights_of(stack: Sequence[_Level], lines: Sequence[Line]) -> Iterable[Rule]:
    for n, level in enumerate(stack):
        above: dict[float | None, list[Rule]] = {}
        for piece in level.pieces:
            covering = [k.y for k in stack[:n] if _covers(k, (piece.x0 + piece.x1) / 2)]
            above.setdefault(max(covering, default=None), []).append(piece)
        for drawn, pieces in above.items():
            top = drawn if drawn is not None else _header_top(lines, level.y) if n == 0 else None
            if top is None or level.y - top < 3 or _is_apart(lines, top, level.y, pieces):
                continue
            yield from (Rule(x, top, x, level.y) for piece in pieces for x in (piece.x0, piece.x1))
            if drawn is None:
                yield from (Rule(piece.x0, top, piece.x1, top) for piece in pieces)


def _covers(level: _Level, x: float) -> bool:
    return any(p.x0 < x < p.x1 for p in level.pieces)


def _header_top(lines: Sequence[Line], y: float) -> float | None:
    """The top of the lines right above the first level, where several cells stand there; else ``None``."""
    top, found = y, False
    for line in sorted((k for k in lines if k.box.bottom < y + 2), key=lambda k: -k.box.bottom):
        if top - line.box.bottom > _HEADER_GAP * line.segments[0].size or (found and len(line.segments) < 2):
            break
        top, found = min(top, line.box.top), found or len(line.segments) > 1
    return top - 1 if found else None


def _is_apart(lines: Sequence[Line], top: float, bottom: float, pieces: Sequence[Rule]) -> bool:
    """Whether what stands above pieces is no row of cells: words run over their ends, or but one run is there."""
    runs = [s for k in lines if top < (k.box.top + k.box.bottom) / 2 < bottom for s in k.segments
            if s.box.x1 > pieces[0].x0 and s.box.x0 < pieces[-1].x1]  # fmt: skip
    ends = [p.x1 for p in pieces[:-1]]
    if any(w.box.x0 + _CROSSING_PT < x < w.box.x1 - _CROSSING_PT for s in runs for w in s.words for x in ends):
        return True
    homes = {sum(x < w.box.x0 + 1 for x in ends) for s in runs for w in s.words}
    least = 2 if len(runs) > 1 else max(2, _FULL * len(pieces))
    return len(pieces) > 2 and len(homes) < least and bool(runs)
