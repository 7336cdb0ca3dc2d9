"""What a layout reader is given and what it gives back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..context import PageContext
from ..lines import Line, find_lines
from ..records import Entry, PageContent, Word
from ..settings import DEFAULT_SETTINGS, ReadSettings
from .grids import Grid


@dataclass(frozen=True)
class Region:
    """A part of a page that is read by itself: its words that no reader has used yet, and the page around them."""

    words: Sequence[Word]
    page: PageContent
    context: PageContext
    settings: ReadSettings = DEFAULT_SETTINGS

    def lines(self) -> list[Line]:
        """The words as lines, from top to bottom."""
        return find_lines(self.words, self.settings)


@dataclass(frozen=True)
class Found:
    """The entries that a reader found in a region, the words that they used, and the grids that it saw them in."""

    entries: Sequence[Entry] = ()
    used: frozenset[Word] = frozenset()
    grids: Sequence[Grid] = ()


RegionReader = Callable[[Region], Found]
"""A layout reader. It decides by geometry and by the lexicon; the words that it says it used are not read again."""
