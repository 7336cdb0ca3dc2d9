"""A full disk, a read-only folder, a store of a newer version: one sentence each, and the store afterwards as before.

The disk is a small one of its own, mounted where nobody else sees it, and really full. Where the system lets nobody
mount, and beside it where it does, files may not grow beyond a size, which fails in the same calls. A read-only folder
is one that its owner may not write to: a process that runs as root first gives up its right to pass over that.
"""

from __future__ import annotations

import json
import os
import shutil
import struct
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest
from cogledger.warehouse import Ledger

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="folders have other rights there")]

ROOT = Path(__file__).resolve().parent.parent.parent
MANUALS = ROOT / "desk" / "scenario" / "manuals"
DISK_MB = 48
LEVELS_KB = (0, 16, 256, 2048, 30_000)
"""How much room is left, or how large a file may be; the last is enough for anything."""

_RIGHTS = """
import ctypes, os, sys

def give_up_rights():
    "Root may no longer pass over who may write where (capabilities 1 and 2, see capabilities(7))."
    if os.geteuid() != 0:
        return
    if sys.platform != "linux":
        os.setuid(65534)
        return
    system = ctypes.CDLL(None, use_errno=True)
    head, sets = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
    assert system.capget(head, sets) == 0
    for place in (0, 1):
        sets[place] &= ~0b110
    assert system.capset(head, sets) == 0, os.strerror(ctypes.get_errno())
"""

_RUN = (
    _RIGHTS
    + """
from cogledger.desk.cli import main
give_up_rights()
sys.argv[0] = "cogledger"
main()
"""
)

_DISK = """
import json, os, resource, shutil, subprocess, sys, traceback
from pathlib import Path
import duckdb, pyarrow, polars, pandera.polars
import cogledger.schema.validation, cogledger.warehouse, cogledger.extract.pipeline
from cogledger.desk.cli import main

way, disk, size_mb, kept, plan = sys.argv[1], Path(sys.argv[2]), sys.argv[3], Path(sys.argv[4]), json.loads(sys.argv[5])
if way == "disk":
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size_mb}m", "none", str(disk)], check=True)
folder, ballast = disk / "ledger", disk / "ballast"

def run(arguments, most_kb=None):
    (out, out_end), (err, err_end) = os.pipe(), os.pipe()
    child = os.fork()
    if child == 0:
        code = 99
        try:
            os.dup2(out_end, 1)
            os.dup2(err_end, 2)
            os.close(out_end)
            os.close(err_end)
            if most_kb is not None:
                resource.setrlimit(resource.RLIMIT_FSIZE, (most_kb * 1024, most_kb * 1024))
            sys.argv = ["cogledger", *arguments, "--store", str(folder), "--json"]
            main()
        except SystemExit as end:
            code = end.code
        except BaseException:
            traceback.print_exc()
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)
    os.close(out_end)
    os.close(err_end)
    with open(out) as out, open(err) as err:
        said, complained = out.read(), err.read()
    status = os.waitpid(child, 0)[1]
    return {"code": os.waitstatus_to_exitcode(status), "err": complained,
            "out": json.loads(said) if said.startswith("{") else said}

def fill(room_kb):
    with ballast.open("wb", buffering=0) as file:
        try:
            while file.write(bytes(4096)):
                pass
        except OSError:
            pass
        file.truncate(max(0, file.tell() - room_kb * 1024))

told = []
if (kept / "ledger").exists():
    shutil.copytree(kept / "ledger", folder)
for room_kb, arguments in plan:
    if way == "disk":
        fill(room_kb)
        answer = run(arguments)
        ballast.unlink()
    else:
        answer = run(arguments, room_kb)
    answer["claims"] = run(["claims"])
    answer["left"] = sorted(path.name for path in folder.rglob("*") if path.is_file())
    told.append(answer)
print(json.dumps(told))
"""


def can_mount(tmp_path: Path) -> list[str]:
    """The command before one that may then mount for itself alone; nothing where the system does not allow it."""
    for before in (["unshare", "-Urm"], ["unshare", "-m"]):
        call = [*before, "mount", "-t", "tmpfs", "-o", "size=1m", "none", str(tmp_path)]
        if shutil.which("unshare") and subprocess.run(call, capture_output=True, check=False).returncode == 0:
            return before
    return []


