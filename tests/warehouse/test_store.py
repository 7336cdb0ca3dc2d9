"""One store, several processes, sudden ends, and every way in which a folder can be no store."""

from __future__ import annotations

import hashlib
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest
from cogledger.schema.claims import Claim
from cogledger.schema.errors import CogledgerError, DocumentError, StoreError
from cogledger.schema.reasons import Reason
from cogledger.warehouse import migrate as migrations
from cogledger.warehouse.files import put_whole, write_whole
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.store import StoreSettings, choose_store, rows_of

MakeClaim = Callable[..., Claim]
Keep = Callable[..., str]

_WRITER = """
import sys
from dataclasses import replace
from pathlib import Path
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Claim
from cogledger.warehouse.register import write_reading
from cogledger.warehouse.folder_store import FolderStore
store = FolderStore(Path(sys.argv[1]))
claim = Claim("d", 1, None, None, "ZQ500", None, "rear_derailleur", "total_capacity", high=37, unit="T",
              snippet="s", method="m", confidence=0.9)
n = 0
while n < int(sys.argv[2]):
    source = Source(Path(f"d{n}.pdf"), f"d{n}.pdf", f"{sys.argv[3]}{n:063d}"[:64], 1, SourceKind.PDF)
    claims = tuple(replace(claim, part_code=f"ZQ{n}X{m}") for m in range(20))
    with store.writing() as connection:
        write_reading(connection, Reading(source, 1, claims, reader="r"), ".pdf")
    n += 1
    print(n, flush=True)
"""


def start_writer(store: FolderStore, documents: int, mark: str = "a") -> subprocess.Popen[str]:
    command = [sys.executable, "-c", _WRITER, str(store.folder), str(documents), mark]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def count(store: FolderStore) -> tuple[int, int, int]:
    with store.reading() as connection:
        counts = [connection.execute(f"select count(*) from main.{view}").fetchone() for view in
                  ("documents", "claims", "limits")]  # fmt: skip
    documents, claims, limits = (row[0] if row else -1 for row in counts)
    return documents, claims, limits


def test_two_writers_and_a_reader_lose_nothing(store: FolderStore) -> None:
    writers = [start_writer(store, 4, mark) for mark in "ab"]
    seen = []
    while any(writer.poll() is None for writer in writers):
        if store.exists():
            seen.append(count(store))
        time.sleep(0.02)
    for writer in writers:
        assert writer.stdout
        writer.stdout.close()
    assert [writer.wait() for writer in writers] == [0, 0]
    assert count(store) == (8, 160, 80)
    assert seen == sorted(seen)
    assert all(claims == 20 * documents for documents, claims, _ in seen), "a reader saw half a document"


_READER = """
import sys, time
from pathlib import Path
from cogledger.warehouse.folder_store import FolderStore
store = FolderStore(Path(sys.argv[1]))
end = time.monotonic() + 60
while time.monotonic() < end:
    with store.reading() as connection:
        connection.execute("select count(*) from main.claims").fetchall()
    print("read", flush=True)
"""


def test_readers_that_never_pause_do_not_keep_a_writer_out(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    """Each of several readers asks again at once; without taking turns one of them would always be inside."""
    keep(claim(high=37))
    readers = [
        subprocess.Popen([sys.executable, "-c", _READER, str(store.folder)], stdout=subprocess.PIPE) for _ in range(3)
    ]
    try:
        for reader in readers:
            assert reader.stdout and reader.stdout.readline()
        for number in range(3):
            keep(claim(f"ZQ51{number}", high=37), name=f"{number}.pdf")
        assert all(reader.poll() is None for reader in readers)
    finally:
        for reader in readers:
            reader.kill()
            reader.wait()
            assert reader.stdout
            reader.stdout.close()
    assert count(store)[0] == 4


def test_a_reader_inside_a_reader_needs_no_turn(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37))
    with store.reading() as outer, store.reading() as inner:
        assert inner.execute("from main.parts").fetchall() == outer.execute("from main.parts").fetchall()


def test_what_stayed_open_after_reading_keeps_nobody_out(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37))
    patient = store.with_settings(warm_s=0.5, wait_s=10.0)
    with patient.reading():
        pass
    with duckdb.connect(str(store.database), read_only=True) as same_moment:
        assert same_moment.execute("select count(*) from parts").fetchone() == (1,)
    started = time.monotonic()
    with patient.writing():
        pass
    assert time.monotonic() - started < 5
    with patient.reading():
        pass
    writer = start_writer(store, 1)
    assert writer.stdout and writer.stdout.readline() == "1\n"
    writer.wait()
    writer.stdout.close()
    with patient.reading() as connection:
        assert connection.execute("select count(*) from main.documents").fetchone() == (2,)


