"""Words of a search, and what is asked of claims → claims of the store, as a person's word leaves them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import overload

from ..schema.limits import LIMITS, PartKind
from ..schema.parts import maker_key, squash
from .clauses import Clause, every, one_of, some
from .filters import ClaimFilter, Columns, check_filter, holds_words, must_be_known, pairs, value_clauses
from .register import ToldClaim, tell_claims
from .store import Connection, Store
from .words import kinds_named, limits_named, split_words, words_condition

_BREAKS = re.compile(r"[\s\-_/,()]+")
_STATE = "coalesce(j.verdict, c.state)"
ONE_BY_ONE = 64
"""Up to so many families are fetched one by one, which is faster than all at once."""
_FROM = """
from kept.claims c join kept.documents d using (sha256) left join kept.last_judgements j using (claim_id)
"""

_NAMES = {
    "maker": "select distinct maker, maker from kept.claims where maker is not null",
    "variant": "select distinct variant, variant from kept.claims where variant is not null",
}
"""Columns of few values, with the name that each value goes by."""
_NAMED_SO = r"""
select sha256 from (
    select sha256, strip_accents(upper(name)) as shown from kept.documents
) where contains(' ' || regexp_replace(regexp_replace(shown, '[\s\-_/,()]+', ' ', 'g'), '[^\p{L}\p{N} ]', '', 'g')
                 || ' ' || regexp_replace(shown, '[^\p{L}\p{N}]', '', 'g'), ?)
"""
"""The documents whose name, or a word in it, begins with a word that stands behind a blank."""


@dataclass(frozen=True)
class FoundClaims(Sequence[ToldClaim]):
    """The claims that a search found, in the order of the documents; a sequence of them."""

    claims: tuple[ToldClaim, ...] = ()
    more: int = 0
    """How many further claims were found and left out by ``most``."""

    @overload
    def __getitem__(self, index: int) -> ToldClaim: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[ToldClaim, ...]: ...
    def __getitem__(self, index: int | slice) -> ToldClaim | tuple[ToldClaim, ...]:
        """The claim at a place, or those of a slice."""
        return self.claims[index]

    def __len__(self) -> int:
        """How many claims are shown."""
        return len(self.claims)

    def __iter__(self) -> Iterator[ToldClaim]:
        """Each claim."""
        return iter(self.claims)


def _said(name: str, column: str, kind: str = "") -> str:
    """The field of a claim as a person's correction, if there is one, has it."""
    corrected = f"j.correction::json ->> '{name}'"
    if kind:
        corrected = f"try_cast(j.correction::json -> '{name}' as {kind})"
    return f"case when j.correction is null then c.{column} else {corrected} end"


_AS_SAID = Columns(
    limit=_said("limit", "limit_key"), low=_said("low", "low", "double"), high=_said("high", "high", "double"),
    values=_said("values", '"values"', "double[]"), text=_said("text", "text"),
)  # fmt: skip


def list_claims(store: Store, words: Sequence[str] = (), chosen: ClaimFilter | None = None) -> FoundClaims:
    """The claims that every word and filter fits, in the order of the documents.

    A word is the beginning of a word of the claim's code, variant, maker, kind, limit or document.

    :raises CallError: there is no such kind, limit, number or state
    """
    chosen = chosen or ClaimFilter()
    must_be_known("kind", chosen.kind, [str(k) for k in PartKind])
    must_be_known("limit", chosen.limit, list(LIMITS))
    check_filter(chosen)
    with store.reading() as connection:
        where = every(
            [*_asked(connection, chosen), words_condition(split_words(words), _finder(connection), _code_begins)]
        )
        if where.text == "true" and chosen.most is None:
            return FoundClaims(tuple(tell_claims(connection)))
        sql = f"select c.family, c.claim_id, count(*) over () {_FROM} where {where.text}"
        sql += " order by d.name, c.sha256, c.position"
        if chosen.most is not None:
            sql += f" limit {int(chosen.most)}"
        rows = connection.execute(sql, list(where.values)).fetchall()
        told = _tell(connection, [(family, claim_id) for family, claim_id, _ in rows])
        return FoundClaims(told, rows[0][2] - len(rows) if rows else 0)


