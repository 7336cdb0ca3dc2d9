"""Signs that look alike when stamped, and how likely a code is to look like another one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np

from .ctc import SIGNS, encode

OVALS = ("0O", "1I")
"""Pairs that many faces of type draw alike altogether; common practice, without a source, as are the next two."""
TWINS = (*OVALS, "0Q", "OQ", "0D", "DO", "1L", "IL", "2Z", "5S", "8B", "6G")
"""Pairs that stamping makes nearly alike."""
COUSINS = (
    "UV", "4A", "CG", "EF", "EB", "PR", "KX", "38", "35", "68", "98", "56", "17", "7T", "7Z", "YV", "HN", "WM", "3S",
    "8S", "GC", "0G", "0C", "OC", "36", "3B", "23", "R8", "RA", "MN", "JI", "J1", "1T", "LT", "IT", "FP", "TY", "90",
    "69", "B6", "B3", "UO", "VW", "NV", "B5", "89", "QG", "DQ", "U0", "D8", "DB", "RB", "HM", "HW", "XY",
)  # fmt: skip
"""Pairs told apart by one stroke that wear or glare may hide."""


def twins_of(key: str) -> Iterator[str]:
    """Every string that differs from ``key`` in one sign that is its twin."""
    for place, sign in enumerate(key):
        for pair in TWINS:
            if sign in pair:
                yield key[:place] + pair.replace(sign, "", 1) + key[place + 1 :]


@lru_cache(maxsize=1)
def alike_signs() -> dict[str, str]:
    """For each sign those that may be taken for it, twins and cousins."""
    others: dict[str, str] = dict.fromkeys(SIGNS, "")
    for pair in {min(pair, pair[::-1]) for pair in (*TWINS, *COUSINS)}:
        a, b = pair
        others[a] += b
        others[b] += a
    return others


@lru_cache(maxsize=8)
def _costs(oval: float, twin: float, cousin: float) -> np.ndarray:
    """The log-chance that a sign looks like another, 37 × 37 with the number 0 for none."""
    costs = np.full((len(SIGNS) + 1,) * 2, -np.inf)
    np.fill_diagonal(costs, 0.0)
    for pairs, chance in ((COUSINS, cousin), (TWINS, twin), (OVALS, oval)):
        for a, b in pairs:
            i, j = SIGNS.index(a) + 1, SIGNS.index(b) + 1
            costs[i, j] = costs[j, i] = np.log(chance)
    return costs


def log_alike(keys: Sequence[str], oval: float, twin: float, cousin: float) -> np.ndarray:
    """For each pair of strings the log-chance that the first looks like the second, 0 for itself; keys × keys."""
    numbers, _ = encode(keys)
    costs = _costs(oval, twin, cousin)
    total = np.zeros((len(keys), len(keys)))
    for column in numbers.T:
        total += costs[column[:, None], column[None, :]]
    return total
