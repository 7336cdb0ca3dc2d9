"""Cells that stand once for several rows, in the middle of their height: which rows they belong to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..lines import Segment, union
from .bands import LineRow

_LABEL_COLUMNS = 3
_OFF_ROW = 0.35
_ON_CENTRE = 0.35


@dataclass(frozen=True)
class _Label:
    piece: Segment
    middle: float
    off: float
    """How far it stands from the middle of the other words of its line."""


def share_centred(rows: list[LineRow]) -> None:
    """Make pieces of the first columns that stand between rows cover the rows in whose middle they stand.

    From the first row on, each piece settles where its rows end, since it stands in their middle, and so where those of
    the next piece begin. Unless all rows are dealt out so, nothing is changed. Lines of such a piece alone are no rows.
    """
    first = next((n for n, row in enumerate(rows) if any(c.isdigit() for *_, p in row.pieces for c in p.text)), 0)
    for column in range(_LABEL_COLUMNS):
        body = [row for row in rows[first:] if any(a > column for a, _, _ in row.pieces)]
        alone = [row for row in rows[first:] if row not in body]
        if any((a, b) != (column, column) for row in alone for a, b, _ in row.pieces):
            continue
        middles = [_middle_without(row, column) for row in body]
        labels = _labels_of(rows[first:], column)
        if not labels or len(labels) >= len(body):
            continue
        if any(label.off > _OFF_ROW * label.piece.size for label in labels):
            groups = _dealt_out(middles, labels)
            if groups:
                _share(body, column, labels, groups)
                rows[first:] = body


def _middle_without(row: LineRow, column: int) -> float:
    """The height in the middle of a row's pieces right of a column."""
    box = union(piece.box for first, _, piece in row.pieces if first > column)
    return (box.top + box.bottom) / 2


def _labels_of(rows: Sequence[LineRow], column: int) -> list[_Label]:
    """The pieces of one column from top to bottom, those of one row together."""
    found = []
    for row in rows:
        pieces = sorted((p for a, b, p in row.pieces if a == b == column), key=lambda p: p.box.top)
        if pieces:
            box = union(p.box for p in pieces)
            whole = Segment(tuple(w for p in pieces for w in p.words))
            middle = (box.top + box.bottom) / 2
            alone = len(pieces) == len(row.pieces)
            found.append(_Label(whole, middle, 1e9 if alone else abs(middle - _middle_without(row, column))))
    return sorted(found, key=lambda label: label.middle)


def _dealt_out(middles: Sequence[float], labels: Sequence[_Label]) -> list[tuple[int, int]]:
    """The first and last row of each label; empty where they do not take up every row."""
    groups: list[tuple[int, int]] = []
    start = 0
    for label in labels:
        size = label.piece.size
        ends = [end for end in range(start, len(middles))
                if abs((middles[start] + middles[end]) / 2 - label.middle) < _ON_CENTRE * size]  # fmt: skip
        if len(ends) != 1:
            return []
        groups.append((start, ends[0]))
        start = ends[0] + 1
    return groups if start == len(middles) else []


def _share(rows: Sequence[LineRow], column: int, labels: Sequence[_Label], groups: Sequence[tuple[int, int]]) -> None:
    for row in rows:
        row.pieces[:] = [p for p in row.pieces if not p[0] == p[1] == column]
    for label, (start, end) in zip(labels, groups, strict=True):
        if end > start:
            rows[start].spans.append((column, column, label.piece, end - start + 1))
        else:
            rows[start].pieces.append((column, column, label.piece))
