"""Lines → the stretches of a page in which tables may stand: between rules of one width, or line by line."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

from ...schema.claims import Box
from ..lines import Line
from ..records import Rule
from .pieces import are_apart
from .ruled import merge_rules

_BLOCK_GAP = 2.6
_ROOMY_GAP = 7.0
_OVERLAP = 0.25
_MOST_OVERLAPPING = 16
_LEAST_STRIPE_PT = 60.0
_HEADING_ROOM = 1.6
_TALLEST_ROW_PT = 120.0


def ruled_regions(
    lines: Sequence[Line], rules: Sequence[Rule], breaks: Sequence[Line] = ()
) -> list[tuple[float, float, float, float]]:
    """Stretches between rules of one width, from the first to the last: (top, bottom, x0, x1).

    A stretch ends where little but single segments, or a heading, stands between two rules.
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
            if between and (are_apart(between) or any(k in breaks for k in between)):
                regions.extend(_region(group[start:n]))
                start = n
        regions.extend(_region(group[start:]))
    return regions


def striped_regions(
    lines: Sequence[Line], fills: Sequence[Box], breaks: Sequence[Line] = ()
) -> list[tuple[float, float, float, float]]:
    """Stretches of filled and unfilled rows in turn: (top, bottom, x0, x1), with the unfilled ones at their ends.

    No stretch runs over one of the ``breaks``.
    """
    edges = [k.box.top for k in breaks]
    stacks: list[list[Box]] = []
    for fill in sorted(_filled_rows(fills), key=lambda f: f.top):
        home = next((s for s in reversed(stacks) if _continues_stripes(s[-1], fill, edges)), None)
        if home is None:
            stacks.append([fill])
        else:
            home.append(fill)
    regions = []
    for stack in stacks:
        blanks = sorted(b.top - a.bottom for a, b in itertools.pairwise(stack) if b.top - a.bottom > 4)
        if len(stack) < 2 or not blanks:
            continue
        room = blanks[-1] + 2
        x0, x1 = stack[0].x0, stack[0].x1
        top, bottom = stack[0].top, stack[-1].bottom
        ends = [k for k in lines if len(k.segments) > 1 and lies_within(k, x0, x1)]
        above = [k for k in ends if top - room <= k.box.top and k.box.bottom <= top + 2]
        below = [k for k in ends if bottom - 2 <= k.box.top and k.box.bottom <= bottom + room]
        regions.append((min([top, *(k.box.top for k in above)]), max([bottom, *(k.box.bottom for k in below)]), x0, x1))
    return regions


def with_overlapping(inside: list[Line], others: Sequence[Line]) -> list[Line]:
    """Lines of a stretch with those that overlap them in height: further parts of the same cells."""
    inside, left = list(inside), [k for k in others if not any(k is own for own in inside)]
    spans = [(k.box.top, k.box.bottom) for k in inside]
    found = True
    while found:
        near = [k for k in left if _overlaps(k, spans)]
        found = bool(near)
        inside.extend(near)
        spans = [(k.box.top, k.box.bottom) for k in near]
        left = [k for k in left if not any(k is one for one in near)]
    return sorted(inside, key=lambda k: k.box.top + k.box.bottom)


def _overlaps(line: Line, spans: Sequence[tuple[float, float]]) -> bool:
    top, bottom = line.box.top, line.box.bottom
    return any(min(bottom, b) - max(top, a) > _OVERLAP * (bottom - top) for a, b in spans)


def _filled_rows(fills: Sequence[Box]) -> list[Box]:
    """Fills that may be rows; those side by side at one height are one."""
    rows: list[Box] = []
    for fill in sorted(fills, key=lambda f: (round(f.top), f.x0)):
        last = rows[-1] if rows else None
        beside = last and abs(last.top - fill.top) < 1.5 and abs(last.bottom - fill.bottom) < 1.5
        if last and beside and -1 < fill.x0 - last.x1 < 3:
            rows[-1] = Box(last.x0, last.top, fill.x1, last.bottom)
        else:
            rows.append(fill)
    return [f for f in rows if f.x1 - f.x0 > _LEAST_STRIPE_PT and f.bottom - f.top < _TALLEST_ROW_PT]


def row_edges(fills: Sequence[Box]) -> list[Rule]:
    """Upper and lower edges of filled rows, which part rows as rules do."""
    return [Rule(f.x0, y, f.x1, y) for f in fills for y in (f.top, f.bottom) if f.bottom - f.top < _TALLEST_ROW_PT]


def _continues_stripes(last: Box, fill: Box, breaks: Sequence[float]) -> bool:
    height = max(last.bottom - last.top, fill.bottom - fill.top)
    if fill.top - last.bottom > _HEADING_ROOM * height and any(last.bottom - 1 < y < fill.top for y in breaks):
        return False
    return abs(last.x0 - fill.x0) < 3 and abs(last.x1 - fill.x1) < 3 and -1 < fill.top - last.bottom < 2.5 * height


def _region(rules: Sequence[Rule]) -> list[tuple[float, float, float, float]]:
    return [(rules[0].y0, rules[-1].y0, rules[0].x0, rules[0].x1)] if len(rules) > 1 else []


def with_ends(inside: list[Line], others: Sequence[Line], breaks: Sequence[Line]) -> list[Line]:
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
            of_the_same_row = gap < -0.2 * edge.segments[0].size
            if gap > 1.1 * edge.segments[0].size or other in breaks:
                break
            if len(other.segments) < 2 and not of_the_same_row:
                break
            inside = [other, *inside] if upward else [*inside, other]
    return inside


