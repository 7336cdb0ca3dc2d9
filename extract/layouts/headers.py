"""Header cells over several columns that no line marks: told by standing centred over the cells below them."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

from ..lines import Segment
from .bands import LineRow
from .gaps import GapColumn

_MOST_ROWS = 4
_MOST_COLUMNS = 5
_CENTRED = 0.6
_FINER = 0.4
_OFF_CENTRE = 0.9
_ALIGNED = 0.15
_BELOW = 0.25


def widen_headers(rows: list[LineRow], columns: list[GapColumn]) -> None:
    """Header pieces that stand centred over several columns of the lines below are made to cover them."""
    for n, (row, below) in enumerate(itertools.pairwise(rows[:_MOST_ROWS])):
        if _has_digits(row) or _has_digits(below):
            return
        further = rows[n + 1 : n + 3] if n + 2 < len(rows) and not _has_digits(rows[n + 2]) else [below]
        filled = row.filled()
        for at, (first, last, piece) in enumerate(row.pieces):
            if first != last or _is_aligned(piece, first, rows):
                continue
            under = {c for c in range(len(columns)) if c in _columns_below(piece, further)}
            groups = [(a, b) for a, b in _spans(first, len(columns))
                      if all(c == first or c not in filled for c in range(a, b + 1))
                      and all(c in under for c in range(a, b + 1))]  # fmt: skip
            wide = _best(piece, first, groups, columns)
            if wide:
                row.pieces[at] = (*wide, piece)


def _has_digits(row: LineRow) -> bool:
    return any(c.isdigit() for line in row.lines for c in line.text)


def _spans(column: int, columns: int) -> Iterable[tuple[int, int]]:
    """Stretches of two to five columns that hold ``column``."""
    for a in range(max(0, column - _MOST_COLUMNS + 2), column + 1):
        for b in range(max(column, a + 1), min(columns, a + _MOST_COLUMNS)):
            yield a, b


def _columns_below(piece: Segment, rows: Sequence[LineRow]) -> set[int]:
    """The columns whose next words stand below a piece, not beside it as those of cells over all header lines do."""
    tops: dict[int, float] = {}
    for row in rows:
        for first, last, other in row.pieces:
            for column in range(first, last + 1):
                tops[column] = min(tops.get(column, 1e9), other.box.top)
    return {column for column, top in tops.items() if top > piece.box.bottom - _BELOW * piece.size}


def _best(
    piece: Segment, column: int, groups: Sequence[tuple[int, int]], columns: Sequence[GapColumn]
) -> tuple[int, int] | None:
    """The columns over which a piece stands centred, by their words or by their borders; ``None`` for its own only."""
    middle = (piece.box.x0 + piece.box.x1) / 2
    off = {(a, b): abs((columns[a].x0 + columns[b].x1) / 2 - middle) for a, b in groups}
    for a, b in groups:
        if columns[a].left > -1e8 and columns[b].right < 1e8:
            off[a, b] = min(off[a, b], abs((columns[a].left + columns[b].right) / 2 - middle))
    best = min(off, key=lambda g: (round(off[g] / (_FINER * piece.size)), g[1] - g[0]), default=None)
    own = abs(columns[column].middle - middle)
    if best and off[best] < _CENTRED * piece.size and own > max(_OFF_CENTRE * piece.size, 2 * off[best]):
        return best
    return None


def _is_aligned(piece: Segment, column: int, rows: Sequence[LineRow]) -> bool:
    """Whether words begin or end where most others of their own column do: they are no header over several columns."""
    own = [p for row in rows for first, last, p in row.pieces if first == last == column and p is not piece]
    near = _ALIGNED * piece.size
    begin = sum(abs(p.box.x0 - piece.box.x0) < near for p in own)
    end = sum(abs(p.box.x1 - piece.box.x1) < near for p in own)
    return len(own) > 1 and max(begin, end) > 0.5 * len(own)
