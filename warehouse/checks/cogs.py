"""Checks of the rear derailleur against the cogs: their sizes, and the slack that the cage must take up."""

from __future__ import annotations

from dataclasses import replace

from ...schema.answers import Verdict
from ...schema.builds import Slot
from ..gears import slack_pairs, slack_sentence
from .registry import Counts, Facts, Outcome, check, judge_bounds, shown

_COGS = "sprockets.cogs"
_GAIN = "hanger_extender.largest_cog_gain"
_TOO_LARGE = (
    "the guide pulley comes too near the largest cog or touches it: noise, wear, no shift into that cog, "
    "and at worst the cage is drawn into the spokes"
)
_TOO_SMALL = "the pulley hangs far from the cogs, so shifts are slow and vague"


@check(
    "largest_cog",
    about=(Slot.REAR_DERAILLEUR,),
    counts=Counts.ALWAYS,
    needs=("own.largest_cog", _COGS),
    maybe=(_GAIN,),
    needed_with_part=(_GAIN,),
)
def check_largest_cog(facts: Facts) -> Outcome:
    """The largest cog against the sizes the derailleur takes; an extender raises the upper bound by its gain.

    Definition of ``largest_cog`` in the vocabulary; both bounds inclusive. Consequences: common practice.
    """
    limit = facts.value("own.largest_cog")
    largest = facts.ends()[1]
    high, bound = limit.high, ""
    if high is not None and facts.has(_GAIN):
        gain = facts.number(_GAIN)
        bound, high = f"{shown(high)} + {shown(gain)}", high + gain
    return judge_bounds(largest, limit.low, high, unit="T", bound_shown=bound, above=_TOO_LARGE, below=_TOO_SMALL)


@check(
    "largest_cog",
    about=(Slot.HANGER_EXTENDER,),
    needs=("own.largest_cog", _COGS),
    quiet=("own.largest_cog",),
)
def check_extender_cog(facts: Facts) -> Outcome:
    """The largest cog against the sizes that the hanger extender itself is made for, both bounds inclusive."""
    limit = facts.value("own.largest_cog")
    return judge_bounds(
        facts.ends()[1],
        limit.low,
        limit.high,
        unit="T",
        above=_TOO_LARGE,
        below="the extender holds the derailleur too low for so small a cassette; shifts are slow and vague",
    )


@check("smallest_cog", about=(Slot.REAR_DERAILLEUR,), needs=("own.smallest_cog", _COGS))
def check_smallest_cog(facts: Facts) -> Outcome:
    """The smallest cog against the sizes the derailleur takes, both bounds inclusive. Consequences: common practice."""
    limit = facts.value("own.smallest_cog")
    return judge_bounds(
        facts.ends()[0],
        limit.low,
        limit.high,
        unit="T",
        above="the derailleur is made for a smaller smallest cog; shifting is poor at that end",
        below="the chain wraps too few teeth of the smallest cog and can skip under load",
    )


@check(
    "total_capacity",
    about=(Slot.REAR_DERAILLEUR,),
    counts=Counts.ALWAYS,
    needs=("own.total_capacity", _COGS, "rings.rings"),
    maybe=("hanger_extender.capacity_change",),
)
def check_total_capacity(facts: Facts) -> Outcome:
    """(biggest ring - smallest ring) + (largest cog - smallest cog) against what the cage takes up.

    Definition of ``total_capacity`` in the vocabulary. One tooth is half a pitch of chain, since half of every
    sprocket is wrapped (derived). A hanger extender changes it only by a ``capacity_change`` that is stated.
    """
    rings, (smallest, largest) = facts.numbers("rings.rings"), facts.ends()
    big, small = max(rings), min(rings)
    needed = (big - small) + (largest - smallest)
    allowed, bound = facts.number("own.total_capacity"), ""
    if facts.has("hanger_extender.capacity_change"):
        change = facts.number("hanger_extender.capacity_change")
        bound, allowed = f"{shown(allowed)} + {shown(change)}", allowed + change
    outcome = judge_bounds(
        needed,
        None,
        allowed,
        unit="T",
        sum_shown=f"({shown(big)} - {shown(small)}) + ({shown(largest)} - {shown(smallest)})",
        bound_shown=bound,
    )
    if outcome.verdict is not Verdict.DOES_NOT_FIT:
        return outcome
    cogs = facts.numbers(_COGS)
    slack = slack_sentence(slack_pairs(rings, cogs, allowed)) if cogs else ""
    consequence = (
        "a chain long enough for the biggest ring with the largest cog hangs slack in the smallest pairs"
        f"{f' ({slack})' if slack else ''}, and drags, drops or jams there; a shorter chain is no cure, "
        "because shifting into the biggest pair would then pull the derailleur straight and can tear it off"
    )
    return replace(outcome, consequence=consequence)
