"""Value words + the limit's form → bounds, lists or words with their unit; nothing where they are not understood."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from ..schema.limits import LIMITS, Form, LimitKey, Unit
from .labels import LANGUAGES, analyse
from .marks import is_nothing
from .notation import Token, find_tokens
from .units import UNIT_WORDS


@dataclass(frozen=True)
class Value:
    """A value in the form of its limit; ``unit`` is the one read beside it, ``None`` where none stood there.

    ``certain`` falls below 1 where the notation left room for doubt.
    """

    low: float | None = None
    high: float | None = None
    values: tuple[float, ...] | None = None
    text: str | None = None
    unit: Unit | None = None
    certain: float = 1.0


@lru_cache(maxsize=20_000)
def parse_value(
    text: str, limit: str, bound: str | None = None, languages: tuple[str, ...] = LANGUAGES
) -> Value | None:
    """The value that ``text`` states for ``limit``; ``bound`` is what the label says of a lone number.

    Returns ``None`` where the words are not wholly understood: a number is never picked out of words that could
    change its meaning.
    """
    row = LIMITS[limit]
    if is_nothing(text) or not any(c.isalnum() for c in text):
        return None
    if row.form is Form.TEXT:
        return _parse_words(text, row, languages)
    tokens = find_tokens(text, languages)
    if tokens is None or not any(t.kind == "number" for t in tokens):
        return _parse_count_words(text, row, languages)
    unit, fitting = _unit_of(tokens, row)
    if not fitting:
        return None
    if row.form in (Form.VALUES, Form.ORDERED):
        return _parse_list(tokens, row, unit)
    return _parse_bounds(tokens, row, bound, unit)


def _unit_of(tokens: Iterable[Token], row: LimitKey) -> tuple[Unit | None, bool]:
    """The unit read (``None`` where none stands there), and whether it is one that the limit can have."""
    read: Unit | None = None
    for token in tokens:
        if token.kind == "foreign" or (token.kind == "speed" and row.key not in ("rear_speeds", "ring_count")):
            return None, False
        if token.kind == "filler" and row.key in _COG_KEYS and _speaks_of_rings(token.text):
            return None, False
        if token.kind == "unit":
            unit = UNIT_WORDS.get(token.text, Unit.DEGREE)
            if unit != row.unit and not (row.unit is Unit.COUNT and token.text in ("pcs", "l", "link", "links")):
                return None, False
            read = unit
    return read, True


_COG_KEYS = frozenset({"largest_cog", "smallest_cog", "cogs"})


def _speaks_of_rings(word: str) -> bool:
    names = analyse(word).names("concept")
    return "ring" in names and "cog" not in names


def _numbers(tokens: Iterable[Token]) -> list[float]:
    return [t.number for t in tokens if t.kind == "number"]


def _parse_bounds(tokens: list[Token], row: LimitKey, bound: str | None, unit: Unit | None) -> Value | None:
    tokens = [t for t in tokens if t.kind not in ("unit", "filler")]
    numbers = _numbers(tokens)
    kinds = [t.kind for t in tokens]
    if len(numbers) == 1:
        return _parse_one(tokens, numbers[0], row, bound, unit)
    if len(numbers) != 2:
        return None
    between = kinds[kinds.index("number") + 1 : len(kinds) - kinds[::-1].index("number") - 1]
    if {"max", "min"} <= set(kinds):
        low_high = _bounds_by_word(tokens)
    elif kinds.count("sign") == 2:
        low_high = _bounds_by_word(_signs_as_words(tokens))
    elif "max" in kinds or "min" in kinds or "sign" in kinds:
        return None
    else:
        joined = {"dash", "to", "dots", "slash", "or"} if row.form is Form.RANGE else {"dash", "to", "dots"}
        if not between or not set(between) <= joined or kinds.count("number") != 2 or len(kinds) != len(between) + 2:
            return None
        low_high = (min(numbers), max(numbers))
    if low_high is None or row.form not in (Form.RANGE, Form.EXACT_OR_RANGE):
        return None
    low, high = low_high
    return (
        Value(low=low, high=high, unit=unit, certain=0.9 if set(between) == {"slash"} else 1.0) if low <= high else None
    )


def _bounds_by_word(tokens: list[Token]) -> tuple[float, float] | None:
    """``"34T max / 28T min"``, ``"max. 34 min. 28"``: each bound word belongs to the number on its own side."""
    order = [t.kind for t in tokens if t.kind in ("max", "min", "number")]
    numbers = _numbers(tokens)
    if order in (["number", "max", "number", "min"], ["max", "number", "min", "number"]):
        return (numbers[1], numbers[0])
    if order in (["number", "min", "number", "max"], ["min", "number", "max", "number"]):
        return (numbers[0], numbers[1])
    return None


def _signs_as_words(tokens: list[Token]) -> list[Token]:
    """``"≥ 28, ≤ 34"`` as bounds in words; signs that leave the number out say nothing."""
    words = {"≤": "max", "<=": "max", "≥": "min", ">=": "min"}
    return [Token(words.get(t.text, "other"), t.text) if t.kind == "sign" else t for t in tokens]


def _parse_one(tokens: list[Token], number: float, row: LimitKey, bound: str | None, unit: Unit | None) -> Value | None:
    kinds = {t.kind for t in tokens}
    sign = next((t.text for t in tokens if t.kind == "sign"), "")
    negative = any(t.kind == "dash" for t in tokens)
    if kinds - {"number", "max", "min", "sign", "dash", "dots"} or "dots" in kinds:
        return None
    if row.key in ("capacity_change", "largest_cog_gain"):
        return Value(low=-number if negative else number, high=-number if negative else number, unit=unit)
    if negative or sign in ("+", "±", "+/-") or {"max", "min"} <= kinds:
        return None
    said = "high" if "max" in kinds or sign in ("≤", "<=") else "low" if "min" in kinds or sign in ("≥", ">=") else None
    if sign in ("<", ">"):
        return None
    if row.form is Form.HIGH:
        return None if "low" in (said, bound) else Value(high=number, unit=unit)
    if row.form is Form.LOW:
        return None if "high" in (said, bound) else Value(low=number, unit=unit)
    if row.form is Form.EXACT or (row.form is Form.EXACT_OR_RANGE and said is None):
        return None if said else Value(low=number, high=number, unit=unit)
    side = said or bound
    if said and bound and said != bound:
        return None
    side = side or row.lone_bound
    if side is None:
        return Value(low=number, high=number, unit=unit, certain=0.8)
    return Value(low=number, unit=unit) if side == "low" else Value(high=number, unit=unit)


_LARGEST_SINGLE_COG = 24
"""Beyond it one cog alone is no single-speed freewheel but the end of a longer list; common practice."""


def _parse_list(tokens: list[Token], row: LimitKey, unit: Unit | None) -> Value | None:
    kinds = [t.kind for t in tokens if t.kind not in ("unit", "filler")]
    if "sign" in kinds or "max" in kinds or "min" in kinds:
        return None
    if "times" in kinds:
        return _parse_times(tokens, row, unit)
    numbers = _numbers(tokens)
    bare = [k for k in kinds if k != "speed"]
    between = bare[1:-1]
    if bare[:1] != ["number"] or bare[-1] != "number":
        return None
    if not _alternate(bare):
        return _parse_spaced(bare, numbers, row, unit)
    if row.form is Form.ORDERED:
        if "to" in between or "dots" in between or (row.key == "cogs" and 1 < len(numbers) < 4):
            return None
        if row.key == "cogs" and len(numbers) == 1 and numbers[0] > _LARGEST_SINGLE_COG:
            return None
        return Value(values=tuple(numbers), unit=unit)
    if len(numbers) == 2 and set(between) <= {"dash", "to", "dots"} and row.whole and row.unit is Unit.COUNT:
        low, high = sorted(numbers)
        return Value(values=tuple(float(n) for n in range(int(low), int(high) + 1)), unit=unit, certain=0.95)
    if {"to", "dots"} & set(between) or ("dash" in between and len(numbers) == 2):
        return None
    return Value(values=tuple(numbers), unit=unit)


_LEAST_SPACED_COGS = 5
_SMALLEST_RING = 20
"""Of sets of rings; smaller numbers beside each other may count something else. Common practice, no source."""


def _parse_spaced(kinds: list[str], numbers: list[float], row: LimitKey, unit: Unit | None) -> Value | None:
    """``11 12 13 15 17``, ``52 39 30``: blanks between the teeth of a set that only grows or only shrinks."""
    falling = all(a > b for a, b in pairwise(numbers))
    rising = all(a < b for a, b in pairwise(numbers))
    if row.key == "cogs" and (rising or falling) and len(numbers) >= _LEAST_SPACED_COGS:
        spaced = set(kinds) <= {"number", "dash", "comma", "slash"}
    else:
        rings = row.key == "rings" and len(numbers) <= 3 and min(numbers) >= _SMALLEST_RING
        spaced = rings and falling and set(kinds) == {"number"}
    return Value(values=tuple(numbers), unit=unit, certain=0.95) if spaced else None


def _alternate(kinds: list[str]) -> bool:
    """Numbers and single joints in turn; a comma may stand before "or"."""
    last = "joint"
    for kind in kinds:
        now = "number" if kind == "number" else "joint"
        if now == last and not (now == "joint" and kind == "or"):
            return False
        last = now
    return True


def _parse_times(tokens: list[Token], row: LimitKey, unit: Unit | None) -> Value | None:
    """``2x``, ``1x/2x`` are rings; ``2x10``, ``2 × 11-speed`` are rings × cogs; ``10x`` may be cogs."""
    items = [(t.kind, t.number) for t in tokens if t.kind not in ("unit", "filler", "speed")]
    kinds = "".join({"number": "n", "times": "x"}.get(k, "/") for k, _ in items)
    numbers = [n for k, n in items if k == "number"]
    if re.fullmatch(r"nx(/nx)*|n(/n)*x", kinds):
        if row.key == "ring_count" or (row.key == "rear_speeds" and min(numbers) > 3):
            return Value(values=tuple(numbers), unit=unit)
        return None
    if row.key == "rings":
        set_of_rings = re.fullmatch(r"nxn(xn)?", kinds) and min(numbers) >= _SMALLEST_RING
        return Value(values=tuple(numbers), unit=unit) if set_of_rings else None
    if re.fullmatch(r"nxn(/n)*", kinds):
        chosen = numbers[:1] if row.key == "ring_count" else numbers[1:]
    elif re.fullmatch(r"nxn(/nxn)+", kinds):
        chosen = numbers[0::2] if row.key == "ring_count" else numbers[1::2]
    else:
        return None
    if row.key not in ("ring_count", "rear_speeds"):
        return None
    return Value(values=tuple(dict.fromkeys(chosen)), unit=unit)


def _parse_count_words(text: str, row: LimitKey, languages: tuple[str, ...]) -> Value | None:
    """``"double"``, ``"2-fach / 3-fach"`` in words: numbers of rings."""
    if row.key != "ring_count":
        return None
    found: list[float] = []
    for term in analyse(text, languages).terms:
        numbers = {name.removeprefix("ring_count.") for name in term.names("answer") if name.startswith("ring_count.")}
        if len(numbers) == 1:
            found.append(float(numbers.pop()))
        elif not term.meanings:
            return None
    return Value(values=tuple(dict.fromkeys(found))) if found else None


def _parse_words(text: str, row: LimitKey, languages: tuple[str, ...]) -> Value | None:
    text = " ".join(text.split())
    if row.choices:
        return _parse_choice(text, row, languages)
    if row.key == "firmware_min":
        found = re.findall(r"\d+(?:\.\d+)+", text)
        return Value(text=found[0]) if len(found) == 1 else None
    if len(text) > 60 or not re.search(r"\w", text):
        return None
    if row.key == "replaces":
        return Value(text=text) if re.search(r"\d", text) and len(text.split()) <= 4 else None
    if row.key == "shift_family" and not _may_be_family(text, languages):
        return None
    return Value(text=text, certain=0.97 if len(text.split()) <= 4 else 0.8)


_MOST_FAMILY_WORDS = 5


def _may_be_family(text: str, languages: tuple[str, ...]) -> bool:
    """Whether words may be a maker's own name: not a number alone, nor just the name of a part."""
    terms = analyse(text, languages).terms
    tokens = find_tokens(text, languages)
    stated = tokens is not None and any(t.kind == "number" for t in tokens)
    short = len(text.split()) <= _MOST_FAMILY_WORDS
    return short and any(c.isalpha() for c in text) and not stated and not all(t.names("part") for t in terms)


