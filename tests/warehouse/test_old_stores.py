"""Stores of every former format, made by the code of their day: brought up to date whole, or left as they were.

The stores and what that code told of them are in fixtures/stores, see fixtures/old_stores.py.
"""

from __future__ import annotations

import importlib.util
import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest
from cogledger.extract.records import Reading, Source
from cogledger.schema.claims import claim_from_json
from cogledger.schema.errors import CogledgerError
from cogledger.warehouse import Ledger
from cogledger.warehouse import migrate as migrations
from cogledger.warehouse.ingest import IngestSettings, ingest
from cogledger.warehouse.migrate import Migration, list_migrations, newest_number
from cogledger.warehouse.settled import part_as_json

ROOT = Path(__file__).resolve().parent.parent.parent
_SPEC = importlib.util.spec_from_file_location("old_stores", ROOT / "fixtures" / "old_stores.py")
assert _SPEC and _SPEC.loader
old_stores = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(old_stores)
FORMATS = sorted(old_stores.FORMATS)

_STEPS = "main.cogledger_schema"
_MADE_ANEW = {_STEPS, "kept.limits", "kept.rule"}
"""Tables that a step to a later format may change, for all that they hold follows from the others."""

_OPENS_AND_DIES = """
import os, sys, duckdb
connection = duckdb.connect(sys.argv[1])
connection.execute("set checkpoint_threshold = '1 TB'")
connection.execute(sys.argv[2])
os._exit(9)
"""


@pytest.fixture(params=FORMATS, ids=lambda number: f"format-{number}")
def number(request: pytest.FixtureRequest) -> int:
    return request.param


@pytest.fixture
def old(number: int, tmp_path: Path) -> Path:
    """A store of a former format in a folder of its own."""
    return old_stores.unpack(number, tmp_path / "ledger")


def told_then(number: int) -> dict[str, Any]:
    return json.loads((old_stores.STORES / f"format-{number}" / "told.json").read_text(encoding="utf-8"))


def rows(database: Path, *names: str) -> dict[str, list[str]]:
    """Every row of some tables, or of all, as DuckDB itself shows it, read around the store."""
    with duckdb.connect(str(database), read_only=True) as connection:
        listed = "select schema_name || '.' || table_name from duckdb_tables() where not internal"
        names = names or tuple(row[0] for row in connection.execute(listed).fetchall())
        shown = {name: f"select to_json(t)::varchar from {name} t order by all" for name in names}
        return {name: [row[0] for row in connection.execute(sql).fetchall()] for name, sql in shown.items()}


def format_of(database: Path) -> int:
    return max(json.loads(row)["number"] for row in rows(database, _STEPS)[_STEPS])


