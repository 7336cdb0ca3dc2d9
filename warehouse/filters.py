"""Which limits and claims to show: filters by maker, value, sureness and state → conditions in SQL."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from ..schema.claims import State
from ..schema.errors import CallError
from ..schema.limits import LIMITS, Form, PartKind
from ..schema.parts import squash
from ..schema.reasons import Reason
from .clauses import Clause, every, one_of

Numbers = Mapping[str, float] | Sequence[tuple[str, float]]
"""A number for each limit key; pairs where one key has several."""
Asked = TypeVar("Asked", float, str)
Texts = Mapping[str, str] | Sequence[tuple[str, str]]


@dataclass(frozen=True)
class ValueFilter:
    """What the values of limits have to be; all of it must hold.

    A value that is stated under a condition counts, and is shown with its condition.
    """

    at_least: Numbers = field(default_factory=dict)
    """The greatest number stated for the limit is this or more."""
    at_most: Numbers = field(default_factory=dict)
    """The least number stated for the limit is this or less."""
    takes: Numbers = field(default_factory=dict)
    """The number lies within the bounds stated, or is one of those listed. A bound that is not stated leaves room only
    on the side where a number alone is the other bound (see ``lone_bound`` of the vocabulary)."""
    says: Texts = field(default_factory=dict)
    """Each of these words is the beginning of a word of the limit's text."""
    maker: str | None = None
    """The maker, or how its name begins."""
    sure: float | None = None
    """Only what is at least this sure, 0 to 1."""
    state: State | str | None = None
    """Only what rests on a claim in this state."""
    most: int | None = None
    """So many rows at most: parts, or claims."""


@dataclass(frozen=True)
class LimitFilter(ValueFilter):
    """Which parts and limits to show: ``LimitFilter(at_least={"largest_cog": 32}, sure=0.9)``.

    ``sure``, ``state`` and ``conflicts`` leave single limits out, and parts without any other; the rest chooses parts.
    """

    conflicts: bool = False
    """Only limits on which documents disagree."""


@dataclass(frozen=True)
class ClaimFilter(ValueFilter):
    """Which claims to show: ``ClaimFilter(limit="largest_cog", state="confirmed")``.

    Of claims that a person corrected, the values are those of the correction.
    """

    kind: PartKind | str | None = None
    limit: str | None = None
    document: str | None = None
    """The document's file name."""


@dataclass(frozen=True)
class Columns:
    """How a query names the fields of a value."""

    limit: str = "limit_key"
    low: str = "low"
    high: str = "high"
    values: str = '"values"'
    text: str = "text"


_LISTS = (Form.VALUES, Form.ORDERED)


def check_filter(chosen: ValueFilter) -> None:
    """Whether a filter can be used.

    :raises CallError: a key, number or state that does not exist; the sentence names it and what to write
    """
    for option, asked in (("at least", chosen.at_least), ("at most", chosen.at_most), ("takes", chosen.takes)):
        for key, number in pairs(asked):
            _check_number(option, key, number)
    for key, words in pairs(chosen.says):
        must_be_known("limit", key, list(LIMITS))
        if LIMITS[key].form is not Form.TEXT:
            raise CallError(Reason.BAD_CALL, f"{key} is a number, not words",
                            advice=f"ask for it with at least, at most or takes, as in {key}=32")  # fmt: skip
        if not squash(str(words)):
            raise CallError(Reason.BAD_CALL, f"no words were given for {key}", advice=f"write {key}=WORDS")
    if chosen.sure is not None and not 0 <= chosen.sure <= 1:
        raise CallError(Reason.BAD_CALL, f"{chosen.sure:g} does not say how sure", advice="give a number from 0 to 1")
    if chosen.most is not None and chosen.most < 1:
        raise CallError(Reason.BAD_CALL, f"{chosen.most} rows cannot be shown", advice="give 1 or more, or nothing")
    must_be_known("state", chosen.state, [str(state) for state in State])


