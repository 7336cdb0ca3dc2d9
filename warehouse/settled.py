"""Resolved limits in the store: made anew for the codes whose claims changed, and read back as parts."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from typing import Any

import pyarrow as pa

from ..schema.claims import Claim, State, claim_from_json
from ..schema.limits import PartKind
from ..schema.parts import code_key, variant_key
from ..schema.resolved import LimitValue, Part, ResolvedLimit, SourceRef
from .resolve import RULE, SHORTEST_BASE, KeptClaim, resolve_parts
from .store import Connection, rows_of

_KIN = """
with asked as (select unnest(?::varchar[]) as code),
     bases as (
        select code from asked
        union
        select distinct c.code_key from kept.claims c, asked a
        where length(c.code_key) >= ? and starts_with(a.code, c.code_key)
     )
select distinct c.code_key as code from kept.claims c, bases b
where c.code_key <> '' and starts_with(c.code_key, b.code)
union
select code from asked
"""

_KEPT = """
select c.claim_id, c.sha256, coalesce(j.verdict, c.state) as state, coalesce(j.correction, c.record) as record,
       d.name, d.read_at
from kept.claims c join kept.documents d using (sha256) left join kept.last_judgements j using (claim_id)
where c.code_key in (select unnest(?::varchar[]))
order by d.read_at, c.position
"""

_COLUMNS = {
    "part_kind": pa.string(), "code_key": pa.string(), "variant_key": pa.string(), "part_code": pa.string(),
    "variant": pa.string(), "maker": pa.string(), "limit_key": pa.string(), "position": pa.int32(),
    "value": pa.string(), "confidence": pa.float64(), "sources": pa.string(), "conflicts": pa.string(),
}  # fmt: skip


def settle(connection: Connection, codes: Iterable[str]) -> None:
    """Resolve the limits of the parts with these code keys anew, inside the caller's transaction."""
    asked = sorted({code for code in codes if code})
    if not asked:
        return
    kin = [row[0] for row in connection.execute(_KIN, [asked, SHORTEST_BASE]).fetchall()]
    rows = [row for part in resolve_parts(load_kept(connection, kin)) for row in _rows(part)]
    connection.execute("delete from kept.limits where code_key in (select unnest(?::varchar[]))", [kin])
    insert_rows(connection, "kept.limits", _COLUMNS, rows)


def is_settled(connection: Connection) -> bool:
    """Whether the resolved limits were made by the present rule."""
    return connection.execute("select version from kept.rule").fetchall() == [(RULE,)]


def settle_all(connection: Connection) -> None:
    """Resolve the limits of every part anew, by the present rule, in one transaction."""
    connection.execute("begin")
    try:
        connection.execute("delete from kept.limits")
        settle(
            connection, [row[0] for row in connection.execute("select distinct code_key from kept.claims").fetchall()]
        )
        connection.execute("delete from kept.rule")
        connection.execute("insert into kept.rule values (?)", [RULE])
        connection.execute("commit")
    except BaseException:
        connection.execute("rollback")
        raise


def load_kept(connection: Connection, codes: Sequence[str]) -> list[KeptClaim]:
    """Every claim on these code keys, with a person's word applied; records that are no claim are left out."""
    kept = []
    for row in rows_of(connection, _KEPT, [list(codes)]):
        state = State(row["state"])
        record = json.loads(row["record"]) | {"document": row["name"]}
        if all(isinstance(record.get(name), str) for name in ("part_code", "part_kind", "limit")):
            claim = claim_from_json(tidy_record(record) if state is State.HELD_BACK else record)
            kept.append(KeptClaim(row["claim_id"], row["sha256"], claim, state, row["read_at"]))
    return kept


