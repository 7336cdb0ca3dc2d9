"""Values → words: how a limit's value is shown to people and written in flat tables."""

from __future__ import annotations

import math
import unicodedata

from ..schema.claims import Claim, plain
from ..schema.limits import LIMITS, Form
from ..schema.resolved import LimitValue

NOT_READ = "(not read)"


def bare_value(value: Claim | LimitValue) -> str:
    """The value without its unit, as a build file takes it: ``37``, ``28-32``, ``<=32``, ``11 12 13``.

    >>> bare_value(LimitValue("largest_cog", low=28, high=32))
    '28-32'
    >>> bare_value(LimitValue("largest_cog", high=32))
    '<=32'
    """
    if value.text is not None:
        return value.text
    if value.values is not None:
        return " ".join(str(plain(number)) for number in value.values)
    low, high = plain(value.low), plain(value.high)
    if low is not None and high is not None:
        return str(low) if low == high else f"{low}-{high}"
    if low is None and high is None:
        return ""
    return _one_bound(value.limit, low, high)


def _one_bound(limit: str, low: float | None, high: float | None) -> str:
    row = LIMITS.get(limit)
    if row and row.form in (Form.HIGH, Form.LOW):
        return str(high if low is None else low)
    return f"<={high}" if low is None else f">={low}"


def show_value(value: Claim | LimitValue) -> str:
    """The value with its unit, as people read it: ``at most 37 T``, ``28 to 32 T``, ``11, 12, 13 T``."""
    unit = f" {value.unit}" if value.unit and value.unit != "count" else ""
    if value.text is not None:
        return value.text
    if value.values is not None:
        return ", ".join(str(plain(number)) for number in value.values) + unit
    low, high = plain(value.low), plain(value.high)
    if low is not None and high is not None:
        return (str(low) if low == high else f"{low} to {high}") + unit
    if low is None and high is None:
        return NOT_READ
    return (f"at most {high}" if low is None else f"at least {low}") + unit


def show_condition(value: Claim | LimitValue) -> str:
    """The condition behind a value: `` (only with ring count 2)``; empty where there is none."""
    if not value.condition:
        return ""
    words = ", ".join(f"{key.replace('_', ' ')} {_shown(v)}" for key, v in sorted(value.condition.items()))
    return f" (only with {words})"


def _shown(value: float | int | str) -> str:
    return value if isinstance(value, str) else str(plain(value))


SURE_ENOUGH = 0.9
"""Least confidence at which a photo stands for a part without asking back."""
_SURE_WORDS = ((SURE_ENOUGH, "sure"), (0.7, "likely"), (0.5, "unsure"), (0.0, "very unsure"))


def sure_words(confidence: float) -> str:
    """How sure a reading of a photo is, in a word and as a number.

    >>> sure_words(0.97), sure_words(0.62)
    ('sure, 97%', 'unsure, 62%')
    """
    word = next(word for least, word in _SURE_WORDS if confidence >= least)
    return f"{word}, {min(99, math.floor(100 * confidence + 1e-9))}%"


_SPELT_OUT = {
    "ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "đ": "d",
    "Đ": "D", "–": "-", "—": "-", "−": "-", "„": '"', "“": '"', "”": '"', "‘": "'", "’": "'", "»": '"', "«": '"',
    "→": ">", "≤": "<=", "≥": ">=",
}  # fmt: skip


def drawable(text: str) -> str:
    """Words as the letters of captions can draw them: accents left out, since the font has plain letters only.

    >>> drawable("Größe – Ü")
    'Grosse - U'
    """
    bare = unicodedata.normalize("NFKD", unicodedata.normalize("NFC", text).translate(str.maketrans(_SPELT_OUT)))
    return "".join(sign if sign.isascii() or sign in "°·" else "?" for sign in bare if not unicodedata.combining(sign))
