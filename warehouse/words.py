"""Words of a search → a condition in SQL: each word is the beginning of something, alone or with its neighbours."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from ..schema.limits import LIMITS, PartKind
from ..schema.parts import squash
from .clauses import Clause, every, one_of, some

_MOST_JOINED = 3
"""So many words in a row may be one code that was typed with blanks in it, as in "TWX 240 M"."""


BEYOND = "\U0010ffff"
"""A sign behind all others, for the end of a span of words that begin alike."""


@dataclass(frozen=True)
class Asked:
    """One word of a search: as typed, and as compared."""

    typed: str
    key: str


@dataclass(frozen=True)
class Run:
    """Neighbouring words, taken for one that was typed with blanks: where the first stands and behind the last."""

    start: int
    end: int
    typed: str
    key: str


def split_words(words: Sequence[str]) -> tuple[Asked, ...]:
    """The words of a search; blanks inside an argument part words, and signs alone are none.

    >>> [asked.key for asked in split_words(["TWX 240", "é-1", "-"])]
    ['TWX', '240', 'E1']
    """
    pieces = [piece for word in words for piece in str(word).split()]
    return tuple(Asked(piece, squash(piece)) for piece in pieces if squash(piece))


def runs_with(asked: Sequence[Asked], place: int) -> list[Run]:
    """The word at ``place`` alone, then with its neighbours: every run of at most three words that it is in."""
    runs = []
    for length in range(1, _MOST_JOINED + 1):
        for start in range(max(0, place - length + 1), min(place, len(asked) - length) + 1):
            inside = asked[start : start + length]
            typed, key = " ".join(a.typed for a in inside), "".join(a.key for a in inside)
            runs.append(Run(start, start + length, typed, key))
    return runs


def words_condition(
    asked: Sequence[Asked],
    found: Callable[[str], Clause],
    joined: Callable[[str], Clause],
    instead: Mapping[int, Clause] | None = None,
) -> Clause:
    """That every word is found, alone or in a run with its neighbours.

    :param found: a word as compared → the condition that something begins with it
    :param joined: several words, joined → the condition that a code begins so
    :param instead: place of a word that was typed wrong → the condition to use for it
    """
    instead = instead or {}
    return every(
        instead[place]
        if place in instead
        else some((found if run.end - run.start == 1 else joined)(run.key) for run in runs_with(asked, place))
        for place in range(len(asked))
    )


@cache
def _beginnings() -> tuple[tuple[str, frozenset[str], bool], ...]:
    """Every kind and limit with the words that name it, whole and in pieces; and whether it is a kind."""
    named = [(str(kind), True) for kind in PartKind] + [(key, False) for key in LIMITS]
    return tuple((name, frozenset(squash(piece) for piece in (name, *name.split("_"))), is_kind)
                 for name, is_kind in named)  # fmt: skip


def kinds_named(key: str) -> list[str]:
    """The kinds of part of which a word begins with ``key``.

    >>> kinds_named("DERAIL")
    ['rear_derailleur', 'front_derailleur']
    """
    return [name for name, words, is_kind in _beginnings() if is_kind and any(w.startswith(key) for w in words)]


def limits_named(key: str) -> list[str]:
    """The limits in whose names a word begins with ``key``."""
    return [name for name, words, is_kind in _beginnings() if not is_kind and any(w.startswith(key) for w in words)]


def vocabulary() -> frozenset[str]:
    """Every word of the kinds' and limits' names, as compared."""
    return frozenset(word for _, words, _ in _beginnings() for word in words)


def part_begins(key: str) -> Clause:
    """That a row of ``kept.parts`` is found by a word: its code, variant, maker, kind or one of its limits."""
    ways = [Clause("contains(words, ?)", (f" {key}",))]
    kinds, limits = kinds_named(key), limits_named(key)
    if kinds:
        ways.append(one_of("part_kind", kinds))
    if limits:
        ways.append(Clause("list_has_any(limit_keys, ?::varchar[])", (limits,)))
    return some(ways)


def code_begins(key: str) -> Clause:
    """That the code of a row of ``kept.parts``, or the code with its variant behind it, begins so."""
    return some([
        Clause("code_key >= ? and code_key < ?", (key, key + BEYOND)),
        Clause("case when starts_with(?, code_key) then contains(words, ?) else false end", (key, f" {key}")),
    ])  # fmt: skip
