#!/usr/bin/env python3
"""A made-up store of many parts: how long it takes to load, how large it is, and how quickly it answers.

    store.py [--parts 10000 100000 1000000] [--seed N] [--keep DIR] [--out FILE]

Documents and claims are drawn (``store_data.py``), written as a pack and merged, so that loading includes every check
that a stranger's pack goes through. Answers are timed warm, in this process, each with other parts: the median and the
ninetieth per cent of ``--asked`` of them. With ``--keep`` the stores stay there and are not made again.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from random import Random
from typing import Any

import pyarrow as pa
from cogledger.schema.errors import CallError
from cogledger.warehouse import Ledger
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.lookup import StoreParts
from cogledger.warehouse.packs import CLAIMS, DOCUMENTS, WORDS, PackAbout, write_pack
from cogledger.warehouse.resolve import resolve_parts
from cogledger.warehouse.settled import load_kept, settle_all
from cogledger.warehouse.store import StoreSettings
from store_data import DataSettings, MadeDocument, list_documents, make_document

_DOCUMENTS_AT_ONCE = 200
_BUILD_KINDS = ("rear_derailleur", "front_derailleur", "cassette", "crankset", "shifter", "chain")
Figures = dict[str, Any]


def document_row(made: MadeDocument) -> dict[str, Any]:
    """A document's row in a pack."""
    return {
        "sha256": made.sha256, "name": made.name, "kind": "pdf", "extension": ".pdf", "size": 100_000,
        "pages": 1 + len(made.claims) // 50, "reader": "3", "dated": made.dated, "read_at": made.dated, "origin": None,
    }  # fmt: skip


def claim_rows(made: MadeDocument) -> Iterator[dict[str, Any]]:
    """The rows of a document's claims in a pack."""
    for position, (claim_id, claim) in enumerate(zip(made.ids(), made.claims, strict=True)):
        told = claim.as_json()
        told.pop("document")
        yield told | {"claim_id": claim_id, "sha256": made.sha256, "position": position, "reader": "3",
                      "condition": json.dumps(told["condition"]) if told["condition"] else None}  # fmt: skip


def make_pack(out: Path, parts: int, seed: int) -> int:
    """Write the pack of a made-up store; the number of its claims."""
    settings = DataSettings(parts, seed)
    listed = list_documents(settings)
    rows: list[dict[str, Any]] = []
    count = 0

    def batches() -> Iterator[pa.RecordBatch]:
        nonlocal count
        for start in range(0, len(listed), _DOCUMENTS_AT_ONCE):
            made = [
                make_document(settings, number, sort) for _, number, sort in listed[start : start + _DOCUMENTS_AT_ONCE]
            ]
            rows.extend(map(document_row, made))
            claims = [row for one in made for row in claim_rows(one)]
            count += len(claims)
            yield pa.record_batch(
                [pa.array([r[f.name] for r in claims], f.arrow) for f in CLAIMS.fields], schema=CLAIMS.arrow
            )

    claims = pa.Table.from_batches(batches(), CLAIMS.arrow)
    documents = pa.Table.from_pylist(rows, DOCUMENTS.arrow)
    tables = {"documents": documents, "claims": claims.to_batches(), "words": WORDS.arrow.empty_table()}
    write_pack(out, tables, PackAbout("the benchmark"))
    return count


def time_each(ask: Callable[[Any], object], things: Sequence[Any]) -> Figures:
    """Milliseconds of one question after another."""
    ask(things[0])
    took = []
    for thing in things:
        started = time.perf_counter()
        ask(thing)
        took.append(1000 * (time.perf_counter() - started))
    return {"median_ms": round(statistics.median(took), 2), "p90_ms": round(sorted(took)[int(0.9 * len(took))], 2)}


def draw_codes(ledger: Ledger, chance: Random, asked: int) -> dict[str, list[str]]:
    """Codes of each kind, drawn from the store."""
    drawn = {}
    for kind in _BUILD_KINDS:
        found = ledger.query("select distinct part_code from parts where part_kind = ? order by 1", [kind])
        codes = found["part_code"].to_pylist()
        drawn[kind] = [chance.choice(codes) for _ in range(asked + 1)]
    return drawn


def misspell(chance: Random, code: str) -> str:
    """A code with one sign wrong, missing, doubled or swapped with the next."""
    at = chance.randrange(1, len(code) - 1)
    other = chance.choice("ACEHKMPRTUWX3479")
    ways = (code[:at] + other + code[at + 1 :], code[:at] + code[at + 1 :], code[:at] + code[at] + code[at:],
            code[:at] + code[at + 1] + code[at] + code[at + 2 :])  # fmt: skip
    return chance.choice(ways)


def find_near(ledger: Ledger, code: str) -> None:
    """What ``fit`` does with an unknown code."""
    try:
        ledger.fit({"now": {"rear_derailleur": code, "cassette": "11-32", "rings": [50, 34]}})
    except CallError:
        return


