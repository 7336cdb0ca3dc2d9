"""Searching from the command line: every shape of answer, and what is told beside it."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from cogledger.desk.cli import app
from cogledger.desk.faults import run
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Claim
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.register import write_reading

Call = Callable[..., tuple[int, str, str]]
BASE = Claim("zq.pdf", 2, None, "Brambel", "ZQ500", None, "rear_derailleur", "largest_cog", unit="T",
             snippet="as printed", method="test", confidence=0.93)  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    claims = (
        replace(BASE, high=32, condition={"ring_count": 2}), replace(BASE, part_code="ZQ510", high=36),
        replace(BASE, part_code="ZQ510", limit="replaces", text="ZQ500", unit=None),
        replace(BASE, part_code="CT-11", part_kind="cassette", limit="freehub_fit", text="Spline-9 body", unit=None,
                maker="Dünmore", confidence=0.7),
    )  # fmt: skip
    place = tmp_path_factory.mktemp("search") / "ledger"
    source = Source(Path("zq.pdf"), "zq.pdf", hashlib.sha256(b"zq").hexdigest(), 2, SourceKind.PDF)
    with FolderStore(place).writing() as connection:
        write_reading(connection, Reading(source, 3, claims, (), (), 0.1, "r"), ".pdf")
    return place


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str], folder: Path) -> Call:
    def made(*arguments: object) -> tuple[int, str, str]:
        code = run(app, [*map(str, arguments), "--store", str(folder)])
        out = capsys.readouterr()
        return code, out.out, out.err

    return made


def test_text_tells_condition_successor_and_what_was_left_out(call: Call) -> None:
    code, out, err = call("limits", "--takes", "largest_cog=30", "--most", "1")
    assert code == 0
    assert "at most 32 T (only with ring count 2)" in out
    assert "ZQ500 is replaced by ZQ510" in out
    assert "1 more parts and variants not shown" in err


def test_json_tells_what_a_word_was_taken_for(call: Call) -> None:
    code, out, err = call("limits", "QZ500", "--json")
    answer = json.loads(out)
    assert (code, answer["corrected"], answer["more"]) == (0, {"QZ500": ["ZQ500"]}, 0)
    (part,) = answer["parts"]
    assert (part["part_code"], part["replaced_by"]) == ("ZQ500", ["ZQ510"])
    assert "nothing is called QZ500; shown for ZQ500" in err
    assert json.loads(call("limits", "ZQ500", "--json")[1])["corrected"] == {}


def test_json_lines_csv_and_parquet(call: Call, tmp_path: Path) -> None:
    asked = ("limits", "--at-least", "largest_cog=33T")
    lines = call(*asked, "--jsonl")[1].splitlines()
    assert [json.loads(line)["part_code"] for line in lines] == ["ZQ510"]
    rows = list(csv.DictReader(io.StringIO(call(*asked, "--csv")[1])))
    assert [row["largest_cog"] for row in rows] == ["<=36"]
    file = tmp_path / "limits.parquet"
    assert call(*asked, "--parquet", file)[0] == 0
    assert pl.read_parquet(file)["part_code"].to_list() == ["ZQ510"]


def test_claims_in_every_shape(call: Call, tmp_path: Path) -> None:
    asked = ("claims", "--at-most", "largest_cog=32")
    assert "ZQ500" in call(*asked)[1]
    assert [c["part_code"] for c in json.loads(call(*asked, "--json")[1])["claims"]] == ["ZQ500"]
    assert json.loads(call(*asked, "--jsonl")[1])["part_code"] == "ZQ500"
    assert [row["part_code"] for row in csv.DictReader(io.StringIO(call(*asked, "--csv")[1]))] == ["ZQ500"]
    file = tmp_path / "claims.parquet"
    call("claims", "--maker", "dunmore", "--says", "freehub_fit=spline 9", "--parquet", file)
    assert pl.read_parquet(file)["part_code"].to_list() == ["CT-11"]
    answer = json.loads(call("claims", "--sure", "0.9", "--most", "2", "--json")[1])
    assert (len(answer["claims"]), answer["more"]) == (2, 1)


@pytest.mark.parametrize(
    ("options", "found"),
    [
        (["--says", "freehub_fit=body"], ["CT-11"]),
        (["--maker", "dünm"], ["CT-11"]),
        (["--sure", "0.9", "--kind", "cassette"], []),
        (["--state", "confirmed"], []),
        (["--conflicts"], []),
        (["ZQ", "--takes", "largest cog = 34"], ["ZQ510"]),
    ],
)
def test_options_choose_parts(call: Call, options: list[str], found: list[str]) -> None:
    answer = json.loads(call("limits", *options, "--json")[1])
    assert [part["part_code"] for part in answer["parts"]] == found


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--takes", "largest_cog"], "--takes KEY=..."),
        (["--takes", "largest_cog=big"], "'big' is no number"),
        (["--at-least", "colour=3"], "there is no limit 'colour'"),
        (["--at-most", "mount=3"], "ask for it with says"),
        (["--sure", "7"], "a number from 0 to 1"),
        (["--state", "lost"], "there is no state 'lost'"),
        (["--most", "0"], "give 1 or more"),
    ],
)
def test_what_cannot_be_asked_is_one_sentence(call: Call, options: list[str], said: str) -> None:
    code, out, err = call("limits", *options)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.strip().splitlines()) == 1