def tidy_record(record: dict[str, Any]) -> dict[str, Any]:
    """A held-back record with every field of a wrong type made harmless, so that it can stand as a claim."""
    tidy = {name: record.get(name) for name in Claim.__dataclass_fields__}
    for name in ("document", "part_code", "part_kind", "limit", "snippet", "method"):
        tidy[name] = "" if tidy[name] is None else str(tidy[name])
    for name in ("maker", "variant", "text", "unit"):
        tidy[name] = None if tidy[name] is None else str(tidy[name])
    for name in ("low", "high"):
        tidy[name] = tidy[name] if is_number(tidy[name]) else None
    values = tidy["values"]
    tidy["values"] = values if isinstance(values, (list, tuple)) and all(map(is_number, values)) else None
    tidy["bbox"] = _tidy_box(tidy["bbox"])
    tidy["page"] = tidy["page"] if isinstance(tidy["page"], int) else 1
    tidy["condition"] = tidy["condition"] if isinstance(tidy["condition"], dict) else None
    tidy["confidence"] = tidy["confidence"] if is_number(tidy["confidence"]) else 0.0
    return tidy


def _tidy_box(box: object) -> list[float] | None:
    if not isinstance(box, (list, tuple)) or len(box) != 4 or not all(map(is_number, box)):
        return None
    x0, top, x1, bottom = box
    return [x0, top, x1, bottom] if x1 >= x0 and bottom >= top else None


def is_number(value: object) -> bool:
    """Whether ``value`` is a finite number and no truth value."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def insert_rows(
    connection: Connection, table: str, columns: dict[str, pa.DataType], rows: Sequence[dict[str, Any]]
) -> None:
    """Put rows into a table through one Arrow table."""
    if not rows:
        return
    batch = pa.table({name: pa.array([row[name] for row in rows], kind) for name, kind in columns.items()})
    connection.register("arriving", batch)
    try:
        connection.execute(f"insert into {table} by name select * from arriving")
    finally:
        connection.unregister("arriving")


def find_settled(connection: Connection, where: str = "true", parameters: Sequence[Any] = ()) -> list[Part]:
    """The parts whose rows in ``kept.limits`` satisfy an SQL condition, each with all its limits."""
    sql = f"""
        select l.* from kept.limits l
        semi join (select distinct part_kind, code_key, variant_key from kept.limits where {where}) w
        using (part_kind, code_key, variant_key)
        order by l.part_kind, l.code_key, l.variant_key, l.position
    """
    parts: dict[tuple[str, str, str], Part] = {}
    limits: dict[tuple[str, str, str], dict[str, tuple[ResolvedLimit, ...]]] = {}
    for row in rows_of(connection, sql, list(parameters)):
        key = (row["part_kind"], row["code_key"], row["variant_key"])
        held = limits.setdefault(key, {})
        held[row["limit_key"]] = (*held.get(row["limit_key"], ()), _limit_from_row(row))
        parts[key] = Part(PartKind(row["part_kind"]), row["part_code"], row["variant"], row["maker"], held)
    return list(parts.values())


def _rows(part: Part) -> Iterable[dict[str, Any]]:
    resolved = [(key, limit) for key, limits in part.limits.items() for limit in limits]
    for position, (key, limit) in enumerate(resolved):
        yield {
            "part_kind": str(part.kind), "code_key": code_key(part.code), "variant_key": variant_key(part.variant),
            "part_code": part.code, "variant": part.variant, "maker": part.maker, "limit_key": key,
            "position": position, "value": _dump(limit.value.as_json()), "confidence": limit.confidence,
            "sources": _dump([s.as_json() for s in limit.sources]),
            "conflicts": _dump([limit_as_json(c) for c in limit.conflicts]),
        }  # fmt: skip


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
    return ResolvedLimit(
        _value_from_json(json.loads(row["value"])), row["confidence"],
        _sources_from_json(json.loads(row["sources"])),
        tuple(_limit_from_json(conflict) for conflict in json.loads(row["conflicts"])),
    )  # fmt: skip


def _limit_from_json(record: dict[str, Any]) -> ResolvedLimit:
    return ResolvedLimit(_value_from_json(record), record["confidence"], _sources_from_json(record["sources"]))


def _value_from_json(record: dict[str, Any]) -> LimitValue:
    known = {name: record[name] for name in LimitValue.__dataclass_fields__}
    if known["values"] is not None:
        known["values"] = tuple(known["values"])
    return LimitValue(**known)


def _sources_from_json(records: Sequence[dict[str, Any]]) -> tuple[SourceRef, ...]:
    return tuple(SourceRef(r["claim_id"], r["document"], r["page"], r["snippet"], State(r["state"])) for r in records)


def _dump(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
