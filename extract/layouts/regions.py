"""Every table of a page, whatever it is about: drawn ones by their rules, the others by their alignment.

This is the geometry alone, without a lexicon: what a page of any trade gives. Spec sheets are read from the same grids,
where the words then choose among the ways to look at them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..lines import find_lines
from ..records import PageContent, Rule
from ..settings import DEFAULT_SETTINGS, ReadSettings
from .aligned import find_aligned_grids, rows_of_columns
from .bands import find_bands
from .blocks import row_edges
from .grids import Grid, without_blanks
from .paragraphs import words_of_paragraphs
from .partly import open_crowded
from .ruled import find_ruled_grids

_LEAST_FILLED = 0.3
_LEAST_BANDS = 3
_MOST_WORDS = 4.5
_MOST_WORDS_RULED = 9.0
_CAPTION = re.compile(
    r"(?:tab(?:le|elle|leau|ella|la|el)?|fig(?:ur|ure|uur|ura)?|abb(?:ildung)?)\.?\s+\S*\d\S*\s", re.IGNORECASE
)
_BULLET = re.compile(r"\W{1,3}|\^\{\w+\}|\(?(?:[ivx]{1,4}|\w|\d{1,2}(?:\.\d{1,2})*)[.):]+|\W*\w+:")


def find_tables(page: PageContent, settings: ReadSettings = DEFAULT_SETTINGS) -> list[Grid]:
    """The tables of a page from top to bottom, as grids of at least two rows and two columns."""
    drawn = [_with_rows(grid, settings) for grid in find_ruled_grids(page, settings)]
    tables = [without_blanks(grid) for grid in drawn if _is_table(grid)]
    taken = {word for grid in tables for word in grid.words}
    free = [word for word in page.words if word not in taken]
    lines = find_lines(free, settings)
    prose = words_of_paragraphs(lines) | {
        w for k in lines if _CAPTION.match(k.text) for s in k.segments for w in s.words
    }
    free = [word for word in free if word not in prose]
    across = [*page.rules, *row_edges(page.fills)]
    found = find_aligned_grids(free, page.rules, page.fills, (), settings)
    tables.extend(grid for grid in found if _is_table(grid) and _reads_as_table(grid, across))
    return sorted(tables, key=lambda g: (g.box.top, g.box.x0))


def _with_rows(grid: Grid, settings: ReadSettings) -> Grid:
    return rows_of_columns(grid, settings) or open_crowded(grid, settings)


def _reads_as_table(grid: Grid, rules: Sequence[Rule]) -> bool:
    """Whether what stands in columns is no list, no running text and no labels of a picture.

    Lines drawn across the columns speak for a table: its cells may then hold more words.
    """
    texts = [cell.text for cell in grid.cells if cell.words]
    ruled = len(find_bands(rules, grid.box)) >= _LEAST_BANDS
    if len(texts) < _LEAST_FILLED * grid.rows * grid.cols:
        return False
    if grid.rows < 3 and not ruled:
        return False
    words = sum(len(text.split()) for text in texts) / len(texts)
    first = [grid.at(row, 0).text for row in range(grid.rows) if grid.at(row, 0).words]
    listed = grid.cols == 2 and sum(bool(_BULLET.fullmatch(text)) for text in first) >= 0.6 * len(first)
    return words <= (_MOST_WORDS_RULED if ruled else _MOST_WORDS) and not (listed and not ruled)


def _is_table(grid: Grid) -> bool:
    """Whether at least two rows and two columns hold words."""
    filled = [cell for cell in grid.cells if cell.words]
    return len({c.row for c in filled}) > 1 and len({c.col for c in filled}) > 1
