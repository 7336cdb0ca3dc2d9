"""Packs as the standard has them: round trips, equal bytes, the outside's own validation, what is overwritten."""

from __future__ import annotations

import csv
import json
import shutil
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import frictionless
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from cogledger.schema.claims import Claim
from cogledger.schema.errors import CallError, DocumentError, StoreError
from cogledger.schema.reasons import Reason
from cogledger.warehouse.packs import TABLES, Pack, PackAbout, PackSettings, open_pack, write_pack
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

SHAPES = pytest.mark.parametrize(("name", "csv"), [("p", False), ("p", True), ("p.zip", False), ("p.zip", True)])


def told(pack: Pack) -> dict[str, list[dict[str, Any]]]:
    return {
        "documents": [row for batch in pack.documents() for row in batch.to_pylist()],
        "claims": [row for batch in pack.claims() for row in batch.rows.to_pylist()],
        "words": [row for batch in pack.words() for row in batch.to_pylist()],
    }


def in_order(rows: Any) -> dict[str, list[dict[str, Any]]]:
    return {
        name: sorted(getattr(rows, name), key=lambda row, table=table: tuple(row[key] for key in table.key))
        for name, table in TABLES.items()
    }


@SHAPES
def test_what_was_written_is_read(rows: Any, pack_of: Callable[..., Path], name: str, csv: bool) -> None:
    with open_pack(pack_of(rows, name, csv)) as pack:
        assert told(pack) == in_order(rows)
        assert not any(batch.held_back for batch in pack.claims())
        assert pack.about.shared_by == "The bike kitchen"
        assert pack.about.licence == "CC0-1.0"


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(data=st.data(), csv=st.booleans(), batch_rows=st.sampled_from([1, 3, 50]))
def test_any_valid_claims_and_words_come_back_the_same(
    data: st.DataObject,
    csv: bool,
    batch_rows: int,
    fresh_rows: Any,
    drawn_claims: Any,
    drawn_words: Any,
    tmp_path: Path,
    about: PackAbout,
) -> None:
    rows, spoken = fresh_rows(), []
    for number in range(data.draw(st.integers(0, 3))):
        claims = data.draw(st.lists(drawn_claims, max_size=5))
        spoken += claims
        rows.add_document(f"{number}.pdf", claims, data.draw(st.sampled_from(["1", "3", "10.2"])))
    for at, claim in enumerate(spoken):
        verdict = data.draw(st.sampled_from([None, "confirmed", "rejected", "corrected"]))
        if verdict:
            correction = (
                json.dumps(data.draw(drawn_claims).as_json(), ensure_ascii=False) if verdict == "corrected" else None
            )
            note, when = (
                data.draw(st.none() | drawn_words),
                data.draw(st.datetimes(datetime(2001, 1, 1), datetime(2024, 1, 1))),
            )
            rows.add_word(at, claim, verdict, correction=correction, note=note, judged_at=when)
    shutil.rmtree(tmp_path / "p", ignore_errors=True)
    write_pack(tmp_path / "p", rows.tables(), about, csv=csv, settings=PackSettings(batch_rows=batch_rows))
    with open_pack(tmp_path / "p", PackSettings(batch_rows=batch_rows)) as pack:
        assert told(pack) == in_order(rows)
        assert not any(batch.held_back for batch in pack.claims())


def test_a_pack_of_nothing_is_a_pack(fresh_rows: Any, pack_of: Callable[..., Path]) -> None:
    for as_csv in (False, True):
        with open_pack(pack_of(fresh_rows(), f"none{as_csv}", as_csv)) as pack:
            assert pack.check().claims == 0


