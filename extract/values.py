"""Value words + the limit's form → bounds, lists or words with their unit; or nothing, where they are not understood."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from ..schema.limits import LIMITS, Form, LimitKey, Unit
from .labels import LANGUAGES, analyse, fold, load_lexicon
from .units import SPEED_WORDS, UNIT_WORDS

_DASHES = "\\-–—−‐‑‒―~〜∼"
_NOTHING = re.compile(rf"^[{_DASHES}\s./·•x×✗✕✘*]*$|^n\.?\s?/?\s?[av]\.?$", re.IGNORECASE)
_ABBREVIATED_NOTHING = re.compile(
    r"^(?:n\.?\s?[/.]?\s?[advbc]\.?|n\.?\s?v\.?\s?t\.?|k\.?\s?a\.?|s\.?\s?o\.?|t\.?b\.?[acd]\.?|n\.?\s?p\.?)$", re.IGNORECASE
)
_NOTHING_WORDS = frozenset(
    "na nvt none keine kein keines entfallt aucun aucune neant nessuno nessuna ninguno ninguna geen tbd unknown "
    "unbekannt inconnu".split()
)
_MARK = re.compile(r"\^\{(?P<mark>[^}]*)\}")
_FOREIGN_UNITS = frozenset('nm kg cm m km h v w ah mah % € eur usd pcs bar psi in inch " years months days'.split())
_TOKEN = re.compile(
    r"(?P<number>\d+(?:[.,]\d+)*)|(?P<sign><=|>=|≤|≥|<|>|\+/-|±|\+(?=\s*\d))|(?P<dots>\.{2,3}|…)|"
    r"(?P<dash>[-–—−‐‑‒―~〜∼])|(?P<slash>/)|(?P<comma>[,;·•|&+])|(?P<times>[x×](?![a-z]))|"
    r"(?P<word>[^\W\d_]+\.?|[°º\"%€])|(?P<bracket>[()\[\]])",
    re.IGNORECASE,
)


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


@dataclass(frozen=True)
class MarkedText:
    """A part of a cell's words, with the footnote marks that stand at it. ``inside`` says that it stood in brackets."""

    text: str
    marks: tuple[str, ...] = ()
    inside: bool = False


def is_nothing(text: str) -> bool:
    """Whether a cell says that there is no value: empty, a dash, n/a."""
    bare = _MARK.sub("", text).strip()
    return bool(_NOTHING.match(bare)) or bool(_ABBREVIATED_NOTHING.match(bare)) or fold(bare) in _NOTHING_WORDS


def split_marked(text: str) -> tuple[MarkedText, ...]:
    """A cell's words apart by footnote marks: ``"39 (35^{2})"`` → ``39`` without and ``35`` with mark 2.

    Raised words come in as ``^{…}``; asterisks and daggers count as marks wherever they stand.
    """
    runs = re.split(r"(\^\{[^}]*\})", text)
    text = "".join(run if run.startswith("^{") else _BARE_MARK.sub(lambda m: "^{" + _plain_mark(m[1]) + "}", run)
                   for run in runs)  # fmt: skip
    pieces: list[MarkedText] = []
    bracket = re.compile(r"[(\[]([^()\[\]]*\^\{[^}]*\}[^()\[\]]*)[)\]]")
    for found in bracket.finditer(text):
        pieces.append(_marked(found.group(1), True))
    outer = bracket.sub(" ", text)
    if pieces or _MARK.search(outer):
        return tuple(p for p in (_marked(outer, False), *pieces) if p.text)
    return (MarkedText(text.strip()),)


_BARE_MARK = re.compile(r"(\*+|[†‡§]|(?<=\w)[¹²³⁴⁵⁶⁷⁸⁹ᵃᵇᶜᵈ]|(?<=[a-zA-Z\s])\d\)$)")


def _plain_mark(mark: str) -> str:
    return mark.rstrip(")").translate(str.maketrans("¹²³⁴⁵⁶⁷⁸⁹ᵃᵇᶜᵈ", "123456789abcd"))


