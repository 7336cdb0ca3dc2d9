"""A bike → every check made of it. Missing values, conditions, conflicts and doubtful readings are handled here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice, product
from math import inf, prod

from ...schema.answers import CheckResult, NotChecked, Verdict
from ...schema.builds import Slot
from ...schema.limits import LIMITS, Form
from ...schema.resolved import LimitValue, Part, ResolvedLimit, SourceRef
from .asks import ask_for
from .registry import CHECK_NAMES, CHECKS, Check, Counts, Facts, Outcome, value_words
from .settle import Settled, place_words, settle
from .setup import Setup


@dataclass(frozen=True)
class CheckSettings:
    """When a reading is sure enough to decide on, and how many contradictions are played through.

    Below ``act_at`` neither "fits" nor "does not fit" is said; three readings in four right is the least that may
    stand behind a purchase, a choice of the project.
    """

    act_at: float = 0.75
    most_alternatives: int = 256


def judge_setup(setup: Setup, settings: CheckSettings = CheckSettings()) -> tuple[list[CheckResult], list[NotChecked]]:
    """Every check that applies to the bike, and those that one side is missing for."""
    results: list[CheckResult] = []
    not_checked: list[NotChecked] = []
    for check in sorted(CHECKS, key=lambda check: CHECK_NAMES.index(check.name)):
        for slot in check.about:
            if setup.part(slot) is None:
                continue
            found = judge_check(setup, check, slot, settings)
            if isinstance(found, CheckResult):
                results.append(found)
            elif found is not None:
                not_checked.append(found)
    return results, not_checked


def judge_check(setup: Setup, check: Check, own: Slot, settings: CheckSettings) -> CheckResult | NotChecked | None:
    """One check of the part in ``own``; ``None`` where it does not apply or neither side is known."""
    needs = [*check.needs, *(need for need in check.needed_with_part if _has_part(setup, need))]
    maybe = [need for need in check.maybe if need not in needs]
    settled = {need: settle(setup, own, need) for need in (*needs, *maybe)}
    missing = [settled[need] for need in needs if settled[need].missing]
    doubts = [one.doubt for one in settled.values() if one.doubt]
    parts = _labels(setup, own, settled)
    if missing and check.counts is Counts.WHEN_STATED:
        silent = len(missing) == len(needs) or any(one.need in check.quiet for one in missing)
        if silent or _does_not_apply(check, settled):
            return None
        return NotChecked(check.name, _asks(setup, own, missing), parts)
    if missing or doubts:
        if not missing and _does_not_apply(check, settled):
            return None
        ask = "; ".join(filter(None, (_asks(setup, own, missing), *doubts)))
        bare = CheckResult(check.name, parts, Verdict.CANNOT_TELL, sources=_sources(settled, needs + maybe), ask=ask)
        return _with_need(bare, check, settled)
    return _play(check, settled, needs + maybe, parts, settings)


def _with_need(bare: CheckResult, check: Check, settled: Mapping[str, Settled]) -> CheckResult:
    """The result with what the bike needs, where only the part's own limit is not known: what to look for in a part."""
    known = {need: one.options[0].value if one.options else None for need, one in settled.items()}
    for need, value in known.items():
        role, _, key = need.partition(".")
        if role == "own" and value is None and LIMITS[key].form in (Form.HIGH, Form.RANGE):
            known[need] = LimitValue(key, high=inf)
    try:
        outcome = check.function(Facts(known))
    except KeyError:
        return bare
    if outcome is None or any(len(one.options) > 1 for one in settled.values()):
        return bare
    working = outcome.working.rpartition(" <= ")[0]
    return replace(bare, needed=outcome.needed, unit=outcome.unit, working=working)


def _does_not_apply(check: Check, settled: Mapping[str, Settled]) -> bool:
    """Whether the check says of itself, from what is known, that this bike does not call for it."""
    known = {need: one.options[0].value if one.options else None for need, one in settled.items()}
    try:
        return check.function(Facts(known)) is None
    except KeyError:
        return False


def _play(
    check: Check, settled: Mapping[str, Settled], used: Sequence[str], parts: tuple[str, ...], settings: CheckSettings
) -> CheckResult | None:
    """The check with the values to go by, and again with every value that a document states against them."""
    choices = [settled[need].options or (None,) for need in used]
    count = prod(len(options) for options in choices)
    outcomes: list[tuple[tuple[ResolvedLimit | None, ...], Outcome | None]] = [
        (chosen, check.function(_facts(used, chosen)))
        for chosen in islice(product(*choices), settings.most_alternatives)
    ]
    made = [(chosen, outcome) for chosen, outcome in outcomes if outcome is not None]
    if not made:
        return None
    chosen, outcome = made[0]
    rival = next(((c, o) for c, o in made if o.verdict != outcome.verdict), None)
    if rival is None and len(made) < len(outcomes) and outcome.verdict is not Verdict.FITS:
        rival = next((c, outcome) for c, o in outcomes if o is None)
    grounds = [ground for need in used for ground in settled[need].grounds]
    relied_on = [*(limit for limit in chosen if limit), *grounds]
    result = replace(_result(check, outcome, parts, relied_on), sources=_sources(settled, used))
    if rival is not None or count > settings.most_alternatives:
        against = _disagreement(chosen, rival[0]) if rival else "documents contradict one another too often"
        return replace(result, verdict=Verdict.CANNOT_TELL, consequence=None, ask=against)
    if count > 1:
        note = "documents state other values too, which would not change this: " + _rivals(settled, used)
        result = replace(result, notes=(*result.notes, note))
    return _doubt_half_range(_doubt_low_confidence(result, relied_on, settings), relied_on)


