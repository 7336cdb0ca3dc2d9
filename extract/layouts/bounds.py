"""Neighbouring columns of which one holds maxima and the other minima of one limit, however their header was cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..labels import LabelHit, analyse, find_label_hits, fold, split_unit
from ..units import UNIT_WORDS

_LEAST_SCORE = 0.62
_LEAST_JOINED = 0.85
"""Where both headers hold words: an unknown one among them may name another limit."""
_OTHER = {"high": "low", "low": "high"}


@dataclass(frozen=True)
class Half:
    """A header with the bound that it ends in taken off: ``Big ring`` and ``high`` of ``Big ring max. (teeth)``."""

    label: str
    bound: str | None


def lone_bound(text: str, languages: tuple[str, ...]) -> str | None:
    """``high`` or ``low`` for words that say nothing but maximum or minimum."""
    bare, _ = split_unit(text)
    terms = analyse(bare, languages).terms
    names = terms[0].names("concept") if len(terms) == 1 else frozenset()
    return "high" if "max" in names else "low" if "min" in names else None


def lone_size(text: str, languages: tuple[str, ...]) -> str | None:
    """``high`` or ``low`` for words that say nothing but biggest or smallest."""
    terms = analyse(split_unit(text)[0], languages).terms
    names = terms[0].names("concept") if len(terms) == 1 else frozenset()
    if names & {"max", "min"}:
        return None
    return "high" if "big" in names else "low" if "small" in names else None


def is_unit(text: str) -> bool:
    """Whether a header cell says nothing but a unit: ``mm``, ``[T]``."""
    bare = fold(text.strip("()[] ."))
    return bool(bare) and bare in UNIT_WORDS


def split_bound(header: str, languages: tuple[str, ...]) -> Half:
    """A header apart into its label and the bound that it ends in, units left out."""
    words = split_unit(header)[0].split()
    bound = lone_bound(words[-1], languages) if words else None
    return Half(" ".join(words[:-1] if bound else words), bound)


def find_shared_bounds(
    headers: Sequence[str], hits: Sequence[Sequence[LabelHit]], languages: tuple[str, ...]
) -> dict[int, tuple[LabelHit, ...]]:
    """The hits of every pair of neighbours whose headers end in opposite bounds and together name one limit.

    Either header may hold the label, or a part of it: ``Big ring max. | min.``, ``Chainstay max. | angle min.``. A
    column is part of one pair only, those from the left first.
    """
    halves = [split_bound(header, languages) for header in headers]
    paired: dict[int, tuple[LabelHit, ...]] = {}
    for n in range(len(headers) - 1):
        one, other = halves[n], halves[n + 1]
        if n in paired or not one.bound or other.bound != _OTHER[one.bound]:
            continue
        least = _LEAST_JOINED if one.label and other.label else _LEAST_SCORE
        both = tuple(h for h in find_label_hits(f"{one.label} {other.label}".strip(), None, languages)
                     if h.score >= least)  # fmt: skip
        best = {h.limit for h in both if h.score >= both[0].score - 0.1}
        own = [{h.limit for h in found} for found in (hits[n], hits[n + 1])]
        if both and all(not limits or limits & best for limits in own) and not all(own):
            for col, bound in ((n, one.bound), (n + 1, other.bound)):
                paired[col] = tuple(_bound_to(h, bound) for h in both)
    return paired


def _bound_to(hit: LabelHit, bound: str | None) -> LabelHit:
    return LabelHit(hit.limit, hit.score, bound, hit.unit, hit.needs, hit.only)