def _parse_choice(text: str, row: LimitKey, languages: tuple[str, ...]) -> Value | None:
    """One of the vocabulary's words; the earliest and longest row of words decides, two different ones are unsure."""
    found: list[tuple[str, float]] = []
    for term in analyse(text, languages).terms:
        choices = {n.removeprefix(f"{row.key}.") for n in term.names("answer") if n.startswith(f"{row.key}.")}
        if len(choices) == 1:
            found.append((choices.pop(), term.quality))
        elif len(choices) > 1:
            return None
    if len({choice for choice, _ in found}) != 1:
        return None
    return Value(text=found[0][0], certain=min(q for _, q in found))


def plausible(limit: str, low: float | None, high: float | None, values: tuple[float, ...] | None) -> bool:
    """Whether every number lies within the limit's plausible bounds and lists are no longer than any such part has."""
    row = LIMITS[limit]
    numbers = [n for n in (low, high, *(values or ())) if n is not None]
    if row.whole and any(n != int(n) for n in numbers):
        return False
    if len(values or ()) > row.most_values:
        return False
    return row.plausible is None or all(row.plausible[0] <= n <= row.plausible[1] for n in numbers)


RINGS_BY_COGS_LABELS = frozenset({"ring_count", "rear_speeds", "cogs", "rings"})
"""Limits whose labels may stand over ``2x11``, which states two limits at once."""
_RINGS_BY_COGS = re.compile(
    r"^[1-3]\s*[x×]\s*\d{1,2}(?:\s*[/,]\s*(?:[1-3]\s*[x×]\s*)?\d{1,2})*\s*[-–]?\s*[^\W\d]*$", re.IGNORECASE
)


def is_rings_by_cogs(text: str) -> bool:
    """Whether ``text`` is a number of rings times a number of cogs, as in ``2x11``."""
    return bool(_RINGS_BY_COGS.match(text.strip()))
