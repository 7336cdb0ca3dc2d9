"""Resolved limits in the store: made anew for the families of codes whose claims changed, and read back as parts."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import pyarrow as pa

from ..schema.claims import State, claim_from_json
from ..schema.limits import PartKind
from ..schema.parts import code_key, family_key, lookalike_key, maker_key, part_label, squash, variant_key
from ..schema.resolved import LimitValue, Part, ResolvedLimit, SourceRef
from .claim_rows import claim_of, dump, insert_rows
from .order import note_disorder
from .resolve import DOUBTED, RULE, KeptClaim, resolve_parts
from .settle_plain import settle_plain
from .store import Connection, rows_of

_KEPT = """
select c.*, coalesce(j.verdict, c.state) as verdict, j.correction, o.verdict as others_verdict,
       o.correction as others_correction, d.name, d.read_at, d.dated, coalesce(d.mark, c.sha256) as mark
from kept.claims c join kept.documents d using (sha256)
left join kept.last_judgements j using (claim_id)
left join kept.others_words o on o.claim_id = c.claim_id and j.claim_id is null
where c.family in (select unnest(?::varchar[])) and c.family between ? and ?
"""

_SOURCE = pa.struct({"claim_id": pa.string(), "document": pa.string(), "page": pa.int32(), "snippet": pa.string(),
                     "state": pa.string()})  # fmt: skip
_PART_KEYS = {name: pa.string() for name in (
    "family", "part_kind", "maker_key", "code_key", "variant_key", "part_code", "variant", "maker")}  # fmt: skip
LIMIT_COLUMNS: dict[str, pa.DataType] = _PART_KEYS | {
    "limit_key": pa.string(), "position": pa.int32(), "low": pa.float64(), "high": pa.float64(),
    "values": pa.list_(pa.float64()), "text": pa.string(), "unit": pa.string(), "condition": pa.string(),
    "confidence": pa.float64(), "sources": pa.list_(_SOURCE), "conflicts": pa.string(),
}  # fmt: skip
"""The columns of ``kept.limits``."""
PART_COLUMNS: dict[str, pa.DataType] = _PART_KEYS | {
    "lookalike_key": pa.string(), "words": pa.string(), "limit_keys": pa.list_(pa.string()),
    "replaces": pa.list_(pa.string()),
}  # fmt: skip
"""The columns of ``kept.parts``."""
_BREAKS = re.compile(r"[\s\-_/,()]+")
_AT_ONCE = 20_000
"""So many families are resolved at once when all are."""


def settle(connection: Connection, codes: Iterable[str]) -> None:
    """Resolve the limits of the parts with these codes anew, inside the caller's transaction."""
    families = sorted({family_key(code) for code in codes} - {""})
    if not families:
        return
    parts = resolve_parts(load_kept(connection, families))
    span = [families, families[0], families[-1]]
    for table in ("limits", "parts"):
        where = "family in (select unnest(?::varchar[])) and family between ? and ?"
        connection.execute(f"delete from kept.{table} where {where}", span)
    put_settled(connection, parts)
    note_disorder(connection, sum(len(limits) for part in parts for limits in part.limits.values()))


def put_settled(connection: Connection, parts: Sequence[Part]) -> None:
    """Add resolved parts to ``kept.limits`` and ``kept.parts``."""
    insert_rows(connection, "kept.limits", LIMIT_COLUMNS, [row for part in parts for row in _limit_rows(part)])
    insert_rows(connection, "kept.parts", PART_COLUMNS, [_part_row(part) for part in parts])


def is_settled(connection: Connection) -> bool:
    """Whether the resolved limits were made by the present rule."""
    return connection.execute("select version from kept.rule").fetchall() == [(RULE,)]


def settle_all(connection: Connection) -> None:
    """Resolve the limits of every part anew, by the present rule, inside the caller's transaction."""
    connection.execute("delete from kept.limits")
    connection.execute("delete from kept.parts")
    settle_plain(connection)
    found = connection.execute("select family from not_plain order by family").fetchall()
    families = [row[0] for row in found]
    for start in range(0, len(families), _AT_ONCE):
        put_settled(connection, resolve_parts(load_kept(connection, families[start : start + _AT_ONCE])))
    connection.execute("delete from kept.rule")
    connection.execute("insert into kept.rule values (?)", [RULE])


def load_kept(connection: Connection, families: Sequence[str]) -> list[KeptClaim]:
    """Every claim on these families of codes (sorted), with the words that hold on it; no claim without its keys."""
    kept = []
    for row in rows_of(connection, _KEPT, [list(families), families[0], families[-1]]):
        if all(row[name] for name in ("part_code", "part_kind", "limit_key")):
            kept.extend(_kept_claims(row))
    return kept


def _kept_claims(row: dict[str, Any]) -> Iterator[KeptClaim]:
    """The claim of a row as a person's word leaves it; beside it what others say of it instead.

    That it speaks of a part of another family makes the reading doubtful, and says nothing of that other part.
    """
    claim = claim_of(row, row["name"])
    if row["correction"]:
        claim = claim_from_json(json.loads(row["correction"]) | {"document": row["name"]})
    dates = {"read_at": row["read_at"], "dated": row["dated"], "mark": row["mark"]}
    if row["others_verdict"] in (State.CORRECTED, State.REJECTED):
        claim = replace(claim, confidence=min(claim.confidence, DOUBTED))
    yield KeptClaim(row["claim_id"], row["sha256"], claim, State(row["verdict"]), **dates)
    if row["others_correction"]:
        said = claim_from_json(json.loads(row["others_correction"]) | {"document": row["name"], "confidence": DOUBTED})
        if family_key(said.part_code) != row["family"]:
            return
        yield KeptClaim(row["claim_id"], row["sha256"], said, State.READ, **dates)


