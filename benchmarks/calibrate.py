#!/usr/bin/env python3
"""Fit the weights of extract/confidence.toml on drawn documents, and say how honest confidence is on others.

    calibrate.py [--sheets N] [--scans N] [--seed S] [--family F ...] [--fit FILE.toml]
                                                                           draw, read, fit, cross-check, judge
    calibrate.py --judge-only [--sheets N] [--scans N]                     judge the weights as they are
    calibrate.py --judge-only --folder DIR                                 judge them on documents with truth.jsonl

Documents to fit on and to be judged on come from different seeds, and each set of words gives its share. What is read
with little confidence is fitted on too. Long documents weigh less than their readings. Needs scipy, which the program
does not.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from accuracy import FAMILIES, Row, draw, judge
from cogledger.extract import assemble
from cogledger.extract.confidence import Evidence, Model, doubts_of, estimate, read_model, supports_of
from cogledger.extract.pipeline import read_source
from cogledger.extract.sources import find_sources
from cogledger.schema.errors import CogledgerError
from numpy.typing import NDArray
from scipy.optimize import minimize

WEIGHTS = Path(__file__).resolve().parent.parent / "extract" / "confidence.toml"
PICTURES = ("scan", "broken_layer")
WORDINGS = ("a", "b")
JUDGED_SEED = 50_000
"""Added to the seed for the documents that the fit is judged on."""
READERS = ("table:ruled", "table:aligned", "pairs", "prose", "other")
PRIOR_BASE = 4.0
_HALF = dict.fromkeys(("label_beyond_half", "layout_beyond_half", "value_beyond_half", "words_beyond_half"), 6.0)
PRIOR = _HALF | dict.fromkeys(("label", "layout", "value", "words"), 4.0) | {"implausible": 3.0, "disagrees": 1.0}
"""Weights where no document says anything; all others are drawn to zero. Set by judgement, no source."""
PRIOR_STRENGTH = 0.05
BASE_STRENGTH = 0.02
DOCUMENT_POWER = 0.5
"""A document of n readings weighs n to the power of one less this; 1 would let documents of one reading decide."""
LEAST, MOST = 0.01, 0.998
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Sample:
    """One reading with its evidence, and whether it is right."""

    document: str
    family: str
    evidence: Evidence
    right: bool


class Recorder:
    """Stands in for ``estimate``: notes the evidence and gives it a number of its own as confidence.

    Claims keep four digits of it, so that one document may hold some thousands of readings.
    """

    _most = 4_000

    def __init__(self) -> None:
        self.seen: list[Evidence] = []

    def __call__(self, evidence: Evidence) -> float:
        """The number that will lead back to this evidence."""
        if len(self.seen) > self._most:
            raise ValueError(f"more than {self._most} readings in one document: draw shorter ones")
        self.seen.append(evidence)
        return 0.5 + len(self.seen) / 10_000

    def evidence_of(self, number: float) -> Evidence:
        """The evidence that a number was given to."""
        return self.seen[round((number - 0.5) * 10_000) - 1]


def read_samples(folder: Path, family: str, truths: Sequence[Row]) -> list[Sample]:
    """Every reading of the documents of a folder, however unsure, judged by their truth."""
    by_document: dict[str, list[Row]] = defaultdict(list)
    for truth in truths:
        by_document[truth["document"]].append(truth)
    kept = assemble.estimate
    found: list[Sample] = []
    try:
        for source in find_sources([folder])[0]:
            assemble.estimate = recorder = Recorder()
            try:
                rows = [claim.as_json() for claim in read_source(source).claims]
            except CogledgerError:
                continue
            own = by_document[source.name]
            name = str(own[0].get("family", family)) if own else family
            found += [Sample(source.name, name, recorder.evidence_of(number), right)
                      for number, right in judge(own, rows).rated]  # fmt: skip
    finally:
        assemble.estimate = kept
    return found


def drawn_samples(families: Sequence[str], sheets: int, scans: int, seed: int) -> list[Sample]:
    """Samples of fresh documents: ``sheets`` of each family and set of words, ``scans`` of those that are pictures."""
    found: list[Sample] = []
    with tempfile.TemporaryDirectory() as scratch:
        for n, wording in enumerate(WORDINGS):
            for family in families:
                count = scans if family in PICTURES else sheets
                if count:
                    folder = Path(scratch) / wording / family
                    truths = draw(folder, family, count, seed + n, wording)
                    found += read_samples(folder, family, truths)
    return found


def table_of(samples: Sequence[Sample]) -> tuple[Array, Array, Array, list[str]]:
    """Samples → one row each, whether right, the weight of each, and the names of the columns."""
    names = [*READERS[:-1], *(f"-{k}" for k in doubts_of(samples[0].evidence)), *supports_of(samples[0].evidence)]
    rows = [[float(s.evidence.reader == reader) for reader in READERS[:-1]]
            + [-v for v in doubts_of(s.evidence).values()] + list(supports_of(s.evidence).values())
            for s in samples]  # fmt: skip
    sizes: dict[str, int] = defaultdict(int)
    for s in samples:
        sizes[f"{s.family}/{s.document}"] += 1
    weights = np.array([sizes[f"{s.family}/{s.document}"] ** -DOCUMENT_POWER for s in samples])
    weights *= len(sizes) / weights.sum()
    return np.array(rows), np.array([s.right for s in samples], dtype=float), weights, names


def fit(samples: Sequence[Sample]) -> Model:
    """The weights under which the samples are likeliest, drawn to the prior; doubts and supports stay above zero."""
    x, y, weights, names = table_of(samples)
    readers = len(READERS) - 1
    prior = np.array([PRIOR_BASE] * readers + [PRIOR.get(name.lstrip("-"), 0.0) for name in names[readers:]])
    strength = np.array([BASE_STRENGTH] * readers + [PRIOR_STRENGTH] * (len(names) - readers))

    def loss(w: Array) -> tuple[float, Array]:
        odds = x @ w
        likely = weights * (np.logaddexp(0, odds) - y * odds)
        slope = x.T @ (weights * (1 / (1 + np.exp(-odds)) - y)) + 2 * strength * (w - prior)
        return float(likely.sum() + (strength * (w - prior) ** 2).sum()), slope

    bounds = [(None, None)] * readers + [(0.0, None)] * (len(names) - readers)
    w = minimize(loss, prior, jac=True, bounds=bounds, method="L-BFGS-B", options={"maxiter": 2000}).x
    told = {name: round(float(v), 3) for name, v in zip(names, w, strict=True)}
    base = {reader: told[reader] for reader in READERS[:-1]}
    base["other"] = round(min(base.values()) - 1.0, 3)
    return Model(base, {k[1:]: v for k, v in told.items() if k.startswith("-")},
                 {k: told[k] for k in supports_of(samples[0].evidence)}, LEAST, MOST)  # fmt: skip


def write_model(model: Model, path: Path, note: str) -> None:
    """The weights as the file that the program reads."""
    told = asdict(model)
    lines = [f"# Weights of extract/confidence.py. Made by benchmarks/calibrate.py {note}; do not edit.",
             f"least = {model.least}", f"most = {model.most}"]  # fmt: skip
    for part in ("base", "doubts", "supports"):
        lines += ["", f"[{part}]"]
        lines += [f"{json.dumps(k) if ':' in k else k} = {v}" for k, v in told[part].items()]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def figures_of(rated: Sequence[tuple[float, bool]]) -> dict[str, Any]:
    """Count, share right, expected calibration error over ten bins, and what is wrong among the sure."""
    bins: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for confidence, right in rated:
        bins[min(9, int(10 * confidence))].append((confidence, right))
    gap = sum(abs(sum(c for c, _ in held) - sum(r for _, r in held)) for held in bins.values())
    sure = [right for confidence, right in rated if confidence >= 0.9]
    return {"claims": len(rated), "right": _share(sum(r for _, r in rated), len(rated)), "ece": _share(gap, len(rated)),
            "sure": len(sure), "wrong_when_sure": _share(len(sure) - sum(sure), len(sure)),
            "bins": {n / 10: (len(held), _share(sum(c for c, _ in held), len(held)),
                              _share(sum(r for _, r in held), len(held)))
                     for n, held in sorted(bins.items())}}  # fmt: skip


def _share(part: float, whole: float) -> float:
    return round(part / whole, 4) if whole else 0.0


def rate(samples: Iterable[Sample], model: Model, least: float = 0.5) -> list[tuple[float, bool]]:
    """Confidence and truth of the samples that would become claims."""
    rated = ((estimate(s.evidence, model), s.right) for s in samples)
    return [pair for pair in rated if pair[0] >= least]


def held_out(samples: Sequence[Sample]) -> list[tuple[float, bool]]:
    """Each family rated by weights fitted on all others."""
    rated: list[tuple[float, bool]] = []
    for family in sorted({s.family for s in samples}):
        model = fit([s for s in samples if s.family != family])
        rated += rate([s for s in samples if s.family == family], model)
    return rated


def show(title: str, rated: Sequence[tuple[float, bool]]) -> None:
    """Print the figures and the reliability table."""
    f = figures_of(rated)
    print(f"{title}: {f['claims']} claims, {100 * f['right']:.1f} % right, ECE {100 * f['ece']:.1f} %, "
          f"at 0.9 or more {f['sure']} with {100 * f['wrong_when_sure']:.2f} % wrong")  # fmt: skip
    for start, (count, told, right) in f["bins"].items():
        print(f"   {start:.1f}: {count:6}  told {told:.3f}  right {right:.3f}")


def show_families(samples: Sequence[Sample], model: Model) -> None:
    """One line for each family."""
    groups: Mapping[str, list[Sample]] = defaultdict(list)
    for s in samples:
        groups[s.family].append(s)
    for family, own in sorted(groups.items()):
        f = figures_of(rate(own, model))
        print(f"   {family:14} {f['claims']:6}  right {100 * f['right']:5.1f}  ECE {100 * f['ece']:5.1f}  "
              f"sure {f['sure']:5}  wrong {100 * f['wrong_when_sure']:5.2f}")  # fmt: skip


def main() -> int:
    """Parse the call, fit, judge and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sheets", type=int, default=6, help="sheets of each family and set of words")
    parser.add_argument("--scans", type=int, default=4, help="the same for families that are pictures")
    parser.add_argument("--seed", type=int, default=11_000)
    parser.add_argument("--fit", type=Path, default=WEIGHTS, metavar="FILE", help="where the weights go")
    parser.add_argument("--family", action="append", choices=FAMILIES)
    parser.add_argument("--judge-only", action="store_true")
    parser.add_argument("--folder", type=Path, help="judge on these documents")
    call = parser.parse_args()
    model, families = read_model(), call.family or FAMILIES
    if call.folder:
        lines = (call.folder / "truth.jsonl").read_text(encoding="utf-8").splitlines()
        judged = read_samples(call.folder, "unnamed", [json.loads(line) for line in lines])
    else:
        judged = drawn_samples(families, max(1, call.sheets // 2), call.scans // 2, call.seed + JUDGED_SEED)
    show("weights as they were, documents apart", rate(judged, model))
    if not call.judge_only:
        samples = drawn_samples(families, call.sheets, call.scans, call.seed)
        show("each family by weights fitted on the others", held_out(samples))
        model = fit(samples)
        write_model(model, call.fit, f"--sheets {call.sheets} --scans {call.scans} --seed {call.seed}")
        model = read_model(call.fit) if call.fit != WEIGHTS else read_model.__wrapped__(WEIGHTS)
        show("new weights, documents apart", rate(judged, model))
    show_families(judged, model)
    return 0


if __name__ == "__main__":
    sys.exit(main())
