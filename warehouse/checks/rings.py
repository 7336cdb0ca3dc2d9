"""Checks of derailleurs, cranks and shifters against the chainrings: sizes, steps, number, place and bolts."""

from __future__ import annotations

from dataclasses import replace

from ...schema.answers import Verdict
from ...schema.builds import Slot
from ...schema.resolved import LimitValue
from .registry import Counts, Facts, Outcome, check, judge_bounds, judge_choice, shown

_RINGS = "rings.rings"
_AGREE_MM = 1.0
"""Two exact chainlines this near to each other agree: printed numbers are roundings. Common practice."""
_SAME_BOLT_CIRCLE_MM = 0.1
"""Two bolt circles this near are one size, printed with more or fewer digits; no source."""
_DROPS = "the cage's tail drags on the chain in the small ring, or the chain falls past the ring when shifting down"


def _front_difference(facts: Facts) -> Outcome:
    rings = facts.numbers(_RINGS)
    return judge_bounds(
        max(rings) - min(rings),
        None,
        facts.number("own.front_difference"),
        unit="T",
        sum_shown=f"{shown(max(rings))} - {shown(min(rings))}",
        above=_DROPS,
    )


@check(
    "front_difference",
    about=(Slot.FRONT_DERAILLEUR,),
    counts=Counts.ALWAYS,
    needs=("own.front_difference", _RINGS),
)
def check_front_difference(facts: Facts) -> Outcome:
    """Biggest ring - smallest ring against the most that the front derailleur spans; with one ring it is 0.

    Definition of ``front_difference`` in the vocabulary. Consequence: common practice.
    """
    return _front_difference(facts)


@check(
    "front_difference",
    about=(Slot.REAR_DERAILLEUR,),
    needs=("own.front_difference", _RINGS),
    quiet=("own.front_difference",),
)
def check_front_difference_at_the_rear(facts: Facts) -> Outcome:
    """The same difference against the rear derailleur's limit, where it states one."""
    consequence = "the rear cage cannot keep the chain tight over so wide a front step; it hangs slack and can drop"
    outcome = _front_difference(facts)
    return replace(outcome, consequence=consequence) if outcome.consequence else outcome


@check("big_ring", about=(Slot.FRONT_DERAILLEUR,), counts=Counts.ALWAYS, needs=("own.big_ring", _RINGS))
def check_big_ring(facts: Facts) -> Outcome:
    """The biggest ring against the sizes the front derailleur's cage is curved for, both bounds inclusive.

    Definition of ``big_ring`` in the vocabulary. Consequences: common practice.
    """
    limit = facts.value("own.big_ring")
    return judge_bounds(
        max(facts.numbers(_RINGS)),
        limit.low,
        limit.high,
        unit="T",
        above="the cage cannot be set high enough and touches the teeth of the big ring",
        below="the cage's curve stands off the ring: slow shifts that overshoot and can throw the chain off",
    )


@check("small_ring", about=(Slot.FRONT_DERAILLEUR,), needs=("own.small_ring", _RINGS))
def check_small_ring(facts: Facts) -> Outcome:
    """The smallest ring against the sizes the front derailleur takes, both bounds inclusive. Common practice."""
    limit = facts.value("own.small_ring")
    return judge_bounds(
        min(facts.numbers(_RINGS)),
        limit.low,
        limit.high,
        unit="T",
        above="the front derailleur is made for a smaller small ring; shifts down to it are poor",
        below="the chain drags on the lower bridge of the cage in the small ring",
    )


@check("ring_step", about=(Slot.FRONT_DERAILLEUR,), needs=("own.ring_step", _RINGS))
def check_ring_step(facts: Facts) -> Outcome | None:
    """Biggest ring - middle ring against the least the front derailleur needs; three rings only.

    Definition of ``ring_step`` in the vocabulary. Consequence: common practice.
    """
    rings = sorted(facts.numbers(_RINGS), reverse=True)
    if len(rings) != 3:
        return None
    return judge_bounds(
        rings[0] - rings[1],
        facts.number("own.ring_step"),
        None,
        unit="T",
        sum_shown=f"{shown(rings[0])} - {shown(rings[1])}",
        below="the cage's inner shape catches the middle ring or rubs on it",
    )


@check(
    "ring_count",
    about=(Slot.REAR_DERAILLEUR, Slot.FRONT_DERAILLEUR, Slot.CRANKSET),
    needs=("own.ring_count", "rings.count"),
    quiet=("own.ring_count",),
)
def check_ring_count(facts: Facts) -> Outcome:
    """The number of rings against the numbers the part is made for. Consequence: common practice."""
    return judge_choice(
        facts.numbers("rings.count")[0],
        facts.numbers("own.ring_count"),
        unit="count",
        consequence="the part is made for another number of rings: its cage, travel or seats do not match this set",
    )


