"""What stands in cells beside numbers: nothing, footnote marks, and marks for yes and no."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from .labels import analyse, fold

_DASHES = "\\-–—−‐‑‒―~〜∼"
_NOTHING = re.compile(rf"^[{_DASHES}\s./·•x×✗✕✘*]*$|^n\.?\s?/?\s?[av]\.?$", re.IGNORECASE)
_ABBREVIATED_NOTHING = re.compile(
    r"^(?:n\.?\s?[/.]?\s?[advbc]\.?|n\.?\s?v\.?\s?t\.?|k\.?\s?a\.?|s\.?\s?o\.?|t\.?b\.?[acd]\.?|n\.?\s?p\.?)$",
    re.IGNORECASE,
)
_NOTHING_WORDS = frozenset(
    "na nvt nd nc entf none keine kein keines entfallt aucun aucune neant nessuno nessuna ninguno ninguna geen tbd "
    "unknown "
    "unbekannt inconnu".split()
)
_MARK = re.compile(r"\^\{(?P<mark>[^}]*)\}")


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


_DITTO = re.compile(
    r"^(?:[\"″〃„“”]|''|,,|do\.?|dto\.?|d[ií]to\.?|ditto|[ií]dem|[ií]d\.|w\.?\s?o\.?|c\.\s?s\.?|z\.\s?o\.?|"
    r"ibid\.?|ebd\.?|idem\b.{0,12}|same|ebenso|desgl\.?|"
    r"(?:(?:same|as|see|wie|siehe|comme|voir|come|vedi|como|igual|ver|zie|als|gleich)\b.{0,12}\b"
    r"(?:above|oben|dessus|sopra|arriba|boven)))$",
    re.IGNORECASE,
)


def is_ditto(text: str) -> bool:
    """Whether a cell says that it holds what the one above holds."""
    return bool(_DITTO.match(text))


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


_BARE_MARK = re.compile(
    r"(\*+|[†‡§]|(?<=[\w)\].°])\s?[¹²³⁴⁵⁶⁷⁸⁹ᵃᵇᶜᵈ]|(?<=[a-zA-Z\s])\d\)$"
    r"|(?:(?<=[^\W\d])|(?<=[.)\]]))\s?\([1-9]\)(?=\s*(?:$|[\[(])))"
)
"""Marks that are not raised; a digit in brackets counts behind words only, since behind a number it may be another."""


def _plain_mark(mark: str) -> str:
    return mark.strip(" ()[].").translate(str.maketrans("¹²³⁴⁵⁶⁷⁸⁹ᵃᵇᶜᵈ", "123456789abcd"))


def _marked(text: str, inside: bool) -> MarkedText:
    marks = tuple(m.group("mark").strip(" )(.,") for m in _MARK.finditer(text))
    return MarkedText(_MARK.sub(" ", text).strip(), tuple(m for m in marks if m), inside)


_TICKS = frozenset("● • ✓ ✔ ☑ ■ ◆ ◉ ⬤ √ y j ja yes oui si sí sì ok".split())
_RINGS = frozenset("○ ◯ ◎ o".split())
"""Open circles: yes beside crosses, "partly" or "no" beside dots; only a legend can say."""
_CROSSES = frozenset("x × ✕ ✗ ✘ ☒".split())
_NO = frozenset("☐ no nein non nee n □".split())
_LEGEND_SIGN = frozenset(("=", ":", "–", "-", "→"))
_MOST_LEGEND_WORDS = 12


@lru_cache(maxsize=20_000)
def split_mark(text: str) -> tuple[str, tuple[str, ...]]:
    """A cell's mark without its footnote marks, and these: ``"●^{2}"`` → ``●`` and ``2``."""
    notes = tuple(m.group("mark").strip(" )(.,") for m in _MARK.finditer(text))
    bare = _MARK.sub("", text).strip()
    if len(bare) > 1 and bare.endswith("*"):
        stars = bare[len(bare.rstrip("*")) :]
        bare, notes = bare.rstrip("*").strip(), (*notes, stars)
    return bare, tuple(n for n in notes if n)


@lru_cache(maxsize=20_000)
def is_mark(text: str) -> bool:
    """Whether a cell holds nothing but a mark for yes or no, with footnote marks at most."""
    return split_mark(text)[0].lower() in _TICKS | _RINGS | _CROSSES | _NO


def says_yes(text: str, others: Iterable[str], legend: Mapping[str, bool | None] | None = None) -> bool | None:
    """Whether a mark says yes, ``None`` where that cannot be told.

    A legend has the first word. Without one a cross says no where the same table has ticks or dots, and nothing is
    sure of a cross or an open circle where the table holds open circles.
    """
    mark = split_mark(text)[0].lower()
    if legend and mark in legend:
        return legend[mark]
    there = {split_mark(o)[0].lower() for o in others}
    if mark in _RINGS:
        return None
    if mark in _CROSSES:
        return None if there & _RINGS and not (legend or {}).keys() & _RINGS else not there & _TICKS
    return mark in _TICKS


def find_legend(texts: Iterable[str], languages: tuple[str, ...]) -> dict[str, bool | None]:
    """What marks mean, from lines such as ``● = compatible   – = not available``; ``None`` for other meanings."""
    legend: dict[str, bool | None] = {}
    for text in texts:
        words = text.replace("=", " = ").split()
        starts = [
            n
            for n in range(len(words) - 2)
            if (is_mark(words[n]) and words[n + 1] in _LEGEND_SIGN) or (is_nothing(words[n]) and words[n + 1] == "=")
        ]
        if not starts or starts[0] > 1 or len(words) > _MOST_LEGEND_WORDS * len(starts):
            continue
        for n, at in enumerate(starts):
            end = starts[n + 1] if n + 1 < len(starts) else len(words)
            mark, meaning = split_mark(words[at])[0].lower(), _meaning(" ".join(words[at + 2 : end]), languages)
            legend[mark] = meaning if legend.get(mark, meaning) == meaning else None
    return legend


def _meaning(text: str, languages: tuple[str, ...]) -> bool | None:
    """Whether the words of a legend say yes or no; ``None`` where they say something else ("optional")."""
    terms = analyse(text, languages).terms
    if any(t.names("language") & {"not", "none"} for t in terms):
        return False
    agrees = any("yes" in t.names("language") and t.quality == 1 for t in terms)
    return True if agrees and all(t.quality == 1 and (t.meanings or len(t.text) <= 3) for t in terms) else None