@pytest.fixture(params=["disk", "limit"])
def way(request: pytest.FixtureRequest, tmp_path: Path, record_property: Any) -> tuple[str, list[str]]:
    """How room gets scarce, and the command that is needed for it."""
    before = can_mount(tmp_path) if request.param == "disk" else []
    chosen = "disk" if before else "limit"
    record_property("room gets scarce by", chosen)
    if chosen != request.param:
        print("this system lets nobody mount a disk of its own; files are kept from growing instead")
    return chosen, before


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with one manual."""
    folder = tmp_path_factory.mktemp("small") / "ledger"
    assert Ledger(folder).read([MANUALS / "hollenfirth-rear-derailleurs.pdf"], workers=1).complete
    return folder


def scarce(way: tuple[str, list[str]], tmp_path: Path, plan: list[tuple[int, list[str]]]) -> list[dict[str, Any]]:
    """What each command answers with so little room, and what the store tells afterwards."""
    name, before = way
    (tmp_path / "disk").mkdir()
    (tmp_path / "kept").mkdir(exist_ok=True)
    call = [*before, sys.executable, "-c", _DISK, name, str(tmp_path / "disk"), str(DISK_MB), str(tmp_path / "kept")]
    done = subprocess.run([*call, json.dumps(plan)], capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def assert_not_writable(answer: dict[str, Any]) -> None:
    """One sentence that names the reason, in both places where faults are told, and exit code 1."""
    assert answer["code"] == 1, answer["err"]
    assert answer["out"]["error"]["reason"] == "not_writable", answer["out"]
    assert len(answer["err"].strip().splitlines()) == 1, answer["err"]
    assert "ledger" in answer["err"] and "make room or choose another folder" in answer["err"]


def claims(answer: dict[str, Any]) -> list[dict[str, Any]]:
    return answer["claims"]["out"]["claims"]


def test_a_word_for_which_there_is_no_room(way: tuple[str, list[str]], small: Path, tmp_path: Path) -> None:
    shutil.copytree(small, tmp_path / "kept" / "ledger")
    ids = [claim.claim_id for claim in Ledger(small).claims()]
    plan = [(room, ["confirm", ids[number], "--by", "Ilka"]) for number, room in enumerate(LEVELS_KB)]
    answers = scarce(way, tmp_path, plan)
    said = 0
    for answer, (_, arguments) in zip(answers, plan, strict=True):
        if answer["code"] == 0:
            said += 1
        else:
            assert_not_writable(answer)
        states = {claim["claim_id"]: claim["state"] for claim in claims(answer)}
        assert len(states) == len(ids) and (states[arguments[1]] == "confirmed") == (answer["code"] == 0)
        assert list(states.values()).count("confirmed") == said
    assert answers[0]["code"] == 1 and answers[-1]["code"] == 0


def test_a_document_for_which_there_is_no_room(way: tuple[str, list[str]], small: Path, tmp_path: Path) -> None:
    shutil.copytree(small, tmp_path / "kept" / "ledger")
    before = {claim.claim_id for claim in Ledger(small).claims()}
    document = MANUALS / "hollenfirth-front-derailleur.pdf"
    answers = scarce(way, tmp_path, [(room, ["read", str(document)]) for room in LEVELS_KB])
    for answer in answers:
        if answer["code"] == 1:
            assert_not_writable(answer)
            assert {claim["claim_id"] for claim in claims(answer)} == before, "nothing came, nothing went"
        else:
            assert len(claims(answer)) > len(before)
            break
        assert not [name for name in answer["left"] if "part" in name or "new" in name]
    assert answers[0]["code"] == 1 and answers[-1]["code"] == 0


def test_a_first_document_for_which_there_is_no_room(way: tuple[str, list[str]], tmp_path: Path) -> None:
    document = MANUALS / "hollenfirth-front-derailleur.pdf"
    answers = scarce(way, tmp_path, [(room, ["read", str(document)]) for room in LEVELS_KB])
    for answer in answers:
        if answer["code"] == 0:
            assert claims(answer)
            break
        assert_not_writable(answer)
        if answer["claims"]["code"] == 1:
            assert answer["claims"]["out"]["error"]["reason"] == "no_store"
            assert not [name for name in answer["left"] if name.endswith(".duckdb")], "no half store"
        else:
            assert claims(answer) == []
    assert answers[0]["code"] == 1 and answers[-1]["code"] == 0


@pytest.mark.parametrize("number", [1, 2])
def test_an_old_store_that_there_is_no_room_to_renew(
    way: tuple[str, list[str]], number: int, tmp_path: Path, old_stores: Any
) -> None:
    (tmp_path / "kept").mkdir()
    old_stores.unpack(number, tmp_path / "kept" / "ledger")
    told = json.loads((old_stores.STORES / f"format-{number}" / "told.json").read_text(encoding="utf-8"))["claims"]
    answers = scarce(way, tmp_path, [(0, ["claims"]), (256, ["claims"])])
    for answer in answers:
        if answer["code"] == 1:
            assert_not_writable(answer)
        assert claims(answer) == told


@pytest.fixture
def old_stores() -> Any:
    """The script that keeps stores of former formats."""
    import importlib.util

    spec = importlib.util.spec_from_file_location("old_stores_to_fill", ROOT / "fixtures" / "old_stores.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def run(*arguments: str) -> dict[str, Any]:
    """A command without the right to pass over who may write where."""
    call = [sys.executable, "-c", _RUN, *arguments, "--json"]
    done = subprocess.run(call, capture_output=True, text=True, timeout=120, check=False)
    out = json.loads(done.stdout) if done.stdout.startswith("{") else done.stdout
    return {"code": done.returncode, "out": out, "err": done.stderr}


@pytest.fixture
def closed(small: Path, tmp_path: Path) -> Iterator[Path]:
    """A store in a folder that nobody may write to."""
    folder = tmp_path / "ledger"
    shutil.copytree(small, folder)
    yield from close(folder)


def close(folder: Path, *but: str) -> Iterator[Path]:
    """Take the right to write from a folder and all in it, but for some names, until the test is over."""
    places = [path for path in (folder, *folder.rglob("*")) if path.name not in but]
    for path in places:
        path.chmod(path.stat().st_mode & ~0o222)
    yield folder
    for path in places:
        path.chmod(path.stat().st_mode | 0o200)


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_store_that_may_only_be_read_is_read(closed: Path, small: Path) -> None:
    before = contents(closed)
    answer = run("claims", "--store", str(closed))
    assert answer["code"] == 0, answer["err"]
    assert [c["claim_id"] for c in answer["out"]["claims"]] == [c.claim_id for c in Ledger(small).claims()]
    assert contents(closed) == before


def test_a_store_that_may_only_be_read_takes_nothing(closed: Path, small: Path, tmp_path: Path) -> None:
    before = contents(closed)
    claim = Ledger(small).claims()[0].claim_id
    assert_not_writable(run("confirm", claim, "--store", str(closed)))
    assert_not_writable(run("read", str(MANUALS / "hollenfirth-front-derailleur.pdf"), "--store", str(closed)))
    assert contents(closed) == before


def test_no_store_can_be_made_in_a_folder_that_may_only_be_read(closed: Path) -> None:
    document = str(MANUALS / "hollenfirth-front-derailleur.pdf")
    assert_not_writable(run("read", document, "--store", str(closed / "ledger")))
    assert not (closed / "ledger").exists()


@pytest.mark.parametrize("part", ["sources", "ledger.duckdb"])
def test_one_part_of_the_store_that_may_only_be_read(part: str, small: Path, tmp_path: Path) -> None:
    folder = tmp_path / "ledger"
    shutil.copytree(small, folder)
    before = contents(folder)
    (folder / part).chmod(0o555 if part == "sources" else 0o444)
    try:
        assert_not_writable(run("read", str(MANUALS / "hollenfirth-front-derailleur.pdf"), "--store", str(folder)))
        assert run("claims", "--store", str(folder))["code"] == 0
    finally:
        (folder / part).chmod(0o755)
    after = contents(folder)
    assert {name: after[name] for name in before} == before
    assert len(Ledger(folder).claims()) == len(Ledger(small).claims())


@pytest.mark.parametrize("number", [1, 2])
def test_an_old_store_that_may_only_be_read(number: int, tmp_path: Path, old_stores: Any) -> None:
    """It cannot be renewed where it stands, and is told so; it stays as it is."""
    folder = old_stores.unpack(number, tmp_path / "ledger")
    before = contents(folder)
    for _ in close(folder):
        assert_not_writable(run("claims", "--store", str(folder)))
        assert contents(folder) == before


def newer_rows(database: Path) -> None:
    with duckdb.connect(str(database)) as connection:
        connection.execute("insert into main.cogledger_schema values (99, '0099_later.sql')")


def newer_file(database: Path) -> None:
    """DuckDB's own file format by a later number, 12 bytes into the file; the first 8 are the checksum of the block."""

    def checksum(block: bytes) -> bytes:
        mixed = 5381
        for (number,) in struct.iter_unpack("<Q", block[8:]):
            mixed ^= number * 0xBF58476D1CE4E5B9 & (1 << 64) - 1
        return struct.pack("<Q", mixed)

    with database.open("r+b") as file:
        block = file.read(4096)
        assert block[8:12] == b"DUCK" and checksum(block) == block[:8], "the file is made as this test takes it to be"
        block = block[:12] + struct.pack("<Q", 9999) + block[20:]
        file.seek(0)
        file.write(checksum(block) + block[8:])