@check(
    "ring_count",
    about=(Slot.SHIFTER,),
    needs=("own.ring_count", "rings.count"),
    quiet=("own.ring_count",),
)
def check_shifter_positions(facts: Facts) -> Outcome:
    """The number of rings against the shifter's positions: fewer cannot reach a ring, more leave one unused."""
    stated, rings = facts.numbers("own.ring_count"), facts.numbers("rings.count")[0]
    outcome = judge_choice(
        rings,
        stated,
        unit="count",
        consequence="the shifter has no position for one of the rings, which is never reached",
    )
    if outcome.verdict is Verdict.FITS or max(stated) < rings:
        return outcome
    spare = "The shifter has more positions than there are rings: the unused one must be blocked by the limit screw."
    working = f"{shown(rings)} of {shown(max(stated))} positions used"
    return replace(outcome, verdict=Verdict.FITS, consequence=None, working=working, cautions=(spare,))


@check("chainline", about=(Slot.FRONT_DERAILLEUR,), needs=("own.chainline", "crankset.chainline"))
def check_chainline(facts: Facts) -> Outcome:
    """The crankset's chainline against the front derailleur's: ranges overlap, exact values agree within 1 mm.

    Inclusive bounds; the millimetre for two exact values is common practice, since printed numbers are roundings.
    """
    own, crank = facts.value("own.chainline"), facts.value("crankset.chainline")
    consequence = "the chain rubs on the cage at one end, shifts are missed, or the chain is thrown off"
    if _is_exact(own) and _is_exact(crank):
        centre = own.low or 0.0
        low, high = centre - _AGREE_MM, centre + _AGREE_MM
        outcome = judge_bounds(crank.low or 0.0, low, high, unit="mm", above=consequence, below=consequence)
        working = f"|{shown(crank.low)} - {shown(own.low)}| {'<=' if outcome.consequence is None else '>'} 1 mm"
        return replace(outcome, working=working)
    if _is_exact(crank):
        return judge_bounds(crank.low or 0.0, own.low, own.high, unit="mm", above=consequence, below=consequence)
    rooms = [
        high - low
        for high, low in ((own.high, crank.low), (crank.high, own.low))
        if high is not None and low is not None
    ]
    margin = min(rooms) if rooms else None
    fits = margin is None or margin >= 0
    spans = f"{_span(crank)} mm and {_span(own)} mm"
    return Outcome(
        Verdict.FITS if fits else Verdict.DOES_NOT_FIT,
        _span(crank),
        (own.low, own.high),
        "range",
        margin,
        "mm",
        f"{spans} {'overlap' if fits else 'do not meet'}",
        None if fits else consequence,
    )


def _is_exact(value: LimitValue) -> bool:
    return value.low is not None and value.low == value.high


def _span(value: LimitValue) -> str:
    return shown(value.low) if _is_exact(value) else f"{shown(value.low) or '...'} to {shown(value.high) or '...'}"


@check(
    "bolt_circle",
    about=(Slot.RINGS,),
    needs=("own.bolt_circle", "crankset.bolt_circle"),
    maybe=("own.bolt_count", "crankset.bolt_count"),
)
def check_bolt_circle(facts: Facts) -> Outcome:
    """The rings' bolt circle against the crankset's, and the number of bolts where both state it.

    Same circle and same number of even-spaced holes give the same distance between neighbours, D · sin(180°/n).
    """
    rings, crank = facts.number("own.bolt_circle"), facts.number("crankset.bolt_circle")
    same = abs(rings - crank) <= _SAME_BOLT_CIRCLE_MM
    working = f"{shown(rings)} mm {'=' if same else 'is not'} {shown(crank)} mm"
    if same and facts.has("own.bolt_count") and facts.has("crankset.bolt_count"):
        holes, seats = facts.number("own.bolt_count"), facts.number("crankset.bolt_count")
        same = holes == seats
        working += f", {shown(holes)} {'=' if same else 'are not'} {shown(seats)} bolts"
    return Outcome(
        Verdict.FITS if same else Verdict.DOES_NOT_FIT,
        rings,
        (crank, crank),
        "range",
        unit="mm",
        working=working,
        consequence=None if same else "the rings' holes do not meet the crank's bolts; they cannot be mounted",
    )
