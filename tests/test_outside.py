"""What other programs rely on: exported names, no outside exception, one shape for every error."""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cogledger.desk.cli import app
from cogledger.desk.faults import run
from cogledger.schema.errors import CogledgerError
from cogledger.schema.reasons import Reason
from cogledger.warehouse import ClaimFilter, Correction, Ledger

ROOT = Path(__file__).resolve().parent.parent
SHAPE = {"reason", "message", "file", "where", "advice"}


def exporting_modules() -> list[str]:
    found = []
    for layer in ("schema", "extract", "warehouse", "desk"):
        for path in sorted((ROOT / layer).rglob("*.py")):
            if "__all__ =" in path.read_text(encoding="utf-8"):
                parts = path.relative_to(ROOT).with_suffix("").parts
                found.append(".".join(["cogledger", *(part for part in parts if part != "__init__")]))
    return found


def in_order(name: str) -> tuple[int, str]:
    """Constants, then classes, then functions, each by the alphabet."""
    return (0 if name.isupper() else 1 if name[0].isupper() else 2, name)


@pytest.mark.parametrize("module", exporting_modules())
def test_exported_names_are_sorted_and_there(module: str) -> None:
    exported = importlib.import_module(module).__all__
    assert exported == sorted(set(exported), key=in_order)
    assert all(hasattr(importlib.import_module(module), name) for name in exported)


def test_the_way_in_is_exported() -> None:
    assert "cogledger.warehouse" in exporting_modules()
    assert {"Ledger", "ClaimFilter", "Correction"} <= set(importlib.import_module("cogledger.warehouse").__all__)


@pytest.fixture
def world(tmp_path: Path) -> Path:
    """A folder of things that cannot be used."""
    (tmp_path / "empty.pdf").touch()
    (tmp_path / "text.pdf").write_text("this is no PDF", encoding="utf-8")
    (tmp_path / "cut.pdf").write_bytes(b"%PDF-1.7\n1 0 obj\n<< /Type")
    (tmp_path / "cut.png").write_bytes(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR")
    (tmp_path / "binary.toml").write_bytes(bytes(range(256)))
    (tmp_path / "half.toml").write_text("name = [", encoding="utf-8")
    (tmp_path / "strange.toml").write_text("[now]\ncassette = -3\nwings = 2\n", encoding="utf-8")
    (tmp_path / "dates.toml").write_text("name = 1979-05-27\nnow = 3\n", encoding="utf-8")
    (tmp_path / "file").write_text("a file where a store should be", encoding="utf-8")
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "ledger.duckdb").write_bytes(b"no database" * 1000)
    return tmp_path


CALLS: dict[str, Callable[[Path], Any]] = {
    "read a missing file": lambda w: Ledger(w / "s").read([w / "missing.pdf"]),
    "read an empty file": lambda w: Ledger(w / "s").read([w / "empty.pdf"]),
    "read text named pdf": lambda w: Ledger(w / "s").read([w / "text.pdf"]),
    "read a cut PDF": lambda w: Ledger(w / "s").read([w / "cut.pdf"], workers=1),
    "read a cut picture": lambda w: Ledger(w / "s").read([w / "cut.png"], workers=1),
    "read into a file": lambda w: Ledger(w / "file").read([ROOT / "fixtures" / "documents" / "pairs-2-005.pdf"]),
    "read into a broken store": lambda w: Ledger(w / "broken").read([w / "cut.pdf"]),
    "limits without a store": lambda w: Ledger(w / "s").limits(["x"]),
    "limits of a broken store": lambda w: Ledger(w / "broken").limits(),
    "limits of an unknown kind": lambda w: Ledger(w / "s").limits(kind="wing"),
    "limits by an unknown key": lambda w: Ledger(w / "s").limits(limit="colour"),
    "claims in an unknown state": lambda w: Ledger(w / "s").claims(chosen=ClaimFilter(state="lost")),
    "claims of a broken store": lambda w: Ledger(w / "broken").claims(),
    "evidence without a store": lambda w: Ledger(w / "s").evidence("abc", w / "out.png"),
    "evidence as a text file": lambda w: Ledger(w / "s").evidence("abc", w / "out.txt"),
    "confirm nothing": lambda w: Ledger(w / "s").confirm(""),
    "correct with nothing": lambda w: Ledger(w / "s").correct("abc", Correction()),
    "correct with nonsense": lambda w: Ledger(w / "s").correct("abc", Correction(high=float("nan"))),
    "reject what is unknown": lambda w: Ledger(w / "broken").reject("abc"),
    "stamp a missing photo": lambda w: Ledger(w / "s").stamp([w / "missing.jpg"]),
    "stamp a PDF": lambda w: Ledger(w / "s").stamp([w / "cut.pdf"]),
    "stamp a cut picture": lambda w: Ledger(w / "s").stamp([w / "cut.png"]),
    "stamp a folder": lambda w: Ledger(w / "s").stamp([w]),
    "fit a missing build": lambda w: Ledger(w / "s").fit(w / "missing.toml"),
    "fit a folder": lambda w: Ledger(w / "s").fit(w),
    "fit bytes": lambda w: Ledger(w / "s").fit(w / "binary.toml"),
    "fit half a build": lambda w: Ledger(w / "s").fit(w / "half.toml"),
    "fit strange keys": lambda w: Ledger(w / "s").fit(w / "strange.toml"),
    "fit dates": lambda w: Ledger(w / "s").fit(w / "dates.toml"),
    "fit an empty mapping": lambda w: Ledger(w / "s").fit({}),
    "fit keys that are no words": lambda w: Ledger(w / "s").fit({1: 2, None: {}}),  # pyright: ignore
    "fit a code without a store": lambda w: Ledger(w / "s").fit({"now": {"rear_derailleur": "ZQ500"}}),
    "fit a code in a broken store": lambda w: Ledger(w / "broken").fit({"now": {"rear_derailleur": "ZQ500"}}),
    "parts of a broken store": lambda w: Ledger(w / "broken").parts("ZQ500"),
}


