"""Looks at lines → tooth counts: every notation that a stamp may hold, weighed by its exact likelihood.

``50-34T`` are rings, larger first; ``11-28`` end cogs, smaller first; ``52T`` is one ring or cog. The bounds of 9 and
64 teeth are common practice, without a source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import cdist

from ...schema.parts import lookalike_key
from .ctc import find_placed, fold_teeth
from .spans import Glance

_FEWEST, _MOST = 9, 64
_LARGEST_FIRST_COG, _SMALLEST_LAST_COG, _SMALLEST_RING = 15, 17, 18
_PAIR = re.compile(r"^(\d{2})[-/.](\d{2})(T?)$")
_LONE = re.compile(r"^(\d{1,2})T$")
_NEAREST = 64
_PRIOR = -7.0
"""Log-chance of each notation on a line, before it is seen: about one in a thousand notations, on most lines none."""


@dataclass(frozen=True)
class TeethFound:
    """Tooth counts as stamped, and their log-odds against the line's being anything else.

    ``marked`` says whether the T for teeth stands behind them: two bare counts may as well be a date.
    """

    teeth: tuple[int, ...]
    odds: float
    marked: bool = True


def parse_teeth(word: str) -> tuple[int, ...]:
    """``"50-34T"`` → (50, 34), ``"11-28"`` → (11, 28), ``"52T"`` → (52,); () where it is no tooth notation."""
    lone = _LONE.match(word)
    if lone:
        count = int(lone[1])
        return (count,) if _FEWEST <= count <= _MOST else ()
    pair = _PAIR.match(word)
    if not pair:
        return ()
    first, second = int(pair[1]), int(pair[2])
    rings = _MOST >= first > second >= _SMALLEST_RING
    cogs = _FEWEST <= first <= _LARGEST_FIRST_COG and _SMALLEST_LAST_COG <= second <= _MOST
    return (first, second) if rings or cogs else ()


@lru_cache(maxsize=1)
def notations() -> tuple[str, ...]:
    """Every notation that ``parse_teeth`` takes, with a hyphen between two counts."""
    lone = [f"{count}T" for count in range(_FEWEST, _MOST + 1)]
    pairs = [f"{a:02d}-{b}{tail}" for a in range(_MOST + 1) for b in range(10, _MOST + 1) for tail in ("", "T")]
    return tuple(word for word in (*lone, *pairs) if parse_teeth(word))


@lru_cache(maxsize=1)
def _by_key() -> frozenset[str]:
    return frozenset(word.replace("-", "") for word in notations())


def is_teeth_key(key: str) -> bool:
    """Whether a string without punctuation may be tooth counts."""
    return key in _by_key()


@lru_cache(maxsize=1)
def _folded_notations() -> list[str]:
    return [lookalike_key(word) for word in notations()]


def _near(glances: Sequence[Glance]) -> list[str]:
    """The notations nearest to the words read, a hyphen counting as any other sign."""
    texts = {lookalike_key(word.text) for glance in glances for word in glance.words}
    shaped = [text for text in texts if 2 <= len(text) <= 7 and sum(sign.isdigit() for sign in text) >= 2]
    if not shaped:
        return []
    distances = cdist(shaped, _folded_notations(), scorer=Levenshtein.distance, score_cutoff=2, dtype=np.uint8)
    chosen: dict[str, None] = {}
    for row in distances:
        order = np.argsort(row, kind="stable")[:_NEAREST]
        chosen.update((notations()[n], None) for n in order if row[n] <= 2)
    return list(chosen)


def find_teeth(glances: Sequence[Glance], weights: np.ndarray, junk_sign: float, useless: float) -> TeethFound | None:
    """The looks at one pose → the likeliest tooth counts, None where no notation comes near.

    ``weights`` are the looks' parts in the whole, ``junk_sign`` and ``useless`` as in ``DecodeTuning``. Odds above 0
    say that the notation is likelier than anything else.
    """
    words = _near(glances)
    if not words:
        return None
    total = np.zeros(len(words))
    for glance, weight in zip(glances, weights, strict=True):
        doors, junk = glance.doors(np.inf), glance.junk_before(junk_sign, teeth_are_junk=False)
        placed, _ = find_placed(fold_teeth(glance.grid), words, doors - junk, doors + junk)
        total += weight * np.logaddexp(np.log(1 - useless) + placed, np.log(useless))
    best = int(total.argmax())
    same = [n for n, word in enumerate(words) if parse_teeth(word) == parse_teeth(words[best])]
    rest = np.delete(total, same)
    ours = float(np.logaddexp.reduce(total[same]))
    others = float(np.logaddexp.reduce(np.concatenate((rest, [-_PRIOR]))))
    return TeethFound(parse_teeth(words[best]), ours - others, words[best].endswith("T"))
