"""kill -9 at random moments of everything that writes: what was committed is there, and nothing half-written shows.

A process that has imported everything waits, and forks a child for each attempt; the child does what is to be killed,
noting in a log what it was told is done. First it is let live, so that its length is known; then it is killed at
moments drawn over that length. Only kills that ended a living process count: each test goes on until it has as many as
it needs.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from cogledger.warehouse import Ledger
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.settled import settle_all
from cogledger.warehouse.store import rows_of

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="no kill -9 and no fork there")]

KILLS = {"read": 14, "crew": 8, "together": 8, "judge": 14, "migrate": 12, "tidy": 8, "merge": 8}
"""How many kills of a living process each test needs."""

_ACTS = """
import json, os, sys
from pathlib import Path
from cogledger.extract.records import Reading
from cogledger.schema.claims import claim_from_json
from cogledger.warehouse import Correction, Ledger
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.ingest import IngestSettings, ingest
from cogledger.warehouse.order import TidySettings

def pretended(source, on_page=None):
    told = json.loads(source.path.read_text("utf-8").partition("\\n")[2].replace("late", "[]"))
    return Reading(source, 1, tuple(claim_from_json(record | {"document": source.name}) for record in told))

def note(log, what):
    with open(log, "a") as file:
        file.write(what + "\\n")

def read(folder, log, manuals, workers, together=1):
    last = 0
    def tell(step):
        nonlocal last
        if step.done > last:
            last = step.done
            note(log, step.document)
    settings = IngestSettings(reader="acts:pretended", reader_version="1", small_batch=0, most_at_once=together)
    report = ingest(FolderStore(Path(folder)), [Path(manuals)], workers=workers, on_progress=tell, settings=settings)
    assert report.complete, report

def judge(folder, log, words):
    ledger = Ledger(folder)
    for verdict, claim_id, correction in words:
        if verdict == "corrected":
            ledger.correct(claim_id, Correction(**correction), by="Ilka")
        else:
            {"confirmed": ledger.confirm, "rejected": ledger.reject}[verdict](claim_id, by="Ilka")
        note(log, claim_id)

def migrate(folder, log):
    Ledger(folder).claims()

def merge(folder, log, pack):
    Ledger(folder).merge(pack)
    note(log, "merge")

def die_while_making(folder, log):
    from cogledger.warehouse import folder_store
    folder_store.put_new = lambda *_: os.kill(os.getpid(), 9)
    with FolderStore(Path(folder)).writing():
        pass

def die_while_copying(folder, log, document, sha256):
    from cogledger.warehouse import files
    files.os.fsync = lambda *_: os.kill(os.getpid(), 9)
    FolderStore(Path(folder)).keep_source(Path(document), sha256)

def tidy(folder, log):
    assert FolderStore(Path(folder)).tidy(TidySettings(least_rows=1, share=0))
    note(log, "tidy")
"""

_WAITING = """
import json, os, signal, sys, time, traceback
import duckdb, pandera.polars, polars, pyarrow
import acts, cogledger.schema.validation, cogledger.warehouse.settled
for line in sys.stdin:
    order = json.loads(line)
    started = time.perf_counter()
    child = os.fork()
    if child == 0:
        try:
            getattr(acts, order["act"])(**order["with"])
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    if order["after"] is not None:
        time.sleep(order["after"])
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    killed = os.WIFSIGNALED(status)
    print(json.dumps([killed, 0 if killed else os.WEXITSTATUS(status), time.perf_counter() - started]), flush=True)
