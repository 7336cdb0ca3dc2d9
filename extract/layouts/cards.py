"""Parts side by side on a page, each under a heading of its own: catalogue pages and brochures → columns of words."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from ..records import Heading, Rule, Word

_SAME_START_PT = 8.0
_LEAST_HEADINGS = 3


def columns_under_headings(
    words: Sequence[Word], headings: Sequence[Heading], rules: Sequence[Rule] = ()
) -> list[list[Word]]:
    """Words apart by the headings that stand side by side over them; those under none of these come last.

    Where headings begin at the same few places all over the page, each place heads a column down the page, so that
    parts of different heights may stand beside each other. Else each row of headings parts what is below it.
    """
    stacked = _columns_down_the_page(words, headings, rules)
    return stacked if stacked else _columns_by_row(words, headings)


def _columns_down_the_page(
    words: Sequence[Word], headings: Sequence[Heading], rules: Sequence[Rule]
) -> list[list[Word]]:
    rows = _rows(headings)
    first = next((n for n, row in enumerate(rows) if len(row) > 1), None)
    if first is None:
        return []
    own = [h for row in rows[first:] for h in row]
    starts = _starts([h.box.x0 for h in own])
    top = min(h.box.top for h in rows[first]) - 1
    if len(starts) < 2 or len(own) < _LEAST_HEADINGS or len(rows) - first < 2:
        return []
    lowest = max(h.box.bottom for h in own)
    inner = [start - _SAME_START_PT / 2 for start in starts[1:]]
    crossing = [w.box.top for w in words if w.box.top >= top and any(w.box.x0 < x < w.box.x1 - 1 for x in inner)]
    crossing += [r.y0 for r in rules if r.horizontal and r.y0 >= top and any(r.x0 < x < r.x1 - 1 for x in inner)]
    end = min(crossing, default=1e9)
    if end < lowest:
        return []
    columns = []
    for left, right in itertools.pairwise([-1e9, *inner, 1e9]):
        columns.append([w for w in words if top <= w.box.top < end and left <= w.box.x0 < right])
    taken = {w for column in columns for w in column}
    return [*columns, [w for w in words if w not in taken]]


def _starts(places: Sequence[float]) -> list[float]:
    """Places from left to right, those near each other as one."""
    starts: list[float] = []
    for place in sorted(places):
        if not starts or place - starts[-1] > _SAME_START_PT:
            starts.append(place)
    return starts


def _rows(headings: Sequence[Heading]) -> list[list[Heading]]:
    """Headings of the same height together, from top to bottom."""
    rows: list[list[Heading]] = []
    for heading in headings:
        height = heading.box.bottom - heading.box.top
        home = next((r for r in rows if abs(r[0].box.top - heading.box.top) < 0.5 * height), None)
        if home is None:
            rows.append([heading])
        else:
            home.append(heading)
    return sorted(rows, key=lambda r: r[0].box.top)


def _columns_by_row(words: Sequence[Word], headings: Sequence[Heading]) -> list[list[Word]]:
    rows = _rows(headings)
    columns: list[list[Word]] = []
    rest = list(words)
    for n, row in enumerate(rows):
        if len(row) < 2:
            continue
        row.sort(key=lambda h: h.box.x0)
        end = rows[n + 1][0].box.top - 1 if n + 1 < len(rows) else 1e9
        below = [w for w in rest if row[0].box.top - 1 <= w.box.top < end]
        starts = [-1e9, *(h.box.x0 - 4 for h in row[1:]), 1e9]
        if any(w.box.x0 < x < w.box.x1 - 1 for w in below for x in starts[1:-1]):
            continue
        for left, right in itertools.pairwise(starts):
            columns.append([w for w in below if left <= w.box.x0 < right])
        rest = [w for w in rest if w not in set(below)]
    return [*columns, rest]
