#!/usr/bin/env python3
"""Fit the figures of extract/stamps.toml on photos of stamped codes, and say how honest confidence is on others.

    calibrate_stamps.py FOLDER... [--cache DIR] [--fit FILE.toml] [--rounds N] [--most N]
                                                          look, fit on one half, judge on the other, write the figures
    calibrate_stamps.py FOLDER... --judge-only [--cache DIR]                  judge the figures as they are, on all

A folder holds photos, ``truth.jsonl`` and ``known_codes.txt``. What the readers see in each photo is kept in the cache
folder under the photo's contents and the readers' names, so that fitting is quick; remove the folder after a change of
models or of the locator. Each photo is decoded with the codes as listed, and with further lists that lack its own code:
so codes that no store knows are part of what is fitted on. Codes whose neighbour is listed in their stead are shown
apart. Photos of one part, and of one code, stay in one half. ``--curve-only`` keeps how evidence is weighed.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import math
import pickle
import sys
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from cogledger.extract.stamps import decode as decoder
from cogledger.extract.stamps.candidates import Candidate, find_candidates
from cogledger.extract.stamps.known import KnownCodes, index_codes
from cogledger.extract.stamps.reader import LEAST_SURE, SeenPhoto, look_at, usual_readers
from cogledger.extract.stamps.tuning import FILE, SureTuning, Tuning, as_tuning, read_tuning
from cogledger.schema.parts import code_key
from scipy.optimize import minimize

LISTS = ("listed", "unlisted", "without a list")
WEIGHTS = {"listed": 0.75, "unlisted": 0.15, "without a list": 0.1}
"""How often each list is met: a guess, no source."""
RARE = 0.15
"""What a photo counts whose code is not listed while a code one sign away is. Drawn sets have many such photos, to
judge by; stores that lack a code seldom have its neighbour. A guess, no source."""
STEPS: dict[str, tuple[float, float, float]] = {
    "sharpness": (0.3, 3.0, 1.25), "confident_counts": (0.0, 20.0, 1.5), "useless": (0.005, 0.6, 1.5),
    "series_share": (0.1, 0.9, 1.25),
    "sibling_share": (0.05, 0.8, 1.3), "nothing": (-6.0, 4.0, 0.7), "oval": (0.1, 0.9, 1.5),
    "twin": (0.005, 0.3, 1.7), "cousin": (1e-6, 0.02, 3.0), "way_up": (0.5, 12.0, 1.0),
    "junk_sign": (2.5, 5.5, 0.25), "inner_door": (0.5, 8.0, 0.8),
}  # fmt: skip
"""Least, most, and first step of each figure; shares and chances are multiplied by the step, the others moved by it.

