"""What stands behind a code on its line → the cage or version letter stamped apart, if any."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from .ctc import SIGNS, find_likelihoods
from .spans import Glance

SIZE_LETTERS = ("S", "M", "L")
_VERSIONS = ("A", "B", "C", *(f"V{n}" for n in range(1, 10)))
_LONGEST_MARK = 2
_NONE = ""
_USUAL_SIZE, _USUAL_VERSION, _STORES_OWN = 1.0, 0.5, 3.0
"""How likely each kind is, against its being some other mark: the store's own variants of the code most."""


def find_variant(
    glances: Sequence[Glance], weights: np.ndarray, ends: Sequence[int], known: Iterable[str] = ()
) -> str | None:
    """Looks at the code's pose, with the step at which each sees the code end → the variant, None where none is.

    ``known`` are the variants that the store holds for the code.
    """
    shares: dict[str, float] = {}
    own = frozenset(known)
    for glance, weight, end in zip(glances, weights, ends, strict=True):
        for token, share in _behind(glance, end, own).items():
            shares[token] = shares.get(token, 0.0) + float(weight) * share
    best = max(shares, key=lambda token: shares[token], default=_NONE)
    return best or None


def _behind(glance: Glance, end: int, own: frozenset[str]) -> dict[str, float]:
    """The chance of each variant in one look; the empty string stands for no variant."""
    follower = _follower(glance, end)
    if follower is None:
        return {_NONE: 1.0}
    tokens = list(dict.fromkeys([*SIGNS, *_VERSIONS, *own]))
    chances = find_likelihoods(glance.folded[follower[0] : follower[1]], tokens)
    chances = np.exp(chances - chances.max()) * [_usual(token, own) for token in tokens]
    found = {token: 0.0 for token in (_NONE, *SIZE_LETTERS, *_VERSIONS, *own)}
    for token, share in zip(tokens, chances / chances.sum(), strict=True):
        found[token if token in found else _NONE] += float(share)
    return found


def _follower(glance: Glance, end: int) -> tuple[int, int] | None:
    """The steps of the short word right behind the code, None where there is none."""
    behind = [sign for sign in glance.signs if sign.middle >= end and sign.text != " "]
    if not behind:
        return None
    stop = next((word.start for word in glance.words if word.start > behind[0].middle), glance.grid.steps)
    word = [sign for sign in behind if sign.middle < stop]
    if len(word) > _LONGEST_MARK or not all(sign.text in SIGNS for sign in word):
        return None
    return end, stop


def _usual(token: str, own: frozenset[str]) -> float:
    if token in own:
        return _STORES_OWN
    return _USUAL_SIZE if token in SIZE_LETTERS else _USUAL_VERSION
