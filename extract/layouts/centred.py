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
    row: int
    piece: Segment
    middle: float


def share_centred(rows: Sequence[LineRow]) -> None:
    """Make pieces of the first columns that stand between rows cover the rows in whose middle they stand.

    From the first row on, each piece settles where its rows end, since it stands in their middle, and so where those of
    the next piece begin. Unless all rows are dealt out so, nothing is changed.
    """
    body = [n for n, row in enumerate(rows) if any(c.isdigit() for *_, p in row.pieces for c in p.text)]
    if len(body) < 2:
        return
    first = body[0]
    for column in range(_LABEL_COLUMNS):
        middles = [_middle_without(row, column) for row in rows[first:]]
        labels = _labels_of(rows[first:], column)
        known = [m for m in middles if m is not None]
        if len(known) != len(middles) or not labels or len(labels) >= len(rows) - first:
            continue
        if any(abs(k.middle - known[k.row]) > _OFF_ROW * k.piece.size for k in labels):
            groups = _dealt_out(known, labels)
            if groups:
                _share(rows[first:], column, labels, groups)


def _middle_without(row: LineRow, column: int) -> float | None:
    """The height in the middle of a row's pieces right of a column; ``None`` where it has none."""
    boxes = [piece.box for first, _, piece in row.pieces if first > column]
    if not boxes:
        return None
    box = union(boxes)
    return (box.top + box.bottom) / 2


def _labels_of(rows: Sequence[LineRow], column: int) -> list[_Label]:
    """The pieces of one column, those of one row together."""
    found = []
    for n, row in enumerate(rows):
        pieces = sorted((p for a, b, p in row.pieces if a == b == column), key=lambda p: p.box.top)
        if pieces:
            box = union(p.box for p in pieces)
            whole = Segment(tuple(w for p in pieces for w in p.words))
            found.append(_Label(n, whole, (box.top + box.bottom) / 2))
    return found


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
