"""Rows that were cut through a model's name or a list of values → whole rows, or whole names over both."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from ...schema.claims import Box
from ..labels import Role, analyse
from ..lines import union
from ..marks import is_ditto, is_nothing
from ..records import Word
from ..subjects import parse_variant
from .columns import View, reads
from .grids import Cell, Grid, complete_grid

_OPEN_END = re.compile(r"(?:[/,;&+(]|\w[-–]|\s(?:and|or|und|oder|et|ou|e|o|y|en|of|to|bis|à))\s*$")
_CUT_END = re.compile(r"(?:[=:/(+&]|\s[-–])\s*$")
_LETTERS = re.compile(r"^[A-Z]{1,2}$")
_LONE_WORD = re.compile(r"^[^\W\d_]{1,10}$")


def mended(view: View, languages: tuple[str, ...]) -> View:
    """The view with every model's name whole, so that none is read without its beginning.

    A name goes on in the next row where it ends in a joint (``AB12 /``) or is a lone unknown word over digits. Two rows
    of which no column holds two whole values are one; otherwise the name holds for both.
    """
    col = next((n for n, c in enumerate(view.columns) if c.role is Role.MODEL), None)
    if col is None:
        return view
    groups: list[list[int]] = [[r] for r in range(view.header_rows)]
    spanning: list[tuple[int, int]] = []
    for row in range(view.header_rows, view.grid.rows):
        before = row - 1
        name = next((r for r in reversed(groups[-1]) if view.grid.at(r, col).words), before) if groups else before
        if row > view.header_rows and _goes_on(view, name, before, col, languages):
            if all(_is_one_row(view, r, row, languages) for r in groups[-1]):
                groups[-1].append(row)
                continue
            if view.grid.at(row, col).words and name == before:
                spanning.append((before, row))
        groups.append([row])
    if len(groups) == view.grid.rows and not spanning:
        return view
    grid = _with_whole_names(view.grid, spanning, col)
    grid = _with_merged_rows(grid, groups) or grid
    return replace(view, grid=grid)


def with_joined_rows(grid: Grid) -> Grid:
    """The grid with two rows as one where cells of the first are cut (``Short = 28 /``) and the second has no label."""
    groups: list[list[int]] = []
    for row in range(grid.rows):
        if groups and _is_rest(grid, row):
            groups[-1].append(row)
        else:
            groups.append([row])
    if len(groups) == grid.rows:
        return grid
    return _with_merged_rows(grid, groups) or grid


def _is_rest(grid: Grid, row: int) -> bool:
    label, before = grid.at(row, 0), grid.at(row - 1, 0)
    if (label.words and label is not before) or not before.words:
        return False
    cells = {grid.at(row, col) for col in range(1, grid.cols)}
    return any(_CUT_END.search(grid.at(row - 1, col).text) and grid.at(row, col).words for col in range(1, grid.cols)
               if grid.at(row - 1, col) not in cells)  # fmt: skip


def _goes_on(view: View, named: int, row: int, col: int, languages: tuple[str, ...]) -> bool:
    """Whether the name in the row ``named``, or a value over a row without a name, is cut off at the end of ``row``."""
    name, below = view.grid.at(named, col), view.grid.at(row + 1, col)
    text = name.text.strip()
    if name is below:
        return False
    if named == row and _is_last_letter(view, row + 1, below.text):
        return True
    joint = bool(_OPEN_END.search(text)) and not is_nothing(text) and not is_ditto(text)
    if not below.words:
        return joint or any(_OPEN_END.search(view.grid.at(row, c).text) for c, k in enumerate(view.columns) if k.hits)
    if joint or named != row or not text or is_ditto(below.text):
        return joint and not is_ditto(below.text)
    lone = text.split()[-1] if "," in text or "/" in text else text
    return bool(_LONE_WORD.match(lone)) and below.text[:1].isdigit() and not _is_known(lone, languages)


def _is_last_letter(view: View, row: int, text: str) -> bool:
    """Whether a row holds a letter or two of a name and no value: the end of the name above, as ``T`` of ``AB12 T``."""
    values = [view.grid.at(row, n).text for n, c in enumerate(view.columns) if c.hits or c.role is Role.VARIANT]
    return bool(_LETTERS.match(text)) and all(is_nothing(v) and not v for v in values)


def _is_known(word: str, languages: tuple[str, ...]) -> bool:
    return parse_variant(word, languages) is not None or bool(analyse(word, languages).terms[0].meanings)


def _is_one_row(view: View, row: int, below: int, languages: tuple[str, ...]) -> bool:
    """Whether no column holds a whole value, or a version, in both rows."""
    for col, column in enumerate(view.columns):
        one, other = view.grid.at(row, col), view.grid.at(below, col)
        if one is other or not one.words or not other.words:
            continue
        if column.role is Role.VARIANT:
            return False
        if column.choice or (column.hits and all(reads(c.text, column.hits, languages) for c in (one, other))
                             and not _OPEN_END.search(one.text)):  # fmt: skip
            return False
    return True


def _with_whole_names(grid: Grid, spanning: Sequence[tuple[int, int]], col: int) -> Grid:
    for row, below in spanning:
        pair = [grid.at(row, col), grid.at(below, col)]
        if any(c.col_span > 1 for c in pair):
            continue
        whole = Cell(pair[0].row, col, pair[0].row_span + pair[1].row_span, 1, (*pair[0].words, *pair[1].words),
                     union(c.area for c in pair))  # fmt: skip
        grid = Grid(grid.rows, grid.cols, (*(c for c in grid.cells if c not in pair), whole), grid.reader)
    return grid


def _with_merged_rows(grid: Grid, groups: Sequence[Sequence[int]]) -> Grid | None:
    """The grid with the rows of each group as one; ``None`` where its cells do not allow that."""
    place = {row: n for n, group in enumerate(groups) for row in group}
    merged: dict[tuple[int, int, int, int], list[Cell]] = {}
    for cell in grid.cells:
        first, last = place[cell.row], place[cell.row + cell.row_span - 1]
        if cell.words:
            merged.setdefault((first, cell.col, last - first + 1, cell.col_span), []).append(cell)
    cells = [Cell(*at, _words(held), _area(held)) for at, held in merged.items()]
    covered = [
        (r, c) for k in cells for r in range(k.row, k.row + k.row_span) for c in range(k.col, k.col + k.col_span)
    ]
    if len(set(covered)) != len(covered):
        return None
    return complete_grid(len(groups), grid.cols, cells, grid.reader, grid.box)


def _words(cells: Sequence[Cell]) -> tuple[Word, ...]:
    return tuple(w for c in cells for w in c.words)


def _area(cells: Sequence[Cell]) -> Box:
    return union(c.area for c in cells)
