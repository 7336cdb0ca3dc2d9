#!/usr/bin/env python3
"""Draw spec sheets with their truth, read them, and say how much of it was read right, by family.

    accuracy.py [--sheets N] [--seed S] [--family F ...] [--wording a|b|both] [--out RESULTS.jsonl] [--show N]
                [--claims FILE] [--keep DIR]
    accuracy.py --raise-floor      measure the sample that floor.toml names and raise its floors, never lower them

A claim is right when document, part, limit,
value and condition agree with a statement of the truth that no other claim
has taken; wrong when the truth speaks of that part and limit and says otherwise; stray when it does not speak of them.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cogledger.extract.pipeline import read_source
from cogledger.extract.sources import find_sources
from cogledger.schema.claims import plain
from cogledger.schema.errors import CogledgerError
from cogledger.schema.parts import code_key, squash, variant_key

FLOOR = Path(__file__).resolve().parent / "floor.toml"
FLOOR_SLACK = 0.02
MAKE = Path(__file__).resolve().parent.parent / "fixtures" / "make.py"
FAMILIES = ("boxed_rows", "boxed_columns", "open_rows", "open_columns", "lines_only", "two_level", "long_table",
            "kind_column", "footnotes", "shared_codes", "side_by_side", "matrix", "headed", "pairs", "cards", "prose",
            "mixed", "bilingual", "three_level", "grouped_rows", "unit_column", "stacked", "old_new", "daggers",
            "per_cage", "sublabels", "bullets", "questions", "catalogue", "magazine", "exploded", "many_tables",
            "turned", "scan", "broken_layer", "no_limits")  # fmt: skip
Row = Mapping[str, Any]
Place = tuple[str, str, str]


@dataclass
class Score:
    """Counts of one family. ``rated`` holds (confidence, right) of every claim."""

    truths: int = 0
    claims: int = 0
    right: int = 0
    wrong: int = 0
    stray: int = 0
    rated: list[tuple[float, bool]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def add(self, other: Score) -> None:
        """Take the counts of ``other`` in."""
        self.truths += other.truths
        self.claims += other.claims
        self.right += other.right
        self.wrong += other.wrong
        self.stray += other.stray
        self.rated += other.rated
        self.faults += other.faults

    def figures(self) -> dict[str, float | int | None]:
        """The figures that are printed and kept; ``None`` where there is nothing to divide by."""
        sure = [right for confidence, right in self.rated if confidence >= 0.9]
        return {
            "truths": self.truths, "claims": self.claims,
            "precision": share(self.right, self.claims), "recall": share(self.right, self.truths),
            "f1": share(2 * self.right, self.claims + self.truths), "wrong_rate": share(self.wrong, self.claims),
            "stray_rate": share(self.stray, self.claims), "ece": self.calibration_error(),
            "wrong_when_sure": share(len(sure) - sum(sure), len(sure)),
        }  # fmt: skip

    def calibration_error(self) -> float | None:
        """Expected calibration error over ten bins of equal width."""
        bins: dict[int, list[tuple[float, bool]]] = defaultdict(list)
        for confidence, right in self.rated:
            bins[min(9, int(10 * confidence))].append((confidence, right))
        gaps = sum(abs(sum(c for c, _ in held) - sum(r for _, r in held)) for held in bins.values())
        return share(gaps, len(self.rated))


def share(part: float, whole: float) -> float | None:
    """``part`` of ``whole`` to four digits, ``None`` of nothing."""
    return round(part / whole, 4) if whole else None


def part_of(row: Row) -> str:
    """Code and variant in one, since print joins and parts them as it likes."""
    return code_key(row["part_code"]) + variant_key(row.get("variant"))


def value_of(row: Row) -> tuple[Any, ...]:
    """What a row says, in one form for equal values; a list of one is that number, alternatives have no order."""
    values = row.get("values")
    if values and len(values) > 1:
        numbers = [round(float(v), 3) for v in values]
        return ("list", *(numbers if row["limit"] in ("cogs", "rings") else sorted(set(numbers))))
    low, high = (values[0], values[0]) if values else (row.get("low"), row.get("high"))
    if low is None and high is None:
        text = str(row.get("text"))
        return ("text", ".".join(re.findall(r"\d+", text)) if row["limit"] == "firmware_min" else squash(text))
    return ("number", *(None if n is None else round(float(n), 3) for n in (low, high)))


def condition_of(row: Row) -> tuple[tuple[str, str], ...]:
    """A condition in one form for equal conditions."""
    return tuple(sorted((k, str(plain(v)) if isinstance(v, (int, float)) else squash(v))
                        for k, v in (row.get("condition") or {}).items()))  # fmt: skip


def place_of(row: Row) -> Place:
    """What a row speaks of."""
    return row["document"], part_of(row), row["limit"]


def _once(rows: Iterable[Row]) -> list[dict[str, Any]]:
    """Rows that say the same on one page as one, with the greatest confidence."""
    kept: dict[tuple[Any, ...], dict[str, Any]] = {}
    for row in rows:
        key = (*place_of(row), row["page"], value_of(row), condition_of(row))
        if key not in kept or row.get("confidence", 0) > kept[key].get("confidence", 0):
            kept[key] = dict(row)
    return list(kept.values())


def judge(truths: Sequence[Row], claims: Sequence[Row]) -> Score:
    """Match claims with the truth one to one, the same page first; alternatives and covered variants count."""
    truths = _once(truths)
    known = {place_of(t) for t in truths}
    covered = {(t["document"], code_key(t["part_code"]) + variant_key(v), t["limit"]): part_of(t)
               for t in truths for v in t.get("covers", ())}  # fmt: skip
    claims = [dict(c) | {"part_code": covered[place_of(c)], "variant": None}
              if place_of(c) not in known and place_of(c) in covered else dict(c) for c in claims]  # fmt: skip
    claims = sorted(_once(claims), key=lambda c: -c.get("confidence", 0))
    open_truths: dict[tuple[Any, ...], list[int]] = defaultdict(list)
    for n, truth in enumerate(truths):
        for reading in ({}, *truth.get("alt", ())):
            told = {**truth, **reading}
            key = (*place_of(truth), value_of(told), condition_of(told))
            if n not in open_truths[key]:
                open_truths[key].append(n)
    taken: set[int] = set()
    score = Score(truths=len(truths), claims=len(claims))
    left = claims
    for same_page in (True, False):
        todo, left = left, []
        for claim in todo:
            options = [n for n in open_truths[(*place_of(claim), value_of(claim), condition_of(claim))]
                       if n not in taken and (not same_page or truths[n]["page"] == claim["page"])]  # fmt: skip
            if options:
                taken.add(options[0])
                score.right += 1
                score.rated.append((claim["confidence"], True))
            else:
                left.append(claim)
    for claim in left:
        wrong = place_of(claim) in known
        score.wrong, score.stray = score.wrong + wrong, score.stray + (not wrong)
        score.rated.append((claim["confidence"], False))
        score.faults.append(f"{'wrong' if wrong else 'stray'} {claim['confidence']:.2f} {_shown(claim)}")
    score.faults += [f"missing {_shown(t)}" for n, t in enumerate(truths) if n not in taken]
    return score


def _shown(row: Row) -> str:
    said = [row["document"], f"p{row['page']}", row["part_code"], row.get("variant") or "", row["limit"],
            *(f"{k}={row[k]}" for k in ("low", "high", "values", "text", "condition") if row.get(k) is not None),
            f"<{row.get('snippet') or row.get('printed', '')}>"]  # fmt: skip
    return " ".join(filter(None, said))


def draw(folder: Path, family: str, count: int, seed: int, wording: str = "both") -> list[Row]:
    """Draw sheets of one family in the words of one set or both; their truth."""
    call = [sys.executable, str(MAKE), "sheets", "--count", str(count), "--seed", str(seed), "--family", family,
            "--wording", wording, "--out", str(folder)]  # fmt: skip
    subprocess.run(call, check=True, capture_output=True)
    lines = (folder / "truth.jsonl").read_text(encoding="utf-8").splitlines()
    return [json.loads(line) for line in lines]


def read_folder(folder: Path) -> tuple[list[Row], list[str]]:
    """Every claim of a folder, and the files that could not be read; a file that ends in an error is named so."""
    claims: list[Row] = []
    broken: list[str] = []
    for source in find_sources([folder])[0]:
        try:
            claims.extend(claim.as_json() for claim in read_source(source).claims)
        except CogledgerError as error:
            broken.append(f"unread {source.name}: {error.fault.message}")
        except Exception as error:  # a benchmark goes on and says what broke
            broken.append(f"BROKE {source.name}: {type(error).__name__}: {error}")
    return claims, broken


def measure(
    families: Sequence[str], count: int, seed: int, folder: Path, wording: str = "both"
) -> tuple[dict[str, Score], list[Row]]:
    """Scores by family, and all claims."""
    scores: dict[str, Score] = {}
    everything: list[Row] = []
    for family in families:
        truths = draw(folder / family, family, count, seed, wording)
        claims, broken = read_folder(folder / family)
        scores[family] = judge(truths, claims)
        scores[family].faults = [*broken, *scores[family].faults]
        everything += claims
    return scores, everything


def table(scores: Mapping[str, Score]) -> str:
    """The figures as lines of text, all families together last."""
    whole = Score()
    for score in scores.values():
        whole.add(score)
    lines = [f"{'':14}{'truth':>7}{'claims':>7}{'P':>7}{'R':>7}{'F1':>7}{'wrong':>7}{'stray':>7}{'ECE':>7}{'sure':>7}"]
    for name, score in {**scores, "all": whole}.items():
        f = score.figures()
        shares = (f[k] for k in ("precision", "recall", "f1", "wrong_rate", "stray_rate", "ece", "wrong_when_sure"))
        lines.append(f"{name:14}{score.truths:7}{score.claims:7}" + "".join(
            f"{'–':>7}" if s is None else f"{100 * s:7.1f}" for s in shares))  # fmt: skip
    return "\n".join([*lines, "", "shares in percent; sure: share wrong of the claims at 0.9 or more"])


def floor_figures(figures: Mapping[str, float | int | None]) -> dict[str, float]:
    """The figures that have floors: precision, recall, and the share of claims that is not a wrong value."""
    wrong = figures["wrong_rate"]
    held = {
        "precision": figures["precision"],
        "recall": figures["recall"],
        "not_wrong": None if wrong is None else 1 - wrong,
    }
    return {name: float(value) for name, value in held.items() if value is not None}


def raise_floor(scores: Mapping[str, Score], path: Path) -> None:
    """Write every floor anew: the old one, or what was measured less the slack where that is higher."""
    old = tomllib.loads(path.read_text(encoding="utf-8"))
    lines = ["# Least shares by family on the sample named here. Raised by accuracy.py --raise-floor, never lowered.",
             f"sheets = {old['sheets']}", f"seed = {old['seed']}"]  # fmt: skip
    for family, score in scores.items():
        measured = floor_figures(score.figures())
        before = old.get("families", {}).get(family, {})
        lines += ["", f"[families.{family}]"]
        for name in sorted({*measured, *before}):
            new = int(max(0.0, measured.get(name, 0.0) - FLOOR_SLACK) * 100) / 100
            lines.append(f"{name} = {max(before.get(name, 0.0), new):.2f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> int:
    """Parse the call, measure, print and keep."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sheets", type=int, default=4, help="sheets per family")
    parser.add_argument("--seed", type=int, default=7001)
    parser.add_argument("--family", action="append", choices=FAMILIES)
    parser.add_argument("--wording", choices=("a", "b", "both"), default="both", help="the set of words")
    parser.add_argument("--out", type=Path, help="a file to which one JSON line is added")
    parser.add_argument("--show", type=int, default=0, metavar="N", help="list N faults of each family")
    parser.add_argument("--claims", type=Path, help="write all claims to this file, one a line")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="keep the sheets and their truth here")
    parser.add_argument("--raise-floor", action="store_true")
    call = parser.parse_args()
    if call.raise_floor:
        kept = tomllib.loads(FLOOR.read_text(encoding="utf-8"))
        call.sheets, call.seed, call.family, call.wording = kept["sheets"], kept["seed"], None, "both"
    families, started = call.family or FAMILIES, time.perf_counter()
    with tempfile.TemporaryDirectory() as scratch:
        scores, claims = measure(families, call.sheets, call.seed, call.keep or Path(scratch), call.wording)
    print(table(scores))
    for family, score in scores.items():
        for fault in score.faults[: call.show]:
            print(f"{family}: {fault}")
    if call.raise_floor:
        raise_floor(scores, FLOOR)
    if call.claims:
        call.claims.write_text("".join(json.dumps(c, ensure_ascii=False) + "\n" for c in claims), encoding="utf-8")
    if call.out:
        whole = Score()
        for score in scores.values():
            whole.add(score)
        record = {"on": datetime.now(UTC).date().isoformat(), "seed": call.seed, "sheets": call.sheets,
                  "seconds": round(time.perf_counter() - started, 1), "all": whole.figures(),
                  "families": {name: score.figures() for name, score in scores.items()}}  # fmt: skip
        with call.out.open("a", encoding="utf-8") as out:
            out.write(json.dumps(record) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
