"""A document read again → which of its claims it held before, so that a person's word stays with its own."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count

from ..schema.claims import Box, Claim, claim_stem, numbered_id


@dataclass(frozen=True)
class FormerReading:
    """A claim of the document's former reading, or one that a person judged, as it read then."""

    claim_id: str
    claim: Claim


def keep_ids(sha256: str, ids: Sequence[str], claims: Sequence[Claim], former: Sequence[FormerReading]) -> list[str]:
    """The ids of a document's claims, so that each claim that was there before keeps its own.

    :param ids: the ids as a first reading would number them
    :param former: what was read before of the statements on which a person spoke

    A statement that a page makes once has an id that does not depend on its place. One that a page makes several times
    is numbered in the order of reading; where another reader finds these in another order, or not the same number of
    them, each keeps the id of the former one whose place is nearest, and further ones are numbered anew.
    """
    told = list(ids)
    groups: dict[str, list[int]] = defaultdict(list)
    for number, claim in enumerate(claims):
        groups[claim_stem(sha256, claim)].append(number)
    before: dict[str, dict[str, Claim]] = defaultdict(dict)
    for reading in former:
        before[claim_stem(sha256, reading.claim)].setdefault(reading.claim_id, reading.claim)
    for stem, known in before.items():
        numbers = groups.get(stem, [])
        if numbers and (len(numbers) > 1 or len(known) > 1):
            _hand_out(told, numbers, claims, known, stem)
    return told


def _hand_out(
    told: list[str], numbers: Sequence[int], claims: Sequence[Claim], known: dict[str, Claim], stem: str
) -> None:
    """Give the former ids of one statement to the nearest places, and new numbers to what is left over."""
    pairs = sorted(
        (_distance(claim.bbox, claims[number].bbox), claim_id, number)
        for claim_id, claim in known.items()
        for number in numbers
    )
    given: dict[int, str] = {}
    taken: set[str] = set()
    for _, claim_id, number in pairs:
        if number not in given and claim_id not in taken:
            given[number] = claim_id
            taken.add(claim_id)
    fresh = (claim_id for nth in count() if (claim_id := numbered_id(stem, nth)) not in known)
    for number in numbers:
        told[number] = given.get(number) or next(fresh)


def _distance(one: Box | None, other: Box | None) -> float:
    """How far the middles of two boxes are apart, in points; far where one is not known."""
    if one is None or other is None:
        return 1e9
    dx = (one.x0 + one.x1 - other.x0 - other.x1) / 2
    dy = (one.top + one.bottom - other.top - other.bottom) / 2
    return (dx * dx + dy * dy) ** 0.5