@pytest.mark.parametrize("age", [newer_rows, newer_file])
def test_a_store_of_a_newer_version(age: Any, small: Path, tmp_path: Path) -> None:
    folder = tmp_path / "ledger"
    shutil.copytree(small, folder)
    age(folder / "ledger.duckdb")
    before = contents(folder)
    document = str(MANUALS / "hollenfirth-front-derailleur.pdf")
    for arguments in (["claims"], ["limits"], ["confirm", "0123456789abcdef"], ["read", document]):
        answer = run(*arguments, "--store", str(folder))
        assert answer["code"] == 1
        assert answer["out"]["error"]["reason"] == "store_newer"
        assert len(answer["err"].strip().splitlines()) == 1 and "update cogledger" in answer["err"]
    after = contents(folder)
    assert {name: after[name] for name in before} == before
    assert set(after) - set(before) <= {".turn"}


def test_root_has_given_up_its_rights(tmp_path: Path) -> None:
    """Else every test of a read-only folder would pass for nothing."""
    (tmp_path / "closed").mkdir(mode=0o555)
    program = _RIGHTS + "give_up_rights()\nopen(sys.argv[1], 'w')"
    call = [sys.executable, "-c", program, str(tmp_path / "closed" / "x")]
    done = subprocess.run(call, capture_output=True, text=True, env=os.environ | {"LC_ALL": "C"}, check=False)
    assert "PermissionError" in done.stderr