def test_the_outside_finds_a_csv_pack_valid(rows: Any, pack_of: Callable[..., Path], png: bytes) -> None:
    """Reference: frictionless-py, the reference implementation of the Data Package standard (datapackage.org)."""
    rows.claims[0]["snippet"] = 'says "37T", as printed; – 34'
    path = pack_of(rows, csv=True, pictures=[(rows.claims[0]["claim_id"], png)])
    report = frictionless.Package(str(path / "datapackage.json")).validate()
    assert report.valid, report.flatten()
    names = {task.name: task.stats.get("rows") for task in report.tasks}
    assert names["documents"] == 2 and names["claims"] == 4 and names["words"] == 2


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("claims", "sha256", "0" * 64),
        ("claims", "low", "many"),
        ("words", "verdict", "liked"),
        ("claims", "bbox", "[1"),
    ],
)
def test_the_outside_finds_the_same_fault_in_a_csv_pack(
    rows: Any, pack_of: Callable[..., Path], table: str, column: str, value: str
) -> None:
    """That the Table Schema says what we check: frictionless-py refuses a broken key, type, choice and list too."""
    path = pack_of(rows, csv=True)
    file = path / f"{table}.csv"
    with file.open(newline="", encoding="utf-8") as opened:
        cells = list(csv.reader(opened))
    cells[1][cells[0].index(column)] = value
    with file.open("w", newline="", encoding="utf-8") as opened:
        csv.writer(opened).writerows(cells)
    package = json.loads((path / "datapackage.json").read_text("utf-8"))
    for resource in package["resources"]:
        del resource["hash"], resource["bytes"]
    (path / "datapackage.json").write_text(json.dumps(package), "utf-8")
    assert not frictionless.Package(str(path / "datapackage.json")).validate().valid


