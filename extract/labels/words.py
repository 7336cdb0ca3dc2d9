"""The lexicon: one TOML file per language → rows of folded words with what they can mean."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

_PACKAGE = "cogledger.extract.labels"
_SIGNS = re.compile(r"[^a-z0-9ø°&+]+")
_SPECIAL = str.maketrans({"ß": "ss", "æ": "ae", "œ": "oe", "⌀": "ø", "Ø": "ø", "’": " ", "'": " "})


@lru_cache(maxsize=100_000)
def fold(text: str) -> str:
    """Lower case without accents and punctuation: ``"Größtes Ritzel (max.)"`` → ``"grosstes ritzel max"``."""
    plain = unicodedata.normalize("NFKD", text.translate(_SPECIAL).lower().translate(_SPECIAL))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return _SIGNS.sub(" ", plain).strip()


@dataclass(frozen=True)
class Meaning:
    """One thing that a row of words can stand for.

    ``group`` is ``concept``, ``part``, ``variant``, ``answer``, ``language``, ``bound`` or ``title``; ``name`` is the
    concept, part kind, size letter, ``limit.choice``, function word, or the bound that is said of a number beside.
    """

    group: str
    name: str


@dataclass(frozen=True)
class Lexicon:
    """All words of the chosen languages: row of folded words → meanings."""

    rows: Mapping[tuple[str, ...], frozenset[Meaning]]
    longest: int
    single: Mapping[str, frozenset[Meaning]] = field(default_factory=dict)
    compound_words: tuple[str, ...] = ()
    lengths: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    """First word of a row → how many words such rows have, the longest first."""


LANGUAGES: tuple[str, ...] = tuple(
    sorted(
        entry.name.removesuffix(".toml")
        for entry in files(_PACKAGE).iterdir()
        if entry.name.endswith(".toml") and len(entry.name) == len("en.toml")
    )
)


_TABLES = ("concepts", "parts", "variants", "answers", "language", "bounds", "titles", "units")
_KEYS = ("compounds", "untranslated")


@cache
def read_language(language: str) -> dict[str, Any]:
    """The parsed TOML file of one language; a table that it lacks is empty.

    Raises ``ValueError`` for a table that nobody reads.
    """
    data = tomllib.loads(files(_PACKAGE).joinpath(f"{language}.toml").read_text(encoding="utf-8"))
    strange = sorted(set(data) - {*_TABLES, *_KEYS})
    if strange:
        raise ValueError(f"{language}.toml: nothing reads {', '.join(strange)}; its tables are {', '.join(_TABLES)}")
    return {table: {} for table in _TABLES} | data


def _entries(language: str) -> Iterator[tuple[tuple[str, ...], Meaning]]:
    data = read_language(language)
    tables = {"concept": data["concepts"], "part": data["parts"], "variant": data["variants"],
              "language": data["language"], "bound": data["bounds"], "title": data["titles"]}  # fmt: skip
    for limit, choices in data["answers"].items():
        tables["answer"] = tables.get("answer", {}) | {f"{limit}.{choice}": w for choice, w in choices.items()}
    for group, table in tables.items():
        for name, words in table.items():
            for word in words:
                row = tuple(fold(word).split())
                if row:
                    yield row, Meaning(group, name)


_APART = ("bound", "title")
"""Groups of words that are looked up by themselves, so that they do not shadow the words of labels."""


@cache
def load_lexicon(languages: tuple[str, ...], group: str = "") -> Lexicon:
    """The words of ``languages`` together: those of ``group`` (``bound`` or ``title``), or all others.

    Raises ``FileNotFoundError`` for a language without a file.
    """
    rows: dict[tuple[str, ...], set[Meaning]] = {}
    compounds: set[str] = set()
    for language in languages:
        for row, meaning in _entries(language):
            if (meaning.group if meaning.group in _APART else "") != group:
                continue
            rows.setdefault(row, set()).add(meaning)
            if read_language(language).get("compounds") and len(row) == 1 and len(row[0]) >= 3:
                compounds.add(row[0])
    frozen = {row: frozenset(meanings) for row, meanings in rows.items()}
    single = {row[0]: meanings for row, meanings in frozen.items() if len(row) == 1}
    lengths: dict[str, set[int]] = {}
    for row in frozen:
        lengths.setdefault(row[0], set()).add(len(row))
    longest_first = {word: tuple(sorted(found, reverse=True)) for word, found in lengths.items()}
    return Lexicon(frozen, max(map(len, frozen), default=1), single, tuple(sorted(compounds, key=len, reverse=True)),
                   longest_first)  # fmt: skip


@cache
def unit_words(unit: str) -> frozenset[str]:
    """The folded words and letters that stand for ``unit`` (``T``, ``mm``, … or ``speed``) in any language."""
    return frozenset(fold(word) for language in LANGUAGES for word in read_language(language)["units"].get(unit, ()))


@cache
def vocabulary_of(language: str) -> frozenset[str]:
    """Single words of four letters or more that speak for a language."""
    return frozenset(word for row, _ in _entries(language) for word in row if len(word) >= 4)
