#!/usr/bin/env python3
"""Read a drawn catalogue and say how many pages a second that takes, beside two plain readers of the same pages.

    speed.py [--pages N] [--share S] [--seed K] [--catalogue PDF] [--out RESULTS.jsonl]

Most pages of the catalogue state no limit, as in a real one, though they speak of the trade, list prices and torques,
and show pictures; ``--share`` of them carry limits in many layouts. The others are pdfplumber's ``extract_tables`` and
the bare text of pypdfium2. Each runs in a process of its own, on one core; time is that process's own processor time,
so that a busy machine counts less, and memory its greatest resident size.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pypdfium2 as pdfium
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

MAKE = Path(__file__).resolve().parent.parent / "fixtures" / "make.py"
WORDS = """the rider of every bicycle knows how a clean chain runs and why a worn one skips so keep it oiled turn the
barrel until the cage stands below its cog and try all gears on the stand before the first ride then check again after
some days of use cassette teeth largest ring sprocket derailleur crank speed series lever""".split()
ROWS = ("Cable bolt", "Crank bolt", "Cassette", "Chain", "Chainring", "Grip", "Saddle", "Pedal axle", "Inner cable")
FAMILIES = ("boxed_rows", "boxed_columns", "open_rows", "lines_only", "two_level", "headed", "pairs", "cards", "prose")
WIDTH, HEIGHT = 595.3, 841.9


def draw_catalogue(path: Path, pages: int, share: float, seed: int) -> None:
    """A PDF of ``pages`` pages: prose and price lists, and spec tables on ``share`` of them."""
    rng = random.Random(seed)
    specs = max(1, round(pages * share))
    with tempfile.TemporaryDirectory() as scratch, pdfium.PdfDocument.new() as catalogue:
        filler = Path(scratch) / "filler.pdf"
        _draw_filler(filler, pages - specs, rng)
        call = [sys.executable, str(MAKE), "sheets", "--count", str(specs), "--seed", str(seed), "--out", scratch]
        for family in FAMILIES:
            call += ["--family", family]
        subprocess.run(call, check=True, capture_output=True)
        sheets = sorted(Path(scratch).glob("*_*.pdf")) + sorted(Path(scratch).glob("[pc]*-*.pdf"))
        with pdfium.PdfDocument(filler) as plain:
            catalogue.import_pages(plain)
        for sheet in sheets:
            with pdfium.PdfDocument(sheet) as document:
                catalogue.import_pages(document, pages=[0], index=rng.randrange(len(catalogue) + 1))
        catalogue.save(path)


def _draw_filler(path: Path, pages: int, rng: random.Random) -> None:
    canvas = Canvas(str(path), pagesize=(WIDTH, HEIGHT), invariant=1)
    picture = ImageReader(Image.effect_noise((330, 190), 60))
    for _ in range(pages):
        canvas.setFont("Helvetica-Bold", 16)
        canvas.drawString(50, HEIGHT - 60, " ".join(rng.choices(WORDS, k=4)).title())
        canvas.setFont("Helvetica", 9)
        for line in range(rng.randint(10, 30)):
            words = [w if rng.random() < 0.92 else str(rng.randint(2, 900)) for w in rng.choices(WORDS, k=14)]
            canvas.drawString(50, HEIGHT - 90 - 13 * line, " ".join(words) + rng.choice(["", "", "."]))
        if rng.random() < 0.3:
            canvas.drawImage(picture, 60, 180, 330, 190)
        unit = rng.choice(["EUR", "Nm", "kg"])
        for row in range(rng.choice([0, 0, 6])):
            for column, text in enumerate((rng.choice(ROWS), f"{rng.randint(9, 400)}.90", unit)):
                canvas.drawString(60 + 150 * column, 150 - 14 * row, text)
            canvas.line(50, 147 - 14 * row, 500, 147 - 14 * row)
        canvas.showPage()
    canvas.save()


def read_whole(path: Path) -> int:
    """The project's own reading; the number of claims."""
    from cogledger.extract.pipeline import read_source
    from cogledger.extract.sources import find_sources

    return len(read_source(find_sources([path])[0][0]).claims)


def read_plumber_tables(path: Path) -> int:
    """pdfplumber's tables, page by page, its caches emptied; the number of tables."""
    import pdfplumber

    found = 0
    with pdfplumber.open(path) as pdf:
        for page in pdf.pages:
            found += len(page.extract_tables())
            page.close()
    return found


def read_bare_text(path: Path) -> int:
    """The bare text of every page; the number of letters."""
    letters = 0
    with pdfium.PdfDocument(path) as document:
        for page in document:
            text = page.get_textpage()
            letters += len(text.get_text_bounded())
            text.close()
            page.close()
    return letters


READERS: dict[str, Callable[[Path], int]] = {
    "cogledger": read_whole, "pdfplumber extract_tables": read_plumber_tables, "pypdfium2 text": read_bare_text,
}  # fmt: skip


def _run(name: str, path: Path, results: multiprocessing.Queue[tuple[float, float, int]]) -> None:
    READERS[name](_warm_up(path))
    started = time.process_time()
    found = READERS[name](path)
    spent = time.process_time() - started
    results.put((spent, _peak_mb(), found))


def _warm_up(path: Path) -> Path:
    """A first page on its own, so that imports and word lists are loaded before the clock starts."""
    first = path.with_name(f"first-{os.getpid()}.pdf")
    with pdfium.PdfDocument(path) as document, pdfium.PdfDocument.new() as single:
        single.import_pages(document, pages=[0])
        single.save(first)
    return first


def _peak_mb() -> float:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024 * 1024 if sys.platform == "darwin" else 1024)


def measure(path: Path, pages: int) -> dict[str, dict[str, float | int]]:
    """Pages a second of processor time, peak memory and what was found, by reader."""
    context = multiprocessing.get_context("spawn")
    figures: dict[str, dict[str, float | int]] = {}
    for name in READERS:
        results = context.Queue()
        worker = context.Process(target=_run, args=(name, path, results))
        worker.start()
        spent, peak, found = results.get()
        worker.join()
        figures[name] = {"pages_per_s": round(pages / max(spent, 1e-6), 1), "peak_mb": round(peak), "found": found}
    return figures


def main() -> int:
    """Parse the call, draw, measure, print and keep."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pages", type=int, default=200)
    parser.add_argument("--share", type=float, default=0.1, help="of pages with spec tables")
    parser.add_argument("--seed", type=int, default=7001)
    parser.add_argument("--catalogue", type=Path, help="a PDF to read in the place of a drawn one")
    parser.add_argument("--out", type=Path, help="a file to which one JSON line is added")
    call = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "catalogue.pdf"
        if call.catalogue:
            shutil.copyfile(call.catalogue, path)
        else:
            draw_catalogue(path, call.pages, call.share, call.seed)
        with pdfium.PdfDocument(path) as document:
            pages = len(document)
        figures = measure(path, pages)
    own = figures["cogledger"]["pages_per_s"]
    print(f"{pages} pages")
    for name, f in figures.items():
        print(f"{name:28}{f['pages_per_s']:10.1f} pages/s{f['peak_mb']:6} MB   found {f['found']:7}"
              f"   cogledger is {own / f['pages_per_s']:.2f} times as fast")  # fmt: skip
    if call.out:
        record = {"on": datetime.now(UTC).date().isoformat(), "pages": pages, "share": call.share,
                  "seed": call.seed, "readers": figures}  # fmt: skip
        with call.out.open("a", encoding="utf-8") as out:
            out.write(json.dumps(record) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
