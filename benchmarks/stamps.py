"""Read photos of stamped codes with cogledger, plain tesseract and plain rapidocr in one run, and compare them.

    python benchmarks/stamps.py FOLDER... [--engine NAME...] [--most N] [--show N] [--out results.jsonl]

A folder holds photos, ``truth.jsonl`` and, if there are any, ``known_codes.txt``. Each engine runs in a process of its
own on the same processors, one after the other, and reads its first photo once before it is timed.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))

from stamp_figures import Answer, Truth, choose, exact_by, figures, is_right

Texts = list[tuple[str, float]]
Seen = dict[str, Any]
Read = Callable[[Path], Seen]


def ours(known: Sequence[str]) -> Read:
    """cogledger's own reading; ``known`` codes are those that a store would hold."""
    from cogledger.extract.stamps.known import index_codes
    from cogledger.extract.stamps.reader import read_photos, usual_readers
    from cogledger.schema.errors import CogledgerError

    readers, index = usual_readers(), index_codes(known)

    def read(path: Path) -> Seen:
        try:
            reading = read_photos([path], index, readers=readers)[0]
        except CogledgerError as error:
            return {"code": None, "confidence": 0.0, "fault": str(error)}
        return {"code": reading.code, "confidence": reading.confidence}

    return read


def tesseract(turns: int) -> Read:
    """The tesseract program on the whole photo, sparse text (psm 11), English, upright or in all four right angles."""
    import numpy as np
    from cogledger.extract.engines.tesseract import SPARSE, find_words
    from cogledger.extract.photos import read_photo

    def read(path: Path) -> Seen:
        pixels = read_photo(path)
        texts: Texts = []
        for turn in range(turns):
            turned = np.ascontiguousarray(np.rot90(pixels, turn))
            texts += [(w.text, w.confidence) for w in find_words(turned, languages=["eng"], psm=SPARSE, timeout_s=300)]
        return {"texts": texts}

    return read


def rapidocr() -> Read:
    """The package rapidocr on the whole photo with its default settings: detection, turning by 180°, recognition."""
    from cogledger.extract.photos import read_photo
    from rapidocr import RapidOCR

    engine = RapidOCR(params={"Global.log_level": "critical"})

    def read(path: Path) -> Seen:
        found = engine(read_photo(path)[:, :, ::-1].copy())
        pairs = zip(found.txts or (), found.scores or (), strict=True)  # pyright: ignore
        return {"texts": [(str(text), float(sure)) for text, sure in pairs]}

    return read


ENGINES: dict[str, Callable[[Sequence[str]], Read]] = {
    "cogledger": ours,
    "cogledger, codes unknown": lambda known: ours(()),
    "tesseract, upright": lambda known: tesseract(1),
    "tesseract, four turns": lambda known: tesseract(4),
    "rapidocr": lambda known: rapidocr(),
}
PLAIN = ("tesseract, upright", "tesseract, four turns", "rapidocr")


def read_truth(folder: Path, most: int | None) -> list[Truth]:
    """The truth of a folder, the first ``most`` photos of it."""
    lines = (folder / "truth.jsonl").read_text(encoding="utf-8").splitlines()
    return [json.loads(line) for line in lines if line.strip()][:most]


def read_known(folder: Path) -> list[str]:
    """The codes that a store is taken to hold; none where the folder lists none."""
    path = folder / "known_codes.txt"
    return [line.strip() for line in path.read_text("utf-8").splitlines() if line.strip()] if path.exists() else []


def run_here(name: str, folder: Path, most: int | None) -> dict[str, Any]:
    """One engine over one folder, in this process: what it saw of each photo, seconds, and the most memory in MB."""
    files = [folder / truth["file"] for truth in read_truth(folder, most)]
    start = time.perf_counter()
    read = ENGINES[name](read_known(folder))
    read(files[0])
    ready = time.perf_counter() - start
    seen = []
    for path in files:
        wall, cpu = time.perf_counter(), _processor_seconds()
        row = read(path)
        seen.append({**row, "seconds": time.perf_counter() - wall, "processor_s": _processor_seconds() - cpu})
    return {"ready_s": ready, "peak_mb": _peak_mb(), "seen": seen}


def _processor_seconds() -> float:
    kinds = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(resource.getrusage(kind).ru_utime + resource.getrusage(kind).ru_stime for kind in kinds)


def _peak_mb() -> float:
    """This process's greatest memory, and that of the largest program that it ran beside."""
    unit = 1024 if sys.platform != "darwin" else 1024 * 1024
    kinds = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(resource.getrusage(kind).ru_maxrss for kind in kinds) / unit


def run_apart(name: str, folder: Path, most: int | None) -> dict[str, Any]:
    """The same in a process of its own."""
    call = [sys.executable, str(Path(__file__).resolve()), str(folder), "--alone", name]
    call += ["--most", str(most)] if most else []
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{name} stopped on {folder}: {(done.stderr.strip().splitlines() or ['no reason given'])[-1]}")
    return json.loads(done.stdout.splitlines()[-1])


