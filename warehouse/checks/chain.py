"""Checks of the chain: its width by the number of cogs, its length round the biggest pair."""

from __future__ import annotations

from math import asin, ceil, cos, degrees, pi, sin

from ...schema.answers import Verdict
from ...schema.builds import Slot
from .registry import Facts, Outcome, check, judge_choice, shown

PITCH_MM = 12.7
"""Half an inch, the pitch of cycle chain (ISO 9633)."""
_SPARE_LINKS = 2
_ROUNDING = 1e-9


@check("chain_width", about=(Slot.CHAIN,), needs=("own.rear_speeds", "sprockets.count"))
def check_chain_width(facts: Facts) -> Outcome:
    """The number of cogs against the numbers the chain is made for. Consequence: common practice."""
    return judge_choice(
        facts.numbers("sprockets.count")[0],
        facts.numbers("own.rear_speeds"),
        unit="count",
        consequence="too wide a chain rubs on the neighbouring cog, too narrow a one may not seat on the teeth",
    )


@check(
    "chain_length",
    about=(Slot.CHAIN,),
    needs=("own.link_count", "bike.chainstay_mm", "sprockets.cogs", "rings.rings"),
)
def check_chain_length(facts: Facts) -> Outcome:
    """The chain's links against the smallest even number at or above the exact length round the biggest pair + 2.

    Length: ``exact_links``. Two links more, and joined in pairs: common practice, known as big-big plus two. The margin
    is in links. Of several lengths on offer all must do, or all must fail, for a verdict.
    """
    chainstay = facts.number("bike.chainstay_mm")
    ring, cog = max(facts.numbers("rings.rings")), facts.ends()[1]
    exact, needed = exact_links(chainstay, ring, cog), links_needed(chainstay, ring, cog)
    links = sorted(facts.numbers("own.link_count"))
    margin = links[0] - needed
    verdict = Verdict.FITS if margin >= 0 else Verdict.DOES_NOT_FIT
    if margin < 0 <= links[-1] - needed:
        verdict = Verdict.CANNOT_TELL
    sign = ">=" if margin >= 0 else "<"
    fitted = "/".join(shown(count) for count in links)
    working = (
        f"{exact:.3f} links round {shown(ring)} and {shown(cog)} T + 2 = {exact + _SPARE_LINKS:.3f} -> {needed} links; "
        f"{fitted} {sign} {needed}, reserve {links[0] - exact:.3f} links"
    )
    return Outcome(
        verdict,
        float(needed),
        (None, links[0]),
        "range",
        float(margin),
        "links",
        working,
        _TOO_SHORT if verdict is Verdict.DOES_NOT_FIT else None,
        "count the links of the chain: of the lengths on offer some are too short" if sign == "<" else None,
        _cautions(links, needed),
    )


_TOO_SHORT = (
    "the chain is too short for the biggest ring with the largest cog: shifting into that pair can lock the "
    "drivetrain, break the hanger or the derailleur and throw the rider"
)


def _cautions(links: list[float], needed: int) -> tuple[str, ...]:
    found = []
    if links[0] > needed:
        found.append(
            f"The chain is {shown(links[0] - needed)} links longer than needed: shorten it to {needed} links, or each "
            "pair of links too many takes 4 T of the capacity."
        )
    if any(count % 2 for count in links):
        found.append("An odd number of links cannot be joined without a cranked link; count them again.")
    return tuple(found)


def pitch_diameter_mm(teeth: float) -> float:
    """The pitch circle of a sprocket: p / sin(180°/z) (ISO 606)."""
    return PITCH_MM / sin(pi / teeth)


def exact_links(chainstay_mm: float, ring: float, cog: float) -> float:
    """Links of a tight chain round two sprockets, without the derailleur (handbook formula for open chain drives).

    X = 2·C·cos α / p + N·(1/2 + α/180°) + n·(1/2 - α/180°) with sin α = (d(N) - d(n)) / 2C and d from ISO 606. Wrap is
    counted in teeth, because a chain lies on a sprocket as a polygon. Any order of the two sprockets gives the same.
    """
    big, small = max(ring, cog), min(ring, cog)
    alpha = asin((pitch_diameter_mm(big) - pitch_diameter_mm(small)) / (2 * chainstay_mm))
    turn = degrees(alpha) / 180
    return 2 * chainstay_mm * cos(alpha) / PITCH_MM + big * (0.5 + turn) + small * (0.5 - turn)


def links_needed(chainstay_mm: float, ring: float, cog: float) -> int:
    """The smallest even number of links at or above the exact length plus two (common practice)."""
    return 2 * ceil((exact_links(chainstay_mm, ring, cog) + _SPARE_LINKS) / 2 - _ROUNDING)
