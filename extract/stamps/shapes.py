"""Codes that a store holds → how likely any other string is to be a code: shapes of letters and digits, and series.

Two models, mixed: codes of a shape (``TWX240`` has the shape ``AAA000``) with signs drawn evenly, and codes that share
their beginnings with known ones, sign by sign after the two signs before (Witten and Bell, 1991, for unseen ones). A
third knows no store: letters and digits in few changes.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

FEWEST_SIGNS, MOST_SIGNS = 4, 16
_LETTER, _DIGIT = math.log(1 / 26), math.log(1 / 10)
_MOST_LEARNT = 20_000
_ANY_SHAPE_COUNTS, _ANY_SHAPE_LEAST = 5.0, 0.15
"""How many codes' worth of belief goes to shapes that no known code has, and the least share of all belief: codes that
a store does not know are often other makers'."""
_CHANGE = math.log(0.35)
_DIGIT_FIRST = math.log(0.25)
_LENGTHS = {4: 0.12, 5: 0.24, 6: 0.3, 7: 0.2, 8: 0.09, 9: 0.03, 10: 0.01, 11: 1e-4, 12: 1e-4, 13: 1e-4, 14: 1e-4,
            15: 1e-4, 16: 1e-4}  # fmt: skip
"""How long codes are where no store tells; common practice, without a source."""
_END = "\n"


def shape_of(key: str) -> str:
    """A code's pattern: ``"TWX240"`` → ``"AAA000"``."""
    return "".join("0" if sign.isdigit() else "A" for sign in key)


@dataclass(frozen=True)
class CodeShapes:
    """What known codes look like; ``series`` holds the signs that follow each pair of signs."""

    shapes: Counter[str]
    series: dict[str, Counter[str]]
    count: int

    def log_chance(self, key: str, series_share: float = 0.5) -> float:
        """The log-probability of ``key`` as a code that is not known, over all strings of letters and digits."""
        if not FEWEST_SIGNS <= len(key) <= MOST_SIGNS and shape_of(key) not in self.shapes:
            return -math.inf
        loose = _loose(key)
        if not self.count:
            return loose
        known = (1 - self._any_shape) * self.shapes[shape_of(key)] / self.count
        by_shape = _added(_log(known) + _evenly(key), _log(self._any_shape) + loose)
        return _added(_log(1 - series_share) + by_shape, _log(series_share) + self._by_series(key, loose))

    @property
    def _any_shape(self) -> float:
        return max(_ANY_SHAPE_LEAST, _ANY_SHAPE_COUNTS / (self.count + _ANY_SHAPE_COUNTS))

    def _by_series(self, key: str, loose: float) -> float:
        if shape_of(key) not in self.shapes:
            return _log(self._any_shape) + loose
        padded = f"  {key}{_END}"
        return sum(self._next(padded[n : n + 2], padded[n + 2]) for n in range(len(key) + 1))

    def _next(self, before: str, sign: str) -> float:
        """Signs after the last two, falling back to after the last one, and to any."""
        even = math.exp(_DIGIT) / 2 if sign.isdigit() else math.exp(_LETTER) / 2
        chance = even
        for context in (before[1:], before):
            seen = self.series.get(context)
            if seen:
                whole, kinds = seen.total(), len(seen)
                chance = (seen[sign] + kinds * chance) / (whole + kinds)
        return math.log(chance)


def learn_shapes(keys: Sequence[str]) -> CodeShapes:
    """Keys of known codes → what codes look like; of very many, an even choice is learnt from."""
    step = max(1, len(keys) // _MOST_LEARNT)
    chosen = keys[::step]
    series: dict[str, Counter[str]] = defaultdict(Counter)
    for key in chosen:
        padded = f"  {key}{_END}"
        for n in range(len(key) + 1):
            series[padded[n + 1 : n + 2]][padded[n + 2]] += 1
            series[padded[n : n + 2]][padded[n + 2]] += 1
    return CodeShapes(Counter(map(shape_of, chosen)), dict(series), len(chosen))


def _evenly(key: str) -> float:
    return sum(_DIGIT if sign.isdigit() else _LETTER for sign in key)


def _loose(key: str) -> float:
    """The model without a store: some letters and some digits, the fewer changes between them the likelier."""
    shape = shape_of(key)
    if len(set(shape)) < 2 or len(key) not in _LENGTHS:
        return -math.inf
    changes = sum(a != b for a, b in pairwise(shape))
    first = _DIGIT_FIRST if shape[0] == "0" else 0.0
    return math.log(_LENGTHS[len(key)]) + first + _CHANGE * (changes - 1) + math.log(0.25) + _evenly(key)


def _log(share: float) -> float:
    return math.log(share) if share > 0 else -math.inf


def _added(a: float, b: float) -> float:
    """The logarithm of the sum of two probabilities given by theirs."""
    high, low = max(a, b), min(a, b)
    return high if math.isinf(low) else high + math.log1p(math.exp(low - high))
