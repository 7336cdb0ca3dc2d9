"""Claims on one code → claims on the parts of that code, one for each maker."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from rapidfuzz import fuzz

from ..schema.claims import State
from ..schema.parts import maker_key

if TYPE_CHECKING:
    from .resolve import KeptClaim

_ALIKE = 85.0
"""Least likeness, in per cent, of two spellings of one maker: one letter misread among six or seven."""
_SHORTEST_BEGINNING = 4
"""Signs that a short form of a maker's name must have to stand for a longer one that begins so."""
NO_MAKER = ""

Family = Mapping[str, Sequence["KeptClaim"]]


def split_by_maker(family: Family) -> list[dict[str, list[KeptClaim]]]:
    """Claims by variant → the same for each maker, in the order of their names.

    Claims without a maker go with the one that their document names, else with the only one there is; where several
    makers have the code, they stay apart from all.
    """
    told = [k for claims in family.values() for k in claims if k.state is not State.HELD_BACK]
    makers = find_makers(maker_key(k.claim.maker) for k in told)
    if len(set(makers.values())) < 2:
        return [{variant: list(claims) for variant, claims in family.items()}]
    of_document = _main_makers(told, makers)
    split: dict[str, dict[str, list[KeptClaim]]] = defaultdict(lambda: defaultdict(list))
    for variant, claims in family.items():
        for kept in claims:
            own = makers.get(maker_key(kept.claim.maker))
            split[own or of_document.get(kept.sha256, NO_MAKER)][variant].append(kept)
    return [dict(split[maker]) for maker in sorted(split)]


def find_makers(keys: Iterable[str]) -> dict[str, str]:
    """Each spelling → the maker it stands for, named by the first of its spellings; the order does not matter.

    Two spellings are one maker where one is the beginning of the other, or where they differ in little.

    >>> find_makers(["BRAMBEL", "BRAMBELWORKS", "BRAMBEI", "TORVIK"])["BRAMBELWORKS"]
    'BRAMBEI'
    """
    names = sorted(set(keys) - {NO_MAKER})
    stands_for = {name: name for name in names}

    def first_of(name: str) -> str:
        while stands_for[name] != name:
            name = stands_for[name]
        return name

    for number, one in enumerate(names):
        for other in names[number + 1 :]:
            if _alike(one, other):
                a, b = sorted((first_of(one), first_of(other)))
                stands_for[b] = a
    return {name: first_of(name) for name in names}


def _alike(one: str, other: str) -> bool:
    short, long = sorted((one, other), key=len)
    begins = len(short) >= _SHORTEST_BEGINNING and long.startswith(short)
    return begins or fuzz.ratio(one, other) >= _ALIKE


def _main_makers(claims: Sequence[KeptClaim], makers: Mapping[str, str]) -> dict[str, str]:
    """The maker that each document names most often for this code."""
    named: dict[str, Counter[str]] = defaultdict(Counter)
    for kept in claims:
        if maker := makers.get(maker_key(kept.claim.maker)):
            named[kept.sha256][maker] += 1
    return {sha: min(counted, key=lambda m: (-counted[m], m)) for sha, counted in named.items()}
