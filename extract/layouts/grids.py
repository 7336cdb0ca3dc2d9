"""The record of a table: cells on a grid, some spanning several rows or columns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from ...schema.claims import Box
from ..lines import cell_text, union
from ..records import Word


@dataclass(frozen=True)
class Cell:
    """One cell: its first row and column, how many of each it spans, its words and its area on the page."""

    row: int
    col: int
    row_span: int
    col_span: int
    words: tuple[Word, ...]
    area: Box

    @cached_property
    def text(self) -> str:
        """The words as one text."""
        return cell_text(self.words)

    @cached_property
    def box(self) -> Box:
        """The box around the words, the area where there are none."""
        return union(w.box for w in self.words) if self.words else self.area

    @cached_property
    def confidence(self) -> float:
        """The least confidence of a word; 1 for an empty cell."""
        return min((w.confidence for w in self.words), default=1.0)

    def turned(self) -> Cell:
        """The cell with rows and columns exchanged; words and area stay."""
        return Cell(self.col, self.row, self.col_span, self.row_span, self.words, self.area)


@dataclass(frozen=True)
class Grid:
    """A table of ``rows`` × ``cols`` places, each covered by exactly one cell. ``reader`` says who found it."""

    rows: int
    cols: int
    cells: tuple[Cell, ...]
    reader: str

    @cached_property
    def _places(self) -> dict[tuple[int, int], Cell]:
        return {
            (r, c): cell
            for cell in self.cells
            for r in range(cell.row, cell.row + cell.row_span)
            for c in range(cell.col, cell.col + cell.col_span)
        }

    @cached_property
    def box(self) -> Box:
        """The area of the whole table."""
        return union(c.area for c in self.cells)

    @cached_property
    def words(self) -> tuple[Word, ...]:
        """Every word of the table."""
        return tuple(w for c in self.cells for w in c.words)

    def at(self, row: int, col: int) -> Cell:
        """The cell that covers a place."""
        return self._places[row, col]

    def turned(self) -> Grid:
        """The grid with rows and columns exchanged."""
        return Grid(self.cols, self.rows, tuple(c.turned() for c in self.cells), self.reader)


def complete_grid(rows: int, cols: int, cells: Sequence[Cell], reader: str, area: Box) -> Grid:
    """A grid whose uncovered places are filled with empty cells."""
    covered = {(r, c) for cell in cells for r in range(cell.row, cell.row + cell.row_span)
               for c in range(cell.col, cell.col + cell.col_span)}  # fmt: skip
    blank = [Cell(r, c, 1, 1, (), area) for r in range(rows) for c in range(cols) if (r, c) not in covered]
    return Grid(rows, cols, (*cells, *blank), reader)


def without_blanks(grid: Grid) -> Grid:
    """The grid without rows and columns that hold no words."""
    for turned in (False, True):
        filled = sorted({r for c in grid.cells if c.words for r in range(c.row, c.row + c.row_span)})
        if len(filled) < grid.rows:
            at = {row: n for n, row in enumerate(filled)}
            kept = [(c, [at[r] for r in range(c.row, c.row + c.row_span) if r in at]) for c in grid.cells]
            cells = tuple(Cell(rows[0], c.col, len(rows), c.col_span, c.words, c.area) for c, rows in kept if rows)
            grid = Grid(len(filled), grid.cols, cells, grid.reader)
        grid = grid.turned()
        if turned:
            return grid
    return grid


def inside(words: Iterable[Word], box: Box, room: float = 1.0) -> list[Word]:
    """The words whose centre lies in ``box``, grown by ``room`` points."""
    return [w for w in words if box.x0 - room <= (w.box.x0 + w.box.x1) / 2 <= box.x1 + room
            and box.top - room <= (w.box.top + w.box.bottom) / 2 <= box.bottom + room]  # fmt: skip
