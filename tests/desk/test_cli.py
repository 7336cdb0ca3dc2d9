"""The command as people and programs call it: what stands where, in which shape, with which exit code."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import subprocess
import sys
import types
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest
from cogledger.desk.cli import app
from cogledger.desk.faults import run
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Claim
from cogledger.schema.errors import DocumentError
from cogledger.schema.reasons import Reason
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.register import write_reading
from typer.testing import CliRunner

FITTING = """
name = "All written out"
[now]
rear_derailleur = { largest_cog = "28-32", total_capacity = 37 }
cassette = [11, 12, 13, 14, 15, 17, 19, 21, 24, 28, 32]
rings = [50, 34]
"""
MISFIT = FITTING.replace("total_capacity = 37", "total_capacity = 33")
UNKNOWN = FITTING.replace("total_capacity = 37", "weight = 300")


def make_claim(code: str, limit: str, **fields: object) -> Claim:
    base: dict[str, object] = {"part_kind": "rear_derailleur", "maker": "Brambel", "variant": None, "unit": "T"}
    return Claim(document="zq.pdf", page=2, bbox=None, part_code=code, limit=limit, snippet="as printed",
                 method="test", confidence=0.93, **(base | fields))  # type: ignore[arg-type]  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A store with three parts and one held-back record."""
    from cogledger.schema.validation import validate_claims

    held = validate_claims([make_claim("ZQ500", "front_difference", high=-2)]).held_back
    claims = (
        make_claim("ZQ500", "total_capacity", variant="S", high=33),
        make_claim("ZQ500", "total_capacity", variant="M", high=37),
        make_claim("ZQ500", "largest_cog", low=25, high=32, condition={"ring_count": 2}),
        make_claim("CT-11", "cogs", part_kind="cassette", maker="Dünmore", values=(11, 13, 15, 17, 19, 22, 25, 28)),
    )
    source = Source(Path("zq.pdf"), "zq.pdf", hashlib.sha256(b"zq").hexdigest(), 2, SourceKind.PDF)
    with FolderStore(tmp_path / "ledger").writing() as connection:
        write_reading(connection, Reading(source, 3, claims, tuple(held), (), 0.1, "r"), ".pdf")
    return tmp_path / "ledger"


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    def made(*arguments: object) -> tuple[int, str, str]:
        code = run(app, [str(a) for a in arguments])
        out = capsys.readouterr()
        return code, out.out, out.err

    return made


Call = Callable[..., tuple[int, str, str]]