def stretches_between(lines: Sequence[Line], breaks: Sequence[Line]) -> Iterable[list[Line]]:
    """Runs of lines between the ``breaks``."""
    stretch: list[Line] = []
    for line in lines:
        if line in breaks:
            yield stretch
            stretch = []
        else:
            stretch.append(line)
    yield stretch


def lies_within(line: Line, x0: float, x1: float) -> bool:
    """Whether a line does not reach beyond ``x0`` and ``x1`` by more than a hair."""
    return line.box.x0 >= x0 - 6 and line.box.x1 <= x1 + 6


def find_blocks(lines: Sequence[Line]) -> Iterable[list[Line]]:
    """Runs of neighbouring lines in which most have several segments.

    Lines that overlap in height (cells of two lines beside cells of one) go together.
    """
    held = _rows(lines)
    rows = [Line(tuple(sorted((s for k in row for s in k.segments), key=lambda s: s.box.x0))) for row in held]
    members = {id(row): own for row, own in zip(rows, held, strict=True)}
    block: list[Line] = []
    for n, row in enumerate(rows):
        if block and _breaks(row, block, rows[n + 1] if n + 1 < len(rows) else None):
            yield from ([k for r in b for k in members[id(r)]] for b in _trimmed(block))
            block = []
        block.append(row)
    yield from ([k for r in b for k in members[id(r)]] for b in _trimmed(block))


def _rows(lines: Sequence[Line]) -> list[list[Line]]:
    """Lines in runs that overlap in height, as no lines of one column do; a run of very many is none."""
    runs: list[list[Line]] = []
    bottom = 0.0
    for line in lines:
        height = line.box.bottom - line.box.top
        if runs and bottom - line.box.top > _OVERLAP * height:
            runs[-1].append(line)
            bottom = max(bottom, line.box.bottom)
        else:
            runs.append([line])
            bottom = line.box.bottom
    return [part for run in runs for part in ([run] if len(run) <= _MOST_OVERLAPPING else [[k] for k in run])]


def _breaks(line: Line, block: list[Line], following: Line | None) -> bool:
    height = max(s.size for s in line.segments) * 1.15
    gap = line.box.top - max(k.box.bottom for k in block[-3:])
    if _starts_anew(line, block):
        return True
    if gap > _BLOCK_GAP * height or _wider_than_usual(gap, height, block):
        return gap > _ROOMY_GAP * height or not _stands_under(line, block, following)
    if len(line.segments) > 1:
        return len(block) == 1 and len(block[0].segments) == 1 and not _wraps_onto(block[0], line)
    if _wraps_onto(line, block[-1]) or (following is not None and _wraps_onto(line, following)):
        return False
    if following is None or _is_lone_cell(line, gap, height, block, following):
        return following is None
    return _all_bold(line) or gap >= _ROOMY_GAP * height or not _stands_under(line, block, following)


def _is_lone_cell(line: Line, gap: float, height: float, block: list[Line], following: Line) -> bool:
    """Whether one segment between full lines is a cell of theirs: close to both, of their type and in their columns."""
    segment = line.segments[-1]
    before = next((k for k in reversed(block) if len(k.segments) > 1), None)
    if before is None or len(segment.words) > 6 or max(gap, following.box.top - segment.box.bottom) > 0.7 * height:
        return False
    if len(following.segments) == 1 and not following.segments[0].size <= segment.size * 1.05:
        return False
    homes = [s for k in block for s in k.segments if min(s.box.x1, segment.box.x1) > max(s.box.x0, segment.box.x0)]
    alike = [s for s in homes if abs(s.size - segment.size) < 0.08 * s.size and s.bold == segment.bold]
    return bool(alike) and segment.box.x1 - segment.box.x0 < 0.5 * (before.box.x1 - before.box.x0)


def _stands_under(line: Line, block: list[Line], following: Line | None) -> bool:
    """Whether a line's segments stand under the columns of the block so far, one by one: part of a roomy table.

    A line of one or two segments needs a fuller one behind it that does so too.
    """
    columns = _columns_of(block[-6:])
    if len(columns) < 3 or not _fits(line, columns):
        return False
    if all(s.bold for s in line.segments) and not any(c.isdigit() for c in line.text) and not _all_bold(block[-1]):
        return False
    return len(line.segments) >= 3 or (
        following is not None and len(following.segments) >= 3 and _fits(following, columns)
    )


def _all_bold(line: Line) -> bool:
    return all(s.bold for s in line.segments)


def _columns_of(lines: list[Line]) -> list[tuple[float, float]]:
    columns: list[tuple[float, float]] = []
    for segment in sorted((s for line in lines for s in line.segments), key=lambda s: s.box.x0):
        if columns and segment.box.x0 < columns[-1][1]:
            columns[-1] = (columns[-1][0], max(columns[-1][1], segment.box.x1))
        else:
            columns.append((segment.box.x0, segment.box.x1))
    return columns


def _fits(line: Line, columns: list[tuple[float, float]]) -> bool:
    homes = [sum(s.box.x0 < end and s.box.x1 > start for start, end in columns) for s in line.segments]
    return sum(n == 1 for n in homes) >= 0.8 * len(homes)


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
