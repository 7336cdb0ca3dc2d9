"""What a check asks for → the values that hold for this bike, with the other values that documents state for it.

Conditions are settled here: a limit counts only where its condition holds, the most specific one wins, and where the
build does not tell whether one holds, nothing is settled.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ...schema.builds import Slot
from ...schema.claims import State
from ...schema.limits import LIMITS, Form
from ...schema.resolved import LimitValue, Part, ResolvedLimit
from .applying import condition_holds
from .registry import fold, value_words
from .setup import Setup

_FEWEST_COGS_OF_A_LIST = 5
"""A shorter list in a document may name the end cogs only; common practice, no source. One cog is a single speed."""


@dataclass(frozen=True)
class Settled:
    """The values to go by, the first before its rivals. ``doubt`` says why a stated value cannot be used.

    ``grounds`` are the other values of the bike by which a condition was found to hold or not.
    """

    need: str
    part: Part | None = None
    options: tuple[ResolvedLimit, ...] = ()
    doubt: str | None = None
    grounds: tuple[ResolvedLimit, ...] = ()

    @property
    def missing(self) -> bool:
        """Whether nobody states it."""
        return not self.options and self.doubt is None


def settle(setup: Setup, own: Slot, need: str) -> Settled:
    """The value that ``need`` (``own.total_capacity``, ``rings.rings``, ``bike.chainstay_mm``) has for this bike."""
    if need in setup.trouble:
        return Settled(need, doubt=setup.trouble[need])
    role, _, key = need.partition(".")
    if role == "bike":
        return Settled(need, options=setup.bike_value(key))
    if need in _COUNTS:
        return _COUNTS[need](setup, own)
    part = part_of_role(setup, own, role)
    return settle_limit(setup, own, need, part, part.limits.get(key, ()) if part else ())


def part_of_role(setup: Setup, own: Slot, role: str) -> Part | None:
    """The part that a need's first word means."""
    if role == "own":
        return setup.part(own)
    if role == "sprockets":
        return setup.sprockets
    if role == "rings":
        return setup.ringed
    return setup.part(Slot(role))


def settle_limit(setup: Setup, own: Slot, need: str, part: Part | None, stated: Sequence[ResolvedLimit]) -> Settled:
    """The stated values of one limit → those that hold, most specific first, halves of one range joined."""
    grounds: list[ResolvedLimit] = []

    def says(key: str) -> tuple[ResolvedLimit, ...]:
        found = _build_says(setup, own, key)
        grounds.extend(found)
        return found

    judged = [(limit, condition_holds(limit.value.condition, says)) for limit in stated if is_whole(limit)]
    holding = [limit for limit, holds in judged if holds]
    best = max((_specific(limit) for limit in holding), default=-1)
    unknown = [limit for limit, holds in judged if holds is None and _specific(limit) >= best]
    if unknown:
        return Settled(need, part, doubt=_doubt(unknown[0], part))
    options = [limit for limit in holding if _specific(limit) == best]
    for limit in list(options):
        options += [
            rival
            for rival in limit.conflicts
            if is_whole(rival) and condition_holds(rival.value.condition, says) is not False
        ]
    return Settled(need, part, _distinct(_joined(options)), grounds=tuple(grounds))


def is_whole(limit: ResolvedLimit) -> bool:
    """Whether a value says what its form promises and somebody still stands by it."""
    value = limit.value
    states = {source.state for source in limit.sources}
    if states and states <= {State.REJECTED, State.HELD_BACK}:
        return False
    row = LIMITS.get(value.limit)
    form = row.form if row else Form.TEXT
    if form is Form.ORDERED:
        return bool(value.values) or (value.low is not None and value.high is not None)
    if form in (Form.RANGE, Form.EXACT_OR_RANGE):
        return value.low is not None or value.high is not None
    tests: dict[Form, bool] = {
        Form.HIGH: value.high is not None,
        Form.LOW: value.low is not None,
        Form.EXACT: value.low is not None and value.low == value.high,
        Form.VALUES: bool(value.values),
        Form.TEXT: bool((value.text or "").strip()),
    }
    return tests[form]