def _marked(text: str, inside: bool) -> MarkedText:
    marks = tuple(m.group("mark").strip(" )(.,") for m in _MARK.finditer(text))
    return MarkedText(_MARK.sub(" ", text).strip(), tuple(m for m in marks if m), inside)


@lru_cache(maxsize=20_000)
def parse_value(
    text: str, limit: str, bound: str | None = None, languages: tuple[str, ...] = LANGUAGES
) -> Value | None:
    """The value that ``text`` states for ``limit``; ``bound`` is what the label says of a lone number.

    Returns ``None`` where the words are not wholly understood: a number is never picked out of words that could
    change its meaning.
    """
    row = LIMITS[limit]
    if is_nothing(text):
        return None
    if row.form is Form.TEXT:
        return _parse_words(text, row, languages)
    tokens = _tokens(text, languages)
    if tokens is None or not any(t.kind == "number" for t in tokens):
        return _parse_count_words(text, row, languages)
    unit = _unit_of(tokens, row)
    if unit is False:
        return None
    if row.form in (Form.VALUES, Form.ORDERED):
        return _parse_list(tokens, row, unit)
    return _parse_bounds(tokens, row, bound, unit)


@dataclass(frozen=True)
class _Token:
    kind: str
    text: str
    number: float = 0.0


def _tokens(text: str, languages: tuple[str, ...]) -> list[_Token] | None:
    """Tokens of a number notation, or ``None`` where a word has no place in one."""
    tokens: list[_Token] = []
    at = 0
    text = _with_short_bounds(text.strip().rstrip("."), languages)
    for found in _TOKEN.finditer(text):
        if text[at : found.start()].strip(" .:'’\u00a0"):
            return None
        at = found.end()
        kind, words = found.lastgroup or "", found.group()
        if kind == "number":
            tokens.extend(_number_tokens(words))
        elif kind == "word":
            token = _word_token(words, languages)
            if token is None:
                return None
            tokens.append(token)
        elif kind != "bracket":
            tokens.append(_Token(kind, words))
    if text[at:].strip(" .:'’"):
        return None
    tokens = [_between_numbers(t, tokens[n - 1] if n else None, tokens[n + 1 :]) for n, t in enumerate(tokens)]
    return [t for t, after in zip(tokens, [*tokens[1:], None], strict=True)
            if not (t.kind == "dash" and after and after.kind in ("speed", "unit"))]  # fmt: skip


def _between_numbers(token: _Token, before: _Token | None, following: list[_Token]) -> _Token:
    """A word that can say both "to" and "up to" says "to" between two numbers."""
    joint = token.kind == "max" and token.text in _TO_OR_UP_TO and before is not None and before.kind in ("number", "unit")
    return _Token("to", token.text) if joint and following and following[0].kind == "number" else token


_TO_OR_UP_TO = frozenset({"tot", "bis", "a", "hasta", "fino"})


def _with_short_bounds(text: str, languages: tuple[str, ...]) -> str:
    """``"up to 20 teeth"`` → ``"max 20 teeth"``: bounds of several words in one word."""
    if text.count(" ") < 2:
        return text
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return _bound_phrases(languages).sub(lambda m: "max" if m.lastgroup == "high" else "min", plain)


@lru_cache(maxsize=64)
def _bound_phrases(languages: tuple[str, ...]) -> re.Pattern[str]:
    sides: dict[str, list[str]] = {"high": [], "low": []}
    for row, meanings in load_lexicon(languages, True).rows.items():
        for meaning in meanings:
            if len(row) > 1 and row[-1] not in ("than", "als", "de", "di", "dan"):
                sides[meaning.name.split("_")[0]].append(r"\s+".join(map(re.escape, row)))
    groups = [f"(?P<{side}>{'|'.join(sorted(rows, key=len, reverse=True)) or '(?!)'})" for side, rows in sides.items()]
    return re.compile(rf"\b(?:{'|'.join(groups)})\b", re.IGNORECASE)


