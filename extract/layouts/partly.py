"""Tables whose drawn lines part only some of their rows and columns: what the lines leave together, alignment parts."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

from ...schema.claims import Box
from ..lines import Line, find_lines
from ..records import Word
from ..settings import DEFAULT_SETTINGS, ReadSettings
from .bands import LineRow, cells_of_rows, merge_rows
from .gaps import GapColumn, find_columns, place_pieces
from .grids import Cell, Grid, complete_grid
from .headers import widen_headers

_PADDING_PT = 2.0
_LEAST_LINES = 3
_MOSTLY = 0.6
_SURELY = 0.8
_MANY_LINES = 5
_NUMBERED = 0.5
_OPEN = "-–—/,;·(+"


def open_crowded(grid: Grid, settings: ReadSettings = DEFAULT_SETTINGS) -> Grid:
    """The grid with crowded cells parted: shared ones at column borders, wide ones into columns, tall ones into rows.

    A grid whose drawn lines part everything comes back as it is.
    """
    grid = _open_shared(grid, settings)
    lines = {cell: find_lines(cell.words, settings) for cell in grid.cells if len(cell.words) > 1}
    columns, starts = _all_columns(grid, lines)
    opened: dict[int, list[LineRow]] = {}
    for row in range(grid.rows):
        found = _rows_within(grid, row, lines, columns, len(columns) > grid.cols, settings)
        if found:
            opened[row] = found
    return _rebuilt(grid, columns, starts, opened) if opened else grid


def _borders(grid: Grid) -> tuple[list[float], list[float]]:
    """The heights of the row borders and the places of the column borders."""
    ys, xs = [0.0] * (grid.rows + 1), [0.0] * (grid.cols + 1)
    for cell in grid.cells:
        ys[cell.row], ys[cell.row + cell.row_span] = cell.area.top, cell.area.bottom
        xs[cell.col], xs[cell.col + cell.col_span] = cell.area.x0, cell.area.x1
    return ys, xs


def _open_shared(grid: Grid, settings: ReadSettings) -> Grid:
    """Cells over several columns, parted where each of their runs of words lies within one column of its own."""
    if all(c.col_span == 1 for c in grid.cells):
        return grid
    _, xs = _borders(grid)
    cells: list[Cell] = []
    for cell in grid.cells:
        cells.extend(_parted(cell, xs, settings) if cell.col_span > 1 and len(cell.words) > 1 else [cell])
    return replace(grid, cells=tuple(cells)) if len(cells) > len(grid.cells) else grid


def _parted(cell: Cell, xs: list[float], settings: ReadSettings) -> list[Cell]:
    columns = range(cell.col, cell.col + cell.col_span)
    held: dict[int, list[Word]] = {c: [] for c in columns}
    for line in find_lines(cell.words, settings):
        for segment in line.segments:
            home = next((c for c in columns if xs[c] - 1 <= segment.box.x0 and segment.box.x1 <= xs[c + 1] + 1), None)
            if home is None:
                return [cell]
            held[home].extend(segment.words)
    if sum(bool(words) for words in held.values()) < 2:
        return [cell]
    areas = {c: Box(xs[c], cell.area.top, xs[c + 1], cell.area.bottom) for c in columns}
    return [Cell(cell.row, c, cell.row_span, 1, tuple(held[c]), areas[c]) for c in columns]


def _all_columns(grid: Grid, lines: dict[Cell, list[Line]]) -> tuple[list[GapColumn], list[int]]:
    """Every column, drawn ones parted where they hold several, and the first of them for each drawn one."""
    _, xs = _borders(grid)
    columns: list[GapColumn] = []
    starts: list[int] = []
    for col in range(grid.cols):
        starts.append(len(columns))
        left, right = xs[col], xs[col + 1]
        own = [line for c in grid.cells if c.col == col and c.col_span == 1 for line in lines.get(c, ())]
        inner = _columns_within(own)
        edges = [left, *(c.right for c in inner[:-1]), right]
        held = [(c.x0, c.x1) for c in inner] or [(left, right)]
        columns.extend(GapColumn(*held[n], *edge) for n, edge in enumerate(itertools.pairwise(edges)))
    return columns, [*starts, len(columns)]


def _columns_within(lines: Sequence[Line]) -> list[GapColumn]:
    """The columns that the lines of one drawn column hold side by side; empty where they hold one."""
    if sum(len(line.segments) > 1 for line in lines) < _LEAST_LINES:
        return []
    columns = find_columns(lines)
    placed = [{first for first, last, _ in place_pieces(line, columns, ()) if first == last} for line in lines]
    full = sum(len(p) == len(columns) for p in placed)
    return columns if len(columns) > 1 and full >= _MOSTLY * len(lines) else []


def _rows_within(grid: Grid, row: int, lines: dict[Cell, list[Line]], columns: list[GapColumn], parted: bool,
                 settings: ReadSettings) -> list[LineRow]:  # fmt: skip
    """The rows that one drawn row holds; empty where it is to stay as it is drawn."""
    cells = [c for c in grid.cells if c.row == row and c.row_span == 1 and c.words]
    tall = _is_tall(cells, lines)
    if not tall and not parted:
        return []
    found = find_lines([w for c in cells for w in c.words], settings)
    rows = [LineRow([line], place_pieces(line, columns, ())) for line in found]
    widen_headers(rows, columns)
    if tall:
        return merge_rows(rows, [], len(columns))
    if any(last > first for k in rows for first, last, _ in k.pieces):
        return rows
    whole = LineRow([line for k in rows for line in k.lines], [p for k in rows for p in k.pieces])
    return [whole] if rows else []


def _is_tall(cells: Sequence[Cell], lines: dict[Cell, list[Line]]) -> bool:
    """Whether the cells of a drawn row hold several records under each other, in lines that did not have to end."""
    if len(cells) < 2:
        return False
    every = sorted((line for c in cells for line in lines.get(c, ())), key=lambda k: k.box.top + k.box.bottom)
    shared = _shared_heights(every, len(cells))
    if shared < _LEAST_LINES and (shared < 2 or len(cells) < 3 or len(every) != shared * len(cells)):
        return False
    breaks = [_was_free(a, b, c) for c in cells for a, b in itertools.pairwise(lines.get(c, ()))
              if not (_is_number(a) and _is_number(b))]  # fmt: skip
    forced = len(breaks) - sum(breaks)
    if forced > (1 - _SURELY) * (len(every) if shared >= _MANY_LINES else len(breaks)):
        return False
    return sum(any(ch.isdigit() for ch in line.text) for line in every) >= _NUMBERED * len(every)


def _is_number(line: Line) -> bool:
    """Whether every word of a line has digits, or no letters, and none is open at its end."""
    words = [w.text for segment in line.segments for w in segment.words]
    return not _is_open(line) and all(
        any(c.isdigit() for c in word) or not any(c.isalpha() for c in word) for word in words
    )


def _is_open(line: Line) -> bool:
    """Whether a line ends with a sign after which something has to follow."""
    last = line.segments[-1].words[-1].text
    return len(last) > 1 and last[-1] in _OPEN


def _shared_heights(lines: Sequence[Line], cells: int) -> int:
    """At how many heights most of the cells have a line."""
    heights: list[list[float]] = []
    for line in lines:
        middle = (line.box.top + line.box.bottom) / 2
        if heights and middle - heights[-1][0] < 0.4 * (line.box.bottom - line.box.top):
            heights[-1].append(middle)
        else:
            heights.append([middle])
    return sum(len(h) >= max(2, _MOSTLY * cells) for h in heights)


def _was_free(line: Line, following: Line, cell: Cell) -> bool:
    """Whether the first word of the next line would have found room at the end of this one."""
    room = (cell.area.x1 - cell.area.x0) - (line.box.x1 - line.box.x0) - 2 * _PADDING_PT
    word = following.segments[0].words[0]
    if _is_open(line):
        return False
    return room > word.box.x1 - word.box.x0 + 0.3 * word.size


def _rebuilt(grid: Grid, columns: list[GapColumn], starts: list[int], opened: dict[int, list[LineRow]]) -> Grid:
    tops: list[int] = []
    count = 0
    for row in range(grid.rows):
        tops.append(count)
        count += len(opened.get(row, "1"))
    tops.append(count)
    cells: list[Cell] = []
    for row, rows in opened.items():
        cells.extend(replace(c, row=c.row + tops[row]) for c in cells_of_rows(rows))
    for cell in grid.cells:
        if cell.row in opened and cell.row_span == 1:
            continue
        top, start = tops[cell.row], starts[cell.col]
        cells.append(replace(cell, row=top, row_span=tops[cell.row + cell.row_span] - top, col=start,
                             col_span=starts[cell.col + cell.col_span] - start))  # fmt: skip
    ys, xs = _borders(grid)
    return complete_grid(count, len(columns), cells, grid.reader, Box(xs[0], ys[0], xs[-1], ys[-1]))
