"""Claims in typed columns are held back for the same reasons as the same claims as records, one by one."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import polars as pl
from cogledger.schema.claims import Claim, plain
from cogledger.schema.limits import LIMITS
from cogledger.schema.validation import validate_frame, validate_records
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

_NUMBERS = st.none() | st.sampled_from([0.0, -1.0, 2.0, 37.0, 37.5, 5000.0, 44.5]) | st.floats(-1e9, 1e9)
_SPOILED: dict[str, st.SearchStrategy[Any]] = {
    "page": st.sampled_from([None, 0, -3, 1]), "part_code": st.sampled_from([None, "", "--", "ZQ1"]),
    "part_kind": st.sampled_from([None, "fork", "chain", "cassette"]),
    "limit": st.sampled_from([None, "colour", *LIMITS]), "low": _NUMBERS, "high": _NUMBERS,
    "values": st.none() | st.lists(st.sampled_from([11.0, 13.0, 2.5, 900.0]), max_size=20),
    "text": st.sampled_from([None, "", " ", "cable", "word"]), "unit": st.sampled_from([None, "T", "mm", "inch"]),
    "condition": st.sampled_from([None, {"ring_count": 2}, {"colour": 2}, {"ring_count": True}, {"mount": "x"}]),
    "bbox": st.none() | st.lists(st.sampled_from([0.0, 5.0, 9.5]), max_size=5),
    "confidence": st.sampled_from([None, 0.0, 1.0, 1.5, -0.1]), "snippet": st.sampled_from([None, "", "37T"]),
    "method": st.sampled_from([None, "", "m"]), "maker": st.sampled_from([None, "Brambel"]),
}  # fmt: skip
_TYPES = {
    "page": pl.Int32, "bbox": pl.List(pl.Float64), "maker": pl.String, "part_code": pl.String, "variant": pl.String,
    "part_kind": pl.String, "limit": pl.String, "low": pl.Float64, "high": pl.Float64,
    "values": pl.List(pl.Float64), "text": pl.String, "unit": pl.String, "condition": pl.String,
    "snippet": pl.String, "method": pl.String, "confidence": pl.Float64,
}  # fmt: skip


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_frame_and_records_say_the_same(data: st.DataObject, drawn_claims: st.SearchStrategy[Claim]) -> None:
    records = []
    for claim in data.draw(st.lists(drawn_claims, max_size=4)):
        record = replace(claim, document="").as_json()
        for name in data.draw(st.lists(st.sampled_from(list(_SPOILED)), max_size=3, unique=True)):
            record[name] = data.draw(_SPOILED[name])
        record |= {"low": plain(record["low"]), "high": plain(record["high"])}
        record["values"] = [plain(v) for v in record["values"]] if record["values"] is not None else None
        records.append(record)
    rows = [r | {"condition": json.dumps(r["condition"]) if r["condition"] is not None else None} for r in records]
    frame = pl.DataFrame({name: [row[name] for row in rows] for name in _TYPES}, schema=_TYPES, strict=False)
    by_record = {
        at: held.objections for at, record in enumerate(records) for held in validate_records([record]).held_back
    }
    by_frame = {at: held.objections for at, held in validate_frame(frame).items()}
    told = [{at: sorted(map(str, why)) for at, why in found.items()} for found in (by_record, by_frame)]
    assert told[0] == told[1]


def test_an_empty_frame_holds_nothing_back() -> None:
    assert validate_frame(pl.DataFrame(schema=_TYPES)) == {}
