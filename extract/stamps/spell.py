"""Looks at the lines of a photo, and the known codes → which model code is stamped, as candidates with probabilities.

Each code is weighed by how well it explains the looks at one pose, against the supposition that nothing legible stands
there. A look either shows the code with a few signs misread, at a cost per sign that is low for signs of like shape, or
it shows something else altogether. Looks at one pose repeat each other's faults, so each counts only as a part of one.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from rapidfuzz.distance import Levenshtein

from ...schema.parts import code_key, lookalike_key
from .recognise import Look, Pose
from .teeth import LONGEST_CODE, SHORTEST_CODE, is_code, parse_teeth

_TWINS = ("0O", "0Q", "OQ", "0D", "1I", "1L", "IL", "2Z", "5S", "8B", "6G", "DO")
_COUSINS = (
    "UV", "4A", "CG", "EF", "EB", "PR", "KX", "38", "35", "68", "98", "56", "17", "7T", "7Z", "27", "YV", "HN", "WM",
    "3S", "8S", "9S", "GC", "0G", "0C", "OC", "OG", "36", "3B", "23", "R8", "RA", "KR", "MN", "HW", "JI", "J1", "1T",
    "LT", "IT", "FP", "TY", "90", "9G", "6S", "69", "00", "B6", "B3", "J3", "UO", "UJ", "VW", "NV", "4H", "14", "89",
)  # fmt: skip


@dataclass(frozen=True)
class SpellSettings:
    """Costs are negative natural logarithms of probabilities; see the module's docstring."""

    twin: float = 1.4
    cousin: float = 1.8
    other: float = 3.5
    missing: float = 3.2
    chance_per_sign: float = 1.3
    something_else: float = 0.5
    look_counts: float = 0.2
    unknown_code: float = 8.0
    known_share: float = 0.95
    full_list: int = 400
    glued: float = 1.2
    switch: float = 0.7
    least_weight: float = 0.1
    nearest_known: int = 15
    most_read: int = 6
    slope: float = 0.55
    shift: float = 1.1
    surest: float = 6.0


DEFAULTS = SpellSettings()


@dataclass(frozen=True)
class Spelling:
    """One code that may stand at a pose: its evidence, a natural logarithm against nothing legible, prior included."""

    code: str
    known: bool
    evidence: float
    pose: Pose


def find_spellings(
    looks: Mapping[Pose, Sequence[Look]], known_codes: Sequence[str], settings: SpellSettings = DEFAULTS
) -> list[Spelling]:
    """Looks by pose → every code that may stand there, best first, each code once."""
    known = {code_key(code): code for code in known_codes if code_key(code)}
    best: dict[str, Spelling] = {}
    for pose, seen in looks.items():
        glimpses = [_glimpse(look, settings) for look in seen]
        for key, code in _hypotheses(glimpses, known, settings).items():
            evidence = _evidence(key, glimpses, key in known, settings) + _prior(key, known, settings)
            if key not in best or evidence > best[key].evidence:
                best[key] = Spelling(code, key in known, evidence, pose)
    return sorted(best.values(), key=lambda spelling: -spelling.evidence)


def find_probabilities(spellings: Sequence[Spelling], settings: SpellSettings = DEFAULTS) -> list[float]:
    """The probability of each spelling; what is missing to 1 is the probability that none of them stands there."""
    if not spellings:
        return []
    top = max(0.0, spellings[0].evidence)
    weights = [math.exp(spelling.evidence - top) for spelling in spellings]
    whole = sum(weights) + math.exp(-top)
    shares = [weight / whole for weight in weights]
    first = _calibrated(shares[0], settings)
    return [first, *(share * (1 - first) / max(1e-9, 1 - shares[0]) for share in shares[1:])]


def _calibrated(share: float, settings: SpellSettings) -> float:
    """The winner's share made honest by a logistic curve, which was fitted on photos with known truth."""
    odds = math.log(max(1e-9, share) / max(1e-9, 1 - share))
    bounded = max(-settings.surest, min(settings.surest, odds))
    return 1 / (1 + math.exp(-(settings.slope * bounded + settings.shift)))


@dataclass(frozen=True)
class _Glimpse:
    """A look as compared: word keys with the words as printed, neighbours joined, and what it counts."""

    words: Mapping[str, str]
    joined: tuple[str, ...]
    weight: float


def _glimpse(look: Look, settings: SpellSettings) -> _Glimpse:
    """Tooth notations are left out; neighbours are joined unless one alone is a code: a gap may be read as a blank."""
    words = [word for word in look.words if not parse_teeth(word)]
    keys = {code_key(word): word for word in words if 2 <= len(code_key(word)) <= 2 * LONGEST_CODE}
    pairs = [(a, b) for a, b in pairwise(words) if not is_code(a) and not is_code(b)]
    joined = tuple(code_key(a + b) for a, b in pairs)
    weight = settings.look_counts * (settings.least_weight + (1 - settings.least_weight) * look.confidence)
    return _Glimpse(keys, joined, weight)


