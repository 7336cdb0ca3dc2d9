"""Tables without upright lines: lines of segments → blocks → columns by the gaps that run through → cells."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from ...schema.claims import Box
from ..lines import Line, Segment, find_lines, union
from ..records import Rule, Word
from ..settings import DEFAULT_SETTINGS, ReadSettings
from .grids import Cell, Grid, complete_grid
from .ruled import merge_rules

_BLOCK_GAP = 2.6
_COLUMN_GAP = 0.55
_CROSSING_SHARE = 0.1
_WRAP_PITCH = 0.78
_LEAST_BANDS = 3
_MANY_BANDS = 4
_OPEN_END = re.compile(r"\w.*(?:[-–—/,;·(+]|\b(?:to|bis|tot|or|und|and|with|max|min)\.?)\s*$", re.IGNORECASE)


def find_aligned_grids(
    words: Sequence[Word],
    rules: Sequence[Rule],
    edges: Sequence[Rule] = (),
    headings: Sequence[Box] = (),
    settings: ReadSettings = DEFAULT_SETTINGS,
) -> list[Grid]:
    """Tables of two columns or more that only their alignment tells, from top to bottom.

    ``edges`` are those of filled rows: they part rows as rules do, but do not bound a table. No table runs over one
    of the ``headings``.
    """
    lines = find_lines(words, settings)
    blocks: list[list[Line]] = []
    breaks = [line for line in lines if len(line.segments) == 1 and line.segments[0].box in headings]
    for top, bottom, x0, x1 in ruled_regions(lines, rules, breaks):
        inside = [k for k in lines if top <= (k.box.top + k.box.bottom) / 2 <= bottom and _within(k, x0, x1)]
        inside = _with_ends(inside, [k for k in lines if k not in inside and _within(k, x0, x1)], breaks)
        if sum(len(line.segments) > 1 for line in inside) >= 2:
            blocks.append(inside)
            lines = [line for line in lines if line not in inside]
    for stretch in _between(lines, breaks):
        blocks.extend(_blocks(stretch))
    grids = [_grid_of(block, rules, edges) for block in blocks]
    return sorted((g for g in grids if g is not None), key=lambda g: (g.box.top, g.box.x0))


def _with_ends(inside: list[Line], others: Sequence[Line], breaks: Sequence[Line]) -> list[Line]:
    """Lines between rules, with the header right above the first rule and the row right below the last one."""
    if len(inside) < 2:
        return inside
    inside = list(inside)
    for upward in (True, False):
        for other in reversed(others) if upward else others:
            edge = inside[0] if upward else inside[-1]
            gap = edge.box.top - other.box.bottom if upward else other.box.top - edge.box.bottom
            if (other.box.top + other.box.bottom > edge.box.top + edge.box.bottom) == upward:
                continue
            if gap > 1.1 * edge.segments[0].size or other in breaks or len(other.segments) < 2:
                break
            inside = [other, *inside] if upward else [*inside, other]
    return inside


def _between(lines: Sequence[Line], breaks: Sequence[Line]) -> Iterable[list[Line]]:
    stretch: list[Line] = []
    for line in lines:
        if line in breaks:
            yield stretch
            stretch = []
        else:
            stretch.append(line)
    yield stretch


def _within(line: Line, x0: float, x1: float) -> bool:
    return line.box.x0 >= x0 - 6 and line.box.x1 <= x1 + 6


def ruled_regions(
    lines: Sequence[Line], rules: Sequence[Rule], breaks: Sequence[Line] = ()
) -> list[tuple[float, float, float, float]]:
    """Stretches between rules of one width, from the first to the last: (top, bottom, x0, x1).

    A stretch ends where nothing but single segments, or a heading, stand between two rules.
    """
    flat = sorted((r for r in merge_rules(rules, 1.5) if r.horizontal and r.x1 - r.x0 > 60), key=lambda r: r.y0)
    groups: list[list[Rule]] = []
    for rule in flat:
        home = next((g for g in groups if abs(g[0].x0 - rule.x0) < 4 and abs(g[0].x1 - rule.x1) < 4), None)
        if home is None:
            groups.append([rule])
        else:
            home.append(rule)
    regions: list[tuple[float, float, float, float]] = []
    for group in groups:
        start = 0
        for n in range(1, len(group)):
            between = [k for k in lines if group[n - 1].y0 < (k.box.top + k.box.bottom) / 2 < group[n].y0
                       and k.box.x1 > group[n].x0 and k.box.x0 < group[n].x1]  # fmt: skip
            if between and (all(len(k.segments) == 1 for k in between) or any(k in breaks for k in between)):
                regions.extend(_region(group[start:n]))
                start = n
        regions.extend(_region(group[start:]))
    return regions


def _region(rules: Sequence[Rule]) -> list[tuple[float, float, float, float]]:
    return [(rules[0].y0, rules[-1].y0, rules[0].x0, rules[0].x1)] if len(rules) > 1 else []


def _blocks(lines: Sequence[Line]) -> Iterable[list[Line]]:
    """Runs of neighbouring lines in which most have several segments."""
    block: list[Line] = []
    for n, line in enumerate(lines):
        if block and _breaks(line, block, lines[n + 1] if n + 1 < len(lines) else None):
            yield from _trimmed(block)
            block = []
        block.append(line)
    yield from _trimmed(block)


def _breaks(line: Line, block: list[Line], following: Line | None) -> bool:
    height = max(s.size for s in line.segments) * 1.15
    gap = line.box.top - max(k.box.bottom for k in block[-3:])
    if gap > _BLOCK_GAP * height or _wider_than_usual(gap, height, block) or _starts_anew(line, block):
        return True
    if len(line.segments) > 1:
        return len(block) == 1 and len(block[0].segments) == 1 and not _wraps_onto(block[0], line)
    if _wraps_onto(line, block[-1]) or (following is not None and _wraps_onto(line, following)):
        return False
    return following is None or not _is_lone_cell(line.segments[0], gap, height, block, following)


def _is_lone_cell(segment: Segment, gap: float, height: float, block: list[Line], following: Line) -> bool:
    """Whether one segment between full lines is a cell of theirs: close to both, of their type and in their columns."""
    before = next((k for k in reversed(block) if len(k.segments) > 1), None)
    if before is None or len(segment.words) > 6 or max(gap, following.box.top - segment.box.bottom) > 0.7 * height:
        return False
    if len(following.segments) == 1 and not following.segments[0].size <= segment.size * 1.05:
        return False
    homes = [s for k in block for s in k.segments if min(s.box.x1, segment.box.x1) > max(s.box.x0, segment.box.x0)]
    alike = [s for s in homes if abs(s.size - segment.size) < 0.08 * s.size and s.bold == segment.bold]
    return bool(alike) and segment.box.x1 - segment.box.x0 < 0.5 * (before.box.x1 - before.box.x0)


def _wider_than_usual(gap: float, height: float, block: list[Line]) -> bool:
    """Whether a gap stands out from three or more even ones before it."""
    gaps = sorted(b.box.top - a.box.bottom for a, b in itertools.pairwise(block))
    return len(gaps) >= 3 and gap > 1.2 * height and gap > 2.2 * max(gaps[-1], 0.25 * height)


def _starts_anew(line: Line, block: list[Line]) -> bool:
    """Whether a line of bold words without digits follows lines of plain ones: the header of another table."""
    bold = all(s.bold for s in line.segments) and len(line.segments) > 1
    digits = any(c.isdigit() for c in line.text)
    before = block[-1]
    return bold and not digits and len(block) > 2 and not any(s.bold for s in before.segments[1:] or before.segments)


def _wraps_onto(line: Line, neighbour: Line) -> bool:
    """Whether a line of one segment is a further line of one cell of its neighbour."""
    if len(line.segments) != 1 or len(neighbour.segments) < 2:
        return False
    segment = line.segments[0]
    close = max(line.box.top, neighbour.box.top) - min(line.box.bottom, neighbour.box.bottom) < 0.45 * segment.size
    under = [s for s in neighbour.segments if min(s.box.x1, segment.box.x1) > max(s.box.x0, segment.box.x0)]
    alike = segment.size <= 1.1 * max(s.size for s in neighbour.segments)
    if not close or not alike:
        return False
    if not under:
        return segment.box.x0 > neighbour.box.x0 and segment.box.x1 < neighbour.box.x1
    return len(under) == 1 and segment.bold == under[0].bold


def _trimmed(block: list[Line]) -> Iterable[list[Line]]:
    """The block without lone segments at its ends; nothing where fewer than two lines have several segments."""
    while block and len(block[0].segments) == 1 and not (len(block) > 1 and _wraps_onto(block[0], block[1])):
        block = block[1:]
    while block and len(block[-1].segments) == 1 and not (len(block) > 1 and _wraps_onto(block[-1], block[-2])):
        block = block[:-1]
    if sum(len(line.segments) > 1 for line in block) >= 2:
        yield block


def rows_of_columns(grid: Grid, settings: ReadSettings = DEFAULT_SETTINGS) -> Grid | None:
    """A table with drawn columns and no rules between its rows, its rows told by the lines of its words.

    ``None`` where the drawn cells do not hold the same number of lines, as cards side by side do not.
    """
    if grid.rows != 1 or grid.cols < 3:
        return None
    lines = find_lines(grid.words, settings)
    areas = [grid.at(0, c).area for c in range(grid.cols)]
    columns = _with_territory([(a.x0, a.x1) for a in areas])
    rows = [_Row([line], _placed(line, columns, ())) for line in lines]
    full = [row for row in rows if len(row.filled()) >= 0.7 * len(columns)]
    if len(full) < 2 or any(len(p.words) > 6 for row in rows for _, _, p in row.pieces):
        return None
    _widen_headers(rows, columns)
    area = union(areas)
    merged = _merged(rows, [], len(columns))
    return complete_grid(len(merged), len(columns), _all_cells(merged), "aligned", area) if len(merged) > 1 else None


@dataclass(frozen=True)
class _Column:
    x0: float
    x1: float
    left: float
    right: float

    @property
    def middle(self) -> float:
        return (self.x0 + self.x1) / 2


def _columns(block: Sequence[Line]) -> list[_Column]:
    most = max(len(line.segments) for line in block)
    core = [line for line in block if len(line.segments) >= max(2, 0.6 * most)]
    size = sorted(s.size for line in core for s in line.segments)[0]
    spans = [[(s.box.x0, s.box.x1) for s in _runs(line, _COLUMN_GAP)] for line in core]
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
            if intervals and start + x - intervals[-1][1] <= _COLUMN_GAP * size:
                intervals[-1][1] = start + x + 1
            else:
                intervals.append([start + x, start + x + 1])
    found = [(a, b) for a, b in intervals]
    for line in block:
        for piece in line.segments if line not in core else ():
            if all(piece.box.x1 < a or piece.box.x0 > b for a, b in found):
                found.append((piece.box.x0, piece.box.x1))
    return _with_territory(sorted(found))


def _with_territory(intervals: list[tuple[float, float]]) -> list[_Column]:
    edges = [(a[1] + b[0]) / 2 for a, b in itertools.pairwise(intervals)]
    bounds = [-1e9, *edges, 1e9]
    return [_Column(a, b, bounds[n], bounds[n + 1]) for n, (a, b) in enumerate(intervals)]


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


@dataclass(eq=False)
class _Row:
    lines: list[Line]
    pieces: list[tuple[int, int, Segment]]
    """First column, last column, words."""
    spans: list[tuple[int, int, Segment, int]] = field(default_factory=list)
    """Pieces that belong to this row and the following ones: as above, and the number of rows."""

    @property
    def middle(self) -> float:
        box = union(piece.box for _, _, piece in self.pieces)
        return (box.top + box.bottom) / 2

    def filled(self) -> set[int]:
        return {c for first, last, _ in self.pieces for c in range(first, last + 1)}


def _grid_of(block: list[Line], rules: Sequence[Rule], edges: Sequence[Rule]) -> Grid | None:
    columns = _columns(block)
    if len(columns) < 2:
        return None
    rows = [_Row([line], _placed(line, columns, rules)) for line in block]
    _widen_headers(rows, columns)
    area = union(line.box for line in block)
    rows = _merged(rows, _bands([*rules, *edges], area), len(columns))
    if len(rows) < 2:
        return None
    cells = _all_cells(rows)
    return complete_grid(len(rows), len(columns), cells, "aligned", area)


def _all_cells(rows: list[_Row]) -> list[Cell]:
    """The cells of every row, spanning ones first, each place covered once."""
    cells: list[Cell] = []
    taken: set[tuple[int, int]] = set()
    for r, row in enumerate(rows):
        for first, last, piece, span in row.spans:
            places = {(r + down, c) for down in range(span) for c in range(first, last + 1)}
            if r + span <= len(rows) and not places & taken:
                taken |= places
                cells.append(Cell(r, first, span, last - first + 1, piece.words, piece.box))
    for r, row in enumerate(rows):
        for first, last, words in _cells_of(row):
            places = {(r, c) for c in range(first, last + 1)}
            if not places & taken:
                taken |= places
                cells.append(Cell(r, first, 1, last - first + 1, words, union(w.box for w in words)))
    return cells


def _widen_headers(rows: list[_Row], columns: list[_Column]) -> None:
    """Header pieces that stand centred over several columns of the next line are made to cover them."""
    for row, below in itertools.pairwise(rows[:4]):
        if any(c.isdigit() for line in row.lines for c in line.text):
            return
        filled, under = row.filled(), below.filled() | _header_below(rows, below)
        for n, (first, last, piece) in enumerate(row.pieces):
            if first != last:
                continue
            middle = (piece.box.x0 + piece.box.x1) / 2
            groups = [(a, b) for a in range(max(0, first - 3), first + 1) for b in range(first, min(len(columns), a + 5))
                      if b > a and all(c == first or c not in filled for c in range(a, b + 1))
                      and all(c in under for c in range(a, b + 1))]  # fmt: skip
            off = {(a, b): abs((columns[a].x0 + columns[b].x1) / 2 - middle) for a, b in groups}
            best = min(off, key=lambda g: (round(off[g] / (0.4 * piece.size)), g[1] - g[0]), default=None)
            own = abs(columns[first].middle - middle)
            if best and off[best] < 0.6 * piece.size and own > max(0.9 * piece.size, 2 * off[best]):
                row.pieces[n] = (*best, piece)


def _header_below(rows: list[_Row], row: _Row) -> set[int]:
    """The columns of the header line after ``row``, where that has no digits either."""
    at = rows.index(row) + 1
    if at >= len(rows) or any(c.isdigit() for line in rows[at].lines for c in line.text):
        return set()
    return rows[at].filled()


def _cells_of(row: _Row) -> Iterable[tuple[int, int, tuple[Word, ...]]]:
    """The row's pieces, those of the same columns joined; a piece inside a wider one belongs to it."""
    groups: list[tuple[int, int, list[Word]]] = []
    for first, last, segment in sorted(row.pieces, key=lambda p: (p[0] - p[1], p[0])):
        home = next((g for g in groups if g[0] <= first and last <= g[1]), None)
        if home is not None:
            home[2].extend(segment.words)
        else:
            taken = {c for g in groups for c in range(g[0], g[1] + 1)}
            free = [c for c in range(first, last + 1) if c not in taken]
            if free:
                groups.append((free[0], free[-1], list(segment.words)))
    return [(first, last, tuple(words)) for first, last, words in groups]