def as_told(database: Path, table: str, told: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows of a table, with the columns that the former code told."""
    names = sorted({name for row in told for name in row})
    return [{name: row[name] for name in names} for row in map(json.loads, rows(database, table)[table])]


def in_order(records: list[dict[str, Any]]) -> list[str]:
    return sorted(json.dumps(record, sort_keys=True) for record in records)


def values_told(parts: list[dict[str, Any]]) -> dict[tuple[str, str, str | None, str], list[Any]]:
    """For each part, variant and limit: its values with confidence, sources and conflicts, in their order."""
    keep = ("low", "high", "values", "text", "unit", "condition", "confidence", "sources", "conflicts")
    return {
        (part["part_kind"], part["part_code"], part["variant"], key): [{k: v.get(k) for k in keep} for v in values]
        for part in parts
        for key, values in part["limits"].items()
    }


def assert_tells_claims(folder: Path, number: int) -> None:
    assert [c.as_json() for c in Ledger(folder).claims()] == told_then(number)["claims"]


def assert_tells_all(folder: Path, number: int) -> None:
    """The store, whatever its format by now, tells what the code of its day told."""
    then, ledger, database = told_then(number), Ledger(folder), folder / "ledger.duckdb"
    assert_tells_claims(folder, number)
    assert values_told([part_as_json(part) for part in ledger.limits()]) == values_told(then["limits"])
    assert format_of(database) == newest_number()
    assert in_order(as_told(database, "kept.judgements", then["judgements"])) == in_order(then["judgements"])
    assert in_order(as_told(database, "main.documents", then["documents"])) == in_order(then["documents"])
    photos = {row.reading_id: row.as_json() for row in ledger.photos()}
    for photo in then.get("photos", []):
        now = photos.pop(photo["reading_id"])
        assert {k: now[k] for k in ("code", "variant", "teeth", "advice", "bbox", "candidates")} == {
            k: photo[k] for k in ("code", "variant", "teeth", "advice", "bbox", "candidates")
        }
    assert not photos


def test_the_stores_hold_what_has_to_survive() -> None:
    """Else the other tests prove little."""
    for number in FORMATS:
        then = told_then(number)
        assert then["format"] == number
        assert {c["state"] for c in then["claims"]} == {"read", "confirmed", "corrected", "rejected", "held_back"}
        judged = [j["claim_id"] for j in then["judgements"]]
        assert len(judged) > len(set(judged)), "a claim that was judged twice"
        assert any(c["state"] == "corrected" and c["part_code"] == "HX380" for c in then["claims"])
        assert any(len(d["paths"]) == 2 for d in then["documents"])
        assert any(d["failed_pages"] for d in then["documents"])
        assert any(len(c.get("condition") or ()) == 2 for c in then["claims"])
        assert any(not isinstance(json.loads(j["snapshot"])["page"], int) for j in then["judgements"])
    assert any(photo["code"] for photo in told_then(2)["photos"])


def test_reading_an_old_store_tells_the_same(old: Path, number: int) -> None:
    assert format_of(old / "ledger.duckdb") == number
    assert_tells_all(old, number)
    assert_tells_all(old, number)


def test_writing_to_an_old_store_changes_nothing_else(old: Path, number: int) -> None:
    claim = next(c for c in told_then(number)["claims"] if c["state"] == "read")
    Ledger(old).confirm(claim["claim_id"], by="Ilka")
    now = {c.claim_id: c.as_json() for c in Ledger(old).claims()}
    assert now.pop(claim["claim_id"])["state"] == "confirmed"
    assert now == {c["claim_id"]: c for c in told_then(number)["claims"] if c["claim_id"] != claim["claim_id"]}


def test_builds_are_answered_as_before(old: Path, number: int) -> None:
    builds = ROOT / "desk" / "scenario" / "builds"
    for name, then in told_then(number)["fit"].items():
        now = Ledger(old).fit(builds / name).as_json()
        said = [[(c["check"], c["verdict"], c["needed"], c["allowed"]) for c in fit["checks"]] for fit in (now, then)]
        assert (now["verdict"], said[0]) == (then["verdict"], said[1])


def test_evidence_outlives_the_formats(old: Path, number: int, tmp_path: Path) -> None:
    claim = next(c for c in told_then(number)["claims"] if c["document"] == "hollenfirth-rear-derailleurs.pdf")
    assert Ledger(old).evidence(claim["claim_id"], tmp_path / "page.png").out.stat().st_size > 0


def pretended_again(source: Source, on_page: Any = None) -> Reading:
    """The first reading of the store's day once more, all boxes a little off."""
    told = json.loads(source.path.read_text(encoding="utf-8").partition("\n")[2])["first"]
    base = {"document": source.name, "page": 1, "bbox": [50, 60, 90, 72], "maker": "Brambel", "variant": None,
            "part_kind": "rear_derailleur", "snippet": "as printed", "method": "again", "confidence": 0.9}  # fmt: skip
    merged = [base | record for record in told]
    shifted = [r | {"bbox": [v + 1.5 for v in r["bbox"]]} if r["bbox"] else r for r in merged]
    return Reading(source, 3, tuple(claim_from_json(record) for record in shifted), reader="third")


def test_words_said_in_an_old_store_outlive_another_reading(old: Path, number: int, tmp_path: Path) -> None:
    story = next(p for p in (old / "sources").iterdir() if p.read_bytes().startswith(b"%PDF-1.7\n{"))
    document = tmp_path / "brambel.pdf"
    document.write_bytes(story.read_bytes())
    store = Ledger(old)._store
    settings = IngestSettings(reader=f"{__name__}:pretended_again", reader_version="third")
    report = ingest(store, [document], workers=1, settings=settings)
    assert [d.document for d in report.documents] == ["brambel.pdf"]
    then = {c["claim_id"]: c for c in told_then(number)["claims"] if c.get("judged_by")}
    now = {c.claim_id: c.as_json() for c in Ledger(old).claims()}
    assert len(then) > 10
    for claim_id, claim in then.items():
        kept = {k: v for k, v in now[claim_id].items() if k not in ("bbox", "method", "snippet")}
        assert kept == {k: v for k, v in claim.items() if k not in ("bbox", "method", "snippet")}


def steps_that_fail_at(step_number: int, statement: int) -> tuple[Migration, ...]:
    """The migrations, the one of that number broken off after so many of its statements."""
    steps = []
    for step in list_migrations():
        sql = step.sql
        if step.number == step_number:
            cut = [s.query.strip().rstrip(";") for s in duckdb.extract_statements(sql)][:statement]
            sql = ";\n".join([*cut, "select error('broken off here')"])
        steps.append(Migration(step.number, step.name, sql))
    return tuple(steps)


def breaks(number: int) -> Iterator[tuple[int, int]]:
    for step in list_migrations():
        if step.number > number:
            yield from ((step.number, n) for n in range(len(duckdb.extract_statements(step.sql)) + 1))


@pytest.mark.slow
def test_a_migration_that_fails_leaves_the_old_store(
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, record_property: Any
) -> None:
    """Broken off after every statement of every step: the store stands at the step before, row for row."""
    tried = list(breaks(number))
    record_property("statements broken off at", len(tried))
    assert len(tried) > 5
    before: dict[str, list[str]] = {}
    for step, statement in tried:
        old = old_stores.unpack(number, tmp_path / f"{step}-{statement}")
        before = before or rows(old / "ledger.duckdb")
        with monkeypatch.context() as patch:
            patch.setattr(migrations, "list_migrations", lambda s=step, n=statement: steps_that_fail_at(s, n))
            with pytest.raises((CogledgerError, duckdb.Error), match="broken off here"):
                Ledger(old).claims()
        left = rows(old / "ledger.duckdb")
        assert format_of(old / "ledger.duckdb") == step - 1
        same = before.keys() if step - 1 == number else before.keys() - _MADE_ANEW
        assert {name: left[name] for name in same} == {name: before[name] for name in same}
        assert_tells_claims(old, number)
        shutil.rmtree(old)


def test_limits_that_cannot_be_made_leave_a_store_that_mends_itself(
    old: Path, number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr("cogledger.warehouse.settled.resolve_parts", lambda *_: 1 / 0)
        with pytest.raises((CogledgerError, ZeroDivisionError)):
            Ledger(old).limits()
    assert_tells_all(old, number)


def test_an_old_store_whose_last_writer_was_killed(old: Path, number: int) -> None:
    """What it had committed stands in the write-ahead log only, and what it had not is in neither."""
    claim = next(c for c in told_then(number)["claims"] if c["state"] == "read")
    values = f"'{'ab' * 16}', '{claim['claim_id']}', '{claim['document_sha256']}', 'rejected', '{{}}', null, 'Ilka'"
    sql = f"insert into kept.judgements values ({values}, timestamp '2026-01-02 03:04:05', null); begin; "
    done = subprocess.run(
        [sys.executable, "-c", _OPENS_AND_DIES, str(old / "ledger.duckdb"), sql + "delete from kept.claims"],
        check=False,
    )
    assert done.returncode == 9
    assert (old / "ledger.duckdb.wal").stat().st_size > 0
    now = {c.claim_id: c.as_json() for c in Ledger(old).claims()}
    assert now.pop(claim["claim_id"])["state"] == "rejected"
    assert now == {c["claim_id"]: c for c in told_then(number)["claims"] if c["claim_id"] != claim["claim_id"]}
