"""Claims → valid claims, and held-back records with every reason, by a frame schema built from the limits table."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import isfinite
from typing import Any

import pandera.polars as pa
import polars as pl
from pandera.errors import SchemaErrors

from .claims import Claim, claim_from_json, plain
from .limits import LIMITS, Form, PartKind
from .reasons import Reason, advice_for


@dataclass(frozen=True)
class Objection:
    """Why a record is held back: a reason that programs match, and the field and value at fault."""

    reason: Reason
    field: str
    value: str

    def as_json(self) -> dict[str, str]:
        """The object that stands in a held-back record's ``reasons``."""
        return {"reason": str(self.reason), "field": self.field, "value": self.value,
                "advice": advice_for(self.reason)}  # fmt: skip


@dataclass(frozen=True)
class HeldBack:
    """A record that is kept and shown but never used for an answer."""

    record: dict[str, Any]
    objections: tuple[Objection, ...]


@dataclass(frozen=True)
class Validation:
    """The outcome of validating records: what may be used, and what is held back."""

    valid: list[Claim]
    held_back: list[HeldBack]


_TYPES: dict[str, tuple[type, ...]] = {
    "document": (str,), "page": (int,), "maker": (str, type(None)), "part_code": (str,),
    "variant": (str, type(None)), "part_kind": (str,), "limit": (str,),
    "low": (int, float, type(None)), "high": (int, float, type(None)), "values": (list, tuple, type(None)),
    "text": (str, type(None)), "unit": (str, type(None)), "condition": (Mapping, type(None)),
    "bbox": (list, tuple, type(None)), "snippet": (str,), "method": (str,), "confidence": (int, float),
}  # fmt: skip
_REQUIRED = ("document", "page", "part_code", "part_kind", "limit", "snippet", "method", "confidence")


def validate_claims(claims: Iterable[Claim]) -> Validation:
    """Validate claims that a reader made."""
    return validate_records([claim.as_json() for claim in claims])


def validate_records(records: Sequence[Mapping[str, Any]]) -> Validation:
    """Validate claim records in JSON form, from a reader or from outside; nothing raises, nothing is dropped."""
    outcomes = validate_each(records)
    valid = [claim_from_json(record) for record, held in zip(records, outcomes, strict=True) if not held]
    return Validation(valid, [held for held in outcomes if held])


def validate_each(records: Sequence[Mapping[str, Any]]) -> list[HeldBack | None]:
    """For each record in its place ``None`` where it is a valid claim, else the record with every objection to it."""
    objections: list[list[Objection]] = [_object_to_types(record) for record in records]
    sound = [n for n, found in enumerate(objections) if not found]
    for n, objection in _object_to_frame([records[n] for n in sound]):
        objections[sound[n]].append(objection)
    return [
        HeldBack(dict(record), tuple(found)) if found else None
        for record, found in zip(records, objections, strict=True)
    ]


def _object_to_types(record: Mapping[str, Any]) -> list[Objection]:
    found = [Objection(Reason.MISSING_FIELD, name, "") for name in _REQUIRED if record.get(name) is None]
    for name, types in _TYPES.items():
        value = record.get(name)
        if value is not None and (isinstance(value, bool) or not isinstance(value, types)):
            found.append(Objection(Reason.WRONG_FIELD_TYPE, name, repr(value)))
    if not found:
        found = [*_object_to_numbers(record), *_object_to_condition(record.get("condition"))]
    return found


def _object_to_numbers(record: Mapping[str, Any]) -> list[Objection]:
    found = []
    for name, length in (("bbox", 4), ("values", None)):
        value = record.get(name)
        if value is None:
            continue
        if not all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in value):
            found.append(Objection(Reason.WRONG_FIELD_TYPE, name, repr(value)))
        elif name == "bbox" and (len(value) != length or value[2] < value[0] or value[3] < value[1]):
            found.append(Objection(Reason.BAD_BOX, name, repr(value)))
    return found


def _object_to_condition(condition: Mapping[str, Any] | None) -> list[Objection]:
    return [
        Objection(Reason.BAD_CONDITION, "condition", f"{key} = {value!r}")
        for key, value in (condition or {}).items()
        if key not in LIMITS or isinstance(value, bool) or not isinstance(value, (int, float, str))
    ]