def _facts(used: Sequence[str], chosen: Sequence[ResolvedLimit | None]) -> Facts:
    return Facts({need: limit.value if limit else None for need, limit in zip(used, chosen, strict=True)})


def _result(check: Check, outcome: Outcome, parts: tuple[str, ...], relied_on: Sequence[ResolvedLimit]) -> CheckResult:
    confidence = min((limit.confidence for limit in relied_on), default=1.0)
    return CheckResult(
        check.name,
        parts,
        outcome.verdict,
        outcome.needed,
        outcome.allowed,
        outcome.allowed_form,
        outcome.margin,
        outcome.unit,
        outcome.working,
        confidence,
        consequence=outcome.consequence,
        ask=outcome.ask,
        notes=outcome.notes,
        cautions=outcome.cautions,
    )


def _doubt_low_confidence(result: CheckResult, used: Sequence[ResolvedLimit], settings: CheckSettings) -> CheckResult:
    weak = [limit for limit in used if limit.confidence < settings.act_at]
    if not weak:
        return result
    looks = "; ".join(
        f"look at {place_words(limit)}, whether {limit.value.limit} is {value_words(limit.value)}" for limit in weak
    )
    return replace(
        result, verdict=Verdict.CANNOT_TELL, consequence=None, ask=f"{looks}: the reading is not sure enough"
    )


def _doubt_half_range(result: CheckResult, used: Sequence[ResolvedLimit]) -> CheckResult:
    """No "fits" by a document of which only the lower bound of a size was read: the upper one may have been missed.

    A build that writes ``>=28`` itself means what it says.
    """
    halves = [
        limit
        for limit in used
        if (row := LIMITS.get(limit.value.limit))
        and row.form is Form.RANGE
        and row.lone_bound == "high"
        and limit.value.high is None
        and any(source.claim_id for source in limit.sources)
    ]
    if not halves or result.verdict is not Verdict.FITS:
        return result
    looks = "; ".join(f"look at {place_words(limit)} for the upper bound of {limit.value.limit}" for limit in halves)
    return replace(result, verdict=Verdict.CANNOT_TELL, ask=f"{looks}: only {value_words(halves[0].value)} was read")


def _disagreement(chosen: Sequence[ResolvedLimit | None], other: Sequence[ResolvedLimit | None]) -> str:
    pairs = [(a, b) for a, b in zip(chosen, other, strict=True) if a and b and a is not b]
    return "; ".join(
        f"sources disagree on {a.value.limit}: {place_words(a)} states {value_words(a.value)}, "
        f"{place_words(b)} states {value_words(b.value)}; look at both and reject the one that is wrong"
        for a, b in pairs
    )


def _rivals(settled: Mapping[str, Settled], used: Sequence[str]) -> str:
    rivals = [rival for need in used for rival in settled[need].options[1:]]
    return "; ".join(f"{r.value.limit} {value_words(r.value)} in {place_words(r)}" for r in rivals)


def _sources(settled: Mapping[str, Settled], used: Sequence[str]) -> tuple[SourceRef, ...]:
    """Every source of the values used, the part's own first, rivals after the value to go by."""
    limits = [limit for need in used for limit in settled[need].options]
    limits += [ground for need in used for ground in settled[need].grounds]
    ordered = dict.fromkeys(source for limit in limits for source in limit.sources)
    return tuple(ordered)


def _asks(setup: Setup, own: Slot, missing: Sequence[Settled]) -> str:
    return "; ".join(dict.fromkeys(ask_for(setup, own, one) for one in missing))


def _has_part(setup: Setup, need: str) -> bool:
    return setup.part(Slot(need.partition(".")[0])) is not None


def _labels(setup: Setup, own: Slot, settled: Mapping[str, Settled]) -> tuple[str, ...]:
    """The part the check is about, then the other parts of the store that it looks at."""
    own_part = setup.part(own)
    others: list[Part] = [
        one.part
        for one in settled.values()
        if one.part and one.options and one.part is not own_part and not _is_written(setup, one.part)
    ]
    labels = [part.label() for part in ([own_part] if own_part else []) + others]
    return tuple(dict.fromkeys(labels))


def _is_written(setup: Setup, part: Part) -> bool:
    return any(setup.parts[slot] is part for slot in setup.written)
