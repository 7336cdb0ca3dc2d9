"""Claims ↔ rows of ``kept.claims``: a valid claim in typed columns, a held-back record as it was given."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import pyarrow as pa

from ..schema.claims import Box, Claim, State, claim_from_json
from ..schema.parts import code_key, family_key, variant_key
from .store import Connection

if TYPE_CHECKING:
    from ..schema.validation import HeldBack

CLAIM_COLUMNS: dict[str, pa.DataType] = {
    "claim_id": pa.string(), "sha256": pa.string(), "position": pa.int32(), "state": pa.string(),
    "family": pa.string(), "code_key": pa.string(), "variant_key": pa.string(), "page": pa.int32(),
    "bbox": pa.list_(pa.float64()), "maker": pa.string(), "part_code": pa.string(), "variant": pa.string(),
    "part_kind": pa.string(), "limit_key": pa.string(), "low": pa.float64(), "high": pa.float64(),
    "values": pa.list_(pa.float64()), "text": pa.string(), "unit": pa.string(), "condition": pa.string(),
    "snippet": pa.string(), "method": pa.string(), "confidence": pa.float64(), "record": pa.string(),
    "reasons": pa.string(), "reader": pa.string(),
}  # fmt: skip
"""The columns of ``kept.claims``."""


def as_row(
    claim_id: str, sha256: str, position: int, claim: Claim, reader: str, held_back: HeldBack | None = None
) -> dict[str, Any]:
    """The row of one reading; of a held-back one ``claim`` is the record made harmless (see ``tidy_record``)."""
    return {
        "claim_id": claim_id, "sha256": sha256, "position": position,
        "state": str(State.HELD_BACK if held_back else State.READ),
        "page": claim.page, "bbox": claim.bbox.as_list() if claim.bbox else None, "maker": claim.maker,
        "part_code": claim.part_code, "variant": claim.variant, "part_kind": claim.part_kind, "limit_key": claim.limit,
        "low": _real(claim.low), "high": _real(claim.high),
        "values": [float(value) for value in claim.values] if claim.values is not None else None,
        "text": claim.text, "unit": claim.unit,
        "condition": dump(dict(sorted(claim.condition.items()))) if claim.condition else None,
        "snippet": claim.snippet, "method": claim.method, "confidence": round(claim.confidence, 4),
        "record": dump(held_back.record) if held_back else None,
        "reasons": dump([o.as_json() for o in held_back.objections]) if held_back else None,
        "reader": reader,
    } | keys_of(claim.part_code, claim.variant)  # fmt: skip


def _real(number: float | None) -> float | None:
    return None if number is None else float(number)


def keys_of(part_code: object, variant: object) -> dict[str, str]:
    """The columns by which a row is found: family, code and variant as compared."""
    code = str(part_code or "")
    return {"family": family_key(code), "code_key": code_key(code),
            "variant_key": variant_key(None if variant is None else str(variant))}  # fmt: skip


def claim_of(row: Mapping[str, Any], document: str) -> Claim:
    """The claim that a row holds; of a held-back one with every field of a wrong type made harmless."""
    box, values, condition = row["bbox"], row["values"], row["condition"]
    return Claim(
        document, row["page"], Box(*box) if box else None, row["maker"], row["part_code"], row["variant"],
        row["part_kind"], row["limit_key"], row["low"], row["high"], tuple(values) if values is not None else None,
        row["text"], row["unit"], json.loads(condition) if condition else None, row["snippet"], row["method"],
        row["confidence"],
    )  # fmt: skip


def record_of(row: Mapping[str, Any], document: str) -> dict[str, Any]:
    """The reading that a row holds, as JSON; a held-back one exactly as it was given."""
    if row["record"] is not None:
        return json.loads(row["record"]) | {"document": document}
    return claim_of(row, document).as_json()


def tidy_claim(record: Mapping[str, Any]) -> Claim:
    """A held-back record as a claim, every field of a wrong type made harmless."""
    return claim_from_json(tidy_record(record))


def tidy_record(record: Mapping[str, Any]) -> dict[str, Any]:
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
    page = tidy["page"]
    tidy["page"] = page if isinstance(page, int) and not isinstance(page, bool) and 0 < page < 1 << 31 else 1
    tidy["condition"] = _tidy_condition(tidy["condition"])
    tidy["confidence"] = tidy["confidence"] if is_number(tidy["confidence"]) else 0.0
    return tidy


def _tidy_box(box: object) -> list[float] | None:
    if not isinstance(box, (list, tuple)) or len(box) != 4 or not all(map(is_number, box)):
        return None
    x0, top, x1, bottom = box
    return [x0, top, x1, bottom] if x1 >= x0 and bottom >= top else None


def _tidy_condition(condition: object) -> dict[str, Any] | None:
    if not isinstance(condition, Mapping):
        return None
    sound = {str(k): v for k, v in condition.items() if isinstance(v, str) or is_number(v)}
    return sound if len(sound) == len(condition) else None


def is_number(value: object) -> bool:
    """Whether ``value`` is a finite number and no truth value."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def insert_rows(
    connection: Connection, table: str, columns: Mapping[str, pa.DataType], rows: Sequence[Mapping[str, Any]]
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


def dump(value: object) -> str:
    """``value`` as JSON on one line."""
    return json.dumps(value, ensure_ascii=False, default=str)