def test_a_parquet_pack_is_described_by_the_standard(rows: Any, pack_of: Callable[..., Path]) -> None:
    """Reference: the Data Package standard, datapackage.org/standard: required and recommended properties."""
    path = pack_of(rows)
    told = json.loads((path / "datapackage.json").read_text("utf-8"))
    frictionless.Package(str(path / "datapackage.json"))
    assert told["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert told["created"] == "2025-05-04T12:30:15Z"
    for resource in told["resources"]:
        file = path / resource["path"]
        assert resource["bytes"] == file.stat().st_size
        names = [field["name"] for field in resource["schema"]["fields"]]
        assert pq.read_schema(file).names == names


@SHAPES
def test_equal_contents_give_equal_bytes(
    rows: Any, about: PackAbout, tmp_path: Path, name: str, csv: bool, png: bytes
) -> None:
    tables = rows.tables()
    for folder, parts in (("one", tables), ("two", {n: _in_pieces(t, n) for n, t in tables.items()})):
        (tmp_path / folder).mkdir()
        pictures = [(row["claim_id"], png) for row in rows.claims[:2]]
        write_pack(tmp_path / folder / name, parts, about, csv=csv, pictures=pictures[:: 1 if folder == "one" else -1])
    assert _bytes(tmp_path / "one" / name) == _bytes(tmp_path / "two" / name)


def _in_pieces(table: pa.Table, name: str) -> Any:
    ordered = table.sort_by([(key, "ascending") for key in TABLES[name].key])
    return iter([batch for n in range(ordered.num_rows) for batch in ordered.slice(n, 1).to_batches()])


def _bytes(path: Path) -> dict[str, bytes]:
    if path.is_file():
        return {"": path.read_bytes()}
    return {str(file.relative_to(path)): file.read_bytes() for file in path.rglob("*") if file.is_file()}


def test_pictures_come_back_as_pixels(rows: Any, pack_of: Callable[..., Path], png: bytes) -> None:
    claim_id = rows.claims[2]["claim_id"]
    with open_pack(pack_of(rows, "p.zip", pictures=[(claim_id, png)])) as pack:
        assert [found for found, _ in pack.pictures()] == [claim_id]
        assert pack.check().pictures == 1


def test_words_for_people_may_be_empty_and_missing_text_is_null(rows: Any, pack_of: Callable[..., Path]) -> None:
    rows.claims[0] |= {"snippet": "", "maker": ""}
    for as_csv in (False, True):
        with open_pack(pack_of(rows, f"p{as_csv}", as_csv)) as pack:
            first = next(row for row in told(pack)["claims"] if row["claim_id"] == rows.claims[0]["claim_id"])
            assert first["snippet"] == "" and first["maker"] is None


@pytest.mark.parametrize(
    "snippet", ["- 34 T", "+2", "-10 to +10 (Long)", "- Cage (L): 34 T", "< 34 T", "37T | 41T", "a = b"]
)
def test_numbers_and_signs_as_printed_are_legal(rows: Any, pack_of: Callable[..., Path], snippet: str) -> None:
    """A sign before a number is print, not a formula: common practice, no source."""
    rows.claims[0]["snippet"] = snippet
    with open_pack(pack_of(rows, csv=True)) as pack:
        assert snippet in {row["snippet"] for row in told(pack)["claims"]}


def test_claims_that_the_schema_holds_back_are_told_apart(
    rows: Any, claim_like: Callable[..., Claim], pack_of: Callable[..., Path]
) -> None:
    strange = [
        claim_like("ZQ9", high=5000.0), claim_like("ZQ9", "weight", low=3.0, unit="mm"), claim_like("ZQ9", high=37.0),
        claim_like("ZQ9", page=0), replace(claim_like("ZQ9"), limit="colour"), claim_like("ZQ9", confidence=7.0),
        claim_like("ZQ9", condition={"colour": 3}),
    ]  # fmt: skip
    rows.add_document("strange.pdf", strange)
    with open_pack(pack_of(rows)) as pack:
        reasons = {
            (batch.rows["position"][at].as_py(), str(objection.reason))
            for batch in pack.claims()
            for at, held in batch.held_back.items()
            for objection in held.objections
        }
    assert reasons == {
        (0, "not_plausible"), (1, "wrong_form"), (1, "wrong_unit"), (3, "wrong_field_type"), (4, "unknown_limit"),
        (5, "wrong_field_type"), (6, "bad_condition"),
    }  # fmt: skip


def test_a_former_pack_is_replaced_and_nothing_else(rows: Any, pack_of: Callable[..., Path], tmp_path: Path) -> None:
    for name in ("p", "p.zip"):
        pack_of(rows, name)
        with open_pack(pack_of(rows, name, csv=True)) as pack:
            assert pack.check().claims == 4
    (tmp_path / "p" / "my notes.txt").write_text("mine")
    (tmp_path / "q").mkdir()
    (tmp_path / "q" / "datapackage.json").write_text("{}")
    (tmp_path / "r.zip").write_text("not a zip")
    with zipfile.ZipFile(tmp_path / "s.zip", "w") as archive:
        archive.writestr("mine.txt", "mine")
    for name in ("p", "q", "r.zip", "s.zip"):
        before = _bytes(tmp_path / name)
        with pytest.raises(CallError):
            pack_of(rows, name)
        assert _bytes(tmp_path / name) == before
    (tmp_path / "empty").mkdir()
    pack_of(rows, "empty")


def test_a_pack_that_others_would_refuse_is_not_written(
    rows: Any, pack_of: Callable[..., Path], tmp_path: Path
) -> None:
    rows.claims[1]["claim_id"] = "0" * 16
    with pytest.raises(DocumentError, match=r"p, claims.parquet, row \d, claim_id: 0{16} is not the id"):
        pack_of(rows, "p")
    assert not list(tmp_path.iterdir())


def test_a_place_that_cannot_be_written_is_named(rows: Any, about: PackAbout, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError) as refused:
        write_pack(tmp_path / "file" / "p", rows.tables(), about)
    assert refused.value.fault.reason is Reason.NOT_WRITABLE


@pytest.mark.parametrize(
    "change", [{"shared_by": " "}, {"title": "<b>x"}, {"licence": "do what you like"}, {"shared_by": "x" * 201}]
)
def test_what_a_pack_says_of_itself_is_checked(
    rows: Any, tmp_path: Path, about: PackAbout, change: dict[str, str]
) -> None:
    with pytest.raises(CallError):
        write_pack(tmp_path / "p", rows.tables(), replace(about, **change))
    assert not list(tmp_path.iterdir())


def test_the_docs_name_every_field_of_every_table() -> None:
    page = (Path(__file__).resolve().parents[3] / "docs" / "sharing.md").read_text("utf-8")
    for table in TABLES.values():
        section = page.partition(f"### `{table.name}`")[2].partition("\n### ")[0]
        told = [line.split("`")[1] for line in section.splitlines() if line.startswith("| `")]
        assert told == table.names
