"""The Ledger: short, documented, and each answer without a store where none is needed."""

from __future__ import annotations

import ast
import doctest
import inspect
from collections.abc import Callable
from pathlib import Path

import cogledger.warehouse as warehouse
import pytest
from cogledger.schema.answers import Verdict
from cogledger.schema.claims import Claim
from cogledger.schema.errors import CallError, CogledgerError, StoreError
from cogledger.schema.reasons import Reason
from cogledger.warehouse import ClaimFilter, Correction, Ledger, lookup, wording
from cogledger.warehouse import ledger as ledger_module
from cogledger.warehouse.asking import read_batch
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.photos import read_codes

MakeClaim = Callable[..., Claim]
Keep = Callable[..., str]

WRITTEN_OUT = {
    "name": "all written out",
    "now": {
        "rear_derailleur": {"largest_cog": "28-32", "total_capacity": 37},
        "cassette": [11, 12, 13, 14, 15, 17, 19, 21, 24, 28, 32],
        "rings": [50, 34],
    },
}


def test_every_method_is_a_docstring_and_one_call() -> None:
    (ledger_class,) = [n for n in ast.parse(inspect.getsource(ledger_module)).body if isinstance(n, ast.ClassDef)]
    methods = [n for n in ledger_class.body if isinstance(n, ast.FunctionDef)]
    assert len(methods) >= 13
    for method in methods:
        assert len(method.body) <= 2, f"{method.name} does more than one thing"
        if method.name != "__init__":
            assert ast.get_docstring(method), f"{method.name} says nothing"
        for statement in method.body:
            assert not isinstance(statement, (ast.If, ast.For, ast.While, ast.Try, ast.With)), method.name


def test_what_is_exported_is_sorted_and_there() -> None:
    assert list(warehouse.__all__) == sorted(warehouse.__all__)
    assert all(hasattr(warehouse, name) for name in warehouse.__all__)


@pytest.mark.parametrize("module", [ledger_module, lookup, wording])
def test_the_examples_in_docstrings_hold(module: object) -> None:
    import types

    assert isinstance(module, types.ModuleType)
    result = doctest.testmod(module)
    assert (result.failed, result.attempted > 0) == (0, True)


def test_the_way_from_claims_to_a_verdict(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    # (50 - 34) + (32 - 11) = 37 T, by the definition of total capacity: exactly at the limit fits, one less does not.
    keep(
        claim(variant="S", high=33), claim(variant="M", high=37), claim(limit="largest_cog", low=25, high=32),
    )  # fmt: skip
    ledger = Ledger(store.folder)
    build = WRITTEN_OUT | {"now": WRITTEN_OUT["now"] | {"rear_derailleur": "ZQ500 M"}}  # type: ignore[operator]
    assert ledger.fit(build).verdict is Verdict.FITS
    build["now"]["rear_derailleur"] = "ZQ500 S"
    assert ledger.fit(build).verdict is Verdict.DOES_NOT_FIT
    build["now"]["rear_derailleur"] = "ZQ500"
    assert ledger.fit(build).verdict is Verdict.CANNOT_TELL
    (short,) = [c for c in ledger.claims(["zq500"], ClaimFilter(limit="total_capacity")) if c.record["variant"] == "S"]
    ledger.correct(short.claim_id, Correction(high=39), by="Ada")
    assert ledger.fit(build).verdict is Verdict.FITS
    ledger.reject(short.claim_id)
    build["now"]["rear_derailleur"] = "ZQ500 S"
    with pytest.raises(CallError, match="ZQ500 M"):
        ledger.fit(build)


def test_a_build_that_is_written_out_needs_no_store(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "none")
    assert ledger.fit(WRITTEN_OUT).verdict is Verdict.FITS
    with pytest.raises(StoreError) as caught:
        ledger.fit({"name": "x", "now": WRITTEN_OUT["now"] | {"rear_derailleur": "ZQ500"}})  # type: ignore[operator]
    assert caught.value.fault.reason is Reason.NO_STORE
    assert not (tmp_path / "none").exists()


def test_an_unknown_code_offers_the_nearest(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37))
    with pytest.raises(CallError) as caught:
        Ledger(store.folder).fit({"name": "x", "now": WRITTEN_OUT["now"] | {"rear_derailleur": "ZQ5OO"}})  # type: ignore[operator]
    assert caught.value.fault.reason is Reason.UNKNOWN_CODE
    assert "ZQ500" in str(caught.value)


def test_one_bad_build_never_ends_a_batch(tmp_path: Path) -> None:
    import json

    import polars as pl

    batch = tmp_path / "many.jsonl"
    good = json.dumps(WRITTEN_OUT)
    batch.write_text("\n".join([good, "{not json", "[]", '{"nonsense": 1}', good]))
    outcomes = list(Ledger(tmp_path).fit_many(read_batch(batch)))
    assert [isinstance(o, CogledgerError) for o in outcomes] == [False, True, True, True, False]
    assert all("line" in str(o) for o in outcomes if isinstance(o, CogledgerError))
    table = tmp_path / "many.parquet"
    pl.DataFrame([WRITTEN_OUT, WRITTEN_OUT]).write_parquet(table)
    assert [o.verdict for o in Ledger(tmp_path).fit_many(read_batch(table)) if not isinstance(o, CogledgerError)] == [
        Verdict.FITS, Verdict.FITS,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("content", "reason"),
    [(None, Reason.NOT_FOUND), (b"PAR1 no more", Reason.WRONG_TYPE), (b"\xff\xfe\x00", Reason.WRONG_TYPE)],
)
def test_a_batch_that_is_none(tmp_path: Path, content: bytes | None, reason: Reason) -> None:
    batch = tmp_path / "batch"
    if content is not None:
        batch.write_bytes(content)
    with pytest.raises(CallError) as caught:
        read_batch(batch)
    assert caught.value.fault.reason is reason


def test_a_list_of_codes(tmp_path: Path) -> None:
    file = tmp_path / "codes.txt"
    file.write_text("\ufeffZQ500\n\n# comment\n  KW 12 \n", encoding="utf-8")
    assert read_codes(file) == ("ZQ500", "KW 12")
    file.write_bytes(b"\xff\xfe\x00")
    for path in (file, tmp_path / "none"):
        with pytest.raises(CallError):
            read_codes(path)


def test_filters_must_be_words_of_the_vocabulary(store: FolderStore) -> None:
    ledger = Ledger(store.folder)
    for call in (
        lambda: ledger.limits(kind="sprocket"), lambda: ledger.limits(limit="size"),
        lambda: ledger.claims(chosen=ClaimFilter(state="odd")),
    ):  # fmt: skip
        with pytest.raises(CallError, match="choose one of"):
            call()