@pytest.mark.parametrize("call", CALLS.values(), ids=CALLS)
def test_no_outside_exception_escapes_a_call(call: Callable[[Path], Any], world: Path) -> None:
    """Either an answer that names its failures, or an error of ours with a reason and what to do."""
    try:
        answer = call(world)
    except CogledgerError as error:
        assert error.fault.reason in Reason
        assert str(error).endswith(".") and len(str(error).splitlines()) == 1
        assert "Traceback" not in str(error)
    else:
        failures = getattr(answer, "failures", None)
        checks = getattr(answer, "checks", None)
        assert failures or checks is not None or answer in ((), []), "neither refused nor said to have failed"


FAILING = {
    "no such command": ["fly", "--json"],
    "no such option": ["limits", "--json", "--wings"],
    "read without a path": ["read", "--json"],
    "read with no workers": ["read", "{w}", "--workers", "0", "--json"],
    "limits without a store": ["limits", "--store", "{w}/s", "--json"],
    "limits of a broken store": ["limits", "--store", "{w}/broken", "--json"],
    "limits of an unknown kind": ["limits", "--store", "{w}/s", "--kind", "wing", "--json"],
    "limits in two shapes": ["limits", "--store", "{w}/s", "--json", "--csv"],
    "claims in an unknown state": ["claims", "--store", "{w}/s", "--state", "lost", "--json"],
    "claims without a store": ["claims", "--store", "{w}/s", "--jsonl"],
    "evidence without an out": ["evidence", "abc", "--json"],
    "evidence without a store": ["evidence", "abc", "--out", "{w}/a.png", "--store", "{w}/s", "--json"],
    "confirm without a store": ["confirm", "abc", "--store", "{w}/s", "--json"],
    "correct with no value": ["correct", "abc", "--store", "{w}/s", "--json"],
    "correct with words": ["correct", "abc", "--high", "many", "--json"],
    "reject in a broken store": ["reject", "abc", "--store", "{w}/broken", "--json"],
    "stamp without a photo": ["stamp", "--json"],
    "fit without a build": ["fit", "--json"],
    "fit half a build": ["fit", "{w}/half.toml", "--json"],
    "fit strange keys": ["fit", "{w}/strange.toml", "--json"],
    "fit a missing build": ["fit", "{w}/missing.toml", "--jsonl"],
    "fit a missing batch": ["fit", "--batch", "{w}/missing.jsonl", "--jsonl"],
    "fit a batch of bytes": ["fit", "--batch", "{w}/binary.toml", "--jsonl"],
}


@pytest.mark.parametrize("words", FAILING.values(), ids=FAILING)
def test_every_failure_has_one_shape(words: list[str], world: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = run(app, [word.format(w=world) for word in words])
    said = capsys.readouterr()
    assert code in (1, 2)
    answer = json.loads(said.out)
    assert set(answer) == {"error"} and set(answer["error"]) == SHAPE
    error = answer["error"]
    assert error["reason"] in {str(reason) for reason in Reason}
    assert error["message"] and error["advice"]
    assert all(value is None or isinstance(value, str) for value in error.values())
    assert len(said.err.strip().splitlines()) == 1 and error["message"] in said.err


def test_a_call_that_is_wrong_ends_with_2_and_a_missing_store_with_1(world: Path) -> None:
    assert run(app, ["fly", "--json"]) == 2
    assert run(app, ["fit", str(world / "half.toml"), "--json"]) == 2
    assert run(app, ["limits", "--store", str(world / "s"), "--json"]) == 1
