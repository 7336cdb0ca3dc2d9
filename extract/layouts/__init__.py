"""A page → entries. The readers in their order; each takes the words that it has read out of the others' way.

To add a layout: a module with a function ``(words or lines, context) → entries``, and its call in ``_read_region``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..context import DocumentMemory, PageContext, find_headings, find_notes
from ..labels import page_languages
from ..lines import Line, find_lines
from ..records import Entry, PageContent, Rule, Word
from ..settings import DEFAULT_SETTINGS, ReadSettings
from .aligned import find_aligned_grids
from .grids import Grid
from .pairs import read_pairs
from .prose import read_prose
from .ruled import find_ruled_grids
from .tables import is_table, read_grid

_LEAST_FRAMED_WORDS = 4


@dataclass(frozen=True)
class PageEntries:
    """What the layout readers made of one page, with what they saw on the way."""

    entries: tuple[Entry, ...]
    context: PageContext
    grids: tuple[Grid, ...]


def read_layouts(page: PageContent, memory: DocumentMemory, settings: ReadSettings = DEFAULT_SETTINGS) -> PageEntries:
    """Every entry of a page, in reading order; ``memory`` is brought up to date for the next page."""
    ruled = find_ruled_grids(page, settings)
    tables = [grid for grid in ruled if is_table(grid)]
    in_table = {w for grid in tables for w in grid.words}
    free = [w for w in page.words if w not in in_table]
    lines = find_lines(free, settings)
    languages = page_languages((w.text for w in page.words), memory.languages)
    memory.languages = languages
    sizes = sorted(w.size for w in page.words)
    headings = find_headings(lines, languages, sizes[len(sizes) // 2] if sizes else 10.0)
    context = PageContext(languages, headings, find_notes(lines, languages), memory)

    entries: list[tuple[float, Entry]] = []
    grids: list[Grid] = []
    for region in _regions(free, [g for g in ruled if g not in tables]):
        _read_region(region, page.rules, context, settings, entries, grids)
    for grid in tables:
        entries.extend((entry.box.top, entry) for entry in read_grid(grid, context))
    if headings:
        memory.heading = headings[-1].subject
    return PageEntries(tuple(e for _, e in sorted(entries, key=lambda pair: pair[0])), context, (*tables, *grids))


def _regions(words: Sequence[Word], frames: Sequence[Grid]) -> list[list[Word]]:
    """Words apart by the smallest framed cell that holds them; those in no frame come last."""
    cells = [cell for frame in frames for cell in frame.cells if len(cell.words) >= _LEAST_FRAMED_WORDS]
    cells.sort(key=lambda c: (c.area.x1 - c.area.x0) * (c.area.bottom - c.area.top))
    taken: set[Word] = set()
    regions = []
    pool = set(words)
    for cell in cells:
        own = [w for w in cell.words if w in pool and w not in taken]
        if own:
            taken.update(own)
            regions.append(own)
    regions.append([w for w in words if w not in taken])
    return regions


def _read_region(
    words: list[Word], rules: Sequence[Rule], context: PageContext, settings: ReadSettings,
    entries: list[tuple[float, Entry]], grids: list[Grid],
) -> None:  # fmt: skip
    used: set[Word] = set()
    for grid in find_aligned_grids(words, rules, settings):
        found = read_grid(grid, context)
        if found:
            grids.append(grid)
            used.update(grid.words)
            entries.extend((entry.box.top, entry) for entry in found)
    lines = _left(words, used, settings)
    pairs, in_pairs = read_pairs(lines, context)
    entries.extend((entry.box.top, entry) for entry in pairs)
    prose = read_prose(_left(words, used | in_pairs, settings), context)
    entries.extend((entry.box.top, entry) for entry in prose)


def _left(words: Sequence[Word], used: set[Word], settings: ReadSettings) -> list[Line]:
    return find_lines([w for w in words if w not in used], settings)
