"""Rows of a table without rules around every cell: lines → rows, with cells of several lines and shared cells."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from ...schema.claims import Box
from ..lines import Line, Segment, union
from ..records import Rule, Word
from .grids import Cell

_WRAP_PITCH = 0.78
_LEAST_BANDS = 3
_MANY_BANDS = 4
_OPEN_END = re.compile(r"\w.*(?:[-–—/,;·(+]|\b(?:to|bis|tot|or|und|and|with|max|min)\.?)\s*$", re.IGNORECASE)
_OPEN_START = re.compile(r"\s*(?:[/,;·)+]\s*\w|(?:to|bis|tot|or|und|and|oder|ou|et|con|per)\b)", re.IGNORECASE)


@dataclass(eq=False)
class LineRow:
    """A row in the making: its lines, its pieces with the columns that they cover, and cells shared with later rows."""

    lines: list[Line]
    pieces: list[tuple[int, int, Segment]]
    """First column, last column, words."""
    spans: list[tuple[int, int, Segment, int]] = field(default_factory=list)
    """Pieces that belong to this row and the following ones: as above, and the number of rows."""

    @property
    def middle(self) -> float:
        """The height in the middle of its pieces."""
        box = union(piece.box for _, _, piece in self.pieces)
        return (box.top + box.bottom) / 2

    def filled(self) -> set[int]:
        """The columns that it has words in."""
        return {c for first, last, _ in self.pieces for c in range(first, last + 1)}


def find_bands(rules: Sequence[Rule], area: Box) -> list[float]:
    """Heights of the rules that run across most of the block, its first column included."""
    width = area.x1 - area.x0
    length: dict[int, float] = {}
    start: dict[int, float] = {}
    for rule in rules:
        if rule.horizontal and area.top - 20 <= rule.y0 <= area.bottom + 20:
            at = round(rule.y0)
            length[at] = length.get(at, 0.0) + min(rule.x1, area.x1) - max(rule.x0, area.x0)
            start[at] = min(start.get(at, 1e9), rule.x0)
    return sorted(float(y) for y in length if length[y] > 0.7 * width and start[y] < area.x0 + 0.08 * width)


def merge_rows(rows: list[LineRow], bands: list[float], columns: int) -> list[LineRow]:
    """Rows with the further lines of their cells joined: within a ruled band or a cluster, else by nearness."""
    kept = group_lines(rows)
    rows = [row for row in rows if row not in kept]
    groups = [list(g) for _, g in itertools.groupby(rows, key=lambda row: sum(y < row.middle for y in bands))]
    counts = [len(_anchors(band)) for band in groups]
    by_row = len(bands) > _MANY_BANDS or (sum(n <= 1 for n in counts[1:]) > 1 and max(counts[1:]) < _LEAST_BANDS)
    for n, band in enumerate(groups):
        anchors = _anchors(band)
        clusters = _tight_clusters(band)
        bounded = any(y < band[0].middle for y in bands) and n + 1 < len(groups)
        if len(bands) >= _LEAST_BANDS and (len(anchors) <= 1 or (by_row and bounded)):
            kept.extend(_rows_of_group(band))
        elif clusters:
            kept.extend(row for cluster in clusters for row in _rows_of_group(cluster))
        else:
            kept.extend(_merged_near(band, anchors, columns))
    return sorted(kept, key=lambda row: row.middle)


def _anchors(rows: Sequence[LineRow]) -> list[LineRow]:
    """Rows that have words in the first column and in others."""
    return [row for row in rows if 0 in row.filled() and len(row.filled()) > 1]


def group_lines(rows: Sequence[LineRow]) -> list[LineRow]:
    """Lines of one piece that are rows of their own.

    They cover several columns, or stand in the first one, stand out from the row below, and had room to go on.
    """
    found = [row for row in rows if len(row.pieces) == 1 and row.pieces[0][1] > row.pieces[0][0]]
    right = min((piece.box.x0 for row in rows for first, _, piece in row.pieces if first == 1), default=0.0)
    for row, below in itertools.pairwise(rows):
        label = next((p for first, last, p in below.pieces if first == last == 0), None)
        if label is None or row.filled() != {0} or len(row.pieces) != 1 or len(below.filled()) < 2:
            continue
        piece = row.pieces[0][2]
        stands_out = (piece.bold and not label.bold) or label.box.x0 - piece.box.x0 > 0.5 * piece.size
        room = right - piece.box.x1 - piece.size
        if stands_out and room > label.words[0].box.x1 - label.words[0].box.x0:
            found.append(row)
    return found


def _rows_of_group(group: list[LineRow]) -> list[LineRow]:
    """The lines of a band or cluster as the rows that they are: one, or several that share some cells.

    Several, where half of the columns hold the same number of pieces and none of these goes on in the next line. A
    column's only piece that stands in the middle of the group then belongs to all of its rows.
    """
    pieces = [(first, last, piece) for row in group for first, last, piece in row.pieces]
    counts = Counter(first for first, last, _ in pieces if first == last)
    most = max((n for n in counts.values() if _share(counts, n) >= max(2, 0.4 * len(counts))), default=1)
    even = [c for c, n in counts.items() if n == most]
    digits = any(ch.isdigit() for _, _, piece in pieces for ch in piece.text)
    goes_on = any(
        _OPEN_END.search(piece.text) or _OPEN_START.match(piece.text) or piece.text.count("(") != piece.text.count(")")
        for *_, piece in pieces
    )
    if most < 2 or not digits or goes_on or _go_on_in_words(pieces, even) or _name_versions(pieces):
        return _as_one(group)
    pieces = _with_whole_codes(pieces, most)
    counts = Counter(first for first, last, _ in pieces if first == last)
    column = sorted((p for p in pieces if p[0] == even[-1]), key=lambda p: p[2].box.top)
    middles = [(p[2].box.top + p[2].box.bottom) / 2 for p in column]
    rows = [LineRow([], []) for _ in middles]
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


def _go_on_in_words(pieces: Sequence[_Piece], columns: Sequence[int]) -> bool:
    """Whether in half of the columns a number is followed by a line without one: its unit, or more of its cell."""
    mixed = 0
    for column in columns:
        own = [piece.text for first, last, piece in pieces if first == last == column and _says_something(piece.text)]
        mixed += 0 < sum(any(c.isdigit() for c in text) for text in own) < len(own)
    return mixed >= 0.5 * len(columns)


_BEFORE_NUMBER = re.compile(r"([^\W\d_][^\d]*?)\s*(?:[:=]\s*|\s)(?:[^\w\s(]{1,2}\s?)?\d")


def _name_versions(pieces: Sequence[_Piece]) -> bool:
    """Whether two columns or more hold the same different names, a number behind each: one value for each version."""
    names: dict[int, list[str]] = {}
    for first, last, piece in pieces:
        found = _BEFORE_NUMBER.match(piece.text) if first == last and first else None
        if found:
            names.setdefault(first, []).append(found[1])
    columns = Counter(tuple(own) for own in names.values() if len(set(own)) == len(own) > 1)
    return any(n > 1 for n in columns.values())


def _says_something(text: str) -> bool:
    return any(c.isalnum() for c in text)


def _share(counts: Counter[int], pieces: int) -> int:
    return sum(n == pieces for n in counts.values())


_Piece = tuple[int, int, Segment]


def _with_whole_codes(pieces: list[_Piece], rows: int) -> list[_Piece]:
    """Pieces with a code of the first column that is broken over two lines (``Xyz`` above ``4210``) as one piece."""
    first = sorted((p for p in pieces if p[0] == p[1] == 0), key=lambda p: p[2].box.top)
    digits = [any(c.isdigit() for c in p[2].text) for p in first]
    if len(first) != 2 or rows < 2 or digits != [False, True]:
        return pieces
    whole = (0, 0, Segment((*first[0][2].words, *first[1][2].words)))
    return [whole, *(p for p in pieces if p not in first)]


def _tight_clusters(rows: list[LineRow]) -> list[list[LineRow]] | None:
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
    clusters: list[list[LineRow]] = [[full[0]]]
    for row, gap in zip(full[1:], gaps, strict=True):
        if gap < 0.3 * height:
            clusters[-1].append(row)
        else:
            clusters.append([row])
    if any(_is_body(c) and (len(c) > 5 or sum(0 in row.filled() for row in c) > 2) for c in clusters):
        return None
    for row in rows:
        if row not in full:
            min(clusters, key=lambda c: min(abs(k.middle - row.middle) for k in c)).append(row)
    return [sorted(c, key=lambda r: r.middle) for c in clusters]


def _is_body(rows: Sequence[LineRow]) -> bool:
    return not all(_is_header_line(row) for row in rows)


def _extent(row: LineRow) -> tuple[float, float]:
    boxes = [piece.box for first, last, piece in row.pieces if last > 0]
    return min(b.top for b in boxes), max(b.bottom for b in boxes)


def _as_one(band: list[LineRow]) -> list[LineRow]:
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


def _merged_near(rows: list[LineRow], anchors: list[LineRow], columns: int) -> list[LineRow]:
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


def _home_row(row: LineRow, anchors: list[LineRow], pitch: float, columns: int) -> LineRow | None:
    if any(last > first for first, last, _ in row.pieces) or not anchors:
        return None
    nearest = min(anchors, key=lambda a: abs(a.middle - row.middle))
    distance = abs(nearest.middle - row.middle)
    full = len(row.filled()) >= 0.6 * (columns - 1) and columns > 2
    height = max(s.size for line in row.lines for s in line.segments)
    if full and not _is_header_line(row) and pitch and distance > _WRAP_PITCH * pitch:
        return None
    return nearest if distance < 2.2 * height else None


def _is_header_line(row: LineRow) -> bool:
    """Whether no word of the row holds a digit, as in a label of several lines."""
    return not any(c.isdigit() for line in row.lines for c in line.text)


def cells_of_rows(rows: list[LineRow]) -> list[Cell]:
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


def _cells_of(row: LineRow) -> Iterable[tuple[int, int, tuple[Word, ...]]]:
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