def _placed(line: Line, columns: list[_Column], rules: Sequence[Rule]) -> list[tuple[int, int, Segment]]:
    """Each segment of a line with the columns that it covers."""
    placed = []
    for segment in line.segments:
        for piece in _parted_at_columns(segment, columns):
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


def _home(piece: Segment, columns: list[_Column]) -> int:
    middle = (piece.box.x0 + piece.box.x1) / 2
    shares = [min(piece.box.x1, c.x1) - max(piece.box.x0, c.x0) for c in columns]
    best = max(range(len(columns)), key=lambda n: shares[n])
    return best if shares[best] > 0 else next(n for n, c in enumerate(columns) if c.left <= middle <= c.right)


def _parted_at_columns(segment: Segment, columns: list[_Column]) -> list[Segment]:
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


def _rule_under(piece: Segment, line: Line, columns: list[_Column], rules: Sequence[Rule]) -> tuple[int, int] | None:
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


def _bands(rules: Sequence[Rule], area: Box) -> list[float]:
    """Heights of the rules that run across most of the block."""
    width = area.x1 - area.x0
    by_height: dict[int, float] = {}
    for rule in rules:
        if rule.horizontal and area.top - 20 <= rule.y0 <= area.bottom + 20:
            by_height[round(rule.y0)] = (
                by_height.get(round(rule.y0), 0.0) + min(rule.x1, area.x1) - max(rule.x0, area.x0)
            )
    return sorted(float(y) for y, length in by_height.items() if length > 0.7 * width)


