"""Compare OCR engines on drawn sheets as scans: share of lines and of signs read right, and seconds, by resolution.

    python benchmarks/engines.py [--count 3] [--seed 1] [--dpi 150 200 300]

All engines read the same pictures of single lines, cut out by our own geometry; the truth is the text layer of the
same sheet before it became a picture. Blanks are not compared. ``page`` is tesseract on the page as a whole, by words.
"""

from __future__ import annotations

import argparse
import io
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from PIL import Image
from rapidfuzz.distance import Levenshtein

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from cogledger.extract.engines import tesseract
from cogledger.extract.engines.lines import LINE_READERS, LineReader
from cogledger.extract.engines.signs import text_of
from cogledger.extract.pages import draw_page, open_page, open_pdf
from cogledger.extract.records import Word
from cogledger.extract.scan_clean import flatten, without_leaders
from cogledger.extract.scan_rules import find_dashed_rules, find_drawn_rules, without_rules
from cogledger.extract.scan_runs import Run, cut_out, find_runs, is_dash, turned_dark_on_light
from cogledger.extract.textlayer import read_text_page

from fixtures.sheets.draw import draw_sheet
from fixtures.sheets.raster import _worn

WORKING_DPI = 300
LAYOUTS = ("boxed_rows", "boxed_columns", "pairs", "lines_only")
Reader = Callable[[Sequence[np.ndarray]], list[str]]


def read_with(reader: LineReader) -> Reader:
    """What reads pictures of lines into texts."""
    return lambda cuts: [text_of(signs) for signs in reader.read(cuts, WORKING_DPI, 600)]


def plain(text: str) -> str:
    """Text without blanks, all dashes alike."""
    return "".join(text.split()).replace("–", "-").replace("—", "-")


def picture_of(path: Path, dpi: int, rng: random.Random) -> tuple[np.ndarray, Sequence[Word]]:
    """The first page as a worn scan of ``dpi``, drawn up to the resolution that is read, and its words."""
    with open_pdf(path) as document, open_page(document, 1, path.name) as page:
        worn = Image.open(io.BytesIO(_worn(draw_page(page, dpi, grey=True).convert("L"), rng, 0.0))).convert("L")
        size = round(worn.width * WORKING_DPI / dpi), round(worn.height * WORKING_DPI / dpi)
        return np.asarray(worn.resize(size, Image.Resampling.BILINEAR)), read_text_page(page, 1).words


def truth_of(run: Run, words: Sequence[Word]) -> str:
    """What the text layer says where a run stands."""
    unit = 72 / WORKING_DPI
    inside = [w for w in words if run.x0 * unit < (w.box.x0 + w.box.x1) / 2 < run.x1 * unit
              and run.top * unit - 2 < (w.box.top + w.box.bottom) / 2 < run.bottom * unit + 2]  # fmt: skip
    return plain("".join(w.text for w in sorted(inside, key=lambda w: w.box.x0)))


def lines_of(grey: np.ndarray, words: Sequence[Word]) -> tuple[list[np.ndarray], list[str]]:
    """Pictures of the lines of a page, and what each says."""
    flat = flatten(grey)
    rules = find_drawn_rules(flat, WORKING_DPI)
    bare = without_rules(turned_dark_on_light(flat, WORKING_DPI), rules)
    dashed = find_dashed_rules(bare, WORKING_DPI)
    bare = without_leaders(without_rules(bare, dashed, dashed=True), WORKING_DPI)
    runs = [run for run in find_runs(bare, rules + dashed, WORKING_DPI) if not is_dash(run)]
    told = [(run, truth_of(run, words)) for run in runs]
    told = [(run, text) for run, text in told if any(c.isalnum() for c in text)]
    return [cut_out(bare, run)[0] for run, _ in told], [text for _, text in told]


def report(name: str, read: Sequence[str], truth: Sequence[str], seconds: float, pages: int) -> str:
    """One line: shares of lines right with and without digits, of signs, and seconds a page."""
    pairs = [(plain(a), b) for a, b in zip(read, truth, strict=True)]
    values = [a == b for a, b in pairs if any(c.isdigit() for c in b)]
    labels = [a == b for a, b in pairs if not any(c.isdigit() for c in b)]
    wrong, signs = sum(Levenshtein.distance(a, b) for a, b in pairs), sum(len(b) for _, b in pairs)
    right = f"values {np.mean(values):6.1%} of {len(values)}  labels {np.mean(labels):6.1%} of {len(labels)}"
    return f"{name:10} {right}  signs {1 - wrong / max(signs, 1):6.2%}  {seconds / pages:5.2f} s/page"


def whole_page(pages: Sequence[tuple[np.ndarray, Sequence[Word]]]) -> str:
    """Tesseract on whole pages: how many of the words it finds, in any order."""
    found = there = 0
    wall = time.perf_counter()
    for grey, words in pages:
        read = Counter(plain(w.text) for w in tesseract.find_words(grey, dpi=WORKING_DPI, timeout_s=600))
        truth = Counter(plain(w.text) for w in words if any(c.isalnum() for c in w.text))
        found, there = found + (read & truth).total(), there + truth.total()
    return f"page       words  {found / there:6.1%} of {there}  {(time.perf_counter() - wall) / len(pages):5.2f} s/page"


def main() -> None:
    """Draw, read with every engine, print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--count", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--dpi", type=int, nargs="+", default=[150, 200, 300])
    asked = parser.parse_args()
    readers = {reader.name: read_with(reader) for reader in LINE_READERS if reader.is_there()}
    with tempfile.TemporaryDirectory() as folder:
        sheets = []
        for n in range(asked.count):
            sheets.append(Path(folder) / f"{n}.pdf")
            draw_sheet(sheets[-1], LAYOUTS[n % len(LAYOUTS)], random.Random(f"{asked.seed} {n}"))
        for dpi in asked.dpi:
            pages = [picture_of(path, dpi, random.Random(f"{asked.seed} {path.name} {dpi}")) for path in sheets]
            lines = [lines_of(*page) for page in pages]
            cuts, truth = [c for cs, _ in lines for c in cs], [t for _, ts in lines for t in ts]
            print(f"{dpi} dpi, {len(cuts)} lines")
            for name, reader in readers.items():
                started = time.perf_counter()
                read = reader(cuts)
                print("  " + report(name, read, truth, time.perf_counter() - started, len(pages)), flush=True)
            print("  " + whole_page(pages), flush=True)


if __name__ == "__main__":
    main()