def measure_answers(folder: Path, asked: int) -> Figures:
    """Questions of every sort to one store."""
    chance = Random(5)
    ledger = Ledger(folder, StoreSettings(warm_s=5.0))
    codes = draw_codes(ledger, chance, asked)
    derailleurs = codes["rear_derailleur"]
    builds = [{"now": {kind: codes[kind][n] for kind in _BUILD_KINDS}, "wish": {"cassette": "11-32"}}
              for n in range(asked)]  # fmt: skip
    store = FolderStore(folder, StoreSettings(warm_s=5.0))
    cold = FolderStore(folder, StoreSettings(warm_s=0.0))
    figures = {
        "look a part up": time_each(lambda code: StoreParts(store).find_parts(code), derailleurs),
        "one fit of six codes": time_each(ledger.fit, builds),
        "search, exact": time_each(lambda code: ledger.limits([code]), derailleurs),
        "search, beginning and limit": time_each(lambda code: ledger.limits([code[:5], "capacity"]), derailleurs),
        "search with a typing fault": time_each(
            lambda c: ledger.limits([c]), [misspell(chance, c) for c in derailleurs]
        ),
        "fit with an unknown code": time_each(
            lambda c: find_near(ledger, c), [misspell(chance, c) for c in derailleurs]
        ),
        "claims of a part": time_each(lambda code: ledger.claims([code]), derailleurs),
        "look a part up, store opened for it": time_each(lambda code: StoreParts(cold).find_parts(code), derailleurs),
    }
    with store.reading() as connection:
        families = [(family,) for family, in connection.execute(
            f"select family from kept.parts using sample {asked} rows").fetchall()]  # fmt: skip
        resolve = time_each(lambda family: resolve_parts(load_kept(connection, family)), families)
    return figures | {"resolve one part": resolve}


def measure_resolving(folder: Path) -> float:
    """Seconds to resolve the limits of every part anew."""
    with FolderStore(folder).writing() as connection:
        started = time.perf_counter()
        settle_all(connection)
        return round(time.perf_counter() - started, 1)


def peak_mb() -> int:
    """The most memory that this process ever had."""
    unit = 1024 * 1024 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // unit


def measure(parts: int, call: argparse.Namespace, scratch: Path) -> Figures:
    """One size: made, loaded and questioned."""
    folder = (call.keep or scratch) / f"store-{parts}"
    figures: Figures = {"parts": parts}
    if not (folder / "ledger.duckdb").is_file():
        pack = scratch / "pack"
        with ProcessPoolExecutor(1, get_context("spawn")) as maker:
            figures["claims"] = maker.submit(make_pack, pack, parts, call.seed).result()
        figures["pack_mb"] = round(sum(f.stat().st_size for f in pack.iterdir()) / 1e6, 1)
        started = time.perf_counter()
        Ledger(folder).merge(pack)
        figures["load_s"] = round(time.perf_counter() - started, 1)
        figures["load_peak_mb"] = peak_mb()
    figures["file_mb"] = round((folder / "ledger.duckdb").stat().st_size / 1e6, 1)
    figures["answers"] = measure_answers(folder, call.asked)
    figures["resolve_all_s"] = measure_resolving(folder)
    figures["peak_mb"] = peak_mb()
    return figures


def show(figures: Sequence[Figures]) -> None:
    """One column a size, and the growth from the first to the last."""
    sizes = [f"{f['parts']:,} parts" for f in figures]
    print(f"{'':38}" + "".join(f"{size:>18}" for size in sizes) + f"{'growth':>10}")
    for name in ("claims", "pack_mb", "load_s", "file_mb", "resolve_all_s", "load_peak_mb", "peak_mb"):
        values = [f.get(name) for f in figures]
        growth = f"{values[-1] / values[0]:10.1f}" if values[0] and values[-1] else ""
        print(f"{name:38}" + "".join(f"{value if value is not None else '-':>18}" for value in values) + growth)
    for name in figures[0]["answers"]:
        cells = [f["answers"][name] for f in figures]
        growth = cells[-1]["median_ms"] / cells[0]["median_ms"]
        told = "".join(f"{c['median_ms']:>9} {c['p90_ms']:>8}" for c in cells)
        print(f"{name + ' (ms)':38}{told}{growth:10.1f}")


def main() -> int:
    """Parse the call, measure each size, print and keep."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--parts", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--asked", type=int, default=100)
    parser.add_argument("--keep", type=Path, help="a folder in which the stores stay")
    parser.add_argument("--out", type=Path, help="a file to which one JSON line is added")
    call = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        figures = []
        for parts in call.parts:
            place = Path(scratch) / str(parts)
            place.mkdir()
            figures.append(measure(parts, call, place))
            print(json.dumps(figures[-1]), flush=True)
    show(figures)
    if call.out:
        with call.out.open("a", encoding="utf-8") as file:
            file.write(json.dumps({"benchmark": "store", "sizes": figures}) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
