"""What was found → the warnings that a rider needs with it. They defer to mechanics, manuals and local rules."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from math import floor

from ...schema.answers import CheckResult, Verdict
from ...schema.builds import Slot
from ...schema.claims import plain
from ..gears import slack_pairs, slack_sentence
from .setup import Setup

GENERAL = (
    "This answer repeats what documents and the build file say. A document can be wrong and a bike can differ from it; "
    "the part's own manual decides.",
    "After any change try every pair of gears on the stand, backpedal, check the brakes, ride slowly at first, and "
    "check every bolt again.",
    "Leave brakes, fork, headset and anything after a crash to a qualified mechanic, and ask one wherever you are "
    "unsure.",
    "On an electrically assisted cycle type approval and national law may forbid changes to the gearing, and a "
    "guarantee may end; whoever makes the change answers for it (EN 15194).",
    "A bicycle that is sold or handed on in trade has to meet safety standards (ISO 4210); this answer is "
    "no such test.",
)
_SHORT = (
    "Never shift into the biggest ring with the largest cog on a chain that is too short: it can lock the drivetrain, "
    "break the hanger or the derailleur and stop the rear wheel. Try that pair by hand on the stand first."
)
_SLACK = "Where the chain hangs slack it can drop, jam between cog and frame, or wrap up."
_SPOKES = (
    "The cage runs near the spokes here: set and test the limit screw of the low gear before riding, because a cage in "
    "the spokes stops the wheel."
)
_EXTENDER = (
    "A hanger extender is a longer lever on the hanger and changes how the derailleur sits over small cassettes; test "
    "every gear under light load."
)
_HANGER = (
    "A bent or loose hanger voids every clearance stated here, and limits assume an ordinary hanger: "
    "have it checked first."
)
_FRONT = "At or past the front derailleur's limit the cage can drag and the chain can fall onto the frame."
_MIXED = "Parts of different shift families or actuations may shift by themselves under load."
_JOINING = (
    "Join a chain only with the maker's pin or link for that width, and use it once; "
    "a joint that fails throws the rider."
)
_WEAR = "A worn chain on new cogs, or a new chain on worn cogs, can skip under load; measure the wear before mixing."
_PACKET = (
    "The links counted here are those of a chain as it is sold. A chain that has been on a bike may have been cut "
    "shorter: count its links."
)
_SPRUNG = "On a sprung frame the chainstay length changes through the travel; the longest one counts."


def find_cautions(setup: Setup, results: Sequence[CheckResult], changed: Collection[Slot] = ()) -> list[str]:
    """The cautions whose condition holds, the most dangerous first, then those that always hold.

    ``changed`` are the slots that the wish touches. The conditions are common practice, except where a standard is
    named.
    """
    misfits = {result.check for result in results if result.verdict is Verdict.DOES_NOT_FIT}
    tight = {result.check for result in results if result.margin is not None and result.margin <= 0}
    extended = setup.part(Slot.HANGER_EXTENDER) is not None
    rules = (
        ("chain_length" in misfits, _SHORT),
        ("total_capacity" in misfits, _SLACK),
        ("largest_cog" in tight or extended, _SPOKES),
        (extended, _EXTENDER),
        (bool({"front_difference", "big_ring"} & tight), _FRONT),
        (bool({"shift_family", "actuation"} & misfits), _MIXED),
    )
    found = [words for holds, words in rules if holds]
    found += [words for result in results for words in result.cautions]
    found += _long_chain(setup, results)
    touched = bool({Slot.CASSETTE, Slot.FREEWHEEL, Slot.RINGS, Slot.CRANKSET, Slot.CHAIN} & set(changed))
    lengths = [result for result in results if result.check == "chain_length"]
    packet = Slot.CHAIN not in setup.written and any(result.verdict is Verdict.FITS for result in lengths)
    later = (
        (packet, _PACKET),
        (setup.part(Slot.REAR_DERAILLEUR) is not None, _HANGER),
        (bool(lengths), _SPRUNG),
        (touched, _JOINING),
        (touched, _WEAR),
    )
    return list(dict.fromkeys([*found, *(words for holds, words in later if holds), *GENERAL]))


def _long_chain(setup: Setup, results: Sequence[CheckResult]) -> list[str]:
    """Links beyond what is needed take up capacity, 2 T for each link (derived); what that leaves slack."""
    capacity = next((r for r in results if r.check == "total_capacity" and r.verdict is Verdict.FITS), None)
    length = next((r for r in results if r.check == "chain_length" and (r.margin or 0) > 0), None)
    if capacity is None or capacity.margin is None:
        return []
    pairs = floor(capacity.margin / 4)
    if length is None or length.margin is None:
        room = f"{pairs} pair{'s' if pairs > 1 else ''} of links" if pairs else "no link"
        return [f"The cage can take up {room} beyond the length needed."]
    if 2 * length.margin <= capacity.margin or not isinstance(capacity.allowed, tuple):
        return []
    teeth = _teeth(setup)
    slack = slack_sentence(slack_pairs(*teeth, capacity.allowed[-1] or 0, length.margin)) if teeth else ""
    where = f": {slack} hang slack" if slack else ""
    return [f"With {plain(length.margin)} links too many the cage cannot keep every pair tight{where}."]


def _teeth(setup: Setup) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
    rings = setup.ringed.limits.get("rings", ()) if setup.ringed else ()
    cogs = setup.sprockets.limits.get("cogs", ()) if setup.sprockets else ()
    if not rings or not cogs:
        return None
    value = cogs[0].value
    listed = value.values or tuple(end for end in (value.low, value.high) if end is not None)
    return (rings[0].value.values or (), listed) if listed and rings[0].value.values else None
