"""Looks at the lines of photos → the codes worth weighing: strings read freely, their twins, known codes near them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, isinf, log

from .ctc import SIGNS, find_strings
from .known import KnownCodes
from .shapes import FEWEST_SIGNS, MOST_SIGNS
from .spans import Glance, ReadWord
from .teeth import is_teeth_key
from .twins import alike_signs, twins_of

_FEWEST = 3
_LEAST_PER_SIGN = -2.0
_MOST_STRINGS = 12
_NEAREST_EACH = 12
_MOST_KNOWN = 64
_MOST_FREE = 24
_WITH_TWINS = 3
_MOST_JOINED = 10
"""Strings put together from several words, or cut out of one, have so many signs at most."""
_LONG_WORD, _RUN_TOGETHER = 9, 4.0
"""Words of so many signs may be two run together; a part of one is read at this cost."""


@dataclass(frozen=True)
class Candidate:
    """A code worth weighing: its key, whether it is known, and its log-probability before any photo is seen."""

    key: str
    known: bool
    prior: float


def find_candidates(glances: Iterable[Glance], known: KnownCodes, priors: Priors) -> list[Candidate]:
    """Looks of one or several photos of a part → candidates, known ones first, each key once."""
    read: dict[str, float] = {}
    for glance in glances:
        for text, chance in read_strings(glance):
            if chance > read.get(text, _LEAST_PER_SIGN * len(text)):
                read[text] = chance
    ranked = sorted(read, key=lambda text: -(read[text] + 0.7 * len(text)))
    near = known.nearest([t for t in ranked if any(s.isdigit() for s in t)][:_MOST_STRINGS], _NEAREST_EACH)
    exact = [text for text in ranked if text in known]
    chosen = list(dict.fromkeys([*exact, *near]))[:_MOST_KNOWN]
    candidates = [Candidate(key, True, priors.of_known()) for key in chosen]
    return candidates + _free(read, known, priors)


def _free(read: Mapping[str, float], known: KnownCodes, priors: Priors) -> list[Candidate]:
    """The likeliest strings that could be unknown codes, with the twins of the first few."""
    merit: dict[str, float] = {}
    for text, chance in read.items():
        prior = priors.of_unknown(text)
        if text not in known and prior is not None:
            merit[text] = chance + prior + 3.3 * len(text)
    ranked = sorted(merit, key=lambda text: -merit[text])[:_MOST_FREE]
    twins = [twin for text in ranked[:_WITH_TWINS] for twin in twins_of(text) if twin not in known]
    found: list[Candidate] = []
    for key in dict.fromkeys([*ranked, *twins]):
        prior = priors.of_unknown(key)
        if prior is not None:
            found.append(Candidate(key, False, prior))
    return found


@dataclass(frozen=True, eq=False)
class Priors:
    """Log-probabilities of codes before any photo is seen."""

    known: KnownCodes
    known_share: float
    full_list: float
    series_share: float
    sibling_share: float

    def of_known(self) -> float:
        """Of each known code: a short list covers less of what may be stamped."""

        return log(self.known_share / max(len(self.known), self.full_list))

    def of_unknown(self, key: str) -> float | None:
        """Of a code that is not known, None for a string that is none."""
        if is_teeth_key(key):
            return None
        shape = self.known.shapes.log_chance(key, self.series_share)
        sibling = self._as_sibling(key)
        if isinf(shape) and not sibling:
            return None
        covered = self.known_share * min(1.0, len(self.known) / self.full_list)
        beside = self.sibling_share if len(self.known) else 0.0
        return log((1 - covered) * ((1 - beside) * exp(shape) + beside * sibling))

    def _as_sibling(self, key: str) -> float:
        """The chance of drawing ``key`` by taking any code of a full list, if known, and changing one sign of it.

        The new sign is of the same kind or one that looks alike, each half of the time: makers number their parts
        closely, and lists have gaps.
        """
        chance = 0.0
        for place, sign in enumerate(key):
            alike = alike_signs()[sign]
            for other in SIGNS:
                if other == sign or key[:place] + other + key[place + 1 :] not in self.known:
                    continue
                same_kind = 0.5 / (9 if sign.isdigit() else 25) if sign.isdigit() == other.isdigit() else 0.0
                looks_so = 0.5 / len(alike_signs()[other]) if other in alike else 0.0
                chance += same_kind + looks_so
        return chance / (len(key) * max(len(self.known), self.full_list))


def read_strings(glance: Glance) -> Iterator[tuple[str, float]]:
    """Strings read freely in one word, or in two or three neighbouring ones, with log-likelihoods."""
    for word in glance.words:
        yield from _ends_of(word)
    words = [_of_word(glance, word) for word in glance.words]
    for strings in words:
        yield from ((text, chance) for text, chance in strings if len(text) >= _FEWEST)
        yield from ((text[:-1], chance - 1) for text, chance in strings[:1] if len(text) > _FEWEST)
    for first, second in pairwise(words):
        yield from _joined(first[:3], second[:3])
    for first, second, third in zip(words, words[1:], words[2:], strict=False):
        yield from _joined(list(_joined(first[:1], second[:1])), third[:1])


def _of_word(glance: Glance, word: ReadWord) -> list[tuple[str, float]]:
    signs = sum(sign.text.isalnum() for sign in word.signs)
    if not 0 < signs <= MOST_SIGNS + 2:
        return []
    return find_strings(glance.folded[word.start : word.end])


def _ends_of(word: ReadWord) -> Iterator[tuple[str, float]]:
    """Beginnings and ends of a long word that may be two words run together, such as a maker and a code."""
    signs = [sign for sign in word.signs if sign.text in SIGNS]
    if len(signs) < _LONG_WORD:
        return
    for length in range(FEWEST_SIGNS, min(_MOST_JOINED, len(signs)) + 1):
        for part in (signs[:length], signs[-length:]):
            text = "".join(sign.text for sign in part)
            if any(sign.isdigit() for sign in text) and any(sign.isalpha() for sign in text):
                yield text, sum(log(sign.share) for sign in part) - _RUN_TOGETHER


def _joined(first: Sequence[tuple[str, float]], second: Sequence[tuple[str, float]]) -> Iterator[tuple[str, float]]:
    for a, chance in first:
        for b, other in second:
            if _FEWEST <= len(a + b) <= _MOST_JOINED:
                yield a + b, chance + other
