"""Texts of a pack: signs and scripts that no text of a part needs, and how our own texts are kept free of them.

Texts from a pack are shown in terminals, web pages and spreadsheets. So none may hold control signs, signs that turn
the direction of writing, markup, addresses that run a script, or what a spreadsheet takes for a formula (OWASP, "CSV
Injection": cells that begin with =, +, - or @). A number with its sign ("- 34 T", "+2") is no formula here: after + or
- only a call, a reference to another sheet or a command is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

import pyarrow as pa

from .compute import pc

_UNSEEN = "[\\x00-\\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]"
_MARKUP = "<[/!?]?[A-Za-z]"
_SCRIPT = "(?:[jJ][aA][vV][aA]|[vV][bB])[sS][cC][rR][iI][pP][tT] *:|[dD][aA][tT][aA]:[a-zA-Z]+/"
_BEGINS = "^[ \u00a0\u3000]*"
_FORMULA = (
    f"{_BEGINS}[=@\uff1d\uff20]|{_BEGINS}[+\\-\u2212\uff0b\uff0d].*(?:[A-Za-z_0-9.]\\(|[A-Za-z0-9'\"]\\||[A-Za-z0-9']!)"
)
_KINDS = (
    (_UNSEEN, "holds signs that cannot be seen (control signs, or signs that turn the direction of writing)"),
    (_MARKUP, "holds markup"),
    (_SCRIPT, "holds script"),
    (_FORMULA, "would be run as a formula by a spreadsheet"),
)
_ANY = "|".join(f"(?:{pattern})" for pattern, _ in _KINDS)
_SEEKER = re.compile(_ANY)
_NAMED = tuple((re.compile(pattern), told) for pattern, told in _KINDS)


def find_bad_text(column: pa.Array) -> tuple[int, str] | None:
    """The first row of a column that holds what no text may, and what that is; ``None`` where all are sound."""
    if len(column) == 0:
        return None
    at = pc.index(pc.fill_null(pc.match_substring_regex(column, _ANY), False), True).as_py()
    return None if at < 0 else (at, object_to_text(column[at].as_py()) or "holds what no text may")


def find_all_bad(column: pa.Array) -> pa.Array:
    """For each text of a column, whether it holds what no text may."""
    return pc.match_substring_regex(column, _ANY)


def object_to_text(text: str) -> str | None:
    """What is wrong with a text, as a clause; ``None`` where nothing is."""
    return next((told for pattern, told in _NAMED if pattern.search(text)), None)


def texts_in(value: object) -> Iterator[str]:
    """Every text in a JSON value, keys included."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield str(key)
            yield from texts_in(inner)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            yield from texts_in(inner)


def tame(text: str, longest: int) -> str:
    """A text that is only shown to people, made such that a pack may hold it; sound texts stay as they are."""
    if _SEEKER.search(text):
        text = re.sub(_UNSEEN, " ", text).strip()
        text = re.sub(_MARKUP, lambda found: "< " + found[0][1:], text)
        text = re.sub(_SCRIPT, lambda found: found[0].replace(":", " "), text)
        while re.search(_FORMULA, text):
            text = text.lstrip(" \u00a0\u3000")[1:]
        text = text.strip()
    return text if len(text) <= longest else text[: longest - 1] + "…"
