"""The store in SQL: one select, read only, as Arrow and polars."""

from __future__ import annotations

import doctest
from collections.abc import Callable
from pathlib import Path

import duckdb
import polars as pl
import pytest
from cogledger.schema import parts as parts_module
from cogledger.schema.claims import Claim
from cogledger.schema.errors import CallError
from cogledger.schema.reasons import Reason
from cogledger.warehouse import Ledger, makers
from cogledger.warehouse.folder_store import FolderStore

MakeClaim = Callable[..., Claim]
Keep = Callable[..., str]


@pytest.fixture
def ledger(store: FolderStore, keep: Keep, claim: MakeClaim) -> Ledger:
    keep(claim(high=37), claim("ZQ510", limit="largest_cog", low=28, high=34))
    return Ledger(store.folder)


def test_a_select_gives_an_arrow_table_and_polars_takes_it(ledger: Ledger) -> None:
    table = ledger.query("select part_code, high from limits where high >= ? order by part_code", [35])
    assert table.to_pylist() == [{"part_code": "ZQ500", "high": 37.0}]
    frame = pl.from_arrow(ledger.query("from limits"))
    assert isinstance(frame, pl.DataFrame)
    assert frame.filter(pl.col("limit") == "largest_cog")["high"].to_list() == [34.0]
    assert ledger.query("select count(*) as n from claims where part_code = $code", {"code": "ZQ500"})[
        "n"
    ].to_pylist() == [1]


@pytest.mark.parametrize(
    "sql",
    ["delete from kept.claims", "select 1; select 2", "", "selec 1", "select * from nowhere",
     "select nothing from parts", "copy parts to 'x.csv'", "attach 'x.duckdb'", "select ? from parts",
     "insert into kept.rule values (9)",
     "select 'x'::integer", "set threads = 1"],
)  # fmt: skip
def test_anything_but_one_sound_select_is_refused_in_one_sentence(ledger: Ledger, sql: str) -> None:
    with pytest.raises(CallError) as caught:
        ledger.query(sql)
    assert caught.value.fault.reason is Reason.BAD_CALL
    assert "\n" not in str(caught.value)
    assert ledger.query("select count(*) as n from parts")["n"].to_pylist() == [2]


def test_another_client_of_this_process_can_read_right_after(ledger: Ledger, store: FolderStore) -> None:
    assert len(ledger.limits()) == 2
    with duckdb.connect(str(store.database), read_only=True) as connection:
        assert connection.execute("select count(*) from parts").fetchall() == [(2,)]


def test_a_question_about_one_part_looks_at_its_rows_only(ledger: Ledger, store: FolderStore) -> None:
    with store.reading() as connection:
        plan = connection.execute("explain select * from claims where part_code = 'ZQ500'").fetchall()
    scans = [line for line in str(plan[0][1]).splitlines() if "part_code='ZQ500'" in line.replace(" ", "")]
    assert scans, "the condition is not handed down to the table"


def test_examples_in_docstrings_hold() -> None:
    for module in (makers, parts_module):
        result = doctest.testmod(module)
        assert result.attempted and not result.failed


def test_a_view_is_told_by_every_name_in_the_documents() -> None:
    text = (Path(__file__).resolve().parents[2] / "docs" / "sql.md").read_text(encoding="utf-8")
    for view in ("limits", "parts", "claims", "documents", "stamps"):
        assert f"| `{view}` |" in text