def _number_tokens(words: str) -> list[_Token]:
    """``"172,5"`` is one number, ``"11,13,15"`` are three with commas between."""
    parts = re.split(r"[.,]", words)
    if len(parts) == 1:
        return [_Token("number", words, float(words))]
    if len(parts) == 2 and (len(parts[1]) <= 2 and not ("," in words and len(parts[0]) == len(parts[1]) == 2)):
        return [_Token("number", words, float(".".join(parts)))]
    if len(parts) == 2 and len(parts[1]) == 3 and len(parts[0]) <= 2:
        return [_Token("number", words, float("".join(parts)))]
    tokens: list[_Token] = []
    for part in parts:
        tokens += [_Token("comma", ",")] if tokens else []
        tokens.append(_Token("number", part, float(part)))
    return tokens


def _word_token(words: str, languages: tuple[str, ...]) -> _Token | None:
    bare = fold(words) or words
    if bare in ("°", "º") or words in "°º":
        return _Token("unit", "°")
    if bare in UNIT_WORDS and bare not in SPEED_WORDS:
        return _Token("unit", bare)
    if bare in _FOREIGN_UNITS and bare not in SPEED_WORDS:
        return _Token("foreign", bare)
    names = {m.name for term in analyse(bare, languages).terms for m in term.meanings}
    for kind in ("max", "min", "to", "or"):
        if kind in names:
            return _Token(kind, bare)
    if bare in SPEED_WORDS or "speed" in names:
        return _Token("speed", bare)
    if bare in UNIT_WORDS:
        return _Token("unit", bare)
    if names & {"ring", "cog", "teeth", "links", "bolt", "number", "size", "diameter", "gain"}:
        return _Token("filler", bare)
    return None


def _unit_of(tokens: Iterable[_Token], row: LimitKey) -> Unit | bool | None:
    """The unit read, ``None`` where none stands there, ``False`` where it is not the limit's."""
    read: Unit | None = None
    for token in tokens:
        if token.kind == "foreign" or (token.kind == "speed" and row.key not in ("rear_speeds", "ring_count")):
            return False
        if token.kind == "unit":
            unit = UNIT_WORDS.get(token.text, Unit.DEGREE)
            if unit != row.unit and not (row.unit is Unit.COUNT and token.text in ("pcs", "l", "link", "links")):
                return False
            read = unit
    return read


def _numbers(tokens: Iterable[_Token]) -> list[float]:
    return [t.number for t in tokens if t.kind == "number"]


def _parse_bounds(tokens: list[_Token], row: LimitKey, bound: str | None, unit: Unit | bool | None) -> Value | None:
    unit = unit or None
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


def _bounds_by_word(tokens: list[_Token]) -> tuple[float, float] | None:
    """``"34T max / 28T min"``, ``"max. 34 min. 28"``: each bound word belongs to the number on its own side."""
    order = [t.kind for t in tokens if t.kind in ("max", "min", "number")]
    numbers = _numbers(tokens)
    if order in (["number", "max", "number", "min"], ["max", "number", "min", "number"]):
        return (numbers[1], numbers[0])
    if order in (["number", "min", "number", "max"], ["min", "number", "max", "number"]):
        return (numbers[0], numbers[1])
    return None


def _parse_one(
    tokens: list[_Token], number: float, row: LimitKey, bound: str | None, unit: Unit | None
) -> Value | None:
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
        return None if said == "low" else Value(high=number, unit=unit)
    if row.form is Form.LOW:
        return None if said == "high" else Value(low=number, unit=unit)
    if row.form is Form.EXACT or (row.form is Form.EXACT_OR_RANGE and said is None):
        return None if said else Value(low=number, high=number, unit=unit)
    side = said or bound
    if said and bound and said != bound:
        return None
    side = side or row.lone_bound
    if side is None:
        return Value(low=number, high=number, unit=unit, certain=0.8)
    return Value(low=number, unit=unit) if side == "low" else Value(high=number, unit=unit)