The least chances of signs' looking alike are set by judgement: how many faces of type draw 0 and O alike is a matter of
which faces, and those that photos are drawn with are too few to tell."""
_SLOW = ("junk_sign", "inner_door")
"""Figures that change how codes are placed on lines, moved in the first round only."""
_MULTIPLIED = {"sharpness", "useless", "series_share", "sibling_share", "oval", "twin", "cousin"}
_LEAST_LOSS = 1e-4
_FLOOR = 1e-6
_SURE = 0.9
Truth = dict[str, Any]


@dataclass(eq=False)
class Case:
    """One photo with a list of known codes: what is right is ``key``, "" for nothing legible.

    ``placed`` keeps what only some figures change.
    """

    truth: Truth
    seen: SeenPhoto
    known: KnownCodes
    key: str
    listing: str
    weight: float
    rare: bool = False
    placed: dict[tuple[float, ...], Any] = field(default_factory=dict)

    @property
    def half(self) -> int:
        """The half that its code, or its group, belongs to, the same in every run."""
        name = self.truth.get("group") or self.key or self.truth["file"]
        return zlib.crc32(str(name).encode()) % 2


def read_cases(folder: Path, cache: Path, most: int | None) -> list[Case]:
    """The photos of a folder, each under every list."""
    rows = [json.loads(line) for line in (folder / "truth.jsonl").read_text(encoding="utf-8").splitlines() if line]
    listed = folder / "known_codes.txt"
    codes = listed.read_text(encoding="utf-8").split("\n") if listed.exists() else []
    whole, none = index_codes(codes), index_codes(())
    cases = []
    for number, row in enumerate(rows[:most]):
        print(f"\r{folder.name}: {number + 1} of {len(rows)}", end="", file=sys.stderr)
        seen, key = look(folder / row["file"], cache), code_key(row["code"])
        lists = {"listed": whole, "unlisted": _without(whole, key) if key else None, "without a list": none}
        for name, known in lists.items():
            if known is not None:
                rare = _has_neighbour(key, known)
                cases.append(Case(row, seen, known, key, name, WEIGHTS[name] * (RARE if rare else 1.0), rare))
    print(file=sys.stderr)
    return cases


def _has_neighbour(key: str, known: KnownCodes) -> bool:
    """Whether a code is not listed and one of its length, one sign away, is."""
    if not key or key in known:
        return False
    return any(len(k) == len(key) and sum(a != b for a, b in zip(k, key, strict=True)) == 1 for k in known.printed)


def _without(known: KnownCodes, key: str) -> KnownCodes | None:
    """The list with one code less, None where it does not hold it."""
    if key not in known:
        return None
    lacking = KnownCodes({k: v for k, v in known.printed.items() if k != key}, known.variants)
    lacking.__dict__["shapes"] = known.shapes
    return lacking


def look(path: Path, cache: Path) -> SeenPhoto:
    """What the readers see in a photo, from the cache where it is there."""
    readers = usual_readers()
    name = "+".join(reader.name for reader in readers)
    kept = cache / f"{hashlib.sha256(path.read_bytes()).hexdigest()[:24]}-{name}.pickle"
    if not kept.exists():
        cache.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(pickle.dumps(look_at(path, readers)))
    return pickle.loads(kept.read_bytes())


def _prepared(case: Case, tuning: Tuning) -> tuple[list[Candidate], list[np.ndarray]]:
    """Candidates, found once, and how they are placed on the lines, found anew only for other doors and junk."""
    if () not in case.placed:
        looks = [glance for line in case.seen.lines for glance in line.glances]
        case.placed[()] = find_candidates(looks, case.known, decoder.priors_of(case.known, tuning.decode))
    candidates = case.placed[()]
    name = (tuning.decode.inner_door, tuning.decode.junk_sign)
    if name not in case.placed:
        kept = {(): candidates} | dict(list(case.placed.items())[-2:])
        case.placed = kept | {name: decoder.place(case.seen.lines, [c.key for c in candidates], tuning.decode)}
    return candidates, case.placed[name]


def shares_of(case: Case, tuning: Tuning) -> tuple[dict[str, float], float, tuple[str, float, float]]:
    """Uncalibrated shares by key, that of nothing, and the winner with its share and how clear it is."""
    candidates, placed = _prepared(case, tuning)
    if not candidates:
        return {}, 1.0, ("", 0.0, 0.0)
    priors = decoder.priors_of(case.known, tuning.decode)
    chosen = [replace(c, prior=priors.of_known() if c.known else priors.of_unknown(c.key)) for c in candidates]
    keys = [candidate.key for candidate in candidates]
    weighed = decoder.weigh(case.seen.lines, keys, placed, tuning.decode)
    shares, clear = decoder.shares_of(chosen, [weighed], tuning.decode)
    by_key = {candidate.key: float(share) for candidate, share in zip(candidates, shares, strict=True)}
    best = max(by_key, key=lambda key: by_key[key])
    return by_key, 1.0 - sum(by_key.values()), (best, by_key[best], clear)


def loss_of(cases: Sequence[Case], tuning: Tuning) -> float:
    """The mean negative logarithm of the share that what is right was given, as scoring rules ask for."""
    total = 0.0
    for case in cases:
        by_key, nothing, _ = shares_of(case, tuning)
        right = by_key.get(case.key, 0.0) if case.key else nothing
        total -= case.weight * math.log(max(_FLOOR, right))
    return total / sum(case.weight for case in cases)


def fit_decode(cases: Sequence[Case], tuning: Tuning, rounds: int) -> Tuning:
    """One figure after the other moved up and down as long as it helps, with smaller steps each round."""
    best = loss_of(cases, tuning)
    print(f"loss {best:.4f}")
    for turn in range(rounds):
        for name in STEPS if turn == 0 else [name for name in STEPS if name not in _SLOW]:
            tuning, best = _moved(cases, tuning, best, name, 0.5**turn)
        print(f"round {turn + 1}: loss {best:.4f}", flush=True)
    return tuning


def _moved(cases: Sequence[Case], tuning: Tuning, best: float, name: str, part: float) -> tuple[Tuning, float]:
    least, most, step = STEPS[name]
    for up in (True, False):
        while True:
            value = getattr(tuning.decode, name)
            moved = (
                value * (step**part if up else step**-part)
                if name in _MULTIPLIED
                else value + step * part * (1 if up else -1)
            )
            moved = round(min(most, max(least, moved)), 6)
            tried = replace(tuning, decode=replace(tuning.decode, **{name: moved}))
            loss = loss_of(cases, tried) if moved != value else math.inf
            if loss > best - _LEAST_LOSS:
                break
            tuning, best = tried, loss
    return tuning, best


def fit_sure(cases: Sequence[Case], tuning: Tuning) -> Tuning:
    """The logistic curve that makes the winner's share honest; drawn a little to leaving it as it is."""
    rows = [(case, *shares_of(case, tuning)[2]) for case in cases]
    named = [(case, best, share, clear) for case, best, share, clear in rows if share > 0.02]
    weights = np.array([case.weight for case, *_ in named])
    right = np.array([best == case.key for case, best, *_ in named])

    def loss(w: np.ndarray) -> float:
        sure = SureTuning(float(w[0]), float(w[1]), float(w[2]), tuning.sure.surest)
        chances = np.array([decoder.honest(share, clear, sure) for _, _, share, clear in named])
        fit = -np.sum(weights * np.log(np.clip(np.where(right, chances, 1 - chances), 1e-6, 1)))
        return float(fit + 0.5 * ((w[0] - 1) ** 2 + 0.2 * w[1] ** 2 + 0.2 * w[2] ** 2))

    slope, shift, clear = minimize(loss, np.array([1.0, 0.0, 0.0]), method="Nelder-Mead").x
    return replace(
        tuning, sure=SureTuning(*(round(float(v), 3) for v in (slope, shift, clear)), surest=tuning.sure.surest)
    )


