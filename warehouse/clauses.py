"""Pieces of SQL with the values for their question marks, so that what somebody typed is never part of the text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Clause:
    """A condition in SQL and the values of its question marks, in their order."""

    text: str
    values: tuple[Any, ...] = ()


ALWAYS, NEVER = Clause("true"), Clause("false")


def every(clauses: Iterable[Clause]) -> Clause:
    """The condition that all of ``clauses`` hold; without any it always holds.

    >>> every([Clause("a = ?", (1,)), Clause("b")])
    Clause(text='(a = ?) and (b)', values=(1,))
    """
    return _joined(list(clauses), "and", ALWAYS)


def some(clauses: Iterable[Clause]) -> Clause:
    """The condition that one of ``clauses`` holds; without any it never holds."""
    return _joined(list(clauses), "or", NEVER)


def one_of(column: str, values: Iterable[Any]) -> Clause:
    """The condition that a text column has one of ``values``."""
    listed = sorted(set(values))
    if not listed:
        return NEVER
    if len(listed) == 1:
        return Clause(f"{column} = ?", (listed[0],))
    return Clause(f"{column} in (select unnest(?::varchar[]))", (listed,))


def _joined(clauses: Sequence[Clause], word: str, without: Clause) -> Clause:
    if not clauses:
        return without
    if len(clauses) == 1:
        return clauses[0]
    text = f" {word} ".join(f"({clause.text})" for clause in clauses)
    return Clause(text, tuple(value for clause in clauses for value in clause.values))
