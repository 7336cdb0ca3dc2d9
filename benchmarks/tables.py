#!/usr/bin/env python3
"""Find the tables of any documents, beside pdfplumber's ``extract_tables``, and say how much of each is right.

    tables.py FOLDER [--predictions DIR] [--scorer PROGRAM] [--show] [--out RESULTS.jsonl]

``FOLDER`` holds PDFs with their truth beside them, in the form of the ICDAR 2013 table competition
(``NAME.pdf``, ``NAME-str.xml``; see relations.py for the measure). Nothing of the lexicon takes part: this is the
geometry that spec sheets are read with, on documents of any trade. ``--predictions`` keeps what each reader found, one
JSON line a document; ``--scorer`` is another program that scores such a file (called as: PROGRAM FOLDER FILE).
Seconds are processor time, from opening the file on.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))

from relations import PlacedCell, PlacedTable, TableScore, best_score, read_truths


def find_own(path: Path) -> tuple[int, list[PlacedTable]]:
    """Pages and tables of a PDF by the project's own geometry."""
    from cogledger.extract.layouts.regions import find_tables
    from cogledger.extract.pages import open_page, open_pdf
    from cogledger.extract.textlayer import read_text_page

    tables = []
    with open_pdf(path) as document:
        pages = len(document)
        for number in range(1, pages + 1):
            with open_page(document, number, path.name) as page:
                content = read_text_page(page, number)
            for grid in find_tables(content):
                cells = [PlacedCell(c.text, c.row, c.col, c.row_span, c.col_span) for c in grid.cells if c.words]
                tables.append(PlacedTable(number, tuple(cells)))
    return pages, tables


def find_plumbers(path: Path) -> tuple[int, list[PlacedTable]]:
    """Pages and tables of a PDF by pdfplumber as it comes."""
    import pdfplumber

    tables = []
    with pdfplumber.open(path) as document:
        for page in document.pages:
            for rows in page.extract_tables():
                cells = [PlacedCell(text, r, c) for r, row in enumerate(rows) for c, text in enumerate(row) if text]
                tables.append(PlacedTable(page.page_number, tuple(cells)))
            page.close()
        return len(document.pages), tables


READERS: dict[str, Callable[[Path], tuple[int, list[PlacedTable]]]] = {
    "cogledger": find_own, "pdfplumber": find_plumbers,
}  # fmt: skip


def as_prediction(name: str, tables: Sequence[PlacedTable], seconds: float) -> dict[str, Any]:
    """What was found in one document as a JSON object: rows of words with blanks as null, and spans beside them."""
    found = []
    for table in tables:
        rows = max(c.row + c.row_span for c in table.cells) if table.cells else 0
        cols = max(c.col + c.col_span for c in table.cells) if table.cells else 0
        cells: list[list[str | None]] = [[None] * cols for _ in range(rows)]
        for cell in table.cells:
            cells[cell.row][cell.col] = cell.text
        spans = [[c.row, c.col, c.row_span, c.col_span] for c in table.cells if c.row_span * c.col_span > 1]
        found.append({"page": table.page, "cells": cells, "spans": spans})
    return {"document": f"{name}.pdf", "seconds": round(seconds, 4), "tables": found}


def summary(scores: Sequence[TableScore], seconds: float, pages: int) -> dict[str, float | int]:
    """Means over documents, each of the same weight as in the competition, whole tables, and seconds a page."""
    precision = statistics.mean(s.precision for s in scores)
    recall = statistics.mean(s.recall for s in scores)
    return {
        "documents": len(scores), "pages": pages,
        "precision": round(precision, 4), "recall": round(recall, 4),
        "f1": round(2 * precision * recall / (precision + recall), 4) if precision + recall else 0.0,
        "mean_f1": round(statistics.mean(s.f1 for s in scores), 4),
        "whole": sum(s.whole for s in scores), "tables": sum(s.tables for s in scores),
        "seconds_a_page": round(seconds / max(pages, 1), 4),
    }  # fmt: skip


def measure(folder: Path, reader: str, keep: Path) -> tuple[dict[str, TableScore], dict[str, float | int]]:
    """Every document's score by one reader, and their summary; what was found goes to ``keep``."""
    scores: dict[str, TableScore] = {}
    total, pages = 0.0, 0
    with keep.open("w", encoding="utf-8") as out:
        for name, readings in read_truths(folder).items():
            path = next(folder.rglob(f"{name}.pdf"))
            started = time.process_time()
            count, tables = READERS[reader](path)
            spent = time.process_time() - started
            total, pages = total + spent, pages + count
            scores[name] = best_score(readings, tables)
            out.write(json.dumps(as_prediction(name, tables, spent), ensure_ascii=False) + "\n")
    return scores, summary(list(scores.values()), total, pages)


def _print(reader: str, figures: dict[str, float | int]) -> None:
    print(f"{reader:12}P {figures['precision']:.3f}  R {figures['recall']:.3f}  F1 {figures['f1']:.3f}  "
          f"mean F1 {figures['mean_f1']:.3f}  whole {figures['whole']}/{figures['tables']}  "
          f"{figures['seconds_a_page']:.4f} s/page")  # fmt: skip


def main() -> int:
    """Parse the call, read with both, score, print and keep."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--predictions", type=Path, help="a folder for what each reader found")
    parser.add_argument("--scorer", type=Path, help="another program that scores a file of predictions")
    parser.add_argument("--show", action="store_true", help="one line for each document as well")
    parser.add_argument("--out", type=Path, help="a file to which one JSON line is added")
    call = parser.parse_args()
    if not read_truths(call.folder):
        parser.error(f"{call.folder} holds no NAME-str.xml; name a folder of PDFs with their truth")
    results = {}
    with tempfile.TemporaryDirectory() as scratch:
        kept = call.predictions or Path(scratch)
        kept.mkdir(parents=True, exist_ok=True)
        for reader in READERS:
            file = kept / f"{reader}.jsonl"
            scores, results[reader] = measure(call.folder, reader, file)
            _print(reader, results[reader])
            for name, score in sorted(scores.items()) if call.show else ():
                print(f"    {name:20}P {score.precision:.3f}  R {score.recall:.3f}  F1 {score.f1:.3f}")
            if call.scorer:
                subprocess.run([sys.executable, str(call.scorer), str(call.folder), str(file)], check=True)
    if call.out:
        record = {"on": datetime.now(UTC).date().isoformat(), "readers": results}
        with call.out.open("a", encoding="utf-8") as out:
            out.write(json.dumps(record) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
