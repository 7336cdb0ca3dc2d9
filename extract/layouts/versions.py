"""Cells that hold one value for each version of a part: ``KC: 33T / LC: 39T``, ``33T (KC), 39T (LC)``."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from ..conditions import find_condition
from ..labels import analyse, fold
from ..subjects import parse_variant
from ..units import UNIT_WORDS

_WORD = r"[^\W\d_][\w.'-]*"
_NAME = rf"{_WORD}(?:\s{_WORD}){{0,2}}"
_START = r"(?:[^\w\s(]{1,2}\s?)?\d"
_SIGNED = re.compile(rf"(?P<name>{_NAME})\s*[:=]\s*(?P<value>.*?)(?=[\s/;,|·&+]*{_NAME}\s*[:=]|$)")
_BLANK = re.compile(rf"(?P<name>{_NAME})\s+(?P<value>{_START}.*?)(?=[\s/;,|·&+]*{_NAME}\s+{_START}|$)")
_PLAIN_PIECES = (
    re.compile(rf"^(?P<name>{_NAME})\s+(?P<value>[^\w\s]?\s?\d.*)$"),
    re.compile(rf"^(?P<value>\S*\d[^()\[\]]*?)\s*[(\[]\s*(?P<name>{_NAME})\s*[)\]]$"),
)
_PARTED = re.compile(r"\s*[/;|·]\s+|\s+/\s*|\s*;\s*|,\s+")
_MAY_BE = re.compile(r"^[^\W\d_][^\d]*\d|\d[^()]*[(\[][^\W\d_]")
_MOST_LETTERS = 24
_LIKE_VERSIONS = frozenset({"cage", "variant", "length", "size"})


@dataclass(frozen=True)
class VersionValue:
    """The value of one version. ``known`` says that the lexicon knows the name as one of a version or condition."""

    name: str
    value: str
    variant: str | None
    condition: tuple[tuple[str, float | str], ...]
    known: bool


@lru_cache(maxsize=5_000)
def find_version_values(text: str, languages: tuple[str, ...]) -> tuple[VersionValue, ...]:
    """The versions that a cell names with a value each, in its order; empty where it is no such list.

    Every number of the cell has to belong to one name, and none of the names may mean anything else.
    """
    if not _MAY_BE.search(text):
        return ()
    pairs = _runs(text, _SIGNED) or _plain_pairs(text) or _runs(text, _BLANK)
    if not pairs or len({fold(name) for name, _ in pairs}) < len(pairs):
        return ()
    found = [_version(name, value, languages) for name, value in pairs]
    kinds = {bool(v.condition) for v in found if v is not None}
    if None in found or len(kinds) != 1:
        return ()
    return tuple(v for v in found if v is not None)


def _runs(text: str, shape: re.Pattern[str]) -> list[tuple[str, str]]:
    """Names and values one after the other; two or more where no sign stands between name and value."""
    matches = list(shape.finditer(text))
    if len(matches) < (1 if shape is _SIGNED else 2) or text[: matches[0].start()].strip(" /;,|·"):
        return []
    pairs: list[tuple[str, str]] = []
    for match in matches:
        words = match["name"].split()
        value = match["value"].strip(" /;,|·&+")
        while pairs and words and _ends_number(words[0]):
            pairs[-1] = (pairs[-1][0], f"{pairs[-1][1]} {words.pop(0)}")
        if pairs and not words:
            pairs[-1] = (pairs[-1][0], f"{pairs[-1][1]} {value}")
            continue
        pairs.append((" ".join(words), value))
    return pairs if all(any(c.isdigit() for c in value) for _, value in pairs) else []


def _ends_number(word: str) -> bool:
    """Whether a word ends the number before it and begins no name: ``T``, ``teeth``, ``max``, not ``L``."""
    if parse_variant(word):
        return False
    named = analyse(word)
    ends = named.names("concept") & {"teeth", "max", "min", "links", "speed"} or named.names("language") & {"to", "or"}
    return fold(word) in UNIT_WORDS or bool(ends)


def _plain_pairs(text: str) -> list[tuple[str, str]]:
    pieces = [p for p in _PARTED.split(text.strip()) if p]
    if len(pieces) < 2:
        return []
    for shape in _PLAIN_PIECES:
        matches = [shape.match(p) for p in pieces]
        if all(matches):
            return [(m["name"], m["value"].strip()) for m in matches if m]
    return []


def _version(name: str, value: str, languages: tuple[str, ...]) -> VersionValue | None:
    """A name with its value; ``None`` for words that may mean something else than a version."""
    condition = tuple(sorted((find_condition(name, languages) or {}).items()))
    if condition:
        return VersionValue(name, value, None, condition, True)
    variant = parse_variant(name, languages) or parse_variant(name)
    if variant:
        return VersionValue(name, value, variant if len(variant) > 2 else name, (), True)
    if len(name) > _MOST_LETTERS:
        return None
    terms = analyse(name, languages).terms
    named = [t for t in terms if t.names("concept") & _LIKE_VERSIONS]
    others = [t for t in terms if t not in named]
    unknown = [t for t in others if not t.meanings]
    if not unknown and not (named and others):
        return None
    if not named and (len(unknown) < len(others) or fold(name) in UNIT_WORDS):
        return None
    return VersionValue(name, value, name, (), False)


def names_met_twice(texts: Iterable[str], languages: tuple[str, ...]) -> frozenset[str]:
    """The names of versions that two cells or more of a table give values to, in their compare form."""
    counts = Counter(fold(v.name) for text in texts for v in find_version_values(text, languages))
    return frozenset(name for name, n in counts.items() if n > 1)


def is_sure(version: VersionValue, twice: frozenset[str]) -> bool:
    """Whether a name is one of a version: the lexicon knows it, or the table uses it more than once."""
    return version.known or fold(version.name) in twice
