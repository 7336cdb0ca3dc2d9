#!/usr/bin/env python3
"""Read a folder of many known files of which a few changed: what that costs beside plainly hashing the same files.

    incremental.py [--files N] [--kb N] [--changed N] [--moved N] [--deleted N] [--new N] [--runs N] [--profile]
                   [--out FILE]

The files are distinct and drawn in no time, the reader is a pretended one that gives two claims for each, so that what
is measured is finding, hashing, comparing and keeping. What the store knows beforehand is put into it at once, as a
reading of every file would have left it. Hashing is SHA-256 over each file read whole, in this process, right before
each reading, so that both find the files in the same state of the system's cache; the median of ``--runs`` is shown.
"""

from __future__ import annotations

import argparse
import cProfile
import hashlib
import json
import os
import pstats
import random
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
from cogledger.extract.records import Reading, Source
from cogledger.extract.sources import find_sources
from cogledger.schema.claims import Claim, claim_ids
from cogledger.warehouse.claim_rows import CLAIM_COLUMNS, as_row, insert_rows
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.ingest import IngestReport, IngestSettings, ingest
from cogledger.warehouse.settled import settle_all

FOLDERS = 100
_PADDING = random.Random(1).randbytes(1 << 20)


def read_pretended(source: Source, on_page: Callable[[int, int], None] | None = None) -> Reading:
    """Two claims whose code comes from the source's hash."""
    code = f"ZQ{int(source.sha256[:12], 16)}"
    claims = tuple(
        Claim(source.name, 1, None, "Brambel", code, variant, "rear_derailleur", "total_capacity", high=high, unit="T",
              snippet="as printed", method="pretended", confidence=0.9)
        for variant, high in (("S", 33.0), ("M", 37.0))
    )  # fmt: skip
    return Reading(source, 1, claims, (), (), 0.0, "pretended")


_DOCUMENTS = """
insert into kept.documents by name
select sha256, name, '.pdf' as extension, 'pdf' as kind, size, 1 as pages, '1' as reader, 0.0 as seconds,
       now()::timestamp as read_at
from documents
"""
SETTINGS = IngestSettings(reader=f"{__name__}:read_pretended", reader_version="1")


def fill(path: Path, number: int, kb: int, turn: int = 0) -> None:
    """A file that begins as a PDF does, like no other."""
    path.write_bytes(f"%PDF-1.7\n{number} {turn}\n".encode() + _PADDING[: kb * 1024 - 64])


def hash_all(folder: Path) -> float:
    """Seconds that it takes to list ``folder`` and hash every file in it."""
    started = time.perf_counter()
    for parent, _, names in os.walk(folder):
        for name in names:
            with (Path(parent) / name).open("rb") as file:
                hashlib.sha256(file.read()).hexdigest()
    return time.perf_counter() - started


