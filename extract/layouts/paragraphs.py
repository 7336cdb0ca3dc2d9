"""Running text: which segments of a page are lines of paragraphs, and so no cells of a table."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from ..lines import Line, Segment
from ..records import Word

_LEAST_LINES = 4
_LEAST_WIDTH = 14.0
_LEAST_WORDS = 4
_SAME_EDGE = 0.6
_CLOSE = 0.9
_LEAST_EVEN = 5
_EVEN = 1.7
_WIDEST_BLANK = 2.0


def words_of_paragraphs(lines: Sequence[Line]) -> set[Word]:
    """The words of every stack of four or more wide lines that begin, or end, at one place.

    A stack may hold shorter lines (the last of a paragraph), bullets before its lines, and indented ones.
    """
    words: set[Word] = set()
    stacks: list[list[Segment]] = []
    for line in lines:
        for segment in _with_even_gaps(line):
            home = next((s for s in reversed(stacks[-40:]) if _follows(segment, s[-1])), None)
            if home is None:
                stacks.append([segment])
            else:
                home.append(segment)
    for stack in stacks:
        wide = [s for s in stack if _is_wide(s)]
        if len(wide) >= _LEAST_LINES and len(wide) >= 0.6 * len(stack):
            words.update(w for s in stack for w in s.words)
    return words


def _with_even_gaps(line: Line) -> Sequence[Segment]:
    """The segments of a line; one where they are parted only because the whole line is set with wide, even blanks."""
    words = [w for segment in line.segments for w in segment.words]
    if len(line.segments) < 2 or len(words) < _LEAST_EVEN:
        return line.segments
    gaps = sorted(b.box.x0 - a.box.x1 for a, b in itertools.pairwise(words))
    size = line.segments[0].size
    even = gaps[-1] < _EVEN * gaps[len(gaps) // 2] and gaps[-1] < _WIDEST_BLANK * size
    return [Segment(tuple(words))] if even else line.segments


def _is_wide(segment: Segment) -> bool:
    return len(segment.words) >= _LEAST_WORDS and segment.box.x1 - segment.box.x0 >= _LEAST_WIDTH * segment.size


def _follows(segment: Segment, last: Segment) -> bool:
    """Whether a segment is the next line of the text that ``last`` ends."""
    size = last.size
    if abs(segment.size - size) > 0.08 * size or not -0.3 * size < segment.box.top - last.box.bottom < _CLOSE * size:
        return False
    shared = min(segment.box.x1, last.box.x1) - max(segment.box.x0, last.box.x0)
    if shared <= 0:
        return False
    left, right = abs(segment.box.x0 - last.box.x0), abs(segment.box.x1 - last.box.x1)
    return min(left, right) < _SAME_EDGE * size or (left < 4 * size and _is_wide(segment) and _is_wide(last))
