"""Figures of stamped codes read from photos: what is right, how sure, and which word of a plain engine is its answer.

Codes are compared without case, spaces and hyphens. ``Truth`` rows are those of a ``truth.jsonl``: ``file``,
``code`` (null where none is legible), ``process``, ``legibility``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rapidfuzz.distance import Levenshtein

Truth = Mapping[str, Any]
SURE = 0.9
LEGIBLE = ("easy", "medium")
_FEWEST_SIGNS, _MOST_SIGNS = 4, 14
_AROUND_HYPHEN = re.compile(r"\s*-\s*")
_TEETH = re.compile(r"\d{2}T?|\d{2}[-/]\d{2}T?|\d{2}T")


@dataclass(frozen=True)
class Answer:
    """What an engine says of one photo: a code or none, and how sure it is."""

    code: str | None
    confidence: float


NOTHING = Answer(None, 0.0)


def key_of(code: str | None) -> str:
    """A code without case, spaces and hyphens."""
    return "".join(sign for sign in (code or "").upper() if sign.isalnum())


def is_code_shaped(word: str) -> bool:
    """Whether a word could be a model code: 4 to 14 signs, letters and digits both, and no tooth counts."""
    key = key_of(word)
    if not _FEWEST_SIGNS <= len(key) <= _MOST_SIGNS or _TEETH.fullmatch(word.upper()):
        return False
    return key.isascii() and any(c.isdigit() for c in key) and any(c.isalpha() for c in key)


def choose(lines: Sequence[tuple[str, float]], known: Sequence[str] = ()) -> Answer:
    """An engine's texts with their confidence → the code they name.

    The surest word of a code's shape; blanks around a hyphen do not part words.
    With ``known`` codes, a word no more than one sign from exactly one of them comes first, and is that code.
    """
    words = [word for line in lines for word in _words(*line)]
    matched = [(Answer(code, sure), near) for text, sure in words for code, near in _nearest(text, known)]
    if matched:
        return min(matched, key=lambda pair: (pair[1], -pair[0].confidence))[0]
    shaped = [Answer(text, sure) for text, sure in words if is_code_shaped(text)]
    return max(shaped, key=lambda answer: answer.confidence, default=NOTHING)


def _words(text: str, sure: float) -> list[tuple[str, float]]:
    return [(word, sure) for word in _AROUND_HYPHEN.sub("-", text).split()]


def _nearest(text: str, known: Sequence[str]) -> list[tuple[str, int]]:
    """The one known code nearest to a text, if it is no more than one sign away and no other is as near."""
    key = key_of(text)
    if len(key) < _FEWEST_SIGNS:
        return []
    near = [(code, Levenshtein.distance(key, key_of(code), score_cutoff=1)) for code in known]
    least = min((distance for _, distance in near), default=2)
    best = [(code, distance) for code, distance in near if distance == least]
    return best if least <= 1 and len(best) == 1 else []


def is_right(truth: Truth, answer: Answer) -> bool:
    """Whether the code, or that there is none, is right."""
    return key_of(truth["code"]) == key_of(answer.code)


def figures(pairs: Sequence[tuple[Truth, Answer]]) -> dict[str, float | int | None]:
    """Shares over photos with their answers; ``None`` where there is nothing to share.

    ``exact``: codes read exactly, of photos with a code; ``exact_legible``: of the easy and medium ones; ``cer``: wrong
    signs per true sign, never more than all of a code; ``null_accuracy``: no code given, of photos without one;
    ``sure``: answers at 0.9 or more, ``sure_wrong`` the wrong ones of them; ``ece``: mean gap between confidence and
    share right over ten bins, of photos that were given a code.
    """
    coded = [(t, a) for t, a in pairs if t["code"]]
    signs = sum(len(key_of(t["code"])) for t, _ in coded)
    wrong = sum(min(len(key_of(t["code"])), Levenshtein.distance(key_of(t["code"]), key_of(a.code))) for t, a in coded)
    sure = [(t, a) for t, a in pairs if a.code and a.confidence >= SURE]
    return {
        "photos": len(pairs),
        "with_code": len(coded),
        "exact": share(is_right(t, a) for t, a in coded),
        "exact_legible": share(is_right(t, a) for t, a in coded if t["legibility"] in LEGIBLE),
        "cer": round(wrong / signs, 4) if signs else None,
        "null_accuracy": share(a.code is None for t, a in pairs if not t["code"]),
        "sure": len(sure),
        "sure_wrong": share(not is_right(t, a) for t, a in sure),
        "ece": calibration_error(pairs),
    }


def share(values: Iterable[bool]) -> float | None:
    """Share of true values."""
    kept = list(values)
    return round(sum(kept) / len(kept), 4) if kept else None


def calibration_error(pairs: Sequence[tuple[Truth, Answer]], bins: int = 10) -> float | None:
    """The expected calibration error over bins of equal width (Naeini, Cooper and Hauskrecht, 2015)."""
    given = [(min(1.0, max(0.0, a.confidence)), is_right(t, a)) for t, a in pairs if a.code]
    if not given:
        return None
    gaps: list[float] = [0.0] * bins
    for sure, right in given:
        gaps[min(bins - 1, int(sure * bins))] += sure - right
    return round(sum(abs(gap) for gap in gaps) / len(given), 4)


def exact_by(pairs: Sequence[tuple[Truth, Answer]], kind: Callable[[Truth], str]) -> dict[str, tuple[float, int]]:
    """Share read exactly, and count, for each kind of photo with a code."""
    parts: dict[str, list[bool]] = {}
    for truth, answer in pairs:
        if truth["code"]:
            parts.setdefault(kind(truth), []).append(is_right(truth, answer))
    return {name: (round(sum(oks) / len(oks), 4), len(oks)) for name, oks in sorted(parts.items())}
