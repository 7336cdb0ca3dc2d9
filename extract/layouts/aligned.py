"""Tables without upright lines: lines of segments → blocks → columns by the gaps that run through → cells."""

from __future__ import annotations

from collections.abc import Sequence

from ...schema.claims import Box
from ..lines import Line, find_lines, union
from ..records import Rule, Word
from ..settings import DEFAULT_SETTINGS, ReadSettings
from .bands import LineRow, cells_of_rows, find_bands, merge_rows
from .blocks import (
    find_blocks,
    lies_within,
    row_edges,
    ruled_regions,
    stretches_between,
    striped_regions,
    with_ends,
    with_overlapping,
)
from .centred import share_centred
from .gaps import GapColumn, find_columns, place_pieces, with_territory
from .grids import Grid, complete_grid
from .headers import widen_headers
from .pieces import columns_of_pieces


def find_aligned_grids(
    words: Sequence[Word],
    rules: Sequence[Rule],
    fills: Sequence[Box] = (),
    headings: Sequence[Box] = (),
    settings: ReadSettings = DEFAULT_SETTINGS,
) -> list[Grid]:
    """Tables of two columns or more that only their alignment tells, from top to bottom.

    The edges of ``fills`` part rows as rules do; filled rows in turn with unfilled ones make a table. No table runs
    over one of the ``headings``.
    """
    lines = find_lines(words, settings)
    blocks: list[list[Line]] = []
    breaks = [k for n, k in enumerate(lines) if any(_covers(h, k.box) for h in headings) and not _is_beside(lines, n)]
    free = [k for k in lines if k not in breaks]
    regions = [*ruled_regions(lines, rules, breaks), *striped_regions(free, fills, breaks)]
    for top, bottom, x0, x1 in regions:
        inside = [k for k in lines if top <= (k.box.top + k.box.bottom) / 2 <= bottom and lies_within(k, x0, x1)]
        beside = [k for k in lines if lies_within(k, x0, x1) and k not in breaks]
        inside = with_overlapping(with_ends(inside, [k for k in beside if k not in inside], breaks), beside)
        if sum(len(line.segments) > 1 for line in inside) >= 2:
            blocks.append(inside)
            lines = [line for line in lines if line not in inside]
    for stretch in stretches_between(lines, breaks):
        blocks.extend(find_blocks(stretch))
    edges = row_edges(fills)
    grids = [_grid_of(block, rules, edges) for block in blocks]
    return sorted((g for g in grids if g is not None), key=lambda g: (g.box.top, g.box.x0))


def rows_of_columns(grid: Grid, settings: ReadSettings = DEFAULT_SETTINGS) -> Grid | None:
    """A table with drawn columns and no rules between its rows, its rows told by the lines of its words.

    ``None`` where the drawn cells do not hold the same number of lines, as cards side by side do not.
    """
    if grid.rows != 1 or grid.cols < 3:
        return None
    lines = find_lines(grid.words, settings)
    areas = [grid.at(0, c).area for c in range(grid.cols)]
    columns = with_territory([(a.x0, a.x1) for a in areas])
    rows = [LineRow([line], place_pieces(line, columns, ())) for line in lines]
    full = [row for row in rows if len(row.filled()) >= 0.7 * len(columns)]
    if len(full) < 2 or any(len(p.words) > 6 for row in rows for _, _, p in row.pieces):
        return None
    widen_headers(rows, columns)
    area = union(areas)
    merged = merge_rows(rows, [], len(columns))
    return complete_grid(len(merged), len(columns), cells_of_rows(merged), "aligned", area) if len(merged) > 1 else None


def _covers(heading: Box, line: Box) -> bool:
    return (heading.x0 - 1 <= line.x0 and line.x1 <= heading.x1 + 1
            and heading.top - 1 <= line.top and line.bottom <= heading.bottom + 1)  # fmt: skip


def _is_beside(lines: Sequence[Line], at: int) -> bool:
    """Whether a line overlaps in height with the cells of the line above: a further line of a cell, no heading."""
    own = lines[at].box
    room = 0.2 * (own.bottom - own.top)
    above = at > 0 and lines[at - 1].box.bottom - own.top > room
    return above and len(lines[at - 1].segments) > 1


def _held(block: Sequence[Line], borders: Sequence[tuple[float, float]]) -> list[GapColumn]:
    """Columns between known borders, with the stretch that their words cover."""
    columns = []
    for n, (left, right) in enumerate(borders):
        own = [s.box for k in block for s in k.segments if left - 1 <= s.box.x0 and s.box.x1 <= right + 1]
        box = union(own) if own else None
        x0, x1 = (box.x0, box.x1) if box else (left, right)
        columns.append(GapColumn(x0, x1, left if n else -1e9, right if n + 1 < len(borders) else 1e9))
    return columns


def _grid_of(block: list[Line], rules: Sequence[Rule], edges: Sequence[Rule]) -> Grid | None:
    if max(len(line.segments) for line in block) < 2:
        return None
    area = union(line.box for line in block)
    pieces = columns_of_pieces(rules, block) or columns_of_pieces(edges, block)
    columns = _held(block, pieces) if pieces else find_columns(block, rules)
    if len(columns) < 2:
        return None
    rows = [LineRow([line], place_pieces(line, columns, rules)) for line in block]
    widen_headers(rows, columns)
    rows = merge_rows(rows, find_bands([*rules, *edges], area), len(columns))
    if len(rows) < 2:
        return None
    share_centred(rows)
    cells = cells_of_rows(rows)
    return complete_grid(len(rows), len(columns), cells, "aligned", area)
