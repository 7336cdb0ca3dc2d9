"""Limits resolved all at once in SQL are those that the rule gives, one part after another."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Box, Claim
from cogledger.schema.limits import LIMITS
from cogledger.schema.validation import HeldBack
from cogledger.warehouse import settled
from cogledger.warehouse.migrate import bring_up_to_date
from cogledger.warehouse.register import write_reading
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

CODES = ("ZQ500", "zq-500", "ZQ500M", "ZQ510", "KX71", "ZQÜ7", "AB", "ABCD", "ABC")
VALUES: dict[str, tuple[dict[str, Any], ...]] = {
    "total_capacity": ({"high": 37.0}, {"high": 39.0}),
    "largest_cog": ({"low": 28.0, "high": 32.0}, {"high": 32.0}, {"low": 28.0}),
    "rear_speeds": ({"values": (10.0, 11.0)}, {"values": (11.0, 10.0)}, {"values": (11.0,)}),
    "replaces": ({"text": "ZQ-490"}, {"text": "zq490"}, {"text": "KX70"}),
    "actuation": ({"text": "cable"},),
    "weight": ({"low": 250.0, "high": 250.0},),
}


@st.composite
def claims(draw: st.DrawFn) -> Claim:
    limit = draw(st.sampled_from(sorted(VALUES)))
    kind = draw(st.sampled_from(["rear_derailleur", "rear_derailleur", "shifter"]))
    unit = LIMITS[limit].unit
    return Claim(
        "d", draw(st.integers(1, 2)), Box(0, 10, 20, 30) if draw(st.booleans()) else None,
        draw(st.sampled_from([None, "Brambel", "Brambel", "Brambel Works", "Torvik AG"])),
        draw(st.sampled_from(CODES)), draw(st.sampled_from([None, None, "M", "medium cage", "L"])), kind, limit,
        unit=str(unit) if unit else None,
        condition=draw(st.sampled_from([None, None, None, {"ring_count": 2.0}])), snippet=draw(st.sampled_from("ab")),
        method="m", confidence=draw(st.sampled_from([0.3, 0.9, 0.95])), **draw(st.sampled_from(VALUES[limit])),
    )  # fmt: skip


Documents = list[tuple[list[Claim], bool]]


def make_store(documents: Documents) -> duckdb.DuckDBPyConnection:
    connection = duckdb.connect()
    bring_up_to_date(connection, 0)
    for number, (said, held) in enumerate(documents):
        sha = hashlib.sha256(str(number).encode()).hexdigest()
        source = Source(Path(f"{number}.pdf"), f"{number}.pdf", sha, 1, SourceKind.PDF)
        back = (HeldBack(said[0].as_json(), ()),) if held and said else ()
        reading = Reading(source, 1, tuple(said), back, reader="r", dated=datetime(2001, 1, 1) + timedelta(number % 2))
        write_reading(connection, reading, ".pdf", datetime(2011, 1, 1))
    return connection


def tables(connection: duckdb.DuckDBPyConnection) -> list[list[tuple[Any, ...]]]:
    return [connection.execute(f"from kept.{table} order by all").fetchall() for table in ("limits", "parts")]


@given(st.lists(st.tuples(st.lists(claims(), max_size=5), st.booleans()), min_size=1, max_size=4))
@settings(max_examples=70, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_all_at_once_gives_what_the_rule_gives_one_by_one(documents: Documents) -> None:
    with make_store(documents) as connection:
        one_by_one = tables(connection)
        settled.settle_all(connection)
        assert tables(connection) == one_by_one


def test_most_parts_are_plain_and_the_others_are_not_forgotten() -> None:
    plain = Claim("d", 1, None, "Brambel", "ZQ500", "M", "rear_derailleur", "total_capacity", high=37.0, unit="T",
                  snippet="s", method="m", confidence=0.9)  # fmt: skip
    fields = {name: getattr(plain, name) for name in Claim.__dataclass_fields__}
    other = Claim(**(fields | {"high": 39.0, "part_code": "KX71"}))
    again = Claim(**(fields | {"part_code": "KX71"}))
    with make_store([([plain, other], False), ([again], False)]) as connection:
        settled.settle_all(connection)
        assert connection.execute("select family from plain").fetchall() == [("ZQ500",)]
        assert connection.execute("from not_plain").fetchall() == [("KX71",)]
        codes = connection.execute("select part_code, conflicts is not null from kept.limits order by all").fetchall()
    assert codes == [("KX71", True), ("ZQ500", False)]
