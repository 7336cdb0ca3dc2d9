"""The JSON Schema of a build, made from the table of limits."""

from __future__ import annotations

from typing import Any

from .build_values import bounds_of
from .builds import Slot
from .limits import Form, LimitKey, limits_of

_TEETH_SLOTS = (Slot.CASSETTE, Slot.FREEWHEEL, Slot.RINGS)
_TEXT = {"type": "string", "minLength": 1}


def build_json_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a build: the fields of a build file, in TOML, JSON lines or Parquet."""
    mount = {"enum": ["hanger", "direct", "clamp", "braze-on"]}
    bike = {
        "chainstay_mm": {"type": "number", "minimum": 200, "maximum": 1000},
        "wheel": {"type": "string", "description": "ISO 5775 size, such as 28-622"},
        "freehub": _TEXT,
        "firmware": {"type": ["string", "integer"]},
        "rear_mount": mount,
        "front_mount": mount,
        "seat_tube_mm": {"type": "number", "minimum": 20, "maximum": 60},
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Build",
        "description": "A bike as it is, and what would change.",
        "type": "object",
        "additionalProperties": False,
        "properties": {
            "name": {"type": ["string", "null"]},
            "bike": _table({key: _or_null(rule) for key, rule in bike.items()}),
            "now": _table({str(slot): _or_null(_slot_rule(slot)) for slot in Slot}),
            "wish": _table({str(slot): _or_null(_slot_rule(slot)) for slot in Slot}),
        },
    }


def _table(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": ["object", "null"], "properties": properties, "additionalProperties": False}


def _or_null(rule: dict[str, Any]) -> dict[str, Any]:
    return {"anyOf": [rule, {"type": "null"}]}


def _slot_rule(slot: Slot) -> dict[str, Any]:
    limits = {row.key: _or_null(_limit_rule(row)) for row in limits_of(slot.kind)}
    written = {"type": "object", "properties": limits, "additionalProperties": False, "minProperties": 1}
    code = {"type": "string", "description": 'a model code, photo:FILE, or "" for no such part'}
    if slot not in _TEETH_SLOTS:
        return {"anyOf": [code, written]}
    teeth = _limit_rule(next(row for row in limits_of(slot.kind) if row.key in ("cogs", "rings")))
    return {"anyOf": [code, *teeth["anyOf"], written]}


def _limit_rule(row: LimitKey) -> dict[str, Any]:
    if row.form is Form.TEXT:
        return {"enum": list(row.choices)} if row.choices else _TEXT
    low, high = bounds_of(row)
    number: dict[str, Any] = {"type": "integer" if row.whole else "number", "minimum": low, "maximum": high}
    rules: list[dict[str, Any]] = [number, {"type": "string", "pattern": r"\d"}]
    if row.form in (Form.VALUES, Form.ORDERED):
        rules.append({"type": "array", "items": number, "minItems": 1, "maxItems": row.most_values})
    elif row.form in (Form.RANGE, Form.EXACT_OR_RANGE):
        rules.append({"type": "array", "items": number, "minItems": 2, "maxItems": 2})
        rules.append(_table({"low": _or_null(number), "high": _or_null(number)}))
    return {"anyOf": rules}
