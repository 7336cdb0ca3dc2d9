"""Rows → lines of text that fit a width, without ever cutting a number, a code or a word."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

_GAP = "  "
_UNIT = re.compile(r"(?<=\d) (?=(?:T|mm|deg|g|links)\b)")
_GLUE = "\u00a0"


def lay_out(heads: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> list[str]:
    """A table with its columns beside each other, wrapped between words where need be; where even the longest words
    of a row do not fit beside each other, one line a field."""
    if not rows:
        return []
    columns = list(zip(heads, *rows, strict=True))
    least = [max(_longest_word(cell) for cell in column) for column in columns]
    room = width - len(_GAP) * (len(heads) - 1)
    if sum(least) > room:
        return _one_field_a_line(heads, rows, width)
    widths = _share(least, [max(len(cell) for cell in column) for column in columns], room)
    lines = _row(heads, widths)
    lines.append(_GAP.join("-" * wide for wide in widths))
    for row in rows:
        lines.extend(_row(row, widths))
    return lines


def _longest_word(cell: str) -> int:
    return max(len(word) for word in _UNIT.sub(_GLUE, cell).split(" "))


def _share(least: Sequence[int], most: Sequence[int], room: int) -> list[int]:
    """Widths between ``least`` and ``most`` that fill ``room`` at best; the widest column gives way first."""
    widths = list(most)
    while sum(widths) > room:
        shrinkable = [n for n in range(len(widths)) if widths[n] > least[n]]
        widest = max(shrinkable, key=lambda n: widths[n])
        widths[widest] -= 1
    return widths


def _row(cells: Sequence[str], widths: Sequence[int]) -> list[str]:
    wrapped = [wrap(cell, wide) for cell, wide in zip(cells, widths, strict=True)]
    height = max(len(lines) for lines in wrapped)
    filled = [lines + [""] * (height - len(lines)) for lines in wrapped]
    return [
        _GAP.join(line.ljust(wide) for line, wide in zip(lines, widths, strict=True)).rstrip()
        for lines in zip(*filled, strict=True)
    ]


def _one_field_a_line(heads: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> list[str]:
    lines: list[str] = []
    for row in rows:
        for head, cell in zip(heads, row, strict=True):
            if cell:
                lines.extend(wrap(f"{head}: {cell}", width, "    "))
        lines.append("")
    return lines[:-1]


def wrap(text: str, width: int, indent: str = "") -> list[str]:
    """``text`` in lines of ``width`` signs, broken between words only and never between a number and its unit.

    Later lines begin with ``indent``.
    """
    lines = textwrap.wrap(
        _UNIT.sub(_GLUE, text), max(1, width), subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
    return [line.replace(_GLUE, " ") for line in lines] or [""]