def _object_to_frame(records: Sequence[Mapping[str, Any]]) -> Iterable[tuple[int, Objection]]:
    if not records:
        return
    for index, reason in _failures(_as_frame(records)):
        field = FIELD_OF_REASON[reason]
        yield index, Objection(reason, field, _shown(records[index], field))


def _failures(frame: pl.DataFrame) -> Iterable[tuple[int, Reason]]:
    """Each row of a typed frame that the frame schema objects to, with the reason."""
    try:
        frame_schema().validate(frame.join(_limit_table(), on="limit", how="left", maintain_order="left"), lazy=True)
    except SchemaErrors as errors:
        for case in errors.failure_cases.iter_rows(named=True):
            if case["index"] is None:
                raise
            yield case["index"], Reason(case["check"])


def validate_frame(frame: pl.DataFrame, document: str = "") -> dict[int, HeldBack]:
    """Validate claims in typed columns: the rows that are held back, by their number, as ``validate_records`` says it.

    For claims by the million: the frame schema looks at all rows at once, and only those that fail are looked at one
    by one.

    :param frame: the fields of a claim as columns, ``condition`` as JSON text; ``document`` may be missing
    :param document: the document's name in the records of rows that have none
    """
    rows = frame.with_row_index("row")
    suspects = set(rows.filter(_formally_doubtful())["row"])
    formal = rows.filter(~_formally_doubtful())
    if formal.height:
        columns = [pl.col(name).cast(kind) for name, kind in _FRAME_TYPES.items()]
        numbers = formal["row"]
        suspects.update(numbers[index] for index, _ in _failures(formal.select(columns)))
    conditions = rows.drop_nulls("condition").group_by("condition").agg("row").select("condition", "row")
    for condition, where in conditions.rows():
        if _object_to_condition(json.loads(condition)):
            suspects.update(where)
    told = sorted(suspects)
    records = [_record_of(row, document) for row in frame[told].iter_rows(named=True)]
    found = [_object_to_types(record) for record in records]
    sound = [n for n, objections in enumerate(found) if not objections]
    for n, objection in _object_to_frame([records[n] for n in sound]):
        found[sound[n]].append(objection)
    return {
        row: HeldBack(record, tuple(objections))
        for row, record, objections in zip(told, records, found, strict=True)
        if objections
    }


def _formally_doubtful() -> pl.Expr:
    """Rows with a field missing, or with a box that is none."""
    missing = [pl.col(name).is_null() for name in _REQUIRED if name != "document"]
    box = pl.col("bbox")
    x0, top, x1, bottom = (box.list.get(n, null_on_oob=True) for n in range(4))
    hollow = box.list.eval(pl.element().is_null()).list.any()
    wrong = (box.list.len() != 4) | (x1 < x0) | (bottom < top) | hollow
    return pl.any_horizontal(*missing, wrong.fill_null(False))


def _record_of(row: Mapping[str, Any], document: str) -> dict[str, Any]:
    """A row of typed columns as the JSON record of a claim."""
    record: dict[str, Any] = {"document": document}
    for name in _TYPES:
        if name in row:
            record[name] = row[name]
    for name in ("low", "high"):
        number = record[name]
        record[name] = plain(number) if number is not None and isfinite(number) else number
    if record["values"] is not None:
        record["values"] = [plain(v) if v is not None and isfinite(v) else v for v in record["values"]]
    record["condition"] = json.loads(record["condition"]) if record["condition"] is not None else None
    return record


def _shown(record: Mapping[str, Any], field: str) -> str:
    if field != "value":
        return str(record.get(field))
    return ", ".join(f"{k} = {record[k]}" for k in ("low", "high", "values", "text") if record.get(k) is not None)


_FRAME_TYPES: dict[str, pl.DataType] = {
    "part_code": pl.String(), "part_kind": pl.String(), "limit": pl.String(), "low": pl.Float64(), "high": pl.Float64(),
    "values": pl.List(pl.Float64), "text": pl.String(), "unit": pl.String(), "page": pl.Int64(),
    "confidence": pl.Float64(),
}  # fmt: skip


def _as_frame(records: Sequence[Mapping[str, Any]]) -> pl.DataFrame:
    rows = {
        name: [list(map(float, r["values"])) if r.get("values") is not None else None for r in records]
        if name == "values"
        else [r.get(name) for r in records]
        for name in _FRAME_TYPES
    }
    return pl.DataFrame(rows, schema=_FRAME_TYPES, strict=False)