def build(tmp_path: Path, text: str, name: str = "build.toml") -> Path:
    (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path / name


def test_claims_in_every_shape_are_the_same_claims(call: Call, folder: Path, tmp_path: Path) -> None:
    code, out, err = call("claims", "--store", folder, "--jsonl")
    lines = [json.loads(line) for line in out.splitlines()]
    assert (code, err, len(lines)) == (0, "", 5)
    assert {line["state"] for line in lines} == {"read", "held_back"}
    assert all(len(line["claim_id"]) == 16 for line in lines)
    assert json.loads(call("claims", "--store", folder, "--json")[1])["claims"] == lines
    rows = list(csv.DictReader(io.StringIO(call("claims", "--store", folder, "--csv")[1])))
    assert [row["claim_id"] for row in rows] == [line["claim_id"] for line in lines]
    cassette = next(row for row in rows if row["limit"] == "cogs")
    assert (cassette["values"], cassette["maker"]) == ("11 13 15 17 19 22 25 28", "Dünmore")
    code, out, _ = call("claims", "--store", folder, "--parquet", tmp_path / "claims.parquet")
    assert (code, out) == (0, "")
    table = pl.read_parquet(tmp_path / "claims.parquet")
    assert table["claim_id"].to_list() == [line["claim_id"] for line in lines]
    assert table.filter(pl.col("limit") == "cogs")["values"].to_list() == [[11, 13, 15, 17, 19, 22, 25, 28]]


def test_claims_can_be_chosen(call: Call, folder: Path) -> None:
    def ids(*options: str) -> int:
        return len(call("claims", *options, "--store", folder, "--jsonl")[1].splitlines())

    assert [ids("zq5"), ids("zq5", "--limit", "largest_cog"), ids("--state", "held_back"), ids("--kind", "cassette"),
            ids("--document", "zq.pdf"), ids("nothing")] == [4, 1, 1, 1, 5, 0]  # fmt: skip


def test_the_limits_table_for_programs(call: Call, folder: Path, tmp_path: Path) -> None:
    parts = json.loads(call("limits", "--store", folder, "--json")[1])["parts"]
    assert [(p["part_code"], p["variant"]) for p in parts] == [("CT-11", None), ("ZQ500", "M"), ("ZQ500", "S")]
    (capacity,) = parts[1]["limits"]["total_capacity"]
    assert (capacity["high"], capacity["unit"], capacity["confidence"]) == (37, "T", 0.93)
    assert capacity["sources"][0]["document"] == "zq.pdf"
    assert parts[1]["limits"]["largest_cog"][0]["condition"] == {"ring_count": 2}
    rows = list(csv.DictReader(io.StringIO(call("limits", "--store", folder, "--csv")[1])))
    assert [(r["part_code"], r["variant"], r["total_capacity"], r["total_capacity_source"]) for r in rows] == [
        ("CT-11", "", "", ""), ("ZQ500", "M", "37", "zq.pdf p.2"), ("ZQ500", "S", "33", "zq.pdf p.2"),
    ]  # fmt: skip
    assert rows[1]["largest_cog"] == "25-32 if ring_count=2"
    assert call("limits", "--store", folder, "--parquet", tmp_path / "limits.parquet")[0] == 0
    table = pl.read_parquet(tmp_path / "limits.parquet")
    assert table["total_capacity_confidence"].to_list() == [None, 0.93, 0.93]


def test_the_limits_table_for_people(call: Call, folder: Path) -> None:
    code, out, err = call("limits", "zq", "--store", folder)
    assert (code, err) == (0, "")
    assert "\x1b" not in out
    for words in ("REAR DERAILLEUR", "ZQ500 M (Brambel)", "at most 37 T", "25 to 32 T", "93%", "zq.pdf p.2"):
        assert words in out
    assert all(len(line) <= 100 for line in out.splitlines())
    assert "CT-11" not in out


def test_a_slip_in_a_code_is_answered_with_what_was_meant(call: Call, folder: Path) -> None:
    code, out, err = call("limits", "ZQ5O0", "--store", folder)
    assert (code, "ZQ500 M (Brambel)" in out) == (0, True)
    assert err == "nothing is called ZQ5O0; shown for ZQ500\n"
    answer = json.loads(call("limits", "ZQ5O0", "--store", folder, "--json")[1])
    assert [part["variant"] for part in answer["parts"]] == ["M", "S"]
    assert (answer["corrected"], answer["did_you_mean"]) == ({"ZQ5O0": ["ZQ500"]}, [])
    code, out, err = call("limits", "ZQ500 XL", "--store", folder)
    assert (code, out) == (0, "")
    assert "did you mean ZQ500 M, ZQ500 S" in err


def test_a_persons_word_from_the_command_line(call: Call, folder: Path) -> None:
    claims = [json.loads(line) for line in call("claims", "--store", folder, "--jsonl")[1].splitlines()]
    small = next(c for c in claims if c["variant"] == "S")["claim_id"]
    code, out, _ = call("correct", small, "--high", 35, "--by", "Ada", "--note", "seen", "--store", folder, "--json")
    told = json.loads(out)
    assert (code, told["state"], told["high"], told["read_as"]["high"]) == (0, "corrected", 35, 33)
    code, out, _ = call("confirm", small, "--store", folder)
    assert (code, "corrected: ZQ500 S: total capacity at most 35 T" in out) == (0, True)
    assert json.loads(call("reject", small, "--store", folder, "--json")[1])["state"] == "rejected"
    cassette = next(c for c in claims if c["limit"] == "cogs")["claim_id"]
    code, out, _ = call("correct", cassette, "--values", "11,13 15", "--store", folder, "--json")
    assert (code, json.loads(out)["values"]) == (0, [11, 13, 15])
    assert call("correct", cassette, "--values", "many", "--store", folder)[0] == 2
    assert call("correct", cassette, "--store", folder)[0] == 2


@pytest.mark.parametrize(
    ("text", "code", "verdict", "words"),
    [(FITTING, 0, "fits", "it fits"), (MISFIT, 3, "does_not_fit", "does not fit"),
     (UNKNOWN, 3, "cannot_tell", "cannot be told")],
)  # fmt: skip
def test_fit_tells_the_verdict_by_exit_code_words_and_json(
    call: Call, tmp_path: Path, text: str, code: int, verdict: str, words: str
) -> None:
    file = build(tmp_path, text)
    told, out, _ = call("fit", file, "--store", tmp_path / "none")
    assert told == code
    assert words in out.splitlines()[0]
    assert "\x1b" not in out
    told, out, _ = call("fit", file, "--store", tmp_path / "none", "--json")
    assert (told, json.loads(out)["verdict"]) == (code, verdict)
    assert not (tmp_path / "none").exists()


def test_fit_for_people_shows_working_source_margin_and_consequence(call: Call, folder: Path, tmp_path: Path) -> None:
    text = FITTING.replace('{ largest_cog = "28-32", total_capacity = 37 }', '"ZQ500 S"')
    code, out, _ = call("fit", build(tmp_path, text), "--store", folder)
    flat = " ".join(out.split())
    assert code == 3
    assert "(50 - 34) + (32 - 11) = 37" in flat
    assert out.index("does not fit  total capacity") < out.index("fits          largest cog")
    assert "cogledger evidence " in flat
    for words in ("margin -4 T", "source: zq.pdf p.2", "as printed", "sure: 93%", "ZQ500 S"):
        assert words in flat


def test_several_builds_answer_in_order_and_one_bad_one_never_ends_the_batch(call: Call, tmp_path: Path) -> None:
    files = [build(tmp_path, FITTING, "a.toml"), build(tmp_path, "[now", "b.toml"), build(tmp_path, MISFIT, "c.toml")]
    code, out, err = call("fit", *files, "--jsonl")
    lines = [json.loads(line) for line in out.splitlines()]
    assert [line.get("verdict", "error") for line in lines] == ["fits", "error", "does_not_fit"]
    assert (code, lines[1]["error"]["reason"], "b.toml" in err) == (2, "bad_build", True)
    assert call("fit", files[0], files[2], "--jsonl")[0] == 3
    assert call("fit", files[0], files[0], "--jsonl")[0] == 0
    assert len(json.loads(call("fit", *files, "--json")[1])["answers"]) == 3
    batch = tmp_path / "batch.jsonl"
    batch.write_text('{"name": "x"\n' + json.dumps({"name": "y", "now": {"rings": [50, 34]}}) + "\n")
    code, out, _ = call("fit", "--batch", batch, "--jsonl")
    assert (code, len(out.splitlines())) == (2, 2)


def error_of(out: str) -> dict[str, str]:
    (key,) = json.loads(out)
    assert key == "error"
    error = json.loads(out)["error"]
    assert set(error) == {"reason", "message", "file", "where", "advice"}
    assert error["message"]
    assert error["advice"]
    return error


@pytest.mark.parametrize(
    ("arguments", "code", "reason"),
    [
        (["bogus"], 2, "bad_call"),
        (["read"], 2, "bad_call"),
        (["read", "x", "--workers", "0"], 2, "bad_call"),
        (["limits", "--nonsense"], 2, "bad_call"),
        (["limits", "--csv"], 2, "bad_call"),
        (["limits", "--kind", "sprocket"], 2, "bad_call"),
        (["claims", "--state", "odd"], 2, "bad_call"),
        (["claims"], 1, "no_store"),
        (["limits"], 1, "no_store"),
        (["evidence", "abc", "--out", "x.png"], 1, "no_store"),
        (["evidence", "abc", "--out", "x.pdf"], 2, "bad_call"),
        (["fit"], 2, "bad_call"),
        (["fit", "none.toml"], 2, "not_found"),
        (["fit", "--batch", "none.jsonl"], 2, "not_found"),
        (["stamp"], 2, "bad_call"),
    ],
)
def test_every_error_has_one_shape_and_one_sentence(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], code: int, reason: str
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("COGLEDGER_STORE", raising=False)
    told, out, err = call(*arguments, "--json")
    assert (told, error_of(out)["reason"]) == (code, reason)
    assert err.strip().endswith(".")
    assert len(err.strip().splitlines()) == 1
    told, out, plain_err = call(*arguments)
    assert (told, out) == (code, "") or arguments == ["limits", "--csv"]
    assert "Traceback" not in plain_err


def test_an_unknown_claim_names_the_nearest(call: Call, folder: Path) -> None:
    code, out, err = call("confirm", "0" * 16, "--store", folder, "--json")
    assert (code, error_of(out)["reason"]) == (2, "unknown_claim")
    assert "cogledger claims" in err


def test_a_fault_of_cogledger_itself_is_one_sentence(call: Call, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError("the wheel came off")

    monkeypatch.setattr("cogledger.warehouse.Ledger.claims", fail)
    code, out, err = call("claims", "--store", folder, "--json")
    assert (code, "the wheel came off" in error_of(out)["message"], "Traceback" in err) == (1, True, False)
    assert "Traceback" in call("--verbose", "claims", "--store", folder)[2]


def test_help_and_version_through_typers_runner() -> None:
    runner = CliRunner()
    assert runner.invoke(app, ["--version"]).stdout.startswith("cogledger ")
    for command in ("read", "limits", "claims", "evidence", "confirm", "correct", "reject", "stamp", "fit", "demo"):
        result = runner.invoke(app, [command, "--help"])
        assert result.exit_code == 0
        assert "--store" in result.stdout or command == "demo"
    assert runner.invoke(app, ["fit", "--store"]).exit_code == 2


def fake_pipeline(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put a reader in place of the real one: one claim a file, none from a file that says so."""

    def read_source(source: Source, on_page: object = None) -> Reading:
        if b"locked" in source.path.read_bytes():
            raise DocumentError(Reason.LOCKED_PDF, "the PDF is locked", file=source.name)
        claim = make_claim("ZQ900", "total_capacity", high=41)
        return Reading(source, 1, (claim,), reader="fake")

    module = types.ModuleType("cogledger.extract.pipeline")
    module.read_source, module.READER_VERSION = read_source, "fake"  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "cogledger.extract.pipeline", module)


def test_read_sums_up_and_names_what_it_could_not_use(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fake_pipeline(monkeypatch)
    manuals = tmp_path / "manuals"
    manuals.mkdir()
    (manuals / "good.pdf").write_bytes(b"%PDF-1.7 good")
    arguments = ("read", manuals, "--store", tmp_path / "ledger")
    code, out, err = call(*arguments)
    assert (code, err) == (0, "")
    assert "1 file: 1 read, 0 unchanged, 0 not usable" in out
    (manuals / "bad.pdf").write_bytes(b"%PDF-1.7 locked")
    (manuals / "text.pdf").write_text("hello")
    code, out, err = call(*arguments, "--json")
    report = json.loads(out)
    assert (code, report["files"], report["read"], report["unchanged"]) == (1, 3, 0, 1)
    assert {f["reason"] for f in report["failures"]} == {"locked_pdf", "wrong_type"}
    assert "bad.pdf" in err
    assert "text.pdf" in err
    assert call("limits", "ZQ900", "--store", tmp_path / "ledger", "--json")[0] == 0


COMMAND = [sys.executable, "-c", "from cogledger.desk.cli import main; main()"]


def test_the_command_as_a_process_on_a_dumb_terminal(folder: Path) -> None:
    environment = os.environ | {"TERM": "dumb", "COGLEDGER_STORE": str(folder), "COLUMNS": "30", "PYTHONUTF8": "1"}
    done = subprocess.run([*COMMAND, "limits"], env=environment, capture_output=True, text=True, encoding="utf-8")
    assert (done.returncode, done.stderr) == (0, "")
    assert "\x1b" not in done.stdout
    for word in ("ZQ500", "CT-11", "11, 13, 15, 17, 19, 22, 25, 28 T", "zq.pdf p.2"):
        assert word in " ".join(done.stdout.split())
    missing = environment | {"COGLEDGER_STORE": str(folder / "none")}
    done = subprocess.run([*COMMAND, "claims", "--json"], env=missing, capture_output=True, text=True)
    assert (done.returncode, error_of(done.stdout)["reason"]) == (1, "no_store")


def test_output_that_nobody_reads_to_the_end_is_no_fault(folder: Path) -> None:
    command = [*COMMAND, "claims", "--jsonl", "--store", str(folder)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdout
    assert process.stderr
    process.stdout.close()
    assert (process.wait(), process.stderr.read()) == (0, b"")
    process.stderr.close()


def test_a_terminal_without_unicode_still_gets_every_number(folder: Path) -> None:
    environment = os.environ | {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    for shape in ([], ["--json"], ["--csv"]):
        command = [*COMMAND, "limits", "--store", str(folder), *shape]
        done = subprocess.run(command, env=environment, capture_output=True)
        assert done.returncode == 0, done.stderr
        assert b"37" in done.stdout
