"""Build → parts → every combination of variants that it leaves open → checks → one answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, product
from math import prod
from typing import Any

from ..schema.answers import CheckResult, FitAnswer, NotChecked, VariantAnswer, Verdict, agreed, worst
from ..schema.builds import Build, CodeRef, PhotoRef, Placed, Slot, WrittenPart
from ..schema.errors import CallError
from ..schema.limits import PartKind
from ..schema.parts import code_key, maker_key
from ..schema.reasons import Reason
from ..schema.resolved import Part, PartsSource
from .checks import CheckSettings, judge_setup
from .checks.cautions import find_cautions
from .checks.registry import value_words
from .checks.settle import settle
from .checks.setup import Setup, hub_of, named_by, part_as_seen, part_as_written
from .gears import gearing


@dataclass(frozen=True)
class FitSettings:
    """How sure a reading must be, and how many combinations of open variants are judged at most."""

    checks: CheckSettings = field(default_factory=CheckSettings)
    most_combinations: int = 256


@dataclass(frozen=True)
class _Judged:
    """One combination with what was found of it."""

    setup: Setup
    verdict: Verdict
    results: tuple[CheckResult, ...]
    not_checked: tuple[NotChecked, ...]


@dataclass(frozen=True)
class _State:
    """A bike before or after the wish: the parts each slot can mean, and the setups they make."""

    candidates: Mapping[Slot, tuple[Part, ...]]
    setups: tuple[Setup, ...]
    cut: int = 0
    unknown: tuple[str, ...] = ()
    coded: frozenset[Slot] = field(default_factory=frozenset)

    @property
    def open(self) -> tuple[Slot, ...]:
        """The slots that several variants could fill."""
        return tuple(slot for slot, parts in self.candidates.items() if len(parts) > 1)


def fit_build(build: Build, parts: PartsSource, settings: FitSettings = FitSettings()) -> FitAnswer:
    """Whether the bike after the wish fits together, by every check that can be made of it.

    Raises ``CallError`` where the build names a part that ``parts`` does not know, with the nearest codes, and where
    a photo has not been read yet (see ``schema.builds.with_photos``).
    """
    wished = _find_state(build, build.wished_parts(), parts, settings, strict=True)
    judged = [_judge(setup, settings) for setup in wished.setups]
    now = _find_state(build, build.now_parts(), parts, settings, strict=False) if build.wish else wished
    now_verdict = _verdict_now(now, settings) if build.wish else None
    verdict = _overall(wished, judged)
    results = tuple(dict.fromkeys(result for one in judged for result in one.results))
    not_checked = tuple(dict.fromkeys(item for one in judged for item in one.not_checked))
    notes = (*_notes(build, wished), *now.unknown)
    return FitAnswer(
        build.name,
        verdict,
        tuple(VariantAnswer(_named(wished, one.setup), one.verdict) for one in judged),
        results,
        not_checked,
        {"now": _gears(now), "wish": _gears(wished)},
        _cautions(judged, build),
        build.file,
        now_verdict if build.wish else verdict,
        tuple(dict.fromkeys(notes)),
        _questions(wished, verdict, judged, results),
    )


def _judge(setup: Setup, settings: FitSettings) -> _Judged:
    results, not_checked = judge_setup(setup, settings.checks)
    verdict = worst([result.verdict for result in results])
    return _Judged(setup, verdict, tuple(results), tuple(not_checked))


def _overall(state: _State, judged: Sequence[_Judged]) -> Verdict:
    """What every combination says; where they differ, or some were not judged, nobody can tell."""
    return Verdict.CANNOT_TELL if state.cut else agreed([one.verdict for one in judged])


def _verdict_now(state: _State, settings: FitSettings) -> Verdict | None:
    if state.unknown or not state.candidates:
        return None
    return _overall(state, [_judge(setup, settings) for setup in state.setups])


def _find_state(
    build: Build, placed: Mapping[Slot, Placed], parts: PartsSource, settings: FitSettings, *, strict: bool
) -> _State:
    """The setups that a bike can mean. Where not ``strict``, an unknown code is left out and noted."""
    candidates: dict[Slot, tuple[Part, ...]] = {}
    unknown: list[str] = []
    errors: list[CallError] = []
    for slot, one in placed.items():
        try:
            found = _find_candidates(build, one, parts)
        except CallError as error:
            errors.append(error)
            unknown.append(f"{one.where}: {error.fault.message}; left out of the bike as it is now")
            continue
        target = slot
        if slot is Slot.RINGS and found[0].kind is PartKind.CRANKSET and Slot.CRANKSET not in placed:
            target = Slot.CRANKSET
        candidates[target] = found
    if errors and strict:
        raise _all_unknown(errors)
    count = prod(len(found) for found in candidates.values())
    written = frozenset(slot for slot, one in placed.items() if isinstance(one.entry, WrittenPart))
    hub = hub_of(build.bike, build.now)
    combinations = islice(product(*candidates.values()), settings.most_combinations)
    setups = tuple(
        _watch_single_ring(
            Setup(dict(zip(candidates, chosen, strict=True)), build.bike, build.file or build.name, hub, written)
        )
        for chosen in combinations
    )
    cut = max(0, count - settings.most_combinations)
    return _State(candidates, setups, cut, tuple(unknown), frozenset(candidates) - written)


def _find_candidates(build: Build, placed: Placed, parts: PartsSource) -> tuple[Part, ...]:
    entry, slot = placed.entry, placed.slot
    if isinstance(entry, WrittenPart):
        part = part_as_written(slot, entry.written, entry.limits, build.file or build.name)
        return (part_as_seen(part, slot, entry.seen) if entry.seen else part,)
    if isinstance(entry, PhotoRef):
        raise CallError(
            Reason.BAD_CALL,
            f'"{entry.written}" has not been read',
            file=build.file,
            where=placed.where,
            advice="read the photo with: cogledger stamp, and write the code it shows",
        )
    return _find_code(build, placed, entry, parts)


def _find_code(build: Build, placed: Placed, entry: CodeRef, parts: PartsSource) -> tuple[Part, ...]:
    kinds = (PartKind.CHAINRING, PartKind.CRANKSET) if placed.slot is Slot.RINGS else (placed.slot.kind,)
    for kind in kinds:
        if found := _told_apart(parts.find_parts(entry.written, kind)):
            return tuple(named_by(part, entry.seen) for part in found) if entry.seen else found
    elsewhere = parts.find_parts(entry.written)
    if elsewhere:
        message = f"{entry.written} is a {elsewhere[0].kind.replace('_', ' ')}, not a {placed.slot.words}"
        advice = "name it under its own kind, or name another part here"
    else:
        near = parts.near_codes(entry.written)
        by_photo = f", read from {entry.seen.document}," if entry.seen else ""
        message = f'no {placed.slot.words} with the code "{entry.written}"{by_photo} is known'
        advice = f"did you mean {' or '.join(near)}? Otherwise " if near else ""
        advice += "check the spelling, read a document that covers the part, or write the part out in the build"
    raise CallError(Reason.UNKNOWN_CODE, message, file=build.file, where=placed.where, advice=advice)


def _told_apart(found: Sequence[Part]) -> tuple[Part, ...]:
    """Parts of several makers with the maker before the code, as a build can name them."""
    if len({maker_key(part.maker) for part in found}) < 2:
        return tuple(found)
    return tuple(replace(part, code=f"{part.maker} {part.code}") if part.maker else part for part in found)


def _all_unknown(errors: Sequence[CallError]) -> CallError:
    first = errors[0].fault
    more = [f"{error.fault.where}: {error.fault.message}" for error in errors[1:]]
    message = "; ".join([first.message, *more])
    return CallError(first.reason, message, file=first.file, where=first.where, advice=first.advice)


def _watch_single_ring(setup: Setup) -> Setup:
    """A chainring by its code may be one of a set: then the set's other rings are not known.

    Taking it for the only ring would make too small a difference of it, and a false "fits".
    """
    ring, crank = setup.part(Slot.RINGS), setup.part(Slot.CRANKSET)
    if ring is None or Slot.RINGS in setup.written or ring.kind is not PartKind.CHAINRING:
        return setup
    listed = [limit.value.values or () for limit in ring.limits.get("rings", ())]
    if not any(len(rings) == 1 for rings in listed) or _is_single(crank):
        return setup
    trouble = (
        f"{ring.label()} is one ring, and the build does not tell whether the bike has others; write out all rings"
    )
    return replace(setup, trouble={"rings.rings": trouble})


def _is_single(crank: Part | None) -> bool:
    counts = [limit.value.values for limit in crank.limits.get("ring_count", ())] if crank else []
    return bool(counts) and all(values == (1,) for values in counts)


def _named(state: _State, setup: Setup) -> dict[str, str]:
    """The parts that tell a combination from the others; where nothing is open, every part named by a code."""
    slots = state.open or tuple(slot for slot in state.candidates if slot in state.coded)
    return {str(slot): setup.parts[slot].label() for slot in slots}


def _gears(state: _State) -> dict[str, Any] | None:
    """The gears, where every variant that the build can mean has the same; ``None`` where they are not known."""
    found = {_teeth(setup) for setup in state.setups}
    if len(found) != 1 or (teeth := found.pop()) is None:
        return None
    rings, cogs, complete = teeth
    capacities = {_capacity(setup) for setup in state.setups}
    capacity = capacities.pop() if len(capacities) == 1 else None
    tyre = state.setups[0].bike.wheel
    return gearing(rings, cogs, tyre=tyre, complete=complete, capacity=capacity).as_json()


def _teeth(setup: Setup) -> tuple[tuple[float, ...], tuple[float, ...], bool] | None:
    rings = settle(setup, Slot.REAR_DERAILLEUR, "rings.rings").options
    cogs = settle(setup, Slot.REAR_DERAILLEUR, "sprockets.cogs").options
    if len(rings) != 1 or len(cogs) != 1 or not rings[0].value.values:
        return None
    value = cogs[0].value
    if value.values:
        return rings[0].value.values, value.values, True
    return rings[0].value.values, (float(value.low or 0), float(value.high or 0)), False


def _capacity(setup: Setup) -> float | None:
    own = settle(setup, Slot.REAR_DERAILLEUR, "own.total_capacity").options
    if len(own) != 1 or own[0].value.high is None:
        return None
    change = settle(setup, Slot.REAR_DERAILLEUR, "hanger_extender.capacity_change").options
    return own[0].value.high + (change[0].value.high or 0 if len(change) == 1 else 0)


def _cautions(judged: Sequence[_Judged], build: Build) -> tuple[str, ...]:
    """The cautions of every combination, each once; the general ones last."""
    lists = [find_cautions(one.setup, one.results, build.wish) for one in judged]
    last = lists[-1] if lists else []
    special = [words for found in lists for words in found if words not in last]
    return tuple(dict.fromkeys([*special, *last]))


def _only_versions(build: Build, state: _State) -> list[str]:
    """A note for each part of which one version alone is known and the build does not name any."""
    notes = []
    for slot, placed in build.wished_parts().items():
        found = state.candidates.get(slot, ())
        if not isinstance(placed.entry, CodeRef) or len(found) != 1 or not found[0].variant:
            continue
        if code_key(placed.entry.written) == code_key(found[0].code):
            notes.append(
                f"{placed.where}: {found[0].label()} is the only version of {found[0].code} that is known, and is "
                "taken for yours; make sure that yours is no other"
            )
    return notes


def _seen_on_photos(build: Build) -> list[str]:
    """A note for each part that the build names by a photo."""
    notes = []
    for placed in build.wished_parts().values():
        if isinstance(placed.entry, PhotoRef) or not (seen := placed.entry.seen):
            continue
        sure = f"{min(0.99, seen.confidence or 0.0):.0%}"
        teeth = "; count the teeth, since a stamped date can look like them"
        notes.append(
            f"{placed.where}: {seen.document} is taken to say {seen.snippet.removeprefix('stamped: ')} ({sure} sure); "
            "compare it with the part before you buy anything"
            + (teeth if isinstance(placed.entry, WrittenPart) else "")
        )
    return notes


def _notes(build: Build, state: _State) -> list[str]:
    notes = []
    if state.cut:
        judged = len(state.setups)
        notes.append(f"{judged} of {judged + state.cut} combinations of variants were judged; name the variants")
    notes.extend(_only_versions(build, state))
    notes.extend(_seen_on_photos(build))
    extender = state.candidates.get(Slot.HANGER_EXTENDER, ())
    if any("capacity_change" not in part.limits for part in extender):
        notes.append("the hanger extender states no capacity_change; it is taken to leave the capacity as it is")
    if build.bike.wheel:
        notes.append("the tyre's diameter is taken as bead seat + 2 x width (ISO 5775); a measured roll-out beats it")
    return notes


def _questions(
    state: _State, verdict: Verdict, judged: Sequence[_Judged], results: Sequence[CheckResult]
) -> tuple[str, ...]:
    """What the verdict hangs on: nothing unless it cannot be told."""
    if verdict is not Verdict.CANNOT_TELL:
        return ()
    asks: list[str] = []
    if len({one.verdict for one in judged}) > 1:
        asks += [_which_variant(slot, state.candidates[slot]) for slot in state.open]
    asks += [result.ask for result in results if result.ask]
    return tuple(dict.fromkeys(asks))


def _which_variant(slot: Slot, parts: Sequence[Part]) -> str:
    """Which variant is on the bike, and what to measure where the documents tell the variants apart by it."""
    asks = f"which {slot.words} is it: {', '.join(part.label() for part in parts)}?"
    spacings = [(limits[0].value, part) for part in parts if (limits := part.limits.get("cage_pulley_spacing"))]
    if slot is not Slot.REAR_DERAILLEUR:
        return f"{asks} Look for the variant stamped on it and name it in the build"
    told = ", ".join(f"{part.label()} {value_words(value)}" for value, part in spacings)
    return f"{asks} Measure between the axes of its two pulleys" + (f" ({told})" if told else "")