def place_words(limit: ResolvedLimit) -> str:
    """Where a value stands: document and page."""
    if not limit.sources:
        return "an unnamed source"
    source = limit.sources[0]
    return f"{source.document}, page {source.page}" if source.page else source.document


def _specific(limit: ResolvedLimit) -> int:
    return len(limit.value.condition or {})


def _doubt(limit: ResolvedLimit, part: Part | None) -> str:
    words = " and ".join(f"{key} {value}" for key, value in (limit.value.condition or {}).items())
    whose = part.label() if part else "the part"
    return (
        f"{whose} has {limit.value.limit} {value_words(limit.value)} only for {words} ({place_words(limit)}), "
        "and the build does not tell whether that holds"
    )


def _joined(options: Sequence[ResolvedLimit]) -> list[ResolvedLimit]:
    """Bounds of one range that sources state apart (one the low, one the high) as one value."""
    joined: list[ResolvedLimit] = []
    for limit in options:
        for n, other in enumerate(joined):
            if merged := _merge(other, limit):
                joined[n] = merged
                break
        else:
            joined.append(limit)
    return joined


def _merge(one: ResolvedLimit, other: ResolvedLimit) -> ResolvedLimit | None:
    row = LIMITS.get(one.value.limit)
    if row is None or row.form is not Form.RANGE or one.value == other.value:
        return None
    a, b = one.value, other.value
    if any(x is not None and y is not None and x != y for x, y in ((a.low, b.low), (a.high, b.high))):
        return None
    low, high = (a.low if a.low is not None else b.low), (a.high if a.high is not None else b.high)
    if low is not None and high is not None and low > high:
        return None
    value = replace(a, low=low, high=high)
    return ResolvedLimit(value, min(one.confidence, other.confidence), one.sources + other.sources)


def _distinct(options: Sequence[ResolvedLimit]) -> tuple[ResolvedLimit, ...]:
    seen: dict[object, ResolvedLimit] = {}
    for limit in options:
        value = limit.value
        listed = tuple(sorted(value.values)) if value.values else None
        seen.setdefault((value.low, value.high, listed, fold(value.text or "")), limit)
    return tuple(seen.values())


def _settle_cog_count(setup: Setup, own: Slot) -> Settled:
    """How many cogs there are: the length of a full list, or the speeds that the cassette itself names."""
    need, part = "sprockets.count", setup.sprockets
    if part is None:
        return Settled(need)
    cogs = settle_limit(setup, own, need, part, part.limits.get("cogs", ()))
    speeds = settle_limit(setup, own, need, part, part.limits.get("rear_speeds", ()))
    written = bool({Slot.CASSETTE, Slot.FREEWHEEL} & setup.written)
    counts = [
        _as_count(limit, "rear_speeds", len(limit.value.values))
        for limit in cogs.options
        if limit.value.values and (written or _is_full_list(limit.value.values))
    ]
    for limit in speeds.options:
        named = limit.value.values or ()
        if len(named) == 1 or counts:
            lengths = {count.value.values for count in counts}
            if not any((number,) in lengths for number in named):
                counts += [_as_count(limit, "rear_speeds", number) for number in named]
    doubt = None if counts else cogs.doubt or speeds.doubt
    return Settled(need, part, _distinct(counts), doubt)


def _is_full_list(cogs: Sequence[float]) -> bool:
    return len(cogs) == 1 or len(cogs) >= _FEWEST_COGS_OF_A_LIST


