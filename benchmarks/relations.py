"""How well tables were read: the neighbourhood of their cells, counted.

The measure is that of M. Göbel, T. Hassan, E. Oro, G. Orsi, "A methodology for evaluating algorithms for table
understanding in PDF documents" (DocEng 2012), used in the ICDAR 2013 table competition: a table is the bag of its
adjacency relations. A relation joins a cell that holds text to the next one that does, rightwards or downwards, and
says how many blank places lie between; a pair of cells counts once for each direction, however many rows or columns
they span. Words are compared without blanks, in capitals, all signs but letters and digits alike.

Two things are stricter than in the competition: each table that was found counts for one true table of its page at
most (the one with which it shares most), and all others found count as wrong. A table over two pages is two tables.
"""

from __future__ import annotations

import itertools
import re
import unicodedata
import xml.etree.ElementTree as ElementTree
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

Bag = Counter[tuple[str, str, bool, int]]
"""(words, next cell's words, whether downwards, blank places between) → how often."""


@dataclass(frozen=True)
class PlacedCell:
    """A cell with its words, its first row and column and how many of each it covers."""

    text: str
    row: int
    col: int
    row_span: int = 1
    col_span: int = 1


@dataclass(frozen=True)
class PlacedTable:
    """The cells of one table of one page."""

    page: int
    cells: tuple[PlacedCell, ...]


@dataclass(frozen=True)
class TableScore:
    """Relations that are right, found and true, and tables that are whole, of all true ones."""

    right: int = 0
    found: int = 0
    true: int = 0
    whole: int = 0
    tables: int = 0

    @property
    def precision(self) -> float:
        """The share of what was found that is right."""
        return self.right / self.found if self.found else 0.0

    @property
    def recall(self) -> float:
        """The share of what is true that was found."""
        return self.right / self.true if self.true else 0.0

    @property
    def f1(self) -> float:
        """The harmonic mean of both; 1 where nothing was to be found and nothing was."""
        return 2 * self.right / (self.found + self.true) if self.found + self.true else 1.0


def comparable(text: str) -> str:
    """Words as they are compared."""
    return re.sub(r"\W", "_", re.sub(r"\s+", "", unicodedata.normalize("NFKC", text))).upper()


def bag_of(table: PlacedTable) -> Bag:
    """The adjacency relations of a table."""
    words = {n: said for n, cell in enumerate(table.cells) if (said := comparable(cell.text))}
    places = {(cell.row + down, cell.col + right): n for n, cell in enumerate(table.cells) if n in words
              for down in range(cell.row_span) for right in range(cell.col_span)}  # fmt: skip
    blanks: dict[tuple[int, int, bool], int] = {}
    for downwards in (False, True):
        runs: dict[int, list[tuple[int, int]]] = {}
        for (row, col), n in places.items():
            runs.setdefault(col if downwards else row, []).append((row if downwards else col, n))
        for _, run in sorted(runs.items()):
            run.sort()
            for (at, n), (then, following) in itertools.pairwise(run):
                if n != following:
                    blanks.setdefault((n, following, downwards), then - at - 1)
    return Counter((words[a], words[b], downwards, between) for (a, b, downwards), between in blanks.items())


def score_tables(true: Sequence[PlacedTable], found: Sequence[PlacedTable]) -> TableScore:
    """One document's score: tables of a page are paired, the pair with most relations in common first."""
    true_bags, found_bags = [bag_of(t) for t in true], [bag_of(t) for t in found]
    shared = {(t, f): (true_bags[t] & found_bags[f]).total()
              for t in range(len(true)) for f in range(len(found)) if true[t].page == found[f].page}  # fmt: skip
    right = whole = 0
    taken_true: set[int] = set()
    taken_found: set[int] = set()
    for (t, f), count in sorted(shared.items(), key=lambda item: (-item[1], item[0])):
        if count and t not in taken_true and f not in taken_found:
            taken_true.add(t)
            taken_found.add(f)
            right += count
            whole += true_bags[t] == found_bags[f]
    return TableScore(right, sum(b.total() for b in found_bags), sum(b.total() for b in true_bags), whole, len(true))


def best_score(readings: Iterable[Sequence[PlacedTable]], found: Sequence[PlacedTable]) -> TableScore:
    """The score against the true reading that suits best, where a document has several equally good ones."""
    return max((score_tables(true, found) for true in readings), key=lambda s: s.f1)


def read_truth(path: Path) -> list[PlacedTable]:
    """The tables of a structure file of the competition (``NAME-str.xml``)."""
    tables = []
    for region in ElementTree.parse(path).getroot().iter("region"):
        cells = []
        for cell in region.iter("cell"):
            row, col = int(cell.get("start-row", 0)), int(cell.get("start-col", 0))
            last_row, last_col = int(cell.get("end-row", row)), int(cell.get("end-col", col))
            text = cell.findtext("content") or ""
            cells.append(PlacedCell(text, row, col, last_row - row + 1, last_col - col + 1))
        tables.append(PlacedTable(int(region.get("page", 1)), tuple(cells)))
    return tables


def read_truths(folder: Path) -> dict[str, list[list[PlacedTable]]]:
    """Name of a document → its true readings; ``NAMEa-str.xml`` and ``NAMEb-str.xml`` are two readings of NAME.pdf."""
    readings: dict[str, list[list[PlacedTable]]] = {}
    for path in sorted(folder.rglob("*-str.xml")):
        name = path.name.removesuffix("-str.xml")
        name = name if path.with_name(f"{name}.pdf").exists() else name[:-1]
        readings.setdefault(name, []).append(read_truth(path))
    return readings