def _parse_list(tokens: list[_Token], row: LimitKey, unit: Unit | bool | None) -> Value | None:
    unit = unit or None
    kinds = [t.kind for t in tokens if t.kind not in ("unit", "filler")]
    if "sign" in kinds or "max" in kinds or "min" in kinds:
        return None
    if "times" in kinds:
        return _parse_times(tokens, row, unit)
    numbers = _numbers(tokens)
    bare = [k for k in kinds if k != "speed"]
    between = bare[1:-1]
    if bare[:1] != ["number"] or bare[-1] != "number" or not _alternate(bare):
        return None
    if row.form is Form.ORDERED:
        if "to" in between or "dots" in between or (row.key == "cogs" and 1 < len(numbers) < 4):
            return None
        return Value(values=tuple(numbers), unit=unit)
    if len(numbers) == 2 and set(between) <= {"dash", "to", "dots"} and row.whole and row.unit is Unit.COUNT:
        low, high = sorted(numbers)
        return Value(values=tuple(float(n) for n in range(int(low), int(high) + 1)), unit=unit, certain=0.95)
    if {"to", "dots"} & set(between) or ("dash" in between and len(numbers) == 2):
        return None
    return Value(values=tuple(numbers), unit=unit)


def _alternate(kinds: list[str]) -> bool:
    """Numbers and single joints in turn; a comma may stand before "or"."""
    last = "joint"
    for kind in kinds:
        now = "number" if kind == "number" else "joint"
        if now == last and not (now == "joint" and kind == "or"):
            return False
        last = now
    return True


def _parse_times(tokens: list[_Token], row: LimitKey, unit: Unit | None) -> Value | None:
    """``2x``, ``1x/2x`` are rings; ``2x10``, ``2 × 11-speed`` are rings × cogs; ``10x`` may be cogs."""
    items = [(t.kind, t.number) for t in tokens if t.kind not in ("unit", "filler", "speed")]
    kinds = "".join({"number": "n", "times": "x"}.get(k, "/") for k, _ in items)
    numbers = [n for k, n in items if k == "number"]
    if re.fullmatch(r"nx(/nx)*|n(/n)*x", kinds):
        if row.key == "ring_count" or (row.key == "rear_speeds" and min(numbers) > 3):
            return Value(values=tuple(numbers), unit=unit)
        return None
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
    return Value(text=text, certain=0.97 if len(text.split()) <= 4 else 0.8)


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
_RINGS_BY_COGS = re.compile(r"^[1-3]\s*[x×]\s*\d{1,2}(?:\s*[/,]\s*(?:[1-3]\s*[x×]\s*)?\d{1,2})*\s*[-–]?\s*[^\W\d]*$", re.IGNORECASE)


def is_rings_by_cogs(text: str) -> bool:
    """Whether ``text`` is a number of rings times a number of cogs, as in ``2x11``."""
    return bool(_RINGS_BY_COGS.match(text.strip()))


_YES = frozenset("● • ✓ ✔ ☑ ■ ◆ ◉ ⬤ √ x × ✕ ja yes oui si sí ok".split())
_CROSSES = frozenset("x × ✕ ✗ ✘ ☒".split())
_TICKS = frozenset("● • ✓ ✔ ☑ ■ ◆ ◉ ⬤ √ ja yes oui si sí ok".split())
_NO = frozenset("○ ✗ ✘ ☐ ☒ no nein non nee □ ◯".split())


def is_mark(text: str) -> bool:
    """Whether a cell holds nothing but a mark for yes or no."""
    return text.strip().lower() in _YES | _NO | _CROSSES


def says_yes(text: str, others: Iterable[str]) -> bool:
    """Whether a mark says yes; a cross says no where the same table has ticks or dots."""
    mark = text.strip().lower()
    if mark in _CROSSES and any(o.strip().lower() in _TICKS for o in others):
        return False
    return mark in _YES