def _merged(rows: list[_Row], bands: list[float], columns: int) -> list[_Row]:
    """Rows with the further lines of their cells joined: within a ruled band or a cluster, else by nearness."""
    kept: list[_Row] = []
    for _, group in itertools.groupby(rows, key=lambda row: sum(y < row.middle for y in bands)):
        band = list(group)
        anchors = [row for row in band if 0 in row.filled() and len(row.filled()) > 1]
        clusters = _tight_clusters(band)
        if len(bands) >= _LEAST_BANDS and (len(anchors) <= 1 or len(bands) > _MANY_BANDS):
            kept.extend(_rows_of_group(band))
        elif clusters:
            kept.extend(row for cluster in clusters for row in _rows_of_group(cluster))
        else:
            kept.extend(_merged_near(band, anchors, columns))
    return kept


def _rows_of_group(group: list[_Row]) -> list[_Row]:
    """The lines of a band or cluster as the rows that they are: one, or several that share some cells.

    Several, where half of the columns hold the same number of pieces and none of these goes on in the next line. A
    column's only piece that stands in the middle of the group then belongs to all of its rows.
    """
    pieces = [(first, last, piece) for row in group for first, last, piece in row.pieces]
    counts = Counter(first for first, last, _ in pieces if first == last)
    most = max(counts.values(), default=1)
    even = [c for c, n in counts.items() if n == most]
    digits = any(ch.isdigit() for _, _, piece in pieces for ch in piece.text)
    goes_on = any(_OPEN_END.search(piece.text) or piece.text.count("(") != piece.text.count(")") for *_, piece in pieces)
    if most < 2 or len(even) < max(2, 0.4 * len(counts)) or not digits or goes_on:
        return _as_one(group)
    column = sorted((p for p in pieces if p[0] == even[-1]), key=lambda p: p[2].box.top)
    middles = [(p[2].box.top + p[2].box.bottom) / 2 for p in column]
    rows = [_Row([], []) for _ in middles]
    for first, last, piece in pieces:
        middle = (piece.box.top + piece.box.bottom) / 2
        nearest = min(range(len(middles)), key=lambda n: abs(middles[n] - middle))
        if counts[first] == 1 and abs(middle - (middles[0] + middles[-1]) / 2) < 0.45 * piece.size:
            rows[0].spans.append((first, last, piece, len(rows)))
        else:
            rows[nearest].pieces.append((first, last, piece))
    for row, middle in zip(rows, middles, strict=True):
        row.lines.extend(line for k in group for line in k.lines if abs(k.middle - middle) < 2)
    return rows if all(row.pieces for row in rows) else _as_one(group)


