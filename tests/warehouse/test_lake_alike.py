"""One story told to both kinds of store: a team's store answers word for word what a folder answers."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Claim
from cogledger.schema.limits import PartKind
from cogledger.schema.reasons import Reason
from cogledger.schema.validation import HeldBack, Objection
from cogledger.warehouse import Ledger
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.ingest import IngestSettings, ingest
from cogledger.warehouse.judge import Correction
from cogledger.warehouse.order import TidySettings
from cogledger.warehouse.register import write_reading
from cogledger.warehouse.settled import part_as_json, settle_all
from cogledger.warehouse.store import Store, StoreSettings, rows_of

MakeClaim = Callable[..., Claim]

_READER = """
from cogledger.extract.records import Reading
from cogledger.schema.claims import Claim

def read(source, on_page=None):
    words = source.path.read_bytes().decode("latin-1").split()
    claim = Claim(source.name, 1, None, "Brambel", "ZQ" + words[-1], None, "rear_derailleur", "total_capacity",
                  high=37.0, unit="T", snippet="s", method="m", confidence=0.9)
    return Reading(source, 2, (claim,), (), (), 0.1, "whatever")
"""


@pytest.fixture
def folder(tmp_path: Path) -> FolderStore:
    return FolderStore(tmp_path / "ledger", StoreSettings(wait_s=20))


@pytest.fixture(params=["folder", "lake"])
def either(request: pytest.FixtureRequest) -> Store:
    """A store of each kind."""
    return request.getfixturevalue(request.param)


def put(store: Store, day: int, name: str, *claims: Claim, held: tuple[HeldBack, ...] = ()) -> None:
    sha = f"{name.encode().hex():0<64}"[:64]
    source = Source(Path(f"/manuals/{name}"), name, sha, 10, SourceKind.PDF)
    named = tuple(replace(claim, document=name) for claim in claims)
    with store.writing() as connection:
        reading = Reading(source, 2, named, held, (), 0.1, f"r{day}")
        write_reading(connection, reading, ".pdf", datetime(2026, 1, day))


def tell_story(store: Store, claim: MakeClaim) -> None:
    """Documents that agree and disagree, a reading replaced, something held back, and a person's three words."""
    cogs = {"limit": "cogs", "unit": "T", "part_kind": "cassette", "values": (11.0, 13.0, 15.0)}
    put(store, 1, "a.pdf", claim(high=37), claim(limit="smallest_cog", low=11), claim("KX71", **cogs))
    put(store, 2, "b.pdf", claim(high=37), claim("zq-500", variant="M", high=39, condition={"ring_count": 2}))
    put(store, 3, "c.pdf", claim(high=41, confidence=0.8), claim("QQ900", limit="replaces", text="ZQ500", unit=None))
    held = HeldBack({"part_code": "ZQ500", "part_kind": "rear_derailleur", "limit": "total_capacity", "high": -4,
                     "snippet": "it's {odd}"}, (Objection(Reason.NOT_PLAUSIBLE, "high", "too small"),))  # fmt: skip
    put(store, 4, "a.pdf", claim(high=37), claim("KX71", **cogs), claim("AB100", high=30), held=(held,))
    sql = "select * from claims where state = 'read' and \"limit\" = 'total_capacity' order by high desc"
    ids = {(row["document"], row["part_code"]): row["claim_id"] for row in read_rows(store, sql)}
    ledger = ledger_of(store)
    ledger.confirm(ids["c.pdf", "ZQ500"], by="ann", note="seen")
    ledger.correct(ids["a.pdf", "AB100"], Correction(high=31, variant="L"), by="ann")
    ledger.reject(ids["b.pdf", "ZQ500"], by="bob")


def ledger_of(store: Store) -> Ledger:
    ledger = Ledger(store.name)
    ledger._store = store
    return ledger


def read_rows(store: Store, sql: str) -> list[dict[str, Any]]:
    with store.reading() as connection:
        return rows_of(connection, sql)


def state_of(store: Store) -> dict[str, list[str]]:
    """Everything that the store tells, but for the moments at which a person spoke and what is made by chance."""
    told = {}
    for view in ("limits", "claims", "documents", "parts", "kept.limits", "kept.parts", "kept.claims"):
        rows = read_rows(store, f"select * from {view}")
        dull = {"judged_at", "judgement_id"}
        told[view] = sorted(json.dumps({k: v for k, v in row.items() if k not in dull}, default=str) for row in rows)
    return told