def _check_number(option: str, key: str, number: float) -> None:
    must_be_known("limit", key, list(LIMITS))
    if LIMITS[key].form is Form.TEXT:
        raise CallError(Reason.BAD_CALL, f"{key} is words, so it has no number for {option!r}",
                        advice=f'ask for it with says, as in {key}="..."')  # fmt: skip
    if not math.isfinite(number):
        raise CallError(Reason.BAD_CALL, f"{number} is no number for {key}", advice=f"write it as {key}=32")


def must_be_known(what: str, value: object, known: Sequence[str]) -> None:
    """:raises CallError: ``value`` is given and none of ``known``"""
    if value is not None and str(value) not in known:
        raise CallError(
            Reason.BAD_CALL, f"there is no {what} {str(value)!r}", advice=f"choose one of {', '.join(known)}"
        )


def pairs(asked: Mapping[str, Asked] | Sequence[tuple[str, Asked]]) -> list[tuple[str, Asked]]:
    """Keys with what is asked of them, however it was given."""
    return list(asked.items()) if isinstance(asked, Mapping) else list(asked)


def value_clauses(chosen: ValueFilter, columns: Columns, texts: Mapping[str, Iterable[str]]) -> list[Clause]:
    """For each thing asked of a value the condition that a row states it.

    :param texts: of each key under ``says`` the texts that hold its words, see :func:`holds_words`
    """
    clauses = [_at_least(columns, key, number) for key, number in pairs(chosen.at_least)]
    clauses += [_at_most(columns, key, number) for key, number in pairs(chosen.at_most)]
    clauses += [_takes(columns, key, number) for key, number in pairs(chosen.takes)]
    for key, _ in pairs(chosen.says):
        clauses.append(every([_is_key(columns, key), one_of(columns.text, texts[key])]))
    return clauses


def holds_words(text: str | None, words: str) -> bool:
    """Whether a text has a word, or run of words, that begins with each of ``words``; case and accents do not matter.

    >>> holds_words("Spline-9 body, steel", "STEEL spline 9")
    True
    >>> holds_words("Spline-9 body", "line")
    False
    """
    pieces = [squash(piece) for piece in (text or "").replace("-", " ").replace("/", " ").split()]
    runs = ["".join(pieces[start:]) for start in range(len(pieces))]
    return all(any(run.startswith(squash(word)) for run in runs) for word in words.split())


def _is_key(columns: Columns, key: str) -> Clause:
    return Clause(f"{columns.limit} = ?", (key,))


def _at_least(columns: Columns, key: str, number: object) -> Clause:
    greatest = f"greatest({columns.low}, {columns.high}, list_max({columns.values}))"
    return every([_is_key(columns, key), Clause(f"{greatest} >= ?", (number,))])


def _at_most(columns: Columns, key: str, number: object) -> Clause:
    least = f"least({columns.low}, {columns.high}, list_min({columns.values}))"
    return every([_is_key(columns, key), Clause(f"{least} <= ?", (number,))])


def _takes(columns: Columns, key: str, number: object) -> Clause:
    if LIMITS[key].form in _LISTS:
        return every([_is_key(columns, key), Clause(f"list_contains({columns.values}, ?::double)", (number,))])
    open_low, open_high = _open_sides(key)
    low = Clause(f"{columns.low} <= ?" + (f" or {columns.low} is null" if open_low else ""), (number,))
    high = Clause(f"{columns.high} >= ?" + (f" or {columns.high} is null" if open_high else ""), (number,))
    stated = Clause(f"coalesce({columns.low}, {columns.high}) is not null")
    return every([_is_key(columns, key), low, high, stated])


def _open_sides(key: str) -> tuple[bool, bool]:
    """Whether a value without a lower bound, and one without an upper bound, leaves room on that side."""
    row = LIMITS[key]
    return row.form is Form.HIGH or row.lone_bound == "high", row.form is Form.LOW or row.lone_bound == "low"