"""


@dataclass(frozen=True)
class Attempt:
    """What became of one child: whether it was killed alive, how long it lived, what it had noted as done."""

    killed: bool
    seconds: float
    noted: tuple[str, ...]


class Killer:
    """The waiting process, and the moments at which its children are to die."""

    def __init__(self, work: Path, seed: str) -> None:
        self.work, self.rng = work, random.Random(seed)
        (work / "acts.py").write_text(_ACTS, encoding="utf-8")
        path = os.pathsep.join([str(work), *(p for p in sys.path if p)])
        self.process = subprocess.Popen(
            [sys.executable, "-c", _WAITING],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": path},
        )

    def act(self, act: str, folder: Path, after: float | None = None, **given: Any) -> Attempt:
        """Let a child do something to the store in ``folder``, and kill it after so many seconds."""
        log = self.work / f"{folder.name}.log"
        log.unlink(missing_ok=True)
        assert self.process.stdin and self.process.stdout
        told = {"act": act, "after": after, "with": given | {"folder": str(folder), "log": str(log)}}
        self.process.stdin.write(json.dumps(told) + "\n")
        self.process.stdin.flush()
        killed, code, seconds = json.loads(self.process.stdout.readline())
        assert code == 0, "the child failed by itself; its fault is on standard error"
        noted = log.read_text(encoding="utf-8").splitlines() if log.exists() else []
        return Attempt(killed, seconds, tuple(noted))

    def kills(
        self, quota: int, act: str, prepare: Callable[[Path], Any], **given: Any
    ) -> Iterator[tuple[Path, Attempt]]:
        """So many stores whose writer was killed at a random moment, each with what the writer had noted."""
        whole = self.work / "whole"
        prepare(whole)
        length = self.act(act, whole, **given).seconds
        hits = tries = 0
        while hits < quota:
            tries += 1
            assert tries <= 3 * quota, f"only {hits} of {tries} kills met a living process"
            folder = self.work / f"try-{tries}"
            prepare(folder)
            attempt = self.act(act, folder, self.rng.uniform(0, length), **given)
            if attempt.killed:
                hits += 1
                yield folder, attempt
            shutil.rmtree(folder, ignore_errors=True)

    def close(self) -> None:
        """End the waiting process."""
        assert self.process.stdin
        self.process.stdin.close()
        self.process.wait(timeout=30)
        assert self.process.stdout
        self.process.stdout.close()


@pytest.fixture
def killer(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Killer]:
    killer = Killer(tmp_path, request.node.name)
    yield killer
    killer.close()


@pytest.fixture
def manuals(tmp_path: Path) -> Path:
    """Documents that speak of the same few parts, agree and disagree."""
    folder = tmp_path / "manuals"
    folder.mkdir()
    for number in range(7):
        claims = [
            {"page": 1, "bbox": [10, 20 * n, 30, 20 * n + 9], "maker": "Brambel", "part_code": f"ZQ{n % 4}00",
             "variant": "SML"[n % 3], "part_kind": "rear_derailleur", "limit": limit, "low": None,
             "high": high + number % 2, "unit": "T", "snippet": f"{number}-{n}", "method": "pretended",
             "confidence": 0.9}
            for n in range(10) for limit, high in (("total_capacity", 33.0 + n), ("front_difference", 16.0))
        ]  # fmt: skip
        (folder / f"{number}.pdf").write_text(f"%PDF-1.7\n{json.dumps(claims)}", encoding="utf-8")
    return folder


class _Undo(Exception):
    pass


def dump(connection: Any, table: str) -> list[str]:
    return [row[0] for row in connection.execute(f"select to_json(t)::varchar from {table} t order by all").fetchall()]


def assert_sound(folder: Path) -> list[str]:
    """Documents, copies, claims, limits and parts agree with each other; the names of the documents."""
    store = FolderStore(folder)
    if not store.exists():
        return []
    with store.reading() as connection:
        documents = rows_of(connection, "select sha256, name, extension, origin from kept.documents order by name")
        claims = rows_of(connection, "select sha256, part_code, variant, limit_key, high, snippet from kept.claims")
        paths = {row["sha256"] for row in rows_of(connection, "select sha256 from kept.document_paths")}
    known = {document["sha256"] for document in documents}
    assert len(known) == len(documents)
    assert paths >= {d["sha256"] for d in documents if d["origin"] is None}
    assert paths <= known and {claim["sha256"] for claim in claims} <= known
    for document in documents:
        if document["origin"] is not None:
            continue
        copy = folder / "sources" / f"{document['sha256']}{document['extension']}"
        whole = copy.read_bytes()
        assert hashlib.sha256(whole).hexdigest() == document["sha256"]
        if whole.startswith(b"%PDF-1.7\n["):
            told = json.loads(whole.partition(b"\n")[2])
            found = [list(c.values())[1:] for c in claims if c["sha256"] == document["sha256"]]
            said = [[c["part_code"], c["variant"], c["limit"], c["high"], c["snippet"]] for c in told]
            assert sorted(found) == sorted(said), "half a document"
    with suppress(_Undo), store.writing() as connection:
        made = dump(connection, "kept.limits"), dump(connection, "kept.parts")
        settle_all(connection)
        assert made == (dump(connection, "kept.limits"), dump(connection, "kept.parts"))
        raise _Undo
    with store.reading() as connection:
        assert made == (dump(connection, "kept.limits"), dump(connection, "kept.parts")), "as the last writer left them"
    return [document["name"] for document in documents]


def tell(record_property: Callable[[str, object], None], what: str, attempts: list[Attempt]) -> None:
    """Show how many kills there were and when; fail where there were too few."""
    moments = sorted(round(attempt.seconds, 2) for attempt in attempts)
    record_property(f"kills of {what}", len(attempts))
    print(f"\n{len(attempts)} kills of a living process during {what}, after {moments} s")
    assert len(attempts) >= KILLS[what]


def test_there_are_fifty_kills_in_all() -> None:
    assert sum(KILLS.values()) >= 50


@pytest.mark.parametrize(("what", "workers"), [("read", 1), ("crew", 2)])
def test_reading(
    killer: Killer, manuals: Path, tmp_path: Path, what: str, workers: int, record_property: Callable[..., None]
) -> None:
    attempts = []
    call = {"manuals": str(manuals), "workers": workers}
    for folder, attempt in killer.kills(KILLS[what], "read", lambda _: None, **call):
        names = assert_sound(folder)
        assert set(attempt.noted) <= set(names) and len(names) <= len(attempt.noted) + 1
        attempts.append(attempt)
        if len(attempts) == KILLS[what]:
            again = killer.act("read", folder, **call)
            assert len(again.noted) == 7 - len(names), "what was kept is not read again"
            assert assert_sound(folder) == assert_sound(tmp_path / "whole")
    tell(record_property, what, attempts)


def test_reading_and_keeping_several_together(
    killer: Killer, manuals: Path, tmp_path: Path, record_property: Callable[..., None]
) -> None:
    """What was read and waits to be kept goes with the process, whole documents of it, and is read again."""
    attempts = []
    call = {"manuals": str(manuals), "workers": 1, "together": 3}
    for folder, attempt in killer.kills(KILLS["together"], "read", lambda _: None, **call):
        names = assert_sound(folder)
        assert len(attempt.noted) <= len(names) + 3
        attempts.append(attempt)
        if len(attempts) == KILLS["together"]:
            again = killer.act("read", folder, **call)
            assert len(again.noted) == 7 - len(names), "what was kept is not read again"
            assert assert_sound(folder) == assert_sound(tmp_path / "whole")
    tell(record_property, "together", attempts)


@pytest.fixture
def known(killer: Killer, manuals: Path, tmp_path: Path) -> Path:
    """A store that holds every document."""
    killer.act("read", tmp_path / "known", manuals=str(manuals), workers=1)
    return tmp_path / "known"


def test_judging(killer: Killer, known: Path, record_property: Callable[..., None]) -> None:
    ids = [claim.claim_id for claim in Ledger(known).claims()][::9]
    words: list[tuple[str, str, dict[str, Any] | None]] = []
    for number, claim_id in enumerate(ids[:9]):
        kind = ("confirmed", "corrected", "rejected")[number % 3]
        correction: dict[str, Any] = {"code": f"ZQ{number}77"} if number % 2 else {"high": 12.0 + number}
        words.append((kind, claim_id, correction if kind == "corrected" else None))
    attempts = []
    for folder, attempt in killer.kills(KILLS["judge"], "judge", lambda f: shutil.copytree(known, f), words=words):
        assert len(assert_sound(folder)) == 7
        now = {claim.claim_id: claim for claim in Ledger(folder).claims()}
        judged = [claim_id for _, claim_id, _ in words if now[claim_id].judged_by]
        assert judged == [claim_id for _, claim_id, _ in words][: len(judged)]
        assert len(attempt.noted) <= len(judged) <= len(attempt.noted) + 1
        for verdict, claim_id, correction in words[: len(judged)]:
            claim = now[claim_id]
            said = {"part_code": (correction or {}).get("code"), "high": (correction or {}).get("high")}
            assert str(claim.state) == verdict
            assert all(claim.record[name] == value for name, value in said.items() if value is not None)
        assert sum(1 for claim in now.values() if claim.judged_by) == len(judged)
        attempts.append(attempt)
    tell(record_property, "judge", attempts)


def test_migrating(killer: Killer, record_property: Callable[..., None]) -> None:
    place = Path(__file__).resolve().parent.parent.parent / "fixtures" / "old_stores.py"
    spec = importlib.util.spec_from_file_location("old_stores_to_kill", place)
    assert spec and spec.loader
    old_stores = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(old_stores)
    attempts: list[Attempt] = []
    numbers = sorted(old_stores.FORMATS)
    for number in numbers:
        told = (old_stores.STORES / f"format-{number}" / "told.json").read_text(encoding="utf-8")
        quota = KILLS["migrate"] // len(numbers)
        for folder, attempt in killer.kills(quota, "migrate", lambda f, n=number: old_stores.unpack(n, f)):
            assert [claim.as_json() for claim in Ledger(folder).claims()] == json.loads(told)["claims"]
            assert len(assert_sound(folder)) == 10
            attempts.append(attempt)
        shutil.rmtree(killer.work / "whole")
    tell(record_property, "migrate", attempts)


def test_putting_in_order(killer: Killer, known: Path, record_property: Callable[..., None]) -> None:
    before = [claim.as_json() for claim in Ledger(known).claims()]
    attempts = []
    for folder, attempt in killer.kills(KILLS["tidy"], "tidy", lambda f: shutil.copytree(known, f)):
        assert len(assert_sound(folder)) == 7
        assert [claim.as_json() for claim in Ledger(folder).claims()] == before
        attempts.append(attempt)
    tell(record_property, "tidy", attempts)


def test_merging(killer: Killer, known: Path, manuals: Path, record_property: Callable[..., None]) -> None:
    """What somebody else read and judged: all of it or nothing."""
    theirs = killer.work / "theirs"
    for document in sorted(manuals.iterdir())[2:]:
        document.write_text(document.read_text(encoding="utf-8").replace("ZQ3", "ZR3"), encoding="utf-8")
    killer.act("read", theirs, manuals=str(manuals), workers=1)
    for claim in Ledger(theirs).claims()[::4]:
        Ledger(theirs).reject(claim.claim_id, by="Jørn")
    pack = killer.work / "pack.zip"
    Ledger(theirs).share(pack, "Jørn", "CC0-1.0")
    before = [claim.as_json() for claim in Ledger(known).claims()]
    attempts = []
    call = killer.kills(KILLS["merge"], "merge", lambda f: shutil.copytree(known, f), pack=str(pack))
    for folder, attempt in call:
        after = [claim.as_json() for claim in Ledger(killer.work / "whole").claims()]
        now = [claim.as_json() for claim in Ledger(folder).claims()]
        assert len(after) > len(before) and now in (before, after)
        assert now == after or not attempt.noted
        assert len(assert_sound(folder)) == (7 if now == before else 12)
        attempts.append(attempt)
    tell(record_property, "merge", attempts)


def test_what_a_killed_writer_left_is_gone_after_the_next_write(killer: Killer, known: Path, manuals: Path) -> None:
    """A database not yet in its place, a copy not yet in its place; both two hours old, so nobody is at them."""
    document = manuals / "late.pdf"
    document.write_bytes(b"%PDF-1.7\nlate")
    sha256 = hashlib.sha256(document.read_bytes()).hexdigest()
    fresh = killer.work / "fresh"
    assert killer.act("die_while_making", fresh).killed
    assert killer.act("die_while_copying", known, document=str(document), sha256=sha256).killed
    for folder, place in ((fresh, fresh), (known, known / "sources")):
        left = [path for path in place.iterdir() if path.name.startswith(".") and path.name != ".turn"]
        assert left, "the kill came at the moment meant"
        for path in left:
            os.utime(path, (path.stat().st_atime - 7200, path.stat().st_mtime - 7200))
        killer.act("read", folder, manuals=str(manuals), workers=1)
        assert not [path for path in left if path.exists()]
