"""A team's store on a real PostgreSQL: made, found, read, written, tidied, and every way in which it cannot be used."""

from __future__ import annotations

import hashlib
import logging
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Claim
from cogledger.schema.errors import CallError, CogledgerError, DocumentError, StoreError
from cogledger.schema.reasons import Reason
from cogledger.warehouse import lake_store as module
from cogledger.warehouse import migrate as migrations
from cogledger.warehouse.lake_connection import is_warm, let_go
from cogledger.warehouse.lake_sources import LakeSources
from cogledger.warehouse.lake_store import LakeStore
from cogledger.warehouse.lake_tidy import LakeSettings
from cogledger.warehouse.order import TidySettings
from cogledger.warehouse.register import write_reading
from cogledger.warehouse.store import open_store, rows_of

MakeClaim = Callable[..., Claim]


def write_document(store: LakeStore, number: int, *claims: Claim) -> None:
    name = f"d{number}.pdf"
    sha = hashlib.sha256(name.encode()).hexdigest()
    reading = Reading(Source(Path(name), name, sha, 10, SourceKind.PDF), 2, claims, reader="r1")
    with store.writing() as connection:
        write_reading(connection, reading, ".pdf")


def count(store: LakeStore, table: str = "main.claims") -> int:
    with store.reading() as connection:
        return rows_of(connection, f"select count(*) as n from {table}")[0]["n"]


def refusal(action: Callable[[], object]) -> CogledgerError:
    with pytest.raises(CogledgerError) as caught:
        action()
    assert "\n" not in str(caught.value)
    return caught.value


def test_a_new_store_is_made_by_the_first_write(new_lake: LakeStore, tmp_path: Path, claim: MakeClaim) -> None:
    assert not new_lake.exists()
    assert refusal(lambda: count(new_lake)).fault.reason is Reason.NO_STORE
    assert not (tmp_path / "data").exists()
    write_document(new_lake, 1, claim(high=37))
    assert new_lake.exists()
    assert count(new_lake) == 1
    assert new_lake.own_folder == tmp_path / "data"
    assert {p.suffix for p in (tmp_path / "data").rglob("*") if p.is_file()} == {".parquet"}


def test_the_catalogue_knows_where_the_data_lies(lake: LakeStore, lake_keywords: str, tmp_path: Path) -> None:
    assert count(open_store(f"ducklake:postgres:{lake_keywords}")) == 0  # type: ignore[arg-type]
    same = open_store(f"ducklake:postgres:{lake_keywords} data={lake.own_folder or ''}") if lake.own_folder else lake
    assert same.exists()
    other = open_store(f"ducklake:postgres:{lake_keywords} data={tmp_path}/elsewhere")
    for action in (other.exists, lambda: count(other), lambda: other.tidy()):  # type: ignore[arg-type]
        error = refusal(action)
        assert isinstance(error, CallError)
        assert f"not in {tmp_path}/elsewhere/" in str(error)
    assert not (tmp_path / "elsewhere").exists()


def test_a_new_store_needs_a_place_for_its_data(postgres: Any) -> None:
    store = open_store(f"ducklake:postgres:{postgres.make_database()}")
    with pytest.raises(CallError, match="add data=FOLDER to the address"), store.writing():
        pass


def test_every_table_of_a_folder_is_there_and_nothing_lies_in_the_catalogue(
    lake: LakeStore, lake_keywords: str, postgres: Any, store: Any, claim: MakeClaim
) -> None:
    with store.writing():
        pass
    listed = """select table_schema || '.' || table_name as name, column_name, data_type from information_schema.columns
                where table_catalog = current_database() and table_schema in ('kept', 'main') order by all"""
    with store.reading() as here, lake.reading() as there:
        folder, team = rows_of(here, listed), rows_of(there, listed)
    assert [row for row in team if not row["name"].startswith("kept.source_")] == folder
    write_document(lake, 1, claim(high=37, snippet="it's {a: 'b'}, [\\] \x00 “ü”"))
    with lake.reading() as connection:
        (row,) = rows_of(connection, "select sources from kept.limits")
        assert row["sources"][0]["snippet"] == "it's {a: 'b'}, [\\] \x00 “ü”"
    inlined = postgres.ask(
        lake_keywords, "select tablename from pg_tables where tablename like 'ducklake_inlined_data_%'"
    )
    rows = [postgres.ask(lake_keywords, f"select count(*) from {name}")[0][0] for (name,) in inlined
            if name != "ducklake_inlined_data_tables"]  # fmt: skip
    assert sum(rows) == 0, "nested values that lie in the catalogue are garbled"


