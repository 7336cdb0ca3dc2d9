"""Tables with drawn lines: rules → frames of touching rules → cells, merged where no line stands between them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ...schema.claims import Box
from ..records import PageContent, Rule, Word
from ..settings import DEFAULT_SETTINGS, ReadSettings
from .grids import Cell, Grid, complete_grid, inside
from .pieces import implied_uprights

_COVER = 0.6
_OUTSIDE_PT = 6.0


def find_ruled_grids(
    page: PageContent, settings: ReadSettings = DEFAULT_SETTINGS, keep_empty: bool = False
) -> list[Grid]:
    """Tables whose cells are told apart by drawn lines, from top to bottom; a frame has one cell."""
    rules = merge_rules([*page.rules, *implied_uprights(page.rules, page.words, settings)], settings.rule_snap_pt)
    grids = []
    for frame in _frames(rules, settings.rule_snap_pt + 1):
        grid = _grid_of(frame, page.words, settings)
        if grid is not None and (keep_empty or grid.words):
            grids.append(grid)
    return sorted(grids, key=lambda g: (g.box.top, g.box.x0))


def merge_rules(rules: Iterable[Rule], snap: float) -> list[Rule]:
    """Rules on one straight line that touch or overlap → one rule."""
    merged: list[Rule] = []
    for horizontal in (True, False):
        lines: list[tuple[float, float, float]] = sorted(
            (r.y0, min(r.x0, r.x1), max(r.x0, r.x1)) if horizontal else (r.x0, min(r.y0, r.y1), max(r.y0, r.y1))
            for r in rules
            if r.horizontal == horizontal
        )
        for group in _by_place(lines, snap):
            place = sum(p for p, _, _ in group) / len(group)
            for start, end in _joined(sorted((a, b) for _, a, b in group), snap):
                merged.append(Rule(start, place, end, place) if horizontal else Rule(place, start, place, end))
    return merged


def _by_place(lines: Sequence[tuple[float, float, float]], snap: float) -> Iterable[list[tuple[float, float, float]]]:
    group: list[tuple[float, float, float]] = []
    for line in lines:
        if group and line[0] - group[0][0] > snap:
            yield group
            group = []
        group.append(line)
    if group:
        yield group


def _joined(spans: Sequence[tuple[float, float]], snap: float) -> Iterable[tuple[float, float]]:
    start, end = spans[0]
    for a, b in spans[1:]:
        if a > end + snap:
            yield start, end
            start, end = a, b
        else:
            end = max(end, b)
    yield start, end


def _touch(a: Rule, b: Rule, room: float) -> bool:
    return (min(a.x0, a.x1) - room <= max(b.x0, b.x1) and min(b.x0, b.x1) - room <= max(a.x0, a.x1)
            and min(a.y0, a.y1) - room <= max(b.y0, b.y1) and min(b.y0, b.y1) - room <= max(a.y0, a.y1))  # fmt: skip


def _frames(rules: Sequence[Rule], room: float) -> list[list[Rule]]:
    """Groups of rules that cross or touch, each with rules of both directions."""
    parent = list(range(len(rules)))

    def root(n: int) -> int:
        while parent[n] != n:
            parent[n] = parent[parent[n]]
            n = parent[n]
        return n

    upright = [n for n, r in enumerate(rules) if not r.horizontal]
    for n, rule in enumerate(rules):
        if rule.horizontal:
            for m in upright:
                if _touch(rule, rules[m], room):
                    parent[root(n)] = root(m)
    groups: dict[int, list[Rule]] = {}
    for n, rule in enumerate(rules):
        groups.setdefault(root(n), []).append(rule)
    return [g for g in groups.values() if any(r.horizontal for r in g) and any(not r.horizontal for r in g)]


def _grid_of(frame: list[Rule], words: Sequence[Word], settings: ReadSettings) -> Grid | None:
    across = [r for r in frame if r.horizontal]
    upright = [r for r in frame if not r.horizontal]
    snap = settings.rule_snap_pt + 1
    xs = _distinct([r.x0 for r in upright], snap)
    ys = _distinct([r.y0 for r in across], snap)
    left, right = min(min(r.x0, r.x1) for r in across), max(max(r.x0, r.x1) for r in across)
    top, bottom = min(min(r.y0, r.y1) for r in upright), max(max(r.y0, r.y1) for r in upright)
    xs = _with_ends(xs, left, right)
    ys = _with_ends(ys, top, bottom)
    rows, cols = len(ys) - 1, len(xs) - 1
    if rows < 1 or cols < 1 or rows > 400 or cols > 60:
        return None
    area = Box(xs[0], ys[0], xs[-1], ys[-1])
    groups = _merged_places(rows, cols, xs, ys, across, upright, snap)
    held = inside(words, area)
    cells = [_cell_of(places, xs, ys, held) for places in groups]
    if any(cell is None for cell in cells):
        cells = [_cell_of([(r, c)], xs, ys, held) for r in range(rows) for c in range(cols)]
    found = [cell for cell in cells if cell is not None]
    return complete_grid(rows, cols, found, "ruled", area)


def _distinct(values: Iterable[float], snap: float) -> list[float]:
    places: list[float] = []
    for value in sorted(values):
        if not places or value - places[-1] > snap:
            places.append(value)
    return places


def _with_ends(places: list[float], start: float, end: float) -> list[float]:
    """The places, with the far ends of the crossing rules where a border is missing."""
    before = [start] if start < places[0] - _OUTSIDE_PT else []
    after = [end] if end > places[-1] + _OUTSIDE_PT else []
    return [*before, *places, *after]


def _merged_places(rows: int, cols: int, xs: list[float], ys: list[float], across: list[Rule],
                   upright: list[Rule], snap: float) -> list[list[tuple[int, int]]]:  # fmt: skip
    parent = {(r, c): (r, c) for r in range(rows) for c in range(cols)}

    def root(place: tuple[int, int]) -> tuple[int, int]:
        while parent[place] != place:
            place = parent[place]
        return place

    for r in range(rows):
        for c in range(cols):
            if c + 1 < cols and not _parted(upright, xs[c + 1], ys[r], ys[r + 1], snap, False):
                parent[root((r, c + 1))] = root((r, c))
            if r + 1 < rows and not _parted(across, ys[r + 1], xs[c], xs[c + 1], snap, True):
                parent[root((r + 1, c))] = root((r, c))
    groups: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for place in parent:
        groups.setdefault(root(place), []).append(place)
    return list(groups.values())


def _parted(rules: Iterable[Rule], place: float, start: float, end: float, snap: float, horizontal: bool) -> bool:
    """Whether rules at ``place`` cover most of the stretch from ``start`` to ``end``."""
    covered = 0.0
    for rule in rules:
        at, a, b = (rule.y0, rule.x0, rule.x1) if horizontal else (rule.x0, rule.y0, rule.y1)
        if abs(at - place) <= snap:
            covered += max(0.0, min(b, end) - max(a, start))
    return covered >= _COVER * (end - start)


def _cell_of(places: list[tuple[int, int]], xs: list[float], ys: list[float], words: Sequence[Word]) -> Cell | None:
    """The cell over ``places``; ``None`` where they form no rectangle."""
    rows, cols = [r for r, _ in places], [c for _, c in places]
    row, col = min(rows), min(cols)
    row_span, col_span = max(rows) - row + 1, max(cols) - col + 1
    if row_span * col_span != len(places):
        return None
    area = Box(xs[col], ys[row], xs[col + col_span], ys[row + row_span])
    return Cell(row, col, row_span, col_span, tuple(inside(words, area, 0.0)), area)