def _hypotheses(glimpses: Sequence[_Glimpse], known: Mapping[str, str], settings: SpellSettings) -> dict[str, str]:
    """Codes worth weighing: those read, those one look-alike sign away, and the known codes nearest to them."""
    printed = Counter(item for glimpse in glimpses for item in glimpse.words.items())
    shaped: dict[str, str] = {}
    for (key, word), _ in printed.most_common():
        if is_code(word):
            shaped.setdefault(key, word)
    often = list(shaped)[: settings.most_read]
    chosen = {other: other for key in often for other in _twins_of(key) if is_code(other)}
    chosen.update({key: shaped[key] for key in often})
    read = {text for glimpse in glimpses for text in (*glimpse.words, *glimpse.joined)}
    near = _nearest({text for text in read if len(text) >= SHORTEST_CODE - 1}, known, settings.nearest_known)
    chosen.update({key: known[key] for key in near})
    return chosen


def _twins_of(text: str) -> Iterable[str]:
    for index, sign in enumerate(text):
        for pair in _TWINS:
            if sign in pair:
                yield text[:index] + pair.replace(sign, "", 1) + text[index + 1 :]


def _nearest(read: Iterable[str], known: Mapping[str, str], most: int) -> list[str]:
    """The known codes whose shape is nearest to any word read."""
    folded = {lookalike_key(text) for text in read}
    if not folded:
        return []
    distances = {
        key: min(Levenshtein.distance(lookalike_key(key), text, score_cutoff=4) for text in folded) for key in known
    }
    ranked = sorted((distance, key) for key, distance in distances.items() if distance <= 3)
    return [key for _, key in ranked[:most]]


def _evidence(key: str, glimpses: Sequence[_Glimpse], is_known: bool, settings: SpellSettings) -> float:
    """How much better the code explains the looks than chance does; joined words speak for known codes only."""
    chance = settings.chance_per_sign * len(key)
    total = 0.0
    for glimpse in glimpses:
        texts = (*glimpse.words, *glimpse.joined) if is_known else tuple(glimpse.words)
        cost = min((_cost_or_glued(key, text, settings) for text in texts), default=chance)
        shown = (1 - settings.something_else) * math.exp(-cost) + settings.something_else * math.exp(-chance)
        total += glimpse.weight * (math.log(shown) + chance)
    return total


def _prior(key: str, known: Mapping[str, str], settings: SpellSettings) -> float:
    """Known codes share most of the probability; others are likelier the fewer changes from letters to digits.

    A short list covers less of what may be stamped, so that its codes get no more each than those of a full one.
    """
    if key in known:
        return math.log(settings.known_share / max(len(known), settings.full_list))
    kinds = [sign.isdigit() for sign in key]
    switches = sum(a != b for a, b in pairwise(kinds))
    upside = 0.0 if key[0].isalpha() else 1.0
    other = math.log(1 - settings.known_share) if known else 0.0
    return other - settings.unknown_code - settings.switch * max(0, switches - 1) - upside


def _cost_or_glued(code: str, text: str, settings: SpellSettings) -> float:
    """The cost of a text that may hold the variant's letter right behind the code."""
    whole = _cost(code, text, settings)
    if text[-1:].isalpha() and code[-1:].isdigit():
        return min(whole, settings.glued + _cost(code, text[:-1], settings))
    return whole


@lru_cache(maxsize=200_000)
def _cost(code: str, text: str, settings: SpellSettings) -> float:
    """The least cost of misreading ``code`` as ``text`` (weighted edit distance)."""
    if abs(len(code) - len(text)) > 4:
        return settings.missing * abs(len(code) - len(text))
    row = [settings.missing * i for i in range(len(text) + 1)]
    for i, sign in enumerate(code, 1):
        last, row[0] = row[0], settings.missing * i
        for j, shown in enumerate(text, 1):
            swap = last + _swap(sign, shown, settings)
            last, row[j] = row[j], min(swap, row[j] + settings.missing, row[j - 1] + settings.missing)
    return row[-1]


def _swap(sign: str, shown: str, settings: SpellSettings) -> float:
    if sign == shown:
        return 0.0
    if sign + shown in _TWIN_SET:
        return settings.twin
    return settings.cousin if sign + shown in _COUSIN_SET else settings.other


_TWIN_SET = frozenset(pair for pair in _TWINS) | frozenset(pair[::-1] for pair in _TWINS)
_COUSIN_SET = frozenset(pair for pair in _COUSINS) | frozenset(pair[::-1] for pair in _COUSINS)
