"""A page → entries. The readers in their order; each takes the words that it has read out of the others' way.

To add a layout: a module with a function ``Region → Found`` (see findings.py), and its name in ``REGION_READERS``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from ..context import DocumentMemory, PageContext, find_headings, find_notes, for_versions
from ..labels import page_languages
from ..lines import find_lines
from ..marks import find_legend
from ..records import Entry, PageContent, Word
from ..settings import DEFAULT_SETTINGS, ReadSettings
from .aligned import find_aligned_grids, rows_of_columns
from .cards import columns_under_headings
from .columns import best_view
from .findings import Found, Region, RegionReader
from .grids import Grid
from .heads import find_list_heads
from .lists import without_groups
from .pairs import read_pairs
from .prose import read_prose
from .questions import read_questions
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
    languages = page_languages((w.text for w in page.words), memory.languages)
    memory.languages = languages
    ruled = [_with_rows(grid, languages, settings) for grid in find_ruled_grids(page, settings)]
    tables = [grid for grid in ruled if is_table(grid)]
    in_table = {w for grid in tables for w in grid.words}
    free = [w for w in page.words if w not in in_table]
    lines = find_lines(free, settings)
    sizes = sorted(w.size for w in page.words)
    weights_known = any(w.bold for w in page.words)
    headings = find_headings(lines, languages, sizes[len(sizes) // 2] if sizes else 10.0, weights_known)
    headings = without_groups(find_list_heads(lines, headings, languages), lines, languages)
    context = PageContext(languages, headings, find_notes(lines, languages), memory,
                          find_legend((line.text for line in lines), languages))  # fmt: skip

    entries: list[tuple[float, Entry]] = []
    grids: list[Grid] = []
    for region in _regions(free, [g for g in ruled if g not in tables]):
        for column in columns_under_headings(region, headings, page.rules):
            for found in _read_region(Region(column, page, context, settings)):
                grids.extend(found.grids)
                entries.extend((entry.box.top, entry) for entry in found.entries)
    for grid in tables:
        entries.extend((entry.box.top, entry) for entry in read_grid(grid, context))
    if headings:
        memory.heading = headings[-1].subject
    whole = (e for _, e in sorted(entries, key=lambda pair: pair[0]))
    return PageEntries(tuple(own for e in whole for own in for_versions(e, headings)), context, (*tables, *grids))


def _with_rows(grid: Grid, languages: tuple[str, ...], settings: ReadSettings) -> Grid:
    """A drawn frame of columns without rows as the table that its lines make, if most of that reads as one."""
    parted = rows_of_columns(grid, settings)
    view = best_view(parted, languages) if parted else None
    if parted is None or view is None or view.score < 0.5 * (parted.rows - 1) * (parted.cols - 1):
        return grid
    return parted


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


def _read_open_tables(region: Region) -> Found:
    """Columns without a drawn frame."""
    headings = [h.box for h in region.context.headings]
    entries: list[Entry] = []
    grids: list[Grid] = []
    for grid in find_aligned_grids(region.words, region.page.rules, region.page.fills, headings, region.settings):
        found = read_grid(grid, region.context)
        if found:
            grids.append(grid)
            entries.extend(found)
    return Found(entries, frozenset(w for grid in grids for w in grid.words), grids)


def _read_pairs(region: Region) -> Found:
    entries, used = read_pairs(region.lines(), region.context)
    return Found(entries, frozenset(used))


def _read_questions(region: Region) -> Found:
    entries, used = read_questions(region.lines(), region.context)
    return Found(entries, frozenset(used))


def _read_prose(region: Region) -> Found:
    return Found(read_prose(region.lines(), region.context))


REGION_READERS: tuple[RegionReader, ...] = (_read_open_tables, _read_questions, _read_pairs, _read_prose)
"""The readers of what stands in no drawn table, in their order: each gets the words that those before it left over."""


def _read_region(region: Region) -> Iterator[Found]:
    for reader in REGION_READERS:
        found = reader(region)
        yield found
        if found.used:
            region = replace(region, words=[w for w in region.words if w not in found.used])