def find_families(connection: Connection, families: Sequence[str]) -> list[Part]:
    """The parts of some families of codes. Each family is asked for by itself, so that only its rows are looked at."""
    if not families:
        return []
    asked = " union all ".join(["from kept.limits where family between ? and ?"] * len(families))
    return _parts_of(rows_of(connection, asked, [bound for family in families for bound in (family, family)]))


def find_settled(connection: Connection, where: str = "true", parameters: Sequence[Any] = ()) -> list[Part]:
    """The parts whose rows in ``kept.limits`` satisfy an SQL condition on that table's columns of the part."""
    return _parts_of(rows_of(connection, f"from kept.limits where {where}", list(parameters)))


def _parts_of(rows: list[dict[str, Any]]) -> list[Part]:
    """Rows of ``kept.limits`` as parts, by kind, code, maker and variant."""
    rows.sort(key=lambda r: (r["part_kind"], r["code_key"], r["maker_key"], r["variant_key"], r["position"]))
    parts: dict[tuple[str, ...], Part] = {}
    limits: dict[tuple[str, ...], dict[str, tuple[ResolvedLimit, ...]]] = {}
    for row in rows:
        key = (row["part_kind"], row["code_key"], row["maker_key"], row["variant_key"])
        held = limits.setdefault(key, {})
        held[row["limit_key"]] = (*held.get(row["limit_key"], ()), _limit_from_row(row))
        parts[key] = Part(PartKind(row["part_kind"]), row["part_code"], row["variant"], row["maker"], held)
    return list(parts.values())


def _key_columns(part: Part) -> dict[str, str | None]:
    return {
        "family": family_key(part.code), "part_kind": str(part.kind), "maker_key": maker_key(part.maker),
        "code_key": code_key(part.code), "variant_key": variant_key(part.variant), "part_code": part.code,
        "variant": part.variant, "maker": part.maker,
    }  # fmt: skip


def _limit_rows(part: Part) -> Iterable[dict[str, Any]]:
    keys = _key_columns(part)
    resolved = [(key, limit) for key, limits in part.limits.items() for limit in limits]
    for position, (key, limit) in enumerate(resolved):
        value = limit.value
        yield keys | {
            "limit_key": key, "position": position, "low": value.low, "high": value.high,
            "values": list(value.values) if value.values is not None else None, "text": value.text,
            "unit": value.unit,
            "condition": dump(dict(sorted(value.condition.items()))) if value.condition else None,
            "confidence": limit.confidence,
            "sources": [source.as_json() for source in limit.sources],
            "conflicts": dump([limit_as_json(c) for c in limit.conflicts]) if limit.conflicts else None,
        }  # fmt: skip


def _part_row(part: Part) -> dict[str, Any]:
    replaced = [code_key(limit.value.text) for limit in part.limits.get("replaces", ())]
    return _key_columns(part) | {
        "lookalike_key": lookalike_key(part.code), "words": search_words(part), "limit_keys": sorted(part.limits),
        "replaces": sorted(set(replaced)) or None,
    }  # fmt: skip


def search_words(part: Part) -> str:
    """What a search may find a part by: each word folded as codes are, and behind a blank.

    The code whole, in its pieces and with its variant behind it; variant and maker whole and in their words.

    >>> search_words(Part(PartKind.CASSETTE, "kx-71", "M", "Brambel Works"))
    ' 71 BRAMBEL BRAMBELWORKS KX KX71 KX71M M WORKS'
    """
    names = [part.code, part_label(part.code, part.variant), part.variant or "", part.maker or ""]
    words = [squash(piece) for name in names for piece in (name, *_BREAKS.split(name))]
    return "".join(f" {word}" for word in sorted(set(words)) if word)


def limit_as_json(limit: ResolvedLimit) -> dict[str, Any]:
    """A resolved limit as JSON: the value's fields, then how sure it is and what it rests on."""
    return limit.value.as_json() | {
        "confidence": round(limit.confidence, 4),
        "sources": [source.as_json() for source in limit.sources],
        "conflicts": [limit_as_json(conflict) for conflict in limit.conflicts],
    }


def part_as_json(part: Part) -> dict[str, Any]:
    """One row of the limits table as JSON; each limit holds one value for each condition."""
    return {
        "part_kind": str(part.kind), "part_code": part.code, "variant": part.variant, "maker": part.maker,
        "limits": {key: [limit_as_json(limit) for limit in limits] for key, limits in part.limits.items()},
    }  # fmt: skip


def _limit_from_row(row: dict[str, Any]) -> ResolvedLimit:
    values, condition = row["values"], row["condition"]
    value = LimitValue(
        row["limit_key"], row["low"], row["high"], tuple(values) if values is not None else None, row["text"],
        row["unit"], json.loads(condition) if condition else None,
    )  # fmt: skip
    conflicts = json.loads(row["conflicts"]) if row["conflicts"] else ()
    return ResolvedLimit(
        value, row["confidence"], _sources_from_json(row["sources"]), tuple(map(_limit_from_json, conflicts))
    )


def _limit_from_json(record: dict[str, Any]) -> ResolvedLimit:
    return ResolvedLimit(_value_from_json(record), record["confidence"], _sources_from_json(record["sources"]))


def _value_from_json(record: dict[str, Any]) -> LimitValue:
    known = {name: record[name] for name in LimitValue.__dataclass_fields__}
    if known["values"] is not None:
        known["values"] = tuple(known["values"])
    return LimitValue(**known)


def _sources_from_json(records: Sequence[dict[str, Any]]) -> tuple[SourceRef, ...]:
    return tuple(SourceRef(r["claim_id"], r["document"], r["page"], r["snippet"], State(r["state"])) for r in records)
