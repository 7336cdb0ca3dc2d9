"""A word that nothing is called → what it may have been meant for: lookalikes first, then one or two typing faults.

A typing fault is one sign wrong, missing or too many, or two neighbours swapped (the distance of Damerau and
Levenshtein). What is found so is offered and told as such; it is never taken for what was typed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rapidfuzz.distance import DamerauLevenshtein

from ..schema.parts import code_key, lookalike_key, maker_key, part_label, squash
from .clauses import Clause, every, one_of, some
from .store import Connection
from .words import BEYOND, Asked, Run, code_begins, kinds_named, limits_named, part_begins, runs_with, vocabulary

SHORTEST = 3
"""Signs that a word must have before another may have been meant."""
TWO_FAULTS_FROM = 8
"""Signs from which on a word may have two typing faults."""
_OFFERED_WITH_TWO_FROM = 5
_BREAKS = re.compile(r"[\s\-_/,()]+")


@dataclass(frozen=True)
class Meant:
    """What a run of words was taken for: the names shown to people, and the condition on ``kept.parts``."""

    run: Run
    names: tuple[str, ...]
    where: Clause


def find_meant(connection: Connection, asked: Sequence[Asked], *, unknown: bool = False) -> list[Meant]:
    """For each word that nothing begins with, alone or with its neighbours, what was nearly called so.

    :param unknown: nothing begins with any of the words, as the caller has seen already
    """
    meant: list[Meant] = []
    for place in range(len(asked)):
        if any(m.run.start <= place < m.run.end for m in meant) or (
            not unknown and _is_known(connection, asked, place)
        ):
            continue
        found = _meant_at(connection, runs_with(asked, place))
        if found:
            meant.append(found)
    return meant


def _is_known(connection: Connection, asked: Sequence[Asked], place: int) -> bool:
    if kinds_named(asked[place].key) or limits_named(asked[place].key):
        return True
    alone, *joined = runs_with(asked, place)
    clause = some([*(code_begins(run.key) for run in joined), part_begins(alone.key)])
    sql = f"select 1 from kept.parts where {clause.text} limit 1"
    return bool(connection.execute(sql, list(clause.values)).fetchall())


def _meant_at(connection: Connection, runs: Sequence[Run]) -> Meant | None:
    """The nearest reading of a word; it alone comes before it with its neighbours."""
    runs = [run for run in runs if len(run.key) >= SHORTEST]
    alone = [run for run in runs if run.end - run.start == 1]
    ways = ((_lookalikes, runs), (_begun_lookalikes, alone), (_one_fault, runs), (_two_faults, alone))
    for run, way in ((run, way) for way, tried in ways for run in tried):
        found = way(connection, run)
        if found:
            return found
    return None


def _lookalikes(connection: Connection, run: Run) -> Meant | None:
    """Codes that differ in signs only that are taken for one another."""
    where = Clause("lookalike_key = ?", (lookalike_key(run.key),))
    names = _printed(connection, where)
    return Meant(run, names, where) if names else None


def _begun_lookalikes(connection: Connection, run: Run) -> Meant | None:
    """Codes of which the beginning differs in such signs only."""
    begun = lookalike_key(run.key)
    where = Clause("lookalike_key >= ? and lookalike_key < ?", (begun, begun + BEYOND))
    sql = f"select distinct left(code_key, ?) from kept.parts where {where.text} order by all"
    names = tuple(row[0] for row in connection.execute(sql, [len(begun), *where.values]).fetchall())
    return Meant(run, names, where) if names else None


def _one_fault(connection: Connection, run: Run) -> Meant | None:
    return _faulty(connection, run, 1)


def _two_faults(connection: Connection, run: Run) -> Meant | None:
    return _faulty(connection, run, 2) if len(run.key) >= TWO_FAULTS_FROM else None


def _faulty(connection: Connection, run: Run, faults: int) -> Meant | None:
    """What is ``faults`` typing faults away: codes, makers and their words, words of the vocabulary.

    A word with a digit in it is meant for a code where one is near.
    """
    codes = _codes_within(connection, run.key, faults)
    only_codes = codes and any(sign.isdigit() for sign in run.key)
    makers = [] if only_codes else _makers_within(connection, run.key, faults)
    terms = [word for word in sorted(vocabulary()) if _within(word, run.key, faults)]
    if not codes and not makers and not terms:
        return None
    code_where = one_of("code_key", codes)
    names = [*(_printed(connection, code_where) if codes else ()), *makers, *(term.lower() for term in terms)]
    ways = [code_where, one_of("maker", makers), *(part_begins(term) for term in terms)]
    return Meant(run, tuple(dict.fromkeys(names)), some(w for w in ways if w.text != "false"))


def _printed(connection: Connection, where: Clause) -> tuple[str, ...]:
    sql = f"select code_key, min(part_code) from kept.parts where {where.text} group by code_key order by code_key"
    return tuple(row[1] for row in connection.execute(sql, list(where.values)).fetchall())


def _codes_within(connection: Connection, key: str, faults: int, filter_by: Clause | None = None) -> list[str]:
    """The codes, as compared, that are at most ``faults`` typing faults away from ``key``.

    The distance is dear, so it is only taken of codes that share with ``key`` what so few faults must leave as it is.
    The database counts bytes: codes with signs beyond ASCII are measured here.
    """
    shared = filter_by or (_shared_with_one(key) if faults == 1 else _shared_with_two(key))
    sql = f"""
        select distinct code_key from kept.parts
        where case when length(code_key) between ? and ? and ({shared.text})
              then strlen(code_key) > length(code_key) or damerau_levenshtein(code_key, ?) <= ? else false end
    """
    most = faults if key.isascii() else 4 * faults
    values = [len(key) - faults, len(key) + faults, *shared.values, key, most]
    found = (row[0] for row in connection.execute(sql, values).fetchall())
    return sorted(code for code in found if _within(code, key, faults))


def _within(word: str, key: str, faults: int) -> bool:
    return DamerauLevenshtein.distance(word, key, score_cutoff=faults) <= faults


def _shared_with_one(key: str) -> Clause:
    """What holds of every word one fault away: one half is as in ``key``, or its middle is swapped."""
    half = len(key) // 2
    swapped = key[: half - 1] + key[half] + key[half - 1] + key[half + 1 :]
    return some([
        Clause("starts_with(code_key, ?)", (key[:half],)), Clause("ends_with(code_key, ?)", (key[half:],)),
        Clause("code_key = ?", (swapped,)),
    ])  # fmt: skip


def _shared_with_two(key: str) -> Clause:
    """What holds of every word two faults away: one of three pieces of ``key`` is in it.

    A sign stands between two pieces, so that no swap touches both; where a swap goes across the sign it is the second
    fault already.
    """
    length = (len(key) - 2) // 3
    places = (0, (len(key) - length) // 2, len(key) - length)
    return some(Clause("contains(code_key, ?)", (key[place : place + length],)) for place in places)


def _makers_within(connection: Connection, key: str, faults: int) -> list[str]:
    """The makers that have a word, or as a whole a name, at most ``faults`` typing faults away."""
    rows = connection.execute("select distinct maker from kept.parts where maker is not null").fetchall()
    return sorted(maker for (maker,) in rows if any(_within(name, key, faults) for name in _names_of(maker)))


def _names_of(maker: str) -> set[str]:
    return {name for name in map(squash, (maker, *_BREAKS.split(maker))) if name} | {maker_key(maker)}


def find_meant_maker(connection: Connection, written: str) -> Meant | None:
    """For the name of a maker that nothing begins with, the makers that are nearly called so."""
    key = maker_key(written)
    run = Run(0, 0, written, key)
    for faults in (1, 2):
        if len(key) >= (SHORTEST if faults == 1 else TWO_FAULTS_FROM):
            makers = _makers_within(connection, key, faults)
            if makers:
                return Meant(run, tuple(makers), one_of("maker", makers))
    return None


def find_near_codes(connection: Connection, written: str, limit: int = 3) -> tuple[str, ...]:
    """Known codes that look like ``written``, nearest first; of a known code its variants.

    Words before the code, such as its maker, are left out where nothing looks like the whole.
    """
    if limit < 1 or not code_key(written):
        return ()
    kin = _kin(connection, code_key(written))
    if kin:
        return kin[:limit]
    pieces = written.split()
    for start in range(len(pieces) or 1):
        key = code_key(" ".join(pieces[start:]))
        found = _nearest(connection, key) if len(key) >= SHORTEST else ()
        if found:
            return found[:limit]
    return ()


def _kin(connection: Connection, wanted: str) -> tuple[str, ...]:
    """The variants of the code that ``wanted`` begins with, where only letters stand behind it."""
    cuts = range(1, len(wanted) + 1)
    codes = [wanted[:cut] for cut in cuts if cut == len(wanted) or wanted[cut:].isalpha()]
    where = every([one_of("code_key", codes), Clause("variant is not null")])
    sql = f"select part_code, variant from kept.parts where {where.text} order by part_kind, part_code, variant"
    rows = connection.execute(sql, list(where.values)).fetchall()
    return tuple(dict.fromkeys(part_label(code, variant) for code, variant in rows))


def _nearest(connection: Connection, key: str) -> tuple[str, ...]:
    alike = _printed(connection, Clause("lookalike_key = ? and code_key <> ?", (lookalike_key(key), key)))
    if alike:
        return alike
    one = [code for code in _codes_within(connection, key, 1) if code != key]
    if not one and len(key) >= _OFFERED_WITH_TWO_FROM:
        ends = some([Clause("starts_with(code_key, ?)", (key[:3],)), Clause("ends_with(code_key, ?)", (key[-3:],))])
        one = [code for code in _codes_within(connection, key, 2, ends) if code != key]
    return _printed(connection, one_of("code_key", one)) if one else ()


def names_told(meant: Iterable[Meant]) -> dict[str, list[str]]:
    """What each run of words was taken for, as answers tell it."""
    return {m.run.typed: list(m.names) for m in meant}