class Trial:
    """A folder of files, a store, and what each reading of the one into the other takes."""

    def __init__(self, work: Path, files: int, kb: int, profile: bool) -> None:
        self.manuals, self.kb, self.profile = work / "manuals", kb, profile
        self.store = FolderStore(work / "ledger")
        self.rng = random.Random(files)
        self.turn = 0
        for number in range(files):
            path = self.manuals / f"{number % FOLDERS:02d}" / f"{number}.pdf"
            path.parent.mkdir(parents=True, exist_ok=True)
            fill(path, number, kb)

    def know(self) -> None:
        """Put the reading of every file into the store."""
        sources, _ = find_sources([self.manuals])
        self.store.sources.mkdir(parents=True)
        rows: list[dict[str, Any]] = []
        for source in sources:
            (self.store.sources / f"{source.sha256}.pdf").hardlink_to(source.path)
            claims = list(read_pretended(source).claims)
            told = enumerate(zip(claim_ids(source.sha256, claims), claims, strict=True))
            rows += [as_row(claim_id, source.sha256, n, claim, "1") for n, (claim_id, claim) in told]
        documents = pa.table({"sha256": [s.sha256 for s in sources], "name": [s.name for s in sources],
                              "size": [s.size for s in sources], "path": [str(s.path) for s in sources]})  # fmt: skip
        with self.store.writing() as connection:
            insert_rows(connection, "kept.claims", CLAIM_COLUMNS, rows)
            connection.register("documents", documents)
            connection.execute(_DOCUMENTS)
            connection.execute("insert into kept.document_paths select sha256, name, path, null from documents")
            connection.unregister("documents")
            settle_all(connection)

    def read(self) -> tuple[float, float, IngestReport]:
        """Seconds of plain hashing, seconds of reading, and the reading's report."""
        hashing = hash_all(self.manuals)
        profiler = cProfile.Profile()
        started = time.perf_counter()
        if self.profile:
            profiler.enable()
        report = ingest(self.store, [self.manuals], workers=1, settings=SETTINGS)
        profiler.disable()
        seconds = time.perf_counter() - started
        if self.profile:
            pstats.Stats(profiler).sort_stats("cumulative").print_stats(35)
        return hashing, seconds, report

    def choose(self, count: int) -> list[Path]:
        """So many of the files, at random."""
        return self.rng.sample(sorted(self.manuals.rglob("*.pdf")), count)

    def add(self, count: int) -> None:
        """So many files more."""
        self.turn += 1
        (self.manuals / "new").mkdir(exist_ok=True)
        for number in range(count):
            fill(self.manuals / "new" / f"{number}-{self.turn}.pdf", number, self.kb, self.turn)

    def change(self, count: int) -> None:
        """Write so many files anew."""
        self.turn += 1
        for path in self.choose(count):
            fill(path, int(path.stem.split("-")[0]), self.kb, self.turn)

    def move(self, count: int) -> None:
        """Move so many files to another name in another folder."""
        self.turn += 1
        for path in self.choose(count):
            target = self.manuals / f"moved-{self.turn}" / f"{path.stem}-{self.turn}.pdf"
            target.parent.mkdir(exist_ok=True)
            path.rename(target)

    def delete(self, count: int) -> None:
        """Delete so many files."""
        for path in self.choose(count):
            path.unlink()


def measure(trial: Trial, runs: int, counts: dict[str, int]) -> dict[str, dict[str, float]]:
    """Seconds of hashing and of reading for each kind of change, with how many files were read and known."""
    trial.know()
    acts: dict[str, Callable[[int], None]] = {
        "as they were": lambda _: None, "changed": trial.change, "moved": trial.move, "deleted": trial.delete,
        "new": trial.add,
    }  # fmt: skip
    figures = {}
    for name, act in acts.items():
        tried = []
        for _ in range(runs):
            act(counts.get(name, 0))
            tried.append(trial.read())
        figures[f"{counts[name]} {name}" if name in counts else name] = _figures(tried)
    return figures


def _figures(tried: list[tuple[float, float, IngestReport]]) -> dict[str, float]:
    last = tried[-1][2]
    hashing, seconds = (statistics.median(run[n] for run in tried) for n in (0, 1))
    return {
        "hashing_s": round(hashing, 3), "read_s": round(seconds, 3), "times_hashing": round(seconds / hashing, 2),
        "read": len(last.documents), "unchanged": last.unchanged,
    }  # fmt: skip


def main() -> int:
    """Parse the call, make the files, measure, print and keep."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--kb", type=int, default=64, help="size of each file")
    parser.add_argument("--changed", type=int, default=10)
    parser.add_argument("--moved", type=int, default=100)
    parser.add_argument("--deleted", type=int, default=10)
    parser.add_argument("--new", type=int, default=30)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--profile", action="store_true", help="show where the time of each reading goes")
    parser.add_argument("--out", type=Path, help="a file to which one JSON line is added")
    call = parser.parse_args()
    with tempfile.TemporaryDirectory() as work:
        trial = Trial(Path(work), call.files, call.kb, call.profile)
        counts = {name: getattr(call, name) for name in ("changed", "moved", "deleted", "new")}
        figures = measure(trial, call.runs, counts)
    print(f"{call.files} files of {call.kb} KB")
    for name, f in figures.items():
        print(f"{name:18}hashing {f['hashing_s']:7.3f} s, reading {f['read_s']:8.3f} s: {f['times_hashing']:7.2f} times"
              f"; {f['read']} read, {f['unchanged']} unchanged")  # fmt: skip
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // (1024 * 1024 if sys.platform == "darwin" else 1024)
    print(f"greatest memory {peak} MB")
    if call.out:
        record = {"on": datetime.now(UTC).date().isoformat(), "files": call.files, "kb": call.kb, "peak_mb": peak,
                  "figures": figures}  # fmt: skip
        with call.out.open("a", encoding="utf-8") as out:
            out.write(json.dumps(record) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