def _settle_ring_count(setup: Setup, own: Slot) -> Settled:
    """How many rings there are: the length of their list, or the count that a crankset without a list names."""
    need, part = "rings.count", setup.ringed
    if part is None:
        return Settled(need)
    if "rings.rings" in setup.trouble:
        return Settled(need, part, doubt=setup.trouble["rings.rings"])
    rings = settle_limit(setup, own, need, part, part.limits.get("rings", ()))
    counts = [_as_count(limit, "ring_count", len(limit.value.values or ())) for limit in rings.options]
    if not counts and rings.doubt is None:
        stated = settle_limit(setup, own, need, part, part.limits.get("ring_count", ()))
        counts = [limit for limit in stated.options if len(limit.value.values or ()) == 1]
        return Settled(need, part, tuple(counts), stated.doubt)
    return Settled(need, part, _distinct(counts), rings.doubt)


def _as_count(limit: ResolvedLimit, key: str, number: float) -> ResolvedLimit:
    return replace(limit, value=LimitValue(key, values=(float(number),), unit="count"), conflicts=())


_COUNTS: dict[str, Callable[[Setup, Slot], Settled]] = {
    "sprockets.count": _settle_cog_count,
    "rings.count": _settle_ring_count,
}


def _build_says(setup: Setup, own: Slot, key: str) -> tuple[ResolvedLimit, ...]:
    """What the bike has for a condition's key, from values without a condition of their own; empty where unknown."""
    bare = _without_conditions(setup)
    if key in _FROM_TEETH:
        need, measure = _FROM_TEETH[key]
        found = settle(bare, own, need)
        numbers = [(limit, measure(limit.value)) for limit in found.options]
        if any(number is None for _, number in numbers):
            return ()
        return tuple(_as_count(limit, key, number) for limit, number in numbers if number is not None)
    need = {"mount": "bike.front_mount" if own is Slot.FRONT_DERAILLEUR else "bike.rear_mount"}.get(key)
    need = need or _FROM_ELSEWHERE.get(key)
    return settle(bare, own, need).options if need else ()


def _without_conditions(setup: Setup) -> Setup:
    def bare(part: Part) -> Part:
        kept = {key: limits for key, limits in part.limits.items() if not any(x.value.condition for x in limits)}
        return replace(part, limits=kept)

    return replace(setup, parts={slot: bare(part) for slot, part in setup.parts.items()})


def _of(measure: Callable[[Sequence[float]], float]) -> Callable[[LimitValue], float | None]:
    def number(value: LimitValue) -> float | None:
        ends = value.values or tuple(end for end in (value.low, value.high) if end is not None)
        return measure(ends) if ends else None

    return number


def _middle_step(rings: Sequence[float]) -> float:
    ordered = sorted(rings, reverse=True)
    return ordered[0] - ordered[1] if len(ordered) > 2 else 0.0


_FROM_TEETH: dict[str, tuple[str, Callable[[LimitValue], float | None]]] = {
    "ring_count": ("rings.count", _of(lambda values: values[0])),
    "rear_speeds": ("sprockets.count", _of(lambda values: values[0])),
    "largest_cog": ("sprockets.cogs", _of(max)),
    "smallest_cog": ("sprockets.cogs", _of(min)),
    "big_ring": ("rings.rings", _of(max)),
    "small_ring": ("rings.rings", _of(min)),
    "front_difference": ("rings.rings", _of(lambda values: max(values) - min(values))),
    "ring_step": ("rings.rings", _of(_middle_step)),
}
_FROM_ELSEWHERE = {
    "actuation": "shifter.actuation",
    "shift_family": "shifter.shift_family",
    "freehub_fit": "bike.freehub",
    "clamp_diameter": "bike.seat_tube_mm",
    "chainline": "crankset.chainline",
    "bolt_circle": "crankset.bolt_circle",
    "bolt_count": "crankset.bolt_count",
    "crank_length": "crankset.crank_length",
    "pin_length": "chain.pin_length",
    "inner_width": "chain.inner_width",
    "link_count": "chain.link_count",
    "largest_cog_gain": "hanger_extender.largest_cog_gain",
    "capacity_change": "hanger_extender.capacity_change",
    "cage_pulley_spacing": "rear_derailleur.cage_pulley_spacing",
    "firmware_min": "bike.firmware",
}