@cache
def _limit_table() -> pl.DataFrame:
    rows = [
        {
            "limit": row.key, "form": str(row.form), "key_unit": str(row.unit) if row.unit else None,
            "plausible_low": row.plausible[0] if row.plausible else None,
            "plausible_high": row.plausible[1] if row.plausible else None,
            "choices": list(row.choices), "kinds": [str(k) for k in row.kinds],
            "most_values": row.most_values, "whole": row.whole,
        }
        for row in LIMITS.values()
    ]  # fmt: skip
    return pl.DataFrame(rows, schema_overrides={"plausible_low": pl.Float64, "plausible_high": pl.Float64})


_LOW, _HIGH, _VALUES, _TEXT = pl.col("low"), pl.col("high"), pl.col("values"), pl.col("text")
_ROOM = 0.05  # beyond a plausible bound, in the bound's own unit: rounding in print


def _right_form() -> pl.Expr:
    form, no_list, no_text = pl.col("form"), _VALUES.is_null(), _TEXT.is_null()
    low, high = _LOW.is_not_null(), _HIGH.is_not_null()
    number = no_list & no_text
    is_range = form.is_in([str(Form.RANGE), str(Form.EXACT_OR_RANGE)])
    return (
        pl.when(form == str(Form.HIGH)).then(number & high & ~low)
        .when(form == str(Form.LOW)).then(number & low & ~high)
        .when(form == str(Form.EXACT)).then(number & low & high & (_LOW == _HIGH))
        .when(is_range).then(number & (low | high))
        .when(form == str(Form.TEXT)).then(no_list & ~low & ~high & (_TEXT.str.strip_chars() != ""))
        .otherwise(no_text & ~low & ~high & (_VALUES.list.len() > 0))
    )  # fmt: skip


def _every(test: Callable[[pl.Expr], pl.Expr]) -> pl.Expr:
    """``test`` on every number of a value."""
    in_list = _VALUES.list.eval(test(pl.element())).list.all()
    return test(_LOW).fill_null(True) & test(_HIGH).fill_null(True) & in_list.fill_null(True)


def _plausible() -> pl.Expr:
    smallest = pl.min_horizontal(_LOW, _HIGH, _VALUES.list.min())
    largest = pl.max_horizontal(_LOW, _HIGH, _VALUES.list.max())
    within = (smallest >= pl.col("plausible_low") - _ROOM) & (largest <= pl.col("plausible_high") + _ROOM)
    return within.fill_null(True) & _every(lambda number: number.is_finite())


def _in_order() -> pl.Expr:
    steps = _VALUES.list.diff(null_behavior="drop")
    wrong = (
        pl.when(pl.col("limit") == "cogs").then(steps.list.min() <= 0)
        .when(pl.col("limit") == "rings").then(steps.list.max() >= 0)
        .otherwise(False)
    )  # fmt: skip
    return ~wrong.fill_null(False)


_CHECKS: dict[Reason, tuple[str, Callable[[], pl.Expr]]] = {
    Reason.MISSING_FIELD: ("part_code", lambda: pl.col("part_code").str.contains(r"[\p{L}\p{N}]")),
    Reason.UNKNOWN_KIND: ("part_kind", lambda: pl.col("part_kind").is_in([str(k) for k in PartKind])),
    Reason.UNKNOWN_LIMIT: ("limit", lambda: pl.col("form").is_not_null()),
    Reason.KIND_HAS_NO_SUCH_LIMIT: ("part_kind", lambda: pl.col("kinds").list.contains(pl.col("part_kind"))
                                    | ~pl.col("part_kind").is_in([str(k) for k in PartKind])),
    Reason.WRONG_FORM: ("value", lambda: pl.col("form").is_null() | _right_form()),
    Reason.WRONG_UNIT: ("unit", lambda: pl.col("form").is_null() | pl.col("unit").eq_missing(pl.col("key_unit"))),
    Reason.UNKNOWN_WORD: ("text", lambda: (pl.col("choices").list.len() == 0) | _TEXT.is_null()
                          | pl.col("choices").list.contains(_TEXT)),
    Reason.NOT_PLAUSIBLE: ("value", _plausible),
    Reason.NOT_WHOLE: ("value", lambda: ~pl.col("whole") | _every(lambda n: n == n.round(0))),
    Reason.BOUNDS_REVERSED: ("value", lambda: _LOW.is_null() | _HIGH.is_null() | (_LOW <= _HIGH)),
    Reason.NOT_IN_ORDER: ("value", _in_order),
    Reason.TOO_MANY_VALUES: ("value", lambda: _VALUES.is_null() | (_VALUES.list.len() <= pl.col("most_values"))),
    Reason.WRONG_FIELD_TYPE: ("confidence", lambda: pl.col("confidence").is_between(0, 1) & (pl.col("page") >= 1)),
}  # fmt: skip

