"""Words of a number notation → tokens: numbers, units, joints and bounds; nothing where a word has no place in one."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from .labels import analyse, fold, load_lexicon
from .labels.words import Meaning
from .units import SPEED_WORDS, UNIT_WORDS

_FOREIGN_UNITS = frozenset('nm kg cm m km h v w ah mah % € eur usd pcs bar psi in inch " years months days'.split())
_TOKEN = re.compile(
    r"(?P<number>\d+(?:[.,]\d+)*)|(?P<sign><=|>=|≤|≥|<|>|\+/-|±|\+(?=\s*\d))|(?P<dots>\.{2,3}|…)|"
    r"(?P<dash>[-–—−‐‑‒―~〜∼])|(?P<slash>/)|(?P<comma>[,;·•|&+])|(?P<times>[x×](?![a-z]))|"
    r"(?P<word>[^\W\d_]+\.?|[°º\"%€])|(?P<bracket>[()\[\]])",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Token:
    """One piece of a number notation; ``number`` holds for the kind ``number`` only."""

    kind: str
    text: str
    number: float = 0.0


def find_tokens(text: str, languages: tuple[str, ...]) -> list[Token] | None:
    """The tokens of ``text``; ``None`` where a word or sign has no place in a number notation."""
    tokens: list[Token] = []
    at = 0
    text = _with_short_bounds(_without_from(_LAST_STOP.sub("", text.strip())), languages)
    if _COMPARED in text:
        return None
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
            tokens.append(_sign_or_joint(kind, words, tokens))
    if text[at:].strip(" .:'’"):
        return None
    tokens = [_between_numbers(t, tokens[n - 1] if n else None, tokens[n + 1 :]) for n, t in enumerate(tokens)]
    joined = ("speed", "unit", "or", "slash", "comma")
    pairs = zip(tokens, [*tokens[1:], None], strict=True)
    return [t for t, after in pairs if not (t.kind == "dash" and after and after.kind in joined)]


_LAST_STOP = re.compile(r"(?<=[\d)\]°])\.$")


def _sign_or_joint(kind: str, words: str, before: list[Token]) -> Token:
    """A sign or joint; a plus behind a number joins two numbers (``50+34``)."""
    joins = words == "+" and bool(before) and before[-1].kind in ("number", "unit")
    return Token("comma" if joins else kind, words)


def _between_numbers(token: Token, before: Token | None, following: list[Token]) -> Token:
    """A word that can say both "to" and "up to" says "to" between two numbers."""
    joint = (
        token.kind == "max" and token.text in _TO_OR_UP_TO and before is not None and before.kind in ("number", "unit")
    )
    return Token("to", token.text) if joint and following and following[0].kind == "number" else token


_TO_OR_UP_TO = frozenset({"tot", "bis", "a", "hasta", "fino"})


_FROM = re.compile(
    r"^\s*(?:from|between|von|zwischen|ab|de|des|d[èe]s|entre|da|dal|tra|fra|desde|van|vanaf|tussen)\s+"
    r"(?=\d+[^\d]*\s(?:to|and|bis|und|[àa]|et|al?|e|y|hasta|tot|en)\s+\d)",
    re.IGNORECASE,
)
_FROM_ALONE = re.compile(r"^\s*(?:from|ab|vanaf|desde|d[èe]s|[àa] partir d[ei]|a partire da)\s+(?=\d+\s*[^\W\d]{0,6}$)",
                         re.IGNORECASE)  # fmt: skip


def _without_from(text: str) -> str:
    """``from 28 to 34`` → ``28 to 34``; ``from 28`` → ``min 28``."""
    return _FROM_ALONE.sub("min ", _FROM.sub("", text))


def _with_short_bounds(text: str, languages: tuple[str, ...]) -> str:
    """``"no more than 20 teeth"`` → ``"max 20 teeth"``: in one word; ``"28 up to 34"`` → ``"28 - 34"``.

    Words that compare ("more than") are bounds only behind a denial; without one they leave ``_COMPARED`` behind.
    """
    if " " not in text:
        return text
    plain = "".join(c for c in unicodedata.normalize("NFKD", text.replace("ß", "ss")) if not unicodedata.combining(c))
    return _bound_phrases(languages).sub(_short_bound, plain)


_COUNTED_BEFORE = re.compile(r"\d\s*[^\W\d_]{0,7}\.?\s*$")
_NUMBER_BEHIND = re.compile(r"\s*\d")


_COMPARED = "\0"


def _short_bound(found: re.Match[str]) -> str:
    if found.lastgroup == "compared":
        return _COMPARED
    if found.lastgroup != "to":
        return "max" if found.lastgroup == "high" else "min"
    joins = _COUNTED_BEFORE.search(found.string[: found.start()]) and _NUMBER_BEHIND.match(found.string[found.end() :])
    return "-" if joins else "max"


@lru_cache(maxsize=64)
def _bound_phrases(languages: tuple[str, ...]) -> re.Pattern[str]:
    """A pattern with a group for each bound: ``high``, ``low``, ``to`` for words that join two numbers as well, and
    ``compared`` for comparisons without a denial.
    """
    rows = load_lexicon(languages).rows
    joints = {row for row, meanings in rows.items() if any(m == _TO for m in meanings)}
    denials = "|".join(sorted((_printed(row) for row, meanings in rows.items() if _NOT in meanings), key=len)[::-1])
    sides: dict[str, list[str]] = {"to": [], "high": [], "low": [], "compared": []}
    for row, meanings in load_lexicon(languages, "bound").rows.items():
        for meaning in meanings:
            side = meaning.name.split("_")[0]
            if side in ("over", "under"):
                denied = rf"(?:(?:{denials})\s+)+{_printed(row)}"
                sides["high" if side == "over" else "low"].append(denied)
                sides["compared"].append(_printed(row))
            elif len(row) > 1 and row[-1] not in ("of", "de", "di"):
                sides["to" if row in joints and side == "high" else side].append(_printed(row))
    groups = [f"(?P<{side}>{'|'.join(sorted(rows, key=len, reverse=True)) or '(?!)'})" for side, rows in sides.items()]
    return re.compile(rf"\b(?:{'|'.join(groups)})\b", re.IGNORECASE)


_TO, _NOT = Meaning("language", "to"), Meaning("language", "not")


def _printed(row: tuple[str, ...]) -> str:
    """A pattern for a row of folded words as they are printed, with blanks or an apostrophe between."""
    return r"[\s'’]+".join(map(re.escape, row))


def _number_tokens(words: str) -> list[Token]:
    """``"172,5"`` is one number, ``"11,13,15"`` are three with commas between."""
    parts = re.split(r"[.,]", words)
    if len(parts) == 1:
        return [Token("number", words, float(words))]
    if len(parts) == 2 and (len(parts[1]) <= 2 and not ("," in words and len(parts[0]) == len(parts[1]) == 2)):
        return [Token("number", words, float(".".join(parts)))]
    if len(parts) == 2 and len(parts[1]) == 3 and len(parts[0]) == 1:
        return [Token("number", words, float("".join(parts)))]
    tokens: list[Token] = []
    for part in parts:
        tokens += [Token("comma", ",")] if tokens else []
        tokens.append(Token("number", part, float(part)))
    return tokens


_SURE_WORD = 0.95
"""Below it a word was only guessed: too little for one that turns a number into a bound."""


def _word_token(words: str, languages: tuple[str, ...]) -> Token | None:
    bare = fold(words) or words
    if bare in ("°", "º") or words in "°º":
        return Token("unit", "°")
    if bare in UNIT_WORDS and bare not in SPEED_WORDS:
        return Token("unit", bare)
    if bare in _FOREIGN_UNITS and bare not in SPEED_WORDS:
        return Token("foreign", bare)
    terms = analyse(words, languages).terms
    names = {m.name for term in terms for m in term.meanings if term.quality >= _SURE_WORD}
    for kind in ("max", "min", "to", "or"):
        if kind in names:
            return Token(kind, bare)
    if bare in SPEED_WORDS or "speed" in names:
        return Token("speed", bare)
    if words.endswith(".") and (spelt := _unit_spelt_out(bare)):
        return spelt
    if {m.name for term in terms for m in term.meanings} & _FILLERS:
        return Token("filler", bare)
    return None


_FILLERS = frozenset({"ring", "cog", "teeth", "links", "bolt", "number", "size", "diameter", "gain"})


@lru_cache(maxsize=5_000)
def _unit_spelt_out(word: str) -> Token | None:
    """The unit that an abbreviation of two letters or more stands for (``Zä.``), where there is just one."""
    named = {UNIT_WORDS.get(w, "speed"): w for w in (*UNIT_WORDS, *SPEED_WORDS) if w.startswith(word)}
    if len(named) != 1 or len(word) < 2:
        return None
    unit, known = next(iter(named.items()))
    return Token("speed" if unit == "speed" else "unit", known)
