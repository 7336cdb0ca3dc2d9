"""The short ways in which people write limits in a build file → the value in the form of the vocabulary.

``28-32``, ``<=32``, ``>=28``, a lone number, ``52/36``, a list, ``{ low = 28, high = 32 }``. Every function raises
``NotationError`` with one plain clause where a value cannot be taken.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from .claims import plain
from .limits import LIMITS, Form, LimitKey
from .resolved import LimitValue

_DASHES = str.maketrans({"\u2010": "-", "\u2011": "-", "\u2012": "-", "\u2013": "-", "\u2014": "-", "\u2212": "-"})
_UNIT = re.compile(r"\s*(t|teeth|mm|deg|°|g|links|speed|speeds)\s*$", re.IGNORECASE)
_INNER_T = re.compile(r"(?<=\d)\s*T(?=\W)", re.IGNORECASE)
_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_RANGE = re.compile(rf"^({_NUMBER})\s*(?:-|\.\.|to)\s*({_NUMBER})$")
_BOUND = re.compile(rf"^(<=|>=|=<|=>|≤|≥)\s*({_NUMBER})$")
_TEETH_LIST = re.compile(r"^\[?\s*(?:\d{1,2}|\d{1,3}(?:\s*[-/,;\s]\s*\d{1,3})+)\s*\]?$")
_ROOM_BEYOND_PLAUSIBLE = 0.25
"""How far a limit that a person writes may lie beyond what is common, as a share of the bound; common practice."""


class NotationError(ValueError):
    """A value that cannot be taken; the text is a clause without its place."""


def parse_limit(row: LimitKey, raw: object) -> LimitValue:
    """The value of the limit ``row`` as a person wrote it."""
    unit = str(row.unit) if row.unit else None
    if row.form is Form.TEXT:
        return LimitValue(row.key, text=parse_text(row, raw), unit=unit)
    if row.form is Form.ORDERED:
        return parse_teeth(row, raw)
    if row.form is Form.VALUES:
        return LimitValue(row.key, values=_parse_values(row, raw), unit=unit)
    low, high = _parse_bounds(row, raw)
    for number in (low, high):
        if number is not None:
            _object_to_number(row, number)
    if low is not None and high is not None and low > high:
        raise NotationError(f"the lower bound {plain(low)} is above the upper bound {plain(high)}")
    return LimitValue(row.key, low=low, high=high, unit=unit)


def parse_text(row: LimitKey, raw: object) -> str:
    """Words; where the limit has a fixed choice of words, one of these."""
    if isinstance(raw, int) and not isinstance(raw, bool) and not row.choices:
        raw = str(raw)
    if not isinstance(raw, str):
        raise NotationError(f"{raw!r} is not text; write it in quotes, as the document words it")
    words = " ".join(raw.split())
    if not words:
        raise NotationError("the text is empty")
    if row.choices and words.casefold() not in row.choices:
        raise NotationError(f'"{words}" is none of {", ".join(row.choices)}')
    return words.casefold() if row.choices else words


def is_teeth(written: str) -> bool:
    """Whether a string is tooth counts (``11-28``, ``52/36``) rather than a model code: nothing but short numbers."""
    return bool(_TEETH_LIST.match(_bare(written)))


def parse_teeth(row: LimitKey, raw: object) -> LimitValue:
    """Cogs or rings. Two cogs with a dash between them tell the ends only: then ``low`` and ``high``, no ``values``."""
    if isinstance(raw, str):
        bare = _bare(raw)
        if not _TEETH_LIST.match(bare):
            raise NotationError(f'"{raw}" is no list of tooth counts')
        ends = _RANGE.match(bare)
        if row.key == "cogs" and ends:
            low, high = (_object_to_number(row, float(number)) for number in ends.groups())
            if low > high:
                raise NotationError(f'"{raw}" runs from large to small; write the smallest cog first')
            return LimitValue(row.key, low=low, high=high, unit="T")
        raw = [int(number) for number in re.findall(r"\d+", bare)]
    return LimitValue(row.key, values=_in_order(row, _parse_values(row, raw)), unit="T")


def _in_order(row: LimitKey, numbers: tuple[float, ...]) -> tuple[float, ...]:
    if len(set(numbers)) < len(numbers):
        raise NotationError(f"{[plain(n) for n in numbers]} names a tooth count twice")
    return tuple(sorted(numbers, reverse=row.key == "rings"))


def _parse_values(row: LimitKey, raw: object) -> tuple[float, ...]:
    if isinstance(raw, str):
        pieces = [piece for piece in re.split(r"[/,;\s]+", _bare(raw).strip("[] ")) if piece]
        raw = [_parse_number(piece) for piece in pieces]
    if isinstance(raw, Mapping) or not isinstance(raw, Sequence):
        raw = [raw]
    numbers = tuple(_object_to_number(row, _parse_number(value)) for value in raw if value is not None)
    if not numbers:
        raise NotationError("the list is empty")
    if len(numbers) > row.most_values:
        raise NotationError(f"{len(numbers)} numbers are more than the {row.most_values} that any part has")
    return numbers


def _parse_bounds(row: LimitKey, raw: object) -> tuple[float | None, float | None]:
    if isinstance(raw, Mapping):
        return _parse_bound_table(raw)
    if isinstance(raw, Sequence) and not isinstance(raw, str):
        if len(raw) != 2:
            raise NotationError(f'{list(raw)!r} is no range; write it as "28-32"')
        pair = _parse_number(raw[0]), _parse_number(raw[1])
        return _fit_form(row, *pair)
    if isinstance(raw, str):
        bare = _bare(raw)
        if span := _RANGE.match(bare):
            return _fit_form(row, float(span[1]), float(span[2]))
        if bound := _BOUND.match(bare):
            number = float(bound[2])
            return _fit_form(row, None, number) if bound[1] in ("<=", "=<", "≤") else _fit_form(row, number, None)
    number = _parse_number(raw)
    lone = {Form.HIGH: "high", Form.LOW: "low"}.get(row.form, row.lone_bound)
    return (number if lone != "high" else None), (number if lone != "low" else None)


def _parse_bound_table(raw: Mapping[str, Any]) -> tuple[float | None, float | None]:
    if strange := set(raw) - {"low", "high"}:
        raise NotationError(f"a range has low and high, not {', '.join(sorted(map(str, strange)))}")
    low, high = (None if raw.get(key) is None else _parse_number(raw[key]) for key in ("low", "high"))
    if low is None and high is None:
        raise NotationError("the range names no bound")
    return low, high


def _fit_form(row: LimitKey, low: float | None, high: float | None) -> tuple[float | None, float | None]:
    """The bounds, unless the limit is a lone maximum, minimum or exact number that has no such bound."""
    if row.form is Form.HIGH and low is not None:
        raise NotationError(f"{row.key} is a maximum: one number")
    if row.form is Form.LOW and high is not None:
        raise NotationError(f"{row.key} is a minimum: one number")
    if row.form is Form.EXACT and low != high:
        raise NotationError(f"{row.key} is one exact number")
    return low, high


def _parse_number(raw: object) -> float:
    if isinstance(raw, str):
        bare = _bare(raw)
        if not re.fullmatch(_NUMBER, bare):
            bare = bare.replace(",", ".")
        if not re.fullmatch(_NUMBER, bare):
            raise NotationError(f'"{raw}" is no number')
        return float(bare)
    if isinstance(raw, bool) or not isinstance(raw, (int, float)):
        raise NotationError(f"{raw!r} is no number")
    return float(raw)


def _object_to_number(row: LimitKey, number: float) -> float:
    """``number`` again; ``NotationError`` where no such part can have it."""
    shown = plain(number) if math.isfinite(number) else number
    if not math.isfinite(number):
        raise NotationError(f"{shown} is no number that can be measured or counted")
    if row.whole and number != round(number):
        raise NotationError(f"{shown} is not whole, as {'teeth' if row.unit == 'T' else 'counts'} are")
    low, high = bounds_of(row)
    if number < low or number > high:
        raise NotationError(f"{shown} is outside {low:g} to {high:g}, where every {row.key} lies")
    return number


def bounds_of(row: LimitKey) -> tuple[float, float]:
    """The bounds a written number must keep: the plausible ones for teeth on the bike, wider ones for limits."""
    low, high = row.plausible or (0.0, math.inf)
    if row.form is Form.ORDERED:
        return low, high
    return low - _ROOM_BEYOND_PLAUSIBLE * abs(low), high + _ROOM_BEYOND_PLAUSIBLE * abs(high)


def _bare(written: str) -> str:
    return _UNIT.sub("", _INNER_T.sub("", written.translate(_DASHES)).strip())


COGS, RINGS = LIMITS["cogs"], LIMITS["rings"]