@dataclass(frozen=True)
class Answer:
    """What was named for a case, and how surely."""

    case: Case
    key: str
    chance: float

    @property
    def right(self) -> bool:
        """Whether it is what is stamped."""
        return self.key == self.case.key


def answer_of(case: Case, tuning: Tuning) -> Answer:
    """The answer as photos get it: nothing below the least probability."""
    best, share, clear = shares_of(case, tuning)[2]
    chance = decoder.honest(share, clear, tuning.sure) if best else 0.0
    return Answer(case, best, chance) if chance >= LEAST_SURE else Answer(case, "", 0.0)


def calibration_error(answers: Sequence[Answer], bins: int = 10) -> float:
    """The mean gap between confidence and share right over ten bins, weighted by their numbers."""
    given = [answer for answer in answers if answer.key]
    gap = 0.0
    for index in range(bins):
        inside = [a for a in given if min(bins - 1, int(a.chance * bins)) == index]
        gap += abs(sum(a.chance - a.right for a in inside))
    return gap / max(1, len(given))


def show(title: str, answers: Sequence[Answer]) -> None:
    """Print the figures over some answers."""
    coded = [a for a in answers if a.case.key]
    legible = [a for a in coded if a.case.truth["legibility"] in ("easy", "medium")]
    empty = [a for a in answers if not a.case.key]
    sure = [a for a in answers if a.key and a.chance >= _SURE]
    wrong = [a for a in sure if not a.right]
    print(
        f"{title:32} {len(answers):5} cases  exact {_percent(a.right for a in coded)}  legible "
        f"{_percent(a.right for a in legible)}  null {_percent(a.right for a in empty)}  sure {len(sure):4}, wrong "
        f"{len(wrong)} ({100 * len(wrong) / max(1, len(sure)):.2f} %)  ece {100 * calibration_error(answers):.1f} %"
    )


