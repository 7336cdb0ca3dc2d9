"""Words → lines and segments: runs of words with no wide gap, as they stand on the page."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from ..schema.claims import Box
from .records import Word
from .settings import DEFAULT_SETTINGS, ReadSettings

_LEADER_SIGNS = frozenset(".·…_‥")
_ROWS_OPEN = 4
_LEADER = re.compile(r"^[.·…_‥]{2,}$|^[.·…_]$")


def union(boxes: Iterable[Box]) -> Box:
    """The smallest box around ``boxes`` (at least one)."""
    every = iter(boxes)
    first = next(every)
    x0, top, x1, bottom = first.x0, first.top, first.x1, first.bottom
    for box in every:
        if box.x0 < x0:
            x0 = box.x0
        if box.top < top:
            top = box.top
        if box.x1 > x1:
            x1 = box.x1
        if box.bottom > bottom:
            bottom = box.bottom
    return Box(x0, top, x1, bottom)


@dataclass(frozen=True)
class Segment:
    """Words of one line that belong together, from left to right; ``box`` is the box around all of them."""

    words: tuple[Word, ...]
    box: Box = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "box", union([w.box for w in self.words]))

    @cached_property
    def text(self) -> str:
        """The words with blanks between; raised ones as ``^{…}`` without a blank before."""
        return join_words(self.words)

    @cached_property
    def size(self) -> float:
        """The size of the largest word."""
        return max(w.size for w in self.words)

    @cached_property
    def bold(self) -> bool:
        """Whether most words are bold."""
        return sum(w.bold for w in self.words) * 2 > len(self.words)


@dataclass(frozen=True)
class Line:
    """Segments at one height, from left to right; ``box`` is the box around all of them."""

    segments: tuple[Segment, ...]
    box: Box = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "box", union([s.box for s in self.segments]))

    @property
    def text(self) -> str:
        """The whole line."""
        return "  ".join(s.text for s in self.segments)


def join_words(words: Sequence[Word]) -> str:
    """Words of one line as text; raised words are written ``^{…}``."""
    size = max((w.size for w in words), default=1.0)
    middle = sorted(w.box.bottom for w in words if w.size >= 0.8 * size)
    bottom = middle[len(middle) // 2] if middle else 0.0
    text = ""
    last: Word | None = None
    for word in words:
        raised = is_raised(word, size, bottom)
        close = last is not None and word.box.x0 - last.box.x1 < 0.12 * size
        text += ("" if not text or close or raised else " ") + (f"^{{{word.text}}}" if raised else word.text)
        last = word
    return text


def is_raised(word: Word, size: float, bottom: float) -> bool:
    """Whether a word stands above the base of its neighbours and is smaller than they."""
    above = bottom - word.box.bottom
    clearly = above > 0.3 * size and word.size < 0.95 * size
    return word.raised or (len(word.text) <= 4 and (clearly or (word.size < 0.82 * size and above > 0.12 * size)))


def find_lines(words: Sequence[Word], settings: ReadSettings = DEFAULT_SETTINGS) -> list[Line]:
    """Words → lines from top to bottom: words whose heights overlap by half stand on one line."""
    rows: list[list[Word]] = []
    largest: list[Word] = []
    for word in sorted(words, key=lambda w: (w.box.bottom + w.box.top, w.box.x0)):
        last = len(rows) - 1
        for n in range(last, max(last - _ROWS_OPEN, -1), -1):
            if _on_line(word.box, largest[n].box):
                rows[n].append(word)
                if word.size > largest[n].size:
                    largest[n] = word
                break
        else:
            rows.append([word])
            largest.append(word)
    parted = (tuple(_segments(sorted(row, key=lambda w: w.box.x0), settings)) for row in rows)
    lines = [Line(segments) for segments in parted if segments]
    return sorted(lines, key=lambda k: (k.box.top + k.box.bottom, k.box.x0))


def _on_line(box: Box, other: Box) -> bool:
    shared = min(box.bottom, other.bottom) - max(box.top, other.top)
    return shared > 0.5 * min(box.bottom - box.top, other.bottom - other.top)


def _segments(row: list[Word], settings: ReadSettings) -> Iterable[Segment]:
    run: list[Word] = []
    for word in row:
        if (
            word.text[:1] in _LEADER_SIGNS
            and _LEADER.match(word.text)
            and (len(word.text) >= 4 or _LEADER.match(run[-1].text if run else "."))
        ):
            if run:
                yield Segment(tuple(run))
            run = []
            continue
        if run and word.box.x0 - run[-1].box.x1 > settings.segment_gap * max(word.size, run[-1].size):
            yield Segment(tuple(run))
            run = []
        run.append(word)
    if run:
        yield Segment(tuple(run))


def _stand_on_one_line(words: Sequence[Word]) -> bool:
    """Whether words of one size share a line for certain, with no leader among them."""
    if not words:
        return False
    first = words[0]
    return all(w.size == first.size and _on_line(w.box, first.box) and w.text[:1] not in _LEADER_SIGNS for w in words)


_ONE_SEGMENT = ReadSettings(segment_gap=1e9)


def cell_text(words: Sequence[Word]) -> str:
    """Words of one cell, over several lines, as one text; a word broken with a hyphen at a line's end is joined."""
    if len(words) == 1 and not words[0].raised and not _LEADER.match(words[0].text):
        return words[0].text
    if _stand_on_one_line(words):
        return join_words(sorted(words, key=lambda w: w.box.x0))
    text = ""
    for line in find_lines(words, _ONE_SEGMENT):
        piece = line.segments[0].text if line.segments else ""
        if re.search(r"[^\W\d_]{2}-$", text) and piece[:1].islower():
            text = text[:-1] + piece
        elif re.search(r"\w-$", text) and re.match(r"\w", piece):
            text = text + piece
        else:
            text = f"{text} {piece}" if text else piece
    return text
