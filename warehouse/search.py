"""Words of a search, and what is asked of limits → rows of the limits table, or claims."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, overload

from ..schema.limits import LIMITS, PartKind
from ..schema.parts import code_key, maker_key, variant_key
from ..schema.resolved import Part
from .claim_search import ONE_BY_ONE, ClaimFilter, FoundClaims, list_claims
from .clauses import Clause, every, one_of
from .filters import Columns, LimitFilter, check_filter, holds_words, must_be_known, pairs, value_clauses
from .near import Meant, find_meant, find_meant_maker, names_told
from .settled import find_settled
from .store import Connection, Store
from .words import Asked, code_begins, part_begins, split_words, words_condition

__all__ = ["ClaimFilter", "FoundClaims", "FoundParts", "LimitFilter", "list_claims", "list_limits"]

_IDENTITY = "part_kind, code_key, maker_key, variant_key"

Identity = tuple[str, str, str, str]


@dataclass(frozen=True)
class FoundParts(Sequence[Part]):
    """The parts that a search found, in the order of kind, code, maker and variant; a sequence of them."""

    parts: tuple[Part, ...] = ()
    corrected: Mapping[str, list[str]] = field(default_factory=dict)
    """Words that nothing is called → the names that were searched for in their place."""
    more: int = 0
    """How many further parts were found and left out by ``most``."""
    replaced_by: Mapping[Identity, tuple[str, ...]] = field(default_factory=dict)
    """Parts that others replace → the codes of those."""

    @overload
    def __getitem__(self, index: int) -> Part: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Part, ...]: ...
    def __getitem__(self, index: int | slice) -> Part | tuple[Part, ...]:
        """The part at a place, or those of a slice."""
        return self.parts[index]

    def __len__(self) -> int:
        """How many parts are shown."""
        return len(self.parts)

    def __iter__(self) -> Iterator[Part]:
        """Each part."""
        return iter(self.parts)

    def successors_of(self, part: Part) -> tuple[str, ...]:
        """The codes of the parts whose documents say that they replace ``part``."""
        return self.replaced_by.get(_identity_of(part), ())


def list_limits(
    store: Store,
    words: Sequence[str] = (),
    kind: PartKind | str | None = None,
    limit: str | None = None,
    chosen: LimitFilter | None = None,
) -> FoundParts:
    """The parts that every word and filter fits, with all their limits or those asked for.

    A word is the beginning of a word of the part's code, variant, maker or kind, or of a limit that it has. A word that
    nothing begins with is taken for what is nearly called so, and that is told in ``corrected``.

    :raises CallError: there is no such kind, limit, number or state
    """
    chosen = chosen or LimitFilter()
    must_be_known("kind", kind, [str(k) for k in PartKind])
    must_be_known("limit", limit, list(LIMITS))
    check_filter(chosen)
    asked = split_words(words)
    with store.reading() as connection:
        if _asks_nothing(asked, kind, limit, chosen) and chosen.most is None:
            parts = tuple(find_settled(connection))
            return FoundParts(parts, replaced_by=_successors(connection, parts))
        rows = _rows_clause(chosen, limit)
        others = _part_clauses(connection, chosen, kind, rows, limit)
        found, more = _find(connection, every([words_condition(asked, part_begins, code_begins), *others]), chosen.most)
        meant: list[Meant] = []
        if not found and (asked or chosen.maker):
            meant = find_meant(connection, asked, unknown=len(asked) == 1 and _asks_nothing((), kind, limit, chosen))
            maker = find_meant_maker(connection, chosen.maker) if chosen.maker else None
            if meant or maker:
                others = _part_clauses(connection, chosen, kind, rows, limit, maker)
                found, more = _find(connection, every([_with_meant(asked, meant), *others]), chosen.most)
                meant = [*meant, *([maker] if maker else [])]
        parts = _fetch(connection, found, rows)
        return FoundParts(parts, names_told(meant) if parts else {}, more, _successors(connection, parts))


def _with_meant(asked: Sequence[Asked], meant: Sequence[Meant]) -> Clause:
    instead = {place: m.where for m in meant for place in range(m.run.start, m.run.end)}
    return words_condition(asked, part_begins, code_begins, instead)


def _asks_nothing(asked: Sequence[Asked], kind: object, limit: object, chosen: LimitFilter) -> bool:
    return not asked and kind is None and limit is None and replace(chosen, most=None) == LimitFilter()


def _rows_clause(chosen: LimitFilter, limit: str | None) -> Clause | None:
    """Which rows of ``kept.limits`` are shown; ``None`` for all of a part."""
    clauses = []
    if limit is not None:
        clauses.append(Clause("limit_key = ?", (limit,)))
    if chosen.sure is not None:
        clauses.append(Clause("confidence >= ?", (chosen.sure,)))
    if chosen.state is not None:
        clauses.append(Clause("list_contains([s.state for s in sources], ?)", (str(chosen.state),)))
    if chosen.conflicts:
        clauses.append(Clause("conflicts is not null"))
    return every(clauses) if clauses else None


def _part_clauses(
    connection: Connection,
    chosen: LimitFilter,
    kind: PartKind | str | None,
    rows: Clause | None,
    limit: str | None,
    maker: Meant | None = None,
) -> list[Clause]:
    """What is asked of a part beside its words, as conditions on ``kept.parts``."""
    clauses = [Clause("len(limit_keys) > 0")]
    if kind is not None:
        clauses.append(Clause("part_kind = ?", (str(kind),)))
    if limit is not None:
        clauses.append(Clause("list_contains(limit_keys, ?)", (limit,)))
    if maker is not None:
        clauses.append(maker.where)
    elif chosen.maker is not None:
        clauses.append(Clause("starts_with(maker_key, ?) and maker_key <> ''", (maker_key(chosen.maker),)))
    usable = _rows_clause(chosen, None)
    alike = [usable] if usable else []
    wanted = [every([clause, *alike]) for clause in value_clauses(chosen, Columns(), _texts(connection, chosen))]
    if rows is not None and usable is not None:
        wanted.append(rows)
    return clauses + [_has_row(clause) for clause in wanted]


def _has_row(clause: Clause) -> Clause:
    same = " and ".join(f"l.{name} = parts.{name}" for name in ("family", *_IDENTITY.split(", ")))
    return Clause(f"exists (select 1 from kept.limits l where {same} and {clause.text})", clause.values)


def _texts(connection: Connection, chosen: LimitFilter) -> dict[str, list[str]]:
    """Of each limit that must say something the texts of the store that say it."""
    sql = "select distinct text from kept.limits where limit_key = ? and text is not null"
    said: dict[str, list[str]] = {}
    for key, words in pairs(chosen.says):
        texts = [row[0] for row in connection.execute(sql, [key]).fetchall() if holds_words(row[0], str(words))]
        said[key] = [text for text in texts if key not in said or text in said[key]]
    return said


def _find(connection: Connection, where: Clause, most: int | None) -> tuple[list[tuple[str, Identity]], int]:
    """Family and identity of the parts that fit, at most so many, and how many more there are."""
    sql = f"select family, {_IDENTITY} from kept.parts where {where.text} order by {_IDENTITY}"
    if most is None:
        rows = connection.execute(sql, list(where.values)).fetchall()
        return [(row[0], row[1:]) for row in rows], 0
    counted = sql.replace(" from kept.parts", ", count(*) over () from kept.parts", 1)
    rows = connection.execute(f"{counted} limit ?", [*where.values, most]).fetchall()
    return [(row[0], row[1:5]) for row in rows], rows[0][5] - len(rows) if rows else 0


def _fetch(connection: Connection, found: Sequence[tuple[str, Identity]], rows: Clause | None) -> tuple[Part, ...]:
    """The parts found, with those of their limits that are to be shown."""
    shown = rows or Clause("true")
    families = sorted({family for family, _ in found})
    wanted = {identity for _, identity in found}
    parts: list[Part] = []
    if len(families) <= ONE_BY_ONE:
        for family in families:
            parts += find_settled(connection, f"family = ? and {shown.text}", [family, *shown.values])
    else:
        listed = [list(column) for column in zip(*wanted, strict=True)]
        inside = every([shown, one_of("family", families)])
        columns = ", ".join("unnest(?::varchar[])" for _ in listed)
        text = f"family between ? and ? and {inside.text} and ({_IDENTITY}) in (select ({columns}))"
        parts += find_settled(connection, text, [families[0], families[-1], *inside.values, *listed])
    return tuple(sorted((part for part in parts if _identity_of(part) in wanted), key=_identity_of))


def _identity_of(part: Part) -> Identity:
    return str(part.kind), code_key(part.code), maker_key(part.maker), variant_key(part.variant)


def _successors(connection: Connection, parts: Sequence[Part]) -> dict[Identity, tuple[str, ...]]:
    """Of each part the codes of those of its kind, and of its maker as far as that is known, that replace it."""
    codes = sorted({code_key(part.code) for part in parts})
    if not codes:
        return {}
    sql = """
        select distinct replaced, part_kind, maker_key, part_code
        from (select part_kind, maker_key, part_code, unnest(replaces) as replaced from kept.parts
              where replaces is not null)
        where replaced in (select unnest(?::varchar[])) order by part_code
    """
    told: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for replaced, kind, maker, code in connection.execute(sql, [codes]).fetchall():
        told.setdefault((kind, replaced), []).append((maker, code))
    successors: dict[Identity, Any] = {}
    for part in parts:
        kind, code, maker, variant = _identity_of(part)
        by = [c for m, c in told.get((kind, code), ()) if code_key(c) != code and (not m or not maker or m == maker)]
        if by:
            successors[kind, code, maker, variant] = tuple(dict.fromkeys(by))
    return successors
