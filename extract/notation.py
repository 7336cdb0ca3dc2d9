"""Words of a number notation → tokens: numbers, units, joints and bounds; nothing where a word has no place in one."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from .labels import analyse, fold, load_lexicon
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
    text = _with_short_bounds(_without_from(text.strip().rstrip(".")), languages)
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
            tokens.append(Token(kind, words))
    if text[at:].strip(" .:'’"):
        return None
    tokens = [_between_numbers(t, tokens[n - 1] if n else None, tokens[n + 1 :]) for n, t in enumerate(tokens)]
    joined = ("speed", "unit", "or", "slash", "comma")
    pairs = zip(tokens, [*tokens[1:], None], strict=True)
    return [t for t, after in pairs if not (t.kind == "dash" and after and after.kind in joined)]


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
    """``"up to 20 teeth"`` → ``"max 20 teeth"``: bounds of several words in one word."""
    if text.count(" ") < 2:
        return text
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return _bound_phrases(languages).sub(lambda m: "max" if m.lastgroup == "high" else "min", plain)


@lru_cache(maxsize=64)
def _bound_phrases(languages: tuple[str, ...]) -> re.Pattern[str]:
    sides: dict[str, list[str]] = {"high": [], "low": []}
    for row, meanings in load_lexicon(languages, "bound").rows.items():
        for meaning in meanings:
            if len(row) > 1 and meaning.name.split("_")[0] in sides and row[-1] not in ("of", "de", "di"):
                sides[meaning.name.split("_")[0]].append(r"\s+".join(map(re.escape, row)))
    groups = [f"(?P<{side}>{'|'.join(sorted(rows, key=len, reverse=True)) or '(?!)'})" for side, rows in sides.items()]
    return re.compile(rf"\b(?:{'|'.join(groups)})\b", re.IGNORECASE)


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


def _word_token(words: str, languages: tuple[str, ...]) -> Token | None:
    bare = fold(words) or words
    if bare in ("°", "º") or words in "°º":
        return Token("unit", "°")
    if bare in UNIT_WORDS and bare not in SPEED_WORDS:
        return Token("unit", bare)
    if bare in _FOREIGN_UNITS and bare not in SPEED_WORDS:
        return Token("foreign", bare)
    names = {m.name for term in analyse(bare, languages).terms for m in term.meanings}
    for kind in ("max", "min", "to", "or"):
        if kind in names:
            return Token(kind, bare)
    if bare in SPEED_WORDS or "speed" in names:
        return Token("speed", bare)
    if bare in UNIT_WORDS:
        return Token("unit", bare)
    if names & {"ring", "cog", "teeth", "links", "bolt", "number", "size", "diameter", "gain"}:
        return Token("filler", bare)
    return None