FIELD_OF_REASON: dict[Reason, str] = {reason: field for reason, (field, _) in _CHECKS.items()}


@cache
def frame_schema() -> pa.DataFrameSchema:
    """The pandera schema of a frame of claims joined with the table of limits; each check is named by its reason."""

    def check(reason: Reason, expression: Callable[[], pl.Expr]) -> pa.Check:
        return pa.Check(
            lambda data: data.lazyframe.select(expression().fill_null(True)), name=str(reason), error=str(reason)
        )

    return pa.DataFrameSchema(
        {
            "part_code": pa.Column(pl.String), "part_kind": pa.Column(pl.String), "limit": pa.Column(pl.String),
            "low": pa.Column(pl.Float64, nullable=True), "high": pa.Column(pl.Float64, nullable=True),
            "values": pa.Column(pl.List(pl.Float64), nullable=True), "text": pa.Column(pl.String, nullable=True),
            "unit": pa.Column(pl.String, nullable=True), "page": pa.Column(pl.Int64),
            "confidence": pa.Column(pl.Float64),
        },
        checks=[check(reason, expression) for reason, (_, expression) in _CHECKS.items()],
    )  # fmt: skip


def claim_json_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a claim record, with the rules of every limit key."""
    nullable_number, nullable_text = {"type": ["number", "null"]}, {"type": ["string", "null"]}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Claim",
        "description": "What one place in one document states about one limit of one part.",
        "type": "object",
        "required": list(_REQUIRED),
        "properties": {
            "document": {"type": "string", "minLength": 1},
            "page": {"type": "integer", "minimum": 1},
            "bbox": {"type": ["array", "null"], "items": {"type": "number"}, "minItems": 4, "maxItems": 4},
            "maker": nullable_text,
            "part_code": {"type": "string", "minLength": 1},
            "variant": nullable_text,
            "part_kind": {"enum": [str(k) for k in PartKind]},
            "limit": {"enum": list(LIMITS)},
            "low": nullable_number,
            "high": nullable_number,
            "values": {"type": ["array", "null"], "items": {"type": "number"}},
            "text": nullable_text,
            "unit": nullable_text,
            "condition": {
                "type": ["object", "null"],
                "propertyNames": {"enum": list(LIMITS)},
                "additionalProperties": {"type": ["number", "string"]},
            },
            "snippet": {"type": "string"},
            "method": {"type": "string"},
            "confidence": {"type": "number", "minimum": 0, "maximum": 1},
        },
        "allOf": [_json_rule(key) for key in LIMITS],
    }


def _json_rule(key: str) -> dict[str, Any]:
    row = LIMITS[key]
    number: dict[str, Any] = {"type": "integer" if row.whole else "number"}
    if row.plausible:
        number |= {"minimum": row.plausible[0] - _ROOM, "maximum": row.plausible[1] + _ROOM}
    null = {"type": "null"}
    wanted: dict[str, Any] = {
        "part_kind": {"enum": [str(k) for k in row.kinds]},
        "unit": {"const": str(row.unit) if row.unit else None},
        "low": null, "high": null, "values": null, "text": null,
    }  # fmt: skip
    required: list[str] = []
    if row.form is Form.HIGH:
        wanted["high"], required = number, ["high"]
    elif row.form is Form.LOW:
        wanted["low"], required = number, ["low"]
    elif row.form is Form.EXACT:
        wanted["low"], wanted["high"], required = number, number, ["low", "high"]
    elif row.form in (Form.RANGE, Form.EXACT_OR_RANGE):
        wanted["low"] = wanted["high"] = {"anyOf": [number, null]}
    elif row.form is Form.TEXT:
        wanted["text"] = {"enum": list(row.choices)} if row.choices else {"type": "string", "pattern": r"\S"}
        required = ["text"]
    else:
        wanted["values"] = {"type": "array", "items": number, "minItems": 1, "maxItems": row.most_values}
        required = ["values"]
    then: dict[str, Any] = {"properties": wanted, "required": required}
    return {"if": {"properties": {"limit": {"const": key}}, "required": ["limit"]}, "then": then}