@pytest.mark.skipif(os.name == "nt", reason="no kill -9")
def test_a_killed_writer_leaves_the_last_complete_state(store: FolderStore) -> None:
    chance = random.Random(7)
    total = 0
    for mark in "abc":
        writer = start_writer(store, 500, mark)
        assert writer.stdout
        told = int(writer.stdout.readline())
        time.sleep(chance.uniform(0, 0.15))
        writer.send_signal(signal.SIGKILL)
        told = max([told, *(int(line) for line in writer.stdout if line.strip())])
        writer.wait()
        writer.stdout.close()
        documents, claims, _ = count(store)
        assert told <= documents - total <= told + 1
        assert claims == 20 * documents
        total = documents
    assert not list(store.folder.glob(".new-*.duckdb"))


def test_the_newest_store_is_made_whole_or_not_at_all(store: FolderStore, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise duckdb.Error("the disk broke")

    monkeypatch.setattr("cogledger.warehouse.folder_store.bring_up_to_date", fail)
    with pytest.raises(StoreError), store.writing():
        pass
    assert not store.exists()
    assert list(store.folder.glob("*.duckdb")) == []


def reason_of(action: Callable[[], object]) -> tuple[Reason, str]:
    with pytest.raises(CogledgerError) as caught:
        action()
    return caught.value.fault.reason, str(caught.value)


def read_it(store: FolderStore) -> None:
    with store.reading() as connection:
        connection.execute("select * from main.claims").fetchall()


def write_it(store: FolderStore) -> None:
    with store.writing():
        pass


def test_no_store(store: FolderStore) -> None:
    reason, sentence = reason_of(lambda: read_it(store))
    assert reason is Reason.NO_STORE
    assert str(store.folder) in sentence
    assert "cogledger read" in sentence
    assert not store.folder.exists()


@pytest.mark.parametrize("content", [b"", b"hello" * 5000, b"PK\x03\x04"])
def test_no_database(store: FolderStore, content: bytes) -> None:
    store.folder.mkdir()
    store.database.write_bytes(content)
    for action in (read_it, write_it):
        assert reason_of(lambda action=action: action(store))[0] is Reason.STORE_BROKEN
    assert store.database.read_bytes() == content


def test_somebody_elses_database(store: FolderStore) -> None:
    store.folder.mkdir()
    with duckdb.connect(str(store.database)) as connection:
        connection.execute("create table t (a int)")
    for action in (read_it, write_it):
        reason, sentence = reason_of(lambda action=action: action(store))
        assert (reason, "not made by cogledger" in sentence) == (Reason.STORE_BROKEN, True)


def test_a_database_cut_short(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(*(claim(f"ZQ{n}", high=37) for n in range(300)))
    data = store.database.read_bytes()
    store.database.write_bytes(data[: len(data) // 2])
    assert reason_of(lambda: read_it(store))[0] is Reason.STORE_BROKEN


def test_a_newer_store(store: FolderStore) -> None:
    write_it(store)
    with duckdb.connect(str(store.database)) as connection:
        connection.execute("insert into main.cogledger_schema values (9999, 'later')")
    for action in (read_it, write_it):
        reason, sentence = reason_of(lambda action=action: action(store))
        assert (reason, "update cogledger" in sentence) == (Reason.STORE_NEWER, True)


def test_a_busy_store_is_waited_for_and_then_named(store: FolderStore) -> None:
    write_it(store)
    hold = "import duckdb, sys, time; c = duckdb.connect(sys.argv[1]); print('open', flush=True)"
    hold += "; time.sleep(float(sys.argv[2]))"
    for seconds, wait, busy in (("0.5", 15.0, False), ("15", 0.3, True)):
        holder = subprocess.Popen([sys.executable, "-c", hold, str(store.database), seconds], stdout=subprocess.PIPE)
        assert holder.stdout
        holder.stdout.readline()
        patient = store.with_settings(wait_s=wait, warm_s=0.0)
        try:
            if busy:
                reason, sentence = reason_of(lambda patient=patient: read_it(patient))
                assert (reason, "0.3 s" in sentence) == (Reason.STORE_BUSY, True)
            else:
                read_it(patient)
        finally:
            holder.kill()
            holder.wait()
            holder.stdout.close()


def test_threads_of_one_process_wait_for_each_other_too(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37))
    inside, done = threading.Event(), []

    def read_slowly() -> None:
        with store.reading() as connection:
            inside.set()
            time.sleep(0.4)
            done.append(connection.execute("select count(*) from main.claims").fetchone())

    reader = threading.Thread(target=read_slowly)
    reader.start()
    assert inside.wait(20)
    keep(claim(high=37), claim(limit="smallest_cog", low=11))
    assert done == [(1,)], "the writer waited for the reader"
    reader.join()
    assert count(store)[1] == 2


def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("x")
    reason, sentence = reason_of(lambda: write_it(FolderStore(blocked / "ledger")))
    assert (reason, "--store" in sentence) == (Reason.NOT_WRITABLE, True)


def test_a_migration_that_fails_leaves_the_store_as_it_was(store: FolderStore, monkeypatch: pytest.MonkeyPatch) -> None:
    write_it(store)
    known = migrations.list_migrations()
    bad = migrations.Migration(
        known[-1].number + 1, "9999_bad.sql", "create table kept.more (a int); select * from nowhere"
    )
    monkeypatch.setattr(migrations, "list_migrations", lambda: (*known, bad))
    assert reason_of(lambda: read_it(store))[0] is Reason.STORE_BROKEN
    monkeypatch.setattr(migrations, "list_migrations", lambda: known)
    with store.reading() as connection:
        assert rows_of(connection, "select table_name from information_schema.tables where table_name = 'more'") == []


def test_an_older_store_is_brought_up_to_date_when_it_is_read(
    store: FolderStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_it(store)
    newest = migrations.newest_number()
    step = migrations.Migration(
        newest + 1, "9999_more.sql", "create table kept.more (a int); insert into kept.more values (5)"
    )
    known = (*migrations.list_migrations(), step)
    monkeypatch.setattr(migrations, "list_migrations", lambda: known)
    for _ in range(2):
        with store.reading() as connection:
            assert rows_of(connection, "from kept.more") == [{"a": 5}]


def test_limits_follow_the_rule_by_which_they_are_made(
    store: FolderStore, keep: Keep, claim: MakeClaim, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(claim(high=37), claim("QQ900", high=41))
    with store.writing() as connection:
        connection.execute("update kept.limits set confidence = 0")
        connection.execute("update kept.rule set version = version - 1")
    with store.reading() as connection:
        rows = rows_of(connection, "select part_code, confidence from limits order by part_code")
    assert rows == [{"part_code": "QQ900", "confidence": 0.9}, {"part_code": "ZQ500", "confidence": 0.9}]


def test_migrations_are_numbered_without_gaps() -> None:
    numbers = [step.number for step in migrations.list_migrations()]
    assert numbers == list(range(1, len(numbers) + 1))


def test_copies_are_kept_whole_under_their_hash(store: FolderStore, tmp_path: Path) -> None:
    document = tmp_path / "spec.PDF"
    document.write_bytes(b"%PDF-1.7 words")
    sha = hashlib.sha256(document.read_bytes()).hexdigest()
    assert store.keep_source(document, sha) == ".pdf"
    copy = store.find_source(sha)
    assert copy and (copy.name, copy.read_bytes()) == (f"{sha}.pdf", document.read_bytes())
    assert store.find_source("0" * 64) is None
    assert [p.name for p in store.sources.iterdir()] == [copy.name]


def test_a_file_that_changed_meanwhile_is_not_kept(store: FolderStore, tmp_path: Path) -> None:
    document = tmp_path / "spec.pdf"
    document.write_bytes(b"later")
    with pytest.raises(DocumentError, match="changed while"):
        store.keep_source(document, hashlib.sha256(b"earlier").hexdigest())
    document.unlink()
    with pytest.raises(DocumentError, match="could not be copied"):
        store.keep_source(document, "0" * 64)


def test_a_write_that_fails_leaves_nothing_half_written(tmp_path: Path) -> None:
    target = tmp_path / "page.png"
    write_whole(target, b"old")

    def half(path: Path) -> None:
        path.write_bytes(b"ne")
        raise OSError("no room")

    with pytest.raises(OSError, match="no room"):
        put_whole(target, half)
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("page.png", b"old")]


def test_the_folder_is_the_one_given_or_from_the_environment() -> None:
    assert choose_store("mine", {"COGLEDGER_STORE": "env"}) == "mine"
    assert choose_store(None, {"COGLEDGER_STORE": "env"}) == "env"
    assert choose_store(None, {}) == "ledger"


def test_settings_can_be_changed(store: FolderStore) -> None:
    assert store.with_settings(wait_s=1).settings == StoreSettings(wait_s=1)