def test_a_transaction_is_whole_or_not_at_all(lake: LakeStore, claim: MakeClaim) -> None:
    write_document(lake, 1, claim(high=37))
    with pytest.raises(ZeroDivisionError), lake.writing() as connection:
        connection.execute("delete from kept.claims")
        assert rows_of(connection, "select count(*) as n from kept.claims") == [{"n": 0}]
        raise ZeroDivisionError
    assert count(lake) == 1


def test_a_reader_sees_one_state_and_never_waits(lake: LakeStore, claim: MakeClaim) -> None:
    write_document(lake, 1, claim(high=37))
    with lake.reading() as connection:
        before = rows_of(connection, "select count(*) as n from claims")
        write_document(lake, 2, claim("QQ900", high=41))
        assert rows_of(connection, "select count(*) as n from claims") == before == [{"n": 1}]
        assert count(lake) == 2
    with lake.writing() as connection:
        connection.execute("delete from kept.claims")
        assert count(lake) == 2, "a reader waits for no writer"


def test_readers_cannot_write(lake: LakeStore) -> None:
    with pytest.raises(StoreError), lake.reading() as connection:
        connection.execute("delete from kept.claims")


def test_writers_take_turns_and_wait_no_longer_than_set(lake: LakeStore) -> None:
    impatient = lake.with_settings(wait_s=0.2)
    with lake.writing():
        error = refusal(lambda: impatient.writing().__enter__())
    assert (error.fault.reason, "for 0.2 s" in str(error)) == (Reason.STORE_BUSY, True)
    with impatient.writing():
        pass


def test_a_turn_that_postgresql_ended_writes_nothing(
    lake: LakeStore, lake_keywords: str, postgres: Any, claim: MakeClaim
) -> None:
    write_document(lake, 1, claim(high=37))
    end_turns = "select pg_terminate_backend(pid) from pg_locks where locktype = 'advisory'"

    def write() -> None:
        with lake.writing() as connection:
            connection.execute("delete from kept.claims")
            postgres.ask(lake_keywords, end_turns)

    assert refusal(write).fault.reason is Reason.STORE_BUSY
    assert count(lake) == 1


def test_another_program_that_writes_at_once_is_noticed(lake: LakeStore, claim: MakeClaim) -> None:
    write_document(lake, 1, claim(high=37))

    def write() -> None:
        with lake.writing() as mine, module.attached(lake.address, lake._data or "", writes=True) as other:
            mine.execute("update kept.disorder set rows_since = rows_since + 1")
            other.execute("update kept.disorder set rows_since = rows_since + 1")

    error = refusal(write)
    assert (error.fault.reason, "nothing was written; try again" in str(error)) == (Reason.STORE_BUSY, True)
    assert count(lake) == 1


def test_a_stopped_postgresql_is_one_sentence_and_a_started_one_goes_on(
    lake: LakeStore, postgres: Any, claim: MakeClaim
) -> None:
    write_document(lake, 1, claim(high=37))
    write_document(lake, 2, claim("QQ900", high=41))
    assert is_warm(lake.address, writes=True)

    def stop_in_the_middle() -> None:
        with lake.writing() as connection:
            connection.execute("delete from kept.claims")
            postgres.stop()

    def read_and_stop() -> None:
        with lake.reading() as connection:
            postgres.stop()
            rows_of(connection, "select * from kept.limits")

    def is_told(action: Callable[[], object]) -> None:
        error = refusal(action)
        assert error.fault.reason is Reason.STORE_BUSY, str(error)
        assert "the catalogue does not answer (" in str(error)
        assert str(error).endswith("check that PostgreSQL runs and can be reached from here, then try again; "
                                   "nothing kept was lost.")  # fmt: skip

    try:
        is_told(stop_in_the_middle)
        is_told(lambda: count(lake))
        is_told(lambda: write_document(lake, 3, claim(high=30)))
        is_told(LakeStore(lake._given).exists)
        postgres.start()
        assert count(lake) == 2
        is_told(read_and_stop)
    finally:
        postgres.stop()
        postgres.start()
    write_document(lake, 3, claim("XY777", high=30))
    assert count(lake) == 3