def _percent(oks: Iterable[bool]) -> str:
    values = list(oks)
    return f"{100 * sum(values) / len(values):5.1f} %" if values else "      -"


def show_all(answers: Sequence[Answer]) -> None:
    """Print the figures by list, process and legibility, and every answer that was surely wrong."""
    for listing in LISTS:
        for rare, title in ((False, listing), (True, f"{listing}, but a neighbour is")):
            chosen = [a for a in answers if a.case.listing == listing and a.case.rare == rare]
            if chosen:
                show(title, chosen)
    listed = [a for a in answers if a.case.listing == "listed" and not a.case.rare]
    groups: tuple[tuple[str, Callable[[Truth], str]], ...] = (
        ("process", lambda truth: str(truth.get("process"))),
        ("legibility", lambda truth: str(truth["legibility"])),
    )
    for name, of in groups:
        for value in sorted({of(a.case.truth) for a in listed}):
            show(f"  {name} {value}", [a for a in listed if of(a.case.truth) == value])
    for a in answers:
        if a.key and a.chance >= _SURE and not a.right:
            print(f"  surely wrong: {a.case.truth['file']} ({a.case.listing}) {a.case.key} as {a.key} {a.chance:.3f}")


def write_figures(tuning: Tuning, path: Path, note: str) -> None:
    """Write the figures as TOML."""
    tables: Mapping[str, dict[str, float]] = {"decode": asdict(tuning.decode), "sure": asdict(tuning.sure)}
    parts = [f"# How stamped codes are decoded; extract/stamps/tuning.py says what each figure is.\n# {note}\n"]
    for name, table in tables.items():
        parts.append(f"[{name}]\n" + "".join(f"{key} = {float(value)!r}\n" for key, value in table.items()))
    text = "\n".join(parts)
    as_tuning({name: dict(table) for name, table in tables.items()})
    path.write_text(text, encoding="utf-8")


def main() -> int:
    """Look at the photos, fit, judge, write."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--cache", type=Path, default=Path("stamp-grids"))
    parser.add_argument("--judge-only", action="store_true")
    parser.add_argument("--fit", type=Path, default=FILE, help="where the fitted figures are written")
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--curve-only", action="store_true", help="keep how evidence is weighed, fit the curve")
    parser.add_argument("--most", type=int, help="so many photos of each folder at most")
    args = parser.parse_args()
    cases = [case for folder in args.folders for case in read_cases(folder, args.cache, args.most)]
    tuning = read_tuning()
    if args.judge_only:
        show_all([answer_of(case, tuning) for case in cases])
        return 0
    rounds = 0 if args.curve_only else args.rounds
    judged: list[Answer] = []
    for half in (0, 1):
        own, other = ([case for case in cases if (case.half == half) == same] for same in (True, False))
        figures = fit_sure(own, fit_decode(own, tuning, rounds))
        print(f"fitted on half {half}: {figures}")
        judged += [answer_of(case, figures) for case in other]
    print("each half judged by the figures fitted on the other:")
    show_all(judged)
    final = fit_sure(cases, fit_decode(cases, tuning, rounds))
    names = ", ".join(folder.name for folder in args.folders)
    write_figures(final, args.fit, f"Made by benchmarks/calibrate_stamps.py on {len(cases)} cases ({names}).")
    return 0


if __name__ == "__main__":
    sys.exit(main())