def _tight_clusters(rows: list[_Row]) -> list[list[_Row]] | None:
    """Rows in clusters of tight lines with clear gaps between; ``None`` where the gaps do not tell.

    The first column takes no part, since its words may stand in the middle of several rows; a line of that column
    alone goes to the nearest cluster.
    """
    full = [row for row in rows if row.filled() - {0}]
    if len(full) < 3:
        return None
    height = sorted(s.size for row in full for line in row.lines for s in line.segments)[0] * 1.1
    extents = [_extent(row) for row in full]
    gaps = [b[0] - a[1] for a, b in itertools.pairwise(extents)]
    tight = [g for g in gaps if g < 0.3 * height]
    wide = [g for g in gaps if g >= 0.3 * height]
    if not tight or not wide or min(wide) - max(tight) < 0.2 * height:
        return None
    clusters: list[list[_Row]] = [[full[0]]]
    for row, gap in zip(full[1:], gaps, strict=True):
        if gap < 0.3 * height:
            clusters[-1].append(row)
        else:
            clusters.append([row])
    if any(len(c) > 5 or sum(0 in row.filled() for row in c) > 2 for c in clusters):
        return None
    for row in rows:
        if row not in full:
            min(clusters, key=lambda c: min(abs(k.middle - row.middle) for k in c)).append(row)
    return [sorted(c, key=lambda r: r.middle) for c in clusters]


