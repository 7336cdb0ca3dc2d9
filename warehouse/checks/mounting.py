"""Checks of what a part is bolted to or slides on: mounts, seat tube clamps, hub bodies."""

from __future__ import annotations

from dataclasses import replace

from ...schema.answers import Verdict
from ...schema.builds import Slot
from .registry import Facts, Outcome, check, judge_choice, judge_words, shown

_SAME_TUBE_MM = 0.1
"""A clamp and a tube this near are one size; tubes and clamps come in steps of several millimetres. No source."""


@check("mount", about=(Slot.REAR_DERAILLEUR,), needs=("own.mount", "bike.rear_mount"))
def check_rear_mount(facts: Facts) -> Outcome:
    """The rear derailleur's mount against what the frame offers: equal words. Common practice."""
    return judge_words(
        facts.text("bike.rear_mount"),
        facts.text("own.mount"),
        consequence="it cannot be bolted on as the frame is; ask whether another hanger exists for the frame",
    )


@check("mount", about=(Slot.FRONT_DERAILLEUR,), needs=("own.mount", "bike.front_mount"))
def check_front_mount(facts: Facts) -> Outcome:
    """The front derailleur's mount against what the frame offers: equal words. Common practice."""
    return judge_words(
        facts.text("bike.front_mount"),
        facts.text("own.mount"),
        consequence="it cannot be bolted on as the frame is; an adapter may exist, and has to be checked by itself",
    )


@check(
    "mount",
    about=(Slot.FRONT_DERAILLEUR,),
    needs=("own.clamp_diameter", "bike.seat_tube_mm"),
    maybe=("own.mount",),
)
def check_clamp(facts: Facts) -> Outcome | None:
    """The seat tube's diameter against the diameters the clamp fits, for clamped front derailleurs. By definition."""
    if facts.has("own.mount") and facts.text("own.mount") != "clamp":
        return None
    tube, clamps = facts.number("bike.seat_tube_mm"), facts.numbers("own.clamp_diameter")
    fits = any(abs(tube - clamp) <= _SAME_TUBE_MM for clamp in clamps)
    shim = " (a shim can fit a larger clamp to a smaller tube, never the reverse)" if max(clamps) > tube else ""
    outcome = judge_choice(
        tube,
        clamps,
        unit="mm",
        consequence=f"the clamp does not hold on this seat tube; it slips, or does not close{shim}",
    )
    if not fits or outcome.verdict is Verdict.FITS:
        return outcome
    working = f"{shown(tube)} mm is among {'/'.join(shown(clamp) for clamp in clamps)}"
    return replace(outcome, verdict=Verdict.FITS, consequence=None, working=working)


@check("freehub_fit", about=(Slot.CASSETTE,), needs=("bike.hub",), quiet=("bike.hub",))
def check_cassette_on_hub(facts: Facts) -> Outcome | None:
    """A cassette slides on a freehub body and never on a threaded hub. By definition."""
    if facts.text("bike.hub") != "threaded":
        return None
    return _kinds_differ(
        "freehub body",
        "threaded hub",
        "the cassette has nothing to slide on; the wheel takes a freewheel that screws on",
    )


@check("freehub_fit", about=(Slot.FREEWHEEL,), needs=("bike.hub",), quiet=("bike.hub",))
def check_freewheel_on_hub(facts: Facts) -> Outcome | None:
    """A freewheel screws on a threaded hub and never on a freehub body. By definition."""
    if facts.text("bike.hub") == "threaded":
        return Outcome(Verdict.FITS, "threaded hub", "threaded hub", "text", working="a freewheel on a threaded hub")
    return _kinds_differ(
        "threaded hub", "freehub body", "the freewheel has no thread to screw on; the wheel takes a cassette"
    )


def _kinds_differ(needed: str, found: str, consequence: str) -> Outcome:
    return Outcome(
        Verdict.DOES_NOT_FIT,
        found,
        needed,
        "text",
        working=f"a {needed} is needed, the wheel has a {found}",
        consequence=consequence,
    )


@check("freehub_fit", about=(Slot.CASSETTE,), needs=("own.freehub_fit", "bike.freehub"), maybe=("bike.hub",))
def check_freehub_fit(facts: Facts) -> Outcome | None:
    """The body that the cassette slides on against the wheel's, as worded, case and spacing apart. Common practice."""
    if facts.has("bike.hub") and facts.text("bike.hub") == "threaded":
        return None
    return judge_words(
        facts.text("bike.freehub"),
        facts.text("own.freehub_fit"),
        consequence="it does not slide on, or the lockring does not reach and the cogs work loose under load",
    )
