"""Thousands of random bikes against a second implementation that is as plain as can be, and what holds for any bike.

The second implementation knows nothing of registers, forms or settling: it reads a flat description and applies the
definitions of docs/vocabulary.md and the rules of docs/interface.md one after another.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass
from math import asin, ceil, cos, pi, sin
from typing import Any

from cogledger.schema.builds import build_from_mapping
from cogledger.schema.limits import LIMITS, Form, PartKind
from cogledger.schema.resolved import LimitValue, Part, ResolvedLimit, SourceRef
from cogledger.warehouse.fit import fit_build
from hypothesis import given
from hypothesis import strategies as st

BIKES = 2500
ALWAYS = ("largest_cog", "total_capacity", "big_ring", "front_difference")


@dataclass(frozen=True)
class Shelf:
    parts: tuple[Part, ...]

    def find_parts(self, written, kind=None):
        return tuple(part for part in self.parts if part.code == written and kind in (None, part.kind))

    def near_codes(self, written, limit=3):
        return ()


def as_value(key: str, raw: Any, condition: dict | None = None) -> LimitValue:
    if isinstance(raw, tuple):
        return LimitValue(key, low=raw[0], high=raw[1], condition=condition)
    if isinstance(raw, list):
        return LimitValue(key, values=tuple(map(float, raw)), condition=condition)
    if isinstance(raw, str):
        return LimitValue(key, text=raw, condition=condition)
    if LIMITS[key].form is Form.EXACT:
        return LimitValue(key, low=raw, high=raw, condition=condition)
    return LimitValue(key, high=raw, condition=condition)


def as_part(kind: PartKind, variant: str | None, limits: list[tuple]) -> Part:
    """Limits as (key, raw, condition, rival raw, confidence)."""
    grouped: dict[str, tuple[ResolvedLimit, ...]] = {}
    for key, raw, condition, rival, confidence in limits:
        source = (SourceRef("id", "hexel.pdf", 1, ""),)
        rivals = (ResolvedLimit(as_value(key, rival, condition), 0.9, source),) if rival is not None else ()
        resolved = ResolvedLimit(as_value(key, raw, condition), confidence, source, rivals)
        grouped[key] = (*grouped.get(key, ()), resolved)
    return Part(kind, str(kind), variant, None, grouped)


def random_limits(rng: random.Random, keys: dict[str, Any]) -> list[tuple]:
    limits = []
    for key, draw in keys.items():
        if rng.random() < 0.08:
            continue
        rival = draw() if rng.random() < 0.05 else None
        confidence = 0.6 if rng.random() < 0.04 else 0.95
        condition = {"ring_count": rng.choice([1, 2, 3])} if rng.random() < 0.08 else None
        limits.append((key, draw(), condition, rival, confidence))
        if rng.random() < 0.1:
            extra = {"ring_count": rng.choice([1, 2])} if rng.random() < 0.5 else {"rear_speeds": rng.choice([10, 11])}
            if condition is None:
                limits.append((key, draw(), extra, None, 0.95))
    return limits


def random_bike(rng: random.Random) -> dict[str, Any]:
    span = lambda low, high, wide: (lambda a: (a, a + rng.randint(0, wide)))(rng.randint(low, high))  # noqa: E731
    rear = {
        "largest_cog": lambda: (rng.randint(22, 28), rng.randint(30, 42)),
        "total_capacity": lambda: rng.randint(33, 52),
        "smallest_cog": lambda: span(9, 11, 5), "rear_speeds": lambda: rng.choice([[10, 11, 12], [10, 11], [11], [10]]),
    }  # fmt: skip
    front = {
        "big_ring": lambda: (rng.randint(40, 47), rng.randint(50, 56)), "front_difference": lambda: rng.randint(14, 24),
        "small_ring": lambda: (rng.randint(24, 34), 56),
        "ring_count": lambda: rng.choice([[2], [2, 3], [1, 2, 3], [1, 2]]),
    }  # fmt: skip
    bike: dict[str, Any] = {
        "rear": [random_limits(rng, rear) for _ in range(rng.choice([1, 1, 2, 3]))] if rng.random() < 0.9 else [],
        "front": [random_limits(rng, front)] if rng.random() < 0.7 else [],
        "rings": None, "cogs": None, "ends": None, "links": None, "stay": None, "gain": None,
    }  # fmt: skip
    if rng.random() < 0.93:
        big = rng.randint(44, 54)
        bike["rings"] = [big, big - rng.randint(8, 18)][: rng.choice([1, 2, 2, 2])]
        if len(bike["rings"]) == 2 and rng.random() < 0.15:
            bike["rings"].append(bike["rings"][1] - rng.randint(2, 8))
    small, large = rng.randint(10, 13), rng.randint(26, 38)
    if rng.random() < 0.15:
        bike["ends"] = (small, large)
    elif rng.random() < 0.93:
        middle = rng.sample(range(small + 1, large), rng.choice([8, 9, 10]))
        bike["cogs"] = [large, small, *middle]
    if rng.random() < 0.7:
        bike["links"], bike["stay"] = rng.choice([106, 108, 110, 112, 114, 116]), rng.choice([None, 405, 412, 425.5])
    if rng.random() < 0.15:
        bike["gain"] = rng.choice([None, 4, 8])
        bike["extended"] = True
    return bike


def answer_for(bike: dict[str, Any]):
    now: dict[str, Any] = {}
    parts: list[Part] = []
    for n, limits in enumerate(bike["rear"]):
        parts.append(as_part(PartKind.REAR_DERAILLEUR, f"V{n}", limits))
        now["rear_derailleur"] = "rear_derailleur"
    for limits in bike["front"]:
        parts.append(as_part(PartKind.FRONT_DERAILLEUR, None, limits))
        now["front_derailleur"] = "front_derailleur"
    if bike["rings"]:
        now["rings"] = bike["rings"]
    if bike["cogs"] or bike["ends"]:
        now["cassette"] = bike["cogs"] or "{}-{}".format(*bike["ends"])
    if bike["links"]:
        now["chain"] = {"link_count": bike["links"]}
    if bike.get("extended"):
        now["hanger_extender"] = {"largest_cog_gain": bike["gain"]} if bike["gain"] is not None else {"weight": 30}
    build = build_from_mapping({"bike": {"chainstay_mm": bike["stay"]}, "now": now or {"shifter": {"weight": 90}}})
    return fit_build(build, Shelf(tuple(parts)))


# ---- the second implementation ------------------------------------------------------------------------------------


def plain_pick(limits: list[tuple], key: str, rings: int | None, speeds: int | None):
    """The raw values that hold, their rivals and whether the first is sure; None unstated; "unknown" untellable."""
    about = [limit for limit in limits if limit[0] == key]
    truth = []
    for limit in about:
        held: bool | None = True
        for name, wanted in (limit[2] or {}).items():
            have = {"ring_count": rings, "rear_speeds": speeds}[name]
            held = None if have is None else (held and have == wanted)
        truth.append((limit, held, len(limit[2] or {})))
    top = max((size for _, held, size in truth if held), default=-1)
    if any(held is None and size >= top for _, held, size in truth):
        return "unknown"
    chosen = [limit for limit, held, size in truth if held and size == top]
    if not chosen:
        return None
    values = [limit[1] for limit in chosen] + [limit[3] for limit in chosen if limit[3] is not None]
    return values, chosen[0][4] >= 0.75


def plain_verdict(test, picked) -> str:
    values, sure = picked
    said = {test(value) for value in values}
    if len(said) > 1 or not sure:
        return "cannot_tell"
    return "fits" if said.pop() else "does_not_fit"


def plain_checks(bike: dict[str, Any], rear: list[tuple] | None) -> Counter:
    rings, cogs = bike["rings"], bike["cogs"] or (list(bike["ends"]) if bike["ends"] else None)
    ring_count = len(rings) if rings else None
    speeds = len(bike["cogs"]) if bike["cogs"] else None
    found: Counter = Counter()

    def within(number, low_high, gain=0):
        return low_high[0] <= number <= low_high[1] + gain

    def note(name, limits, need, test, always):
        picked = plain_pick(limits, name, ring_count, speeds)
        if need is None or picked is None:
            if always:
                found[name, "cannot_tell"] += 1
        elif picked == "unknown":
            found[name, "cannot_tell"] += 1
        else:
            found[name, plain_verdict(test, picked)] += 1

    if rear is not None:
        gain = bike["gain"] or 0
        known = cogs if not (bike.get("extended") and bike["gain"] is None) else None
        note("largest_cog", rear, known, lambda v: within(max(cogs), v, gain), True)
        both = (max(rings) - min(rings)) + (max(cogs) - min(cogs)) if rings and cogs else None
        note("total_capacity", rear, both, lambda v: both <= v, True)
        note("smallest_cog", rear, cogs, lambda v: within(min(cogs), v), False)
        note("rear_speeds", rear, speeds, lambda v: speeds in v, False)
    for front in bike["front"]:
        note("big_ring", front, rings, lambda v: within(max(rings), v), True)
        note("front_difference", front, rings, lambda v: max(rings) - min(rings) <= v, True)
        note("small_ring", front, rings, lambda v: within(min(rings), v), False)
        note("ring_count", front, rings, lambda v: len(rings) in v, False)
    if bike["links"] and bike["stay"] and rings and cogs:
        n, k = max(max(rings), max(cogs)), min(max(rings), max(cogs))
        lean = asin((12.7 / sin(pi / n) - 12.7 / sin(pi / k)) / (2 * bike["stay"]))
        links = 2 * bike["stay"] * cos(lean) / 12.7 + n * (0.5 + lean / pi) + k * (0.5 - lean / pi)
        enough = bike["links"] >= 2 * ceil((links + 2) / 2)
        found["chain_length", "fits" if enough else "does_not_fit"] += 1
    return found


def plain_answer(bike: dict[str, Any]) -> str:
    verdicts = []
    for rear in bike["rear"] or [None]:
        said = {verdict for _, verdict in plain_checks(bike, rear)}
        verdicts.append(
            "does_not_fit" if "does_not_fit" in said else "cannot_tell" if "cannot_tell" in said or not said else "fits"
        )
    return verdicts[0] if len(set(verdicts)) == 1 else "cannot_tell"


def test_random_bikes_get_the_same_answer_twice():
    rng = random.Random(622)
    said: Counter = Counter()
    for _ in range(BIKES):
        bike = random_bike(rng)
        answer, plain = answer_for(bike), plain_answer(bike)
        assert not (answer.verdict == "fits" and plain != "fits"), bike
        assert str(answer.verdict) == plain, bike
        said[plain] += 1
        if len(bike["rear"]) < 2:
            found = Counter((result.check, str(result.verdict)) for result in answer.checks)
            assert found == plain_checks(bike, bike["rear"][0] if bike["rear"] else None), bike
    assert min(said[verdict] for verdict in ("fits", "does_not_fit", "cannot_tell")) > BIKES // 50


# ---- what holds for any bike --------------------------------------------------------------------------------------

SEEDS = st.integers(0, 10**9)
GOOD = {"fits": 2, "cannot_tell": 1, "does_not_fit": 0}


@given(SEEDS, st.integers(1, 9))
def test_more_room_never_turns_fits_into_a_misfit(seed, more):
    bike = random_bike(random.Random(seed))
    before = answer_for(bike)

    def wider(limit):
        key, raw, condition, rival, confidence = limit
        widen = lambda v: (  # noqa: E731
            v if v is None or isinstance(v, list) else (v[0] - more, v[1] + more) if isinstance(v, tuple) else v + more
        )
        return key, widen(raw), condition, widen(rival), confidence

    roomy = {**bike, "rear": [[wider(limit) for limit in limits] for limits in bike["rear"]],
             "front": [[wider(limit) for limit in limits] for limits in bike["front"]]}  # fmt: skip
    if bike["links"]:
        roomy["links"] = bike["links"] + 2 * more
    after = answer_for(roomy)
    if before.verdict == "fits":
        assert after.verdict == "fits"


@given(SEEDS, st.sampled_from(ALWAYS))
def test_without_a_limit_that_always_counts_nothing_fits(seed, key):
    bike = random_bike(random.Random(seed))
    side = "rear" if key in ("largest_cog", "total_capacity") else "front"
    bike[side] = [[limit for limit in limits if limit[0] != key] for limits in bike[side]]
    if bike[side]:
        assert answer_for(bike).verdict != "fits"


@given(SEEDS)
def test_taking_certainty_away_never_makes_it_fit(seed):
    bike = random_bike(random.Random(seed))
    before = answer_for(bike)
    weak = {**bike, "rear": [[(*limit[:4], 0.5) for limit in limits] for limits in bike["rear"]]}
    after = answer_for(weak)
    if bike["rear"]:
        assert after.verdict != "fits"
    elif before.verdict != after.verdict:
        raise AssertionError("nothing was changed, and the answer was")
