"""What is missing → what to find out, in words that a rider can act on."""

from __future__ import annotations

from ...schema.builds import Slot
from ...schema.limits import LIMITS
from .settle import Settled, part_of_role
from .setup import Setup

_ASKS = {
    "bike.chainstay_mm": "measure from the middle of the bottom bracket to the middle of the rear axle, "
    "on a sprung frame where it is longest, and write it as bike.chainstay_mm",
    "bike.freehub": "find out which body the rear wheel has and write it as bike.freehub, "
    "worded as the cassette's document does",
    "bike.firmware": "read the installed firmware version and write it as bike.firmware",
    "bike.rear_mount": "look how the frame holds the rear derailleur and write it as bike.rear_mount",
    "bike.front_mount": "look how the frame holds the front derailleur and write it as bike.front_mount",
    "bike.seat_tube_mm": "measure the seat tube's diameter where the clamp sits and write it as bike.seat_tube_mm",
    "sprockets.count": "count the cogs and write out every one of them",
    "sprockets.cogs": "write out the cogs of the cassette or freewheel, or at least the smallest and the largest",
    "rings.rings": "write out the teeth of every chainring",
    "rings.count": "write out the teeth of every chainring",
    "own.link_count": "count the links of the chain; one link is one half-inch pitch",
}


def ask_for(setup: Setup, own: Slot, settled: Settled) -> str:
    """One clause that says what to find out so that ``settled`` is known."""
    if settled.need in _ASKS:
        return _ASKS[settled.need]
    role, _, key = settled.need.partition(".")
    meaning = LIMITS[key].meaning if key in LIMITS else key
    part = part_of_role(setup, own, role)
    if part is None:
        return f"name the {role.replace('_', ' ')} in the build, or its {key} ({meaning})"
    if any(setup.parts[slot] is part for slot in setup.written):
        return f"add {key} to the {part.label()} ({meaning})"
    return f"find the {key} of {part.label()} in its document, or among what was held back ({meaning})"