def _extent(row: _Row) -> tuple[float, float]:
    boxes = [piece.box for first, last, piece in row.pieces if last > 0]
    return min(b.top for b in boxes), max(b.bottom for b in boxes)


def _as_one(band: list[_Row]) -> list[_Row]:
    """The rows of a band as one, but a line whose pieces cover several columns over others stays a row of its own."""
    wide = [row for row in band if any(last > first for first, last, _ in row.pieces)]
    if len(band) == 1 or len(wide) == len(band):
        return band
    narrow = [row for row in band if row not in wide]
    first = narrow[0]
    for row in narrow[1:]:
        first.lines.extend(row.lines)
        first.pieces.extend(row.pieces)
    return [*(row for row in wide if row.middle <= first.middle), first, *(r for r in wide if r.middle > first.middle)]


def _merged_near(rows: list[_Row], anchors: list[_Row], columns: int) -> list[_Row]:
    pitches = sorted(b.middle - a.middle for a, b in itertools.pairwise(anchors))
    pitch = pitches[len(pitches) // 2] if pitches else 0.0
    homes = {id(row): None if row in anchors else _home_row(row, anchors, pitch, columns) for row in rows}
    kept = [row for row in rows if homes[id(row)] is None]
    for row in rows:
        home = homes[id(row)]
        if home is not None:
            home.lines.extend(row.lines)
            home.pieces.extend(row.pieces)
    return kept


def _home_row(row: _Row, anchors: list[_Row], pitch: float, columns: int) -> _Row | None:
    if any(last > first for first, last, _ in row.pieces) or not anchors:
        return None
    nearest = min(anchors, key=lambda a: abs(a.middle - row.middle))
    distance = abs(nearest.middle - row.middle)
    full = len(row.filled()) >= 0.6 * (columns - 1) and columns > 2
    height = max(s.size for line in row.lines for s in line.segments)
    if full and not _is_header_line(row) and pitch and distance > _WRAP_PITCH * pitch:
        return None
    return nearest if distance < 2.2 * height else None


def _is_header_line(row: _Row) -> bool:
    """Whether no word of the row holds a digit, as in a label of several lines."""
    return not any(c.isdigit() for line in row.lines for c in line.text)
