"""Words beside a code → tooth counts, the variant stamped apart; and which words look like a model code at all."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from .recognise import Look

_PAIR = re.compile(r"^([0-9OIBSZG]{2})[-/.]([0-9OIBSZG]{2})(T?)$")
_LONE = re.compile(r"^([0-9OIBSZG]{2})T$")
_AS_DIGITS = str.maketrans({"O": "0", "I": "1", "B": "8", "S": "5", "Z": "2", "G": "6"})
_CODE = re.compile(r"^(?=.*[A-Z])(?=.*[0-9])[A-Z0-9]+(-[A-Z0-9]+)?$")
_VARIANT = re.compile(r"^([A-Z]|V[0-9])$")
_FEWEST, _MOST = 9, 64
SHORTEST_CODE, LONGEST_CODE = 4, 10


def parse_teeth(word: str) -> tuple[int, ...]:
    """``"50-34T"`` → (50, 34), ``"11-28"`` → (11, 28), ``"52T"`` → (52,); () where it is no tooth notation.

    The bounds of 9 and 64 teeth are common practice, without a source. A pair is either rings, larger first, or end
    cogs, smaller first and the smaller at most 15.
    """
    lone = _LONE.match(word)
    if lone:
        count = int(lone[1].translate(_AS_DIGITS))
        return (count,) if _FEWEST <= count <= _MOST and _mostly_digits(lone[1]) else ()
    pair = _PAIR.match(word)
    if not pair or not _mostly_digits(pair[1] + pair[2]):
        return ()
    first, second = int(pair[1].translate(_AS_DIGITS)), int(pair[2].translate(_AS_DIGITS))
    rings = _MOST >= first > second >= 18
    cogs = _FEWEST <= first <= 15 and 17 <= second <= _MOST
    return (first, second) if rings or cogs else ()


def _mostly_digits(text: str) -> bool:
    return 2 * sum(sign.isdigit() for sign in text) >= len(text)


def is_code(word: str) -> bool:
    """Whether a word has the shape of a model code: letters and digits, at most one hyphen, no tooth notation."""
    signs = sum(sign.isalnum() for sign in word)
    return SHORTEST_CODE <= signs <= LONGEST_CODE and bool(_CODE.match(word)) and not parse_teeth(word)


def find_teeth(looks: Sequence[Look], least_share: float = 0.4) -> tuple[int, ...]:
    """The tooth notation that most looks at one line agree on, () where fewer than ``least_share`` of them do."""
    votes: Counter[tuple[int, ...]] = Counter()
    for look in looks:
        found = next((teeth for teeth in map(parse_teeth, look.words) if teeth), ())
        if found:
            votes[found] += 1
    if not votes:
        return ()
    best, count = votes.most_common(1)[0]
    return best if count >= max(2, least_share * len(looks)) else ()


def find_variant(looks: Sequence[Look], code: str, nearness: float = 2) -> str | None:
    """The letter or version stamped apart behind ``code``, None where most looks that show the code show none."""
    bare = code.replace("-", "")
    votes: Counter[str | None] = Counter()
    for look in looks:
        texts = [word.replace("-", "") for word in look.words]
        at = next((i for i, text in enumerate(texts) if _differences(text, bare) <= nearness), None)
        if at is None:
            continue
        glued = texts[at][-1:] if len(texts[at]) == len(bare) + 1 and texts[at][:-1] == bare else ""
        follower = glued or (texts[at + 1] if at + 1 < len(texts) else "")
        votes[follower if _VARIANT.match(follower) else None] += 1
    if not votes:
        return None
    return max(votes, key=lambda variant: votes[variant])


def _differences(text: str, other: str) -> int:
    """Signs that differ, one more or less at the end included."""
    if abs(len(text) - len(other)) > 1:
        return 99
    return sum(a != b for a, b in zip(text, other, strict=False)) + abs(len(text) - len(other))
