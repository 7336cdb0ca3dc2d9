"""A document read again → which of its claims are those that a person judged before."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from ..schema.claims import Box, Claim


@dataclass(frozen=True)
class JudgedReading:
    """A claim as it read when a person judged it."""

    claim_id: str
    claim: Claim


def keep_ids(ids: Sequence[str], claims: Sequence[Claim], judged: Sequence[JudgedReading]) -> list[str]:
    """The ids of a document's claims, so that a judged claim keeps its own.

    A statement that a page makes once has an id that does not depend on its place. One that a page makes several times
    is numbered in the order of reading; where another reader finds these in another order, or finds more of them, each
    judged one is given to the statement whose place is nearest.
    """
    told = list(ids)
    groups: dict[str, list[int]] = defaultdict(list)
    for number, claim in enumerate(claims):
        groups[_stem(claim)].append(number)
    wanted: dict[str, list[JudgedReading]] = defaultdict(list)
    for reading in judged:
        if reading.claim.bbox is not None:
            wanted[_stem(reading.claim)].append(reading)
    for stem, readings in wanted.items():
        numbers = groups.get(stem, [])
        if len(numbers) > 1:
            _hand_out(told, numbers, claims, readings)
    return told


def _stem(claim: Claim) -> str:
    return repr((*claim.place_key(), claim.value_key()))


def _hand_out(
    told: list[str], numbers: Sequence[int], claims: Sequence[Claim], readings: Sequence[JudgedReading]
) -> None:
    """Give the judged ids of one statement to the nearest places, and what is left over in the order of reading."""
    ids = [told[number] for number in numbers]
    own = [reading for reading in readings if reading.claim_id in ids]
    pairs = sorted(
        (_distance(reading.claim.bbox, claims[number].bbox), reading.claim_id, number)
        for reading in own
        for number in numbers
    )
    given: dict[int, str] = {}
    for _, claim_id, number in pairs:
        if number not in given and claim_id not in given.values():
            given[number] = claim_id
    left = iter([claim_id for claim_id in ids if claim_id not in given.values()])
    for number in numbers:
        told[number] = given.get(number) or next(left)


def _distance(one: Box | None, other: Box | None) -> float:
    """How far the middles of two boxes are apart, in points; far where one is not known."""
    if one is None or other is None:
        return 1e9
    dx = (one.x0 + one.x1 - other.x0 - other.x1) / 2
    dy = (one.top + one.bottom - other.top - other.bottom) / 2
    return (dx * dx + dy * dy) ** 0.5