def _tell(connection: Connection, found: Sequence[tuple[str, str]]) -> tuple[ToldClaim, ...]:
    """The claims of these families and ids, in this order."""
    places = {claim_id: place for place, (_, claim_id) in enumerate(found)}
    families = sorted({family for family, _ in found})
    told: list[ToldClaim] = []
    if len(families) <= ONE_BY_ONE:
        for family in families:
            told += tell_claims(connection, "c.family = ?", [family])
    else:
        where = every([Clause("c.family between ? and ?", (families[0], families[-1])), one_of("c.claim_id", places)])
        told += tell_claims(connection, where.text, where.values)
    return tuple(sorted((t for t in told if t.claim_id in places), key=lambda t: places[t.claim_id]))


def _asked(connection: Connection, chosen: ClaimFilter) -> list[Clause]:
    """What is asked of a claim beside its words."""
    given = {"c.part_kind": chosen.kind, "c.limit_key": chosen.limit, _STATE: chosen.state, "d.name": chosen.document}
    clauses = [Clause(f"{column} = ?", (str(value),)) for column, value in given.items() if value is not None]
    if chosen.maker is not None:
        wanted = maker_key(chosen.maker)
        clauses.append(_in_field(connection, "maker", lambda maker: maker_key(maker).startswith(wanted)))
    if chosen.sure is not None:
        clauses.append(Clause("c.confidence >= ?", (chosen.sure,)))
    texts: dict[str, list[str]] = {}
    for key, words in pairs(chosen.says):
        said = _distinct(connection, _AS_SAID.text, Clause(f"{_AS_SAID.limit} = ?", (key,)))
        texts[key] = [text for text in said if holds_words(text, words) and text in texts.get(key, [text])]
    return clauses + value_clauses(chosen, _AS_SAID, texts)


def _distinct(connection: Connection, column: str, where: Clause) -> list[str]:
    sql = f"select distinct {column} {_FROM} where {where.text}"
    return [row[0] for row in connection.execute(sql, list(where.values)).fetchall() if row[0] is not None]


def _in_field(connection: Connection, name: str, fits: Callable[[str], bool]) -> Clause:
    """That a field of the claim has one of those values in the store that fit."""
    values = connection.execute(f"select distinct {name} from kept.claims where {name} is not null").fetchall()
    corrected = f"j.correction::json ->> '{name}'"
    more = connection.execute(
        f"select distinct {corrected} from kept.last_judgements j where j.correction is not null"
    ).fetchall()
    fitting = {row[0] for row in (*values, *more) if row[0] is not None and fits(row[0])}
    return one_of(_said(name, name), fitting)


def _finder(connection: Connection) -> Callable[[str], Clause]:
    """How a word finds claims. What few values are written in is looked through once, whatever the number of words."""
    known: dict[str, list[tuple[str, set[str]]]] = {}

    def begun(column: str, key: str) -> list[str]:
        if column not in known:
            known[column] = [(value, _words_of(name)) for value, name in connection.execute(_NAMES[column]).fetchall()]
        return [value for value, words in known[column] if any(word.startswith(key) for word in words)]

    def found(key: str) -> Clause:
        listed = {column: begun(column, key) for column in _NAMES}
        listed["sha256"] = [row[0] for row in connection.execute(_NAMED_SO, [f" {key}"]).fetchall()]
        listed |= {"part_kind": kinds_named(key), "limit_key": limits_named(key)}
        ways = [
            Clause(f"list_contains(?::varchar[], c.{column})", (names,)) for column, names in listed.items() if names
        ]
        return some([_code_begins(key), *ways])

    return found


def _words_of(name: str) -> set[str]:
    return {squash(piece) for piece in (name, *_BREAKS.split(name))} - {""}


def _code_begins(key: str) -> Clause:
    """That the claim's code begins so, alone or with its variant behind it, or a piece of a code printed in pieces."""
    pieces = r"regexp_replace(strip_accents(upper(c.part_code)), '[\s\-_/,()]+', ' ', 'g')"
    bare = rf"regexp_replace({pieces}, '[^\p{{L}}\p{{N}} ]', '', 'g')"
    shown = r"regexp_replace(strip_accents(upper(c.variant)), '[^\p{L}\p{N}]', '', 'g')"
    return some([
        Clause("starts_with(c.code_key, ?)", (key,)),
        Clause(
            "case when c.variant is not null and starts_with(?, c.code_key)"
            f" then starts_with(c.code_key || {shown}, ?) else false end", (key, key),
        ),
        Clause(
            f"case when length(c.part_code) <> length(c.code_key) then contains(' ' || {bare}, ?) else false end",
            (f" {key}",),
        ),
    ])  # fmt: skip