@pytest.mark.parametrize("change", ["dbname=missing", "user=nobody_such"])
def test_a_catalogue_that_does_not_let_in_shows_no_password(lake_keywords: str, change: str) -> None:
    keywords = dict(pair.split("=") for pair in lake_keywords.split()) | dict([change.split("=")])
    address = " ".join(f"{key}={value}" for key, value in keywords.items())
    store = LakeStore(f"ducklake:postgres:{address} password=geheim")
    for action in (store.exists, lambda: count(store), lambda: write_document(store, 1)):
        error = refusal(action)
        assert isinstance(error, CallError)
        assert "does not exist" in str(error)
        assert "geheim" not in str(error)
        assert error.__cause__ is None and error.__suppress_context__


def test_errors_of_duckdb_show_no_password(
    lake_keywords: str, lake: LakeStore, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    store = LakeStore(f"ducklake:postgres:{lake_keywords} password='ge heim'")
    caplog.set_level(logging.DEBUG)
    assert count(store) == 0
    monkeypatch.setattr(store, "_find_data", lambda session: setattr(store, "_data", "/nowhere/") or "/nowhere/")
    assert "heim" not in str(refusal(lambda: write_document(store, 1)))
    assert "heim" not in caplog.text
    let_go(store.address)


def test_a_role_that_may_only_read_reads(lake: LakeStore, lake_keywords: str, postgres: Any, claim: MakeClaim) -> None:
    write_document(lake, 1, claim(high=37))
    postgres.ask(lake_keywords, "drop role if exists visitor; create role visitor login; "
                 "grant select on all tables in schema public to visitor")  # fmt: skip
    visitor = LakeStore(f"ducklake:postgres:{lake_keywords.replace('user=ledger', 'user=visitor')}")
    assert count(visitor) == 1
    error = refusal(lambda: write_document(visitor, 2, claim(high=30)))
    assert error.fault.reason is Reason.NOT_WRITABLE, str(error)
    assert (count(visitor), count(lake)) == (1, 1)
    let_go(visitor.address)
    postgres.ask(lake_keywords, "drop owned by visitor; drop role visitor")


def test_data_that_is_gone_is_named(new_lake: LakeStore, tmp_path: Path, claim: MakeClaim) -> None:
    write_document(new_lake, 1, claim(high=37))
    shutil.rmtree(tmp_path / "data")
    error = refusal(lambda: count(new_lake))
    assert error.fault.reason is Reason.STORE_BROKEN, str(error)
    assert f"check that {tmp_path}/data/ can be reached from here" in str(error)


def test_somebody_elses_lake_is_left_alone(new_lake: LakeStore, tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    with module.attached(new_lake.address, f"{tmp_path}/data/", writes=True) as connection:
        connection.execute("create table t (a integer)")
    for action in (lambda: count(new_lake), lambda: write_document(new_lake, 1)):
        error = refusal(action)
        assert (error.fault.reason, "not made by cogledger" in str(error)) == (Reason.STORE_BROKEN, True)


def test_a_newer_store_is_not_touched(lake: LakeStore) -> None:
    with lake.writing() as connection:
        connection.execute("insert into main.cogledger_schema values (9999, 'later')")
    for action in (lambda: count(lake), lambda: write_document(lake, 1)):
        assert refusal(action).fault.reason is Reason.STORE_NEWER


def test_an_older_store_is_brought_up_to_date_by_a_reader(lake: LakeStore, monkeypatch: pytest.MonkeyPatch) -> None:
    assert count(lake) == 0
    known = migrations.list_migrations()
    sql = "create table kept.more (a int primary key); insert into kept.more values (5)"
    step = migrations.Migration(known[-1].number + 1, "9999_more.sql", sql)
    monkeypatch.setattr(migrations, "list_migrations", lambda: (*known, step))
    with lake.reading() as connection:
        assert rows_of(connection, "from kept.more") == [{"a": 5}]


def test_copies_of_documents_lie_in_the_lake(lake: LakeStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cogledger.warehouse.lake_sources._PIECE", 1000)
    document = tmp_path / "spec.PDF"
    document.write_bytes(bytes(range(256)) * 41)
    sha = hashlib.sha256(document.read_bytes()).hexdigest()
    assert [lake.keep_source(document, sha) for _ in range(2)] == [".pdf", ".pdf"]
    assert (lake.kept_sources(), lake.keep_source(document, sha)) == ({sha}, ".pdf")
    assert count(lake, "kept.source_names") == 1
    assert count(lake, "kept.source_files") == 11
    document.unlink()
    copy = lake.find_source(sha)
    assert copy and (copy.suffix, copy.read_bytes()) == (".pdf", bytes(range(256)) * 41)
    assert lake.find_source(sha) == copy
    assert lake.find_source("0" * 64) is None
    with pytest.raises(DocumentError, match="could not be copied"):
        lake.keep_source(document, "1" * 64)


def test_only_so_many_copies_lie_on_this_machine(
    lake: LakeStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("cogledger.warehouse.lake_sources._COPIES", 2)
    found = []
    for number in range(3):
        document = tmp_path / f"{number}.pdf"
        document.write_bytes(b"%d" % number)
        sha = hashlib.sha256(document.read_bytes()).hexdigest()
        lake.keep_source(document, sha)
        found.append(lake.find_source(sha))
    assert [path is not None and path.exists() for path in found] == [False, True, True]


def test_nothing_is_kept_before_there_is_a_store(new_lake: LakeStore) -> None:
    assert new_lake.kept_sources() == set()
    assert LakeSources(new_lake).find("0" * 64) is None


def test_small_files_are_joined_and_what_is_old_goes(new_lake: LakeStore, tmp_path: Path, claim: MakeClaim) -> None:
    def files() -> int:
        return sum(1 for path in (tmp_path / "data" / "kept").rglob("*.parquet"))

    never = LakeStore(new_lake._given, new_lake.settings, LakeSettings(every=10**9))
    for number in range(6):
        write_document(never, number, *(claim(f"ZQ{number}{n}", high=37) for n in range(3)))
    before, shown = files(), count(never)
    often = LakeStore(new_lake._given, new_lake.settings, LakeSettings(every=1, keep_s=0))
    for number in range(2):
        write_document(often, number, *(claim(f"ZQ{number}{n}", high=38) for n in range(3)))
    assert files() < before / 2
    assert count(often) == shown == 18
    with often.reading() as connection:
        highs = rows_of(connection, "select high, count(*) as n from limits group by high order by high")
    assert highs == [{"high": 37.0, "n": 12}, {"high": 38.0, "n": 6}]


def test_a_reader_in_an_older_state_keeps_its_files(lake: LakeStore, claim: MakeClaim) -> None:
    often = LakeStore(lake._given, lake.settings, LakeSettings(every=1))
    write_document(often, 1, claim(high=37))
    with lake.reading() as connection:
        rows_of(connection, "select * from kept.rule")
        for number in range(2, 5):
            write_document(often, number, claim(f"QQ90{number}", high=41))
        assert rows_of(connection, "select count(*) as n from claims") == [{"n": 1}]


def test_tidying_puts_the_tables_in_order(lake: LakeStore, claim: MakeClaim) -> None:
    for number, code in enumerate(["ZQ500", "AB100", "MM200"]):
        write_document(lake, number, claim(code, high=37))
    assert not lake.tidy()
    assert lake.tidy(TidySettings(least_rows=1))
    with lake.reading() as connection:
        assert [row["code_key"] for row in rows_of(connection, "select code_key from kept.claims")] == [
            "AB100", "MM200", "ZQ500",
        ]  # fmt: skip
    assert not lake.tidy(TidySettings(least_rows=1))


def test_a_failed_housekeeping_loses_nothing(
    lake: LakeStore, claim: MakeClaim, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise module.duckdb.IOException("the object store is slow today")

    monkeypatch.setattr(module, "join_files", fail)
    write_document(LakeStore(lake._given, lake.settings, LakeSettings(every=1)), 1, claim(high=37))
    assert count(lake) == 1


def test_a_catalogue_is_let_go_when_nobody_asks(lake: LakeStore, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cogledger.warehouse.lake_connection._IDLE_S", 0.05)
    assert count(lake) == 0
    import time

    time.sleep(0.5)
    assert not is_warm(lake.address, writes=False)
    assert count(lake) == 0


def test_settings_can_be_changed(lake: LakeStore) -> None:
    assert lake.with_settings(wait_s=1).settings == replace(lake.settings, wait_s=1)
    assert lake.with_settings(wait_s=1).name == lake.name