def answers_of(seen: Sequence[Seen], known: Sequence[str]) -> list[Answer]:
    """What was seen of each photo → the engine's answer, for plain engines chosen with or without ``known`` codes."""
    return [
        choose([(text, sure) for text, sure in row["texts"]], known)
        if "texts" in row
        else Answer(row["code"], row["confidence"])
        for row in seen
    ]


def rows_of(name: str, ran: dict[str, Any], truths: Sequence[Truth], known: Sequence[str]) -> list[dict[str, Any]]:
    """The rows of one engine: for plain ones also with the nearest known code at most one sign away."""
    ways: list[tuple[str, Sequence[str]]] = [(name, ())]
    if name in PLAIN and known:
        ways.append((f"{name} + known codes", known))
    walls = sorted(row["seconds"] for row in ran["seen"])
    rows = []
    for label, codes in ways:
        pairs = list(zip(truths, answers_of(ran["seen"], codes), strict=True))
        rows.append(
            {
                "engine": label,
                **figures(pairs),
                "median_s": round(statistics.median(walls), 2),
                "p90_s": round(walls[min(len(walls) - 1, int(0.9 * len(walls)))], 2),
                "processor_s": round(statistics.median(row["processor_s"] for row in ran["seen"]), 2),
                "ready_s": round(ran["ready_s"], 1),
                "peak_mb": round(ran["peak_mb"]),
                "by_process": exact_by(pairs, lambda truth: truth.get("process") or "none"),
                "by_legibility": exact_by(pairs, lambda truth: truth["legibility"]),
                "wrong": [
                    (t["file"], t["code"], a.code, round(a.confidence, 3)) for t, a in pairs if not is_right(t, a)
                ],
            }
        )
    return rows


def mistakes(row: dict[str, Any], most: int) -> str:
    """The wrong answers of one row, the surest first."""
    wrong = sorted(row["wrong"], key=lambda each: -each[3])[:most]
    lines = [f"  {file}: {truth or 'no code'} read as {read or 'no code'}, {sure}" for file, truth, read, sure in wrong]
    return "\n".join([f"{row['engine']}: {len(row['wrong'])} wrong", *lines])


COLUMNS = {
    "exact": "exact", "exact_legible": "of legible", "cer": "CER", "null_accuracy": "null right", "sure": "sure",
    "sure_wrong": "sure wrong", "ece": "ECE", "median_s": "s median", "p90_s": "s p90", "processor_s": "cpu s",
    "peak_mb": "peak MB",
}  # fmt: skip


def table(rows: Sequence[dict[str, Any]]) -> str:
    """Rows as a table for people, then the share read exactly by process and by legibility."""
    parts = [_grid([["engine", *COLUMNS.values()], *([row["engine"], *map(row.get, COLUMNS)] for row in rows)])]
    for kind in ("by_process", "by_legibility"):
        names = sorted({name for row in rows for name in row[kind]})
        counts = [f"{name} ({rows[0][kind][name][1]})" for name in names]
        body = [[row["engine"], *(row[kind][name][0] for name in names)] for row in rows]
        parts.append(_grid([[f"exact {kind.replace('_', ' ')}", *counts], *body]))
    return "\n\n".join(parts)


def _grid(cells: Sequence[Sequence[Any]]) -> str:
    words = [["–" if cell is None else str(cell) for cell in row] for row in cells]
    widths = [max(len(row[index]) for row in words) for index in range(len(words[0]))]
    lines = [
        "| " + " | ".join(cell.ljust(wide) for cell, wide in zip(row, widths, strict=True)) + " |" for row in words
    ]
    return "\n".join([lines[0], "|" + "|".join("-" * (wide + 2) for wide in widths) + "|", *lines[1:]])


def main() -> None:
    """Run the engines, print the tables, add a line for each row to ``--out``."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--engine", action="append", choices=list(ENGINES), help="only this one (may be given again)")
    parser.add_argument("--most", type=int, help="only the first so many photos")
    parser.add_argument("--show", type=int, default=0, help="name so many wrong answers of each engine")
    parser.add_argument("--out", type=Path, help="file to which a line is added for each row")
    parser.add_argument("--alone", choices=list(ENGINES), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.alone:
        sys.stdout.write(json.dumps(run_here(asked.alone, asked.folders[0], asked.most)) + "\n")
        return
    for folder in asked.folders:
        truths, known = read_truth(folder, asked.most), read_known(folder)
        rows = []
        for name in asked.engine or ENGINES:
            rows += rows_of(name, run_apart(name, folder, asked.most), truths, known)
        processors = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
        sys.stdout.write(f"{folder.name}: {len(truths)} photos, {len(known)} known codes, {processors} processors\n\n")
        sys.stdout.write(table(rows) + "\n\n")
        if asked.show:
            sys.stdout.write("\n".join(mistakes(row, asked.show) for row in rows) + "\n\n")
        if asked.out:
            with asked.out.open("a", encoding="utf-8") as lines:
                lines.writelines(json.dumps({"folder": folder.name, **row}) + "\n" for row in rows)


if __name__ == "__main__":
    main()
