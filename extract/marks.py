"""What stands in cells beside numbers: nothing, footnote marks, and marks for yes and no."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from .labels import fold

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