def test_both_kinds_tell_the_same_after_the_same_story(folder: FolderStore, lake: Store, claim: MakeClaim) -> None:
    for store in (folder, lake):
        tell_story(store, claim)
    here, there = state_of(folder), state_of(lake)
    assert there == here
    assert len(here["kept.claims"]) == 8
    assert {json.loads(row)["state"] for row in here["claims"]} == {
        "read", "confirmed", "corrected", "rejected", "held_back",
    }  # fmt: skip
    for store in (folder, lake):
        store.tidy(TidySettings(least_rows=1))
        with store.writing() as connection:
            settle_all(connection)
        assert state_of(store) == here


def test_questions_have_the_same_answers(folder: FolderStore, lake: Store, claim: MakeClaim) -> None:
    answers = []
    for store in (folder, lake):
        tell_story(store, claim)
        ledger = ledger_of(store)
        build = {"now": {"rear_derailleur": "ZQ500", "cassette": "KX71", "rings": [50, 34]}}
        answers.append({
            "limits": [part_as_json(part) for part in ledger.limits(["zq"])],
            "kind": [part.code for part in ledger.limits(kind=PartKind.CASSETTE)],
            "claims": [told.claim_id for told in ledger.claims(["brambel"])],
            "parts": [part.code for part in ledger.parts("ZQ500 M")],
            "near": ledger.near_codes("ZQ5OO"),
            "successors": [part.code for part in ledger.successors("ZQ500")],
            "fit": ledger.fit(build).as_json(),
        })  # fmt: skip
    assert answers[1] == answers[0]
    assert answers[0]["limits"] and answers[0]["claims"] and answers[0]["successors"] == ["QQ900"]
    assert any(check["sources"] for check in answers[0]["fit"]["checks"])


def test_a_pack_is_taken_in_and_given_out_alike(
    folder: FolderStore, lake: Store, claim: MakeClaim, tmp_path: Path
) -> None:
    theirs = FolderStore(tmp_path / "theirs", StoreSettings(wait_s=20))
    tell_story(theirs, claim)
    pack = tmp_path / "theirs.zip"
    ledger_of(theirs).share(pack, "Ilka")
    for store in (folder, lake):
        put(store, 5, "own.pdf", claim(high=36), claim("MM200", high=33))
        reports = [ledger_of(store).merge(pack) for _ in range(2)]
        assert (reports[0].words_new, reports[1].words_new) == (3, 0)
    here, there = state_of(folder), state_of(lake)
    assert there == here
    assert any("Ilka" in row for row in here["documents"])
    given_out = []
    for store, name in ((folder, "here"), (lake, "there")):
        ledger_of(store).share(tmp_path / name, "Bo")
        given_out.append({path.name: path.read_bytes() for path in sorted((tmp_path / name).rglob("*.parquet"))})
    assert given_out[0] and given_out[1] == given_out[0]


def test_reading_files_skips_what_is_known_and_marks_what_is_gone(
    either: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    modules, manuals = tmp_path / "modules", tmp_path / "manuals"
    for made in (modules, manuals):
        made.mkdir()
    (modules / "pretended_lake_reader.py").write_text(_READER)
    monkeypatch.syspath_prepend(str(modules))
    settings = IngestSettings(reader="pretended_lake_reader:read", reader_version="v1")
    for name in ("a.pdf", "b.pdf"):
        (manuals / name).write_bytes(f"%PDF-1.7\n{ord(name[0])}00".encode())
    first = ingest(either, [manuals], settings=settings)
    assert (first.complete, len(first.documents)) == (True, 2)
    assert len(either.kept_sources()) == 2
    again = ingest(either, [manuals], settings=settings)
    assert (again.unchanged, again.documents) == (2, [])
    sha = first.documents[0].sha256
    contents = (manuals / first.documents[0].document).read_bytes()
    (manuals / first.documents[0].document).unlink()
    assert ingest(either, [manuals], settings=settings).gone == 1
    assert [row["gone"] for row in read_rows(either, "select gone from documents order by document")] == [True, False]
    copy = either.find_source(sha)
    assert copy and copy.read_bytes() == contents


def test_photos_of_parts_are_kept(either: Store, claim: MakeClaim, photo: Callable[..., Path], stamps: Any) -> None:
    put(either, 1, "a.pdf", claim(high=37))
    ledger = ledger_of(either)
    (reading,) = ledger.stamp([photo("a.png")]).photos
    assert reading.code == "ZQ500" and reading.reading_id
    (again,) = ledger.stamp([photo("a.png")]).photos
    assert again.reading_id == reading.reading_id
    (row,) = ledger.photos()
    assert row.record["code"] == "ZQ500"
    copy = either.find_source(row.photos[0][1])
    assert copy and copy.read_bytes() == photo("a.png").read_bytes()
