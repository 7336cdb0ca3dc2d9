"""Builds that name parts by photos: the photo is a source, its doubt is the answer's doubt, and nothing is guessed."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cogledger.desk.cli import app
from cogledger.desk.faults import run
from cogledger.extract.records import StampCandidate, StampReading
from cogledger.schema.answers import FitAnswer, Verdict
from cogledger.schema.claims import Claim
from cogledger.schema.errors import CallError, DocumentError
from cogledger.schema.reasons import Reason
from cogledger.warehouse import Ledger
from cogledger.warehouse.folder_store import FolderStore

Keep, MakeClaim, Photo = Callable[..., str], Callable[..., Claim], Callable[..., Path]
NOW = {"cassette": [11, 13, 15, 17, 19, 21, 23, 25, 28, 30, 32], "rings": [50, 34]}


@pytest.fixture
def ledger(store: FolderStore, keep: Keep, claim: MakeClaim, stamps: Any) -> Ledger:
    """A derailleur in two cages, of which the short one takes neither 32 cogs nor 37 teeth."""
    keep(
        claim(variant="M", high=37, confidence=0.99), claim(variant="S", high=33, confidence=0.99),
        claim(variant="M", limit="largest_cog", low=25, high=32, confidence=0.99),
        claim(variant="S", limit="largest_cog", low=24, high=28, confidence=0.99),
        claim("CC11", "cogs", values=(11, 13, 15, 17, 19, 21, 23, 25, 28, 30, 32), part_kind="cassette"),
        claim("KC50", "rings", values=(50, 34), part_kind="crankset"),
    )  # fmt: skip
    return Ledger(store.folder)


def fit(ledger: Ledger, photo: Path, slot: str = "rear_derailleur", **now: Any) -> FitAnswer:
    return ledger.fit({"name": "x", "now": NOW | {slot: f"photo:{photo}"} | now})


def says(code: str | None, confidence: float = 0.97, variant: str | None = None, **fields: Any) -> StampReading:
    candidates = (StampCandidate(code, variant, confidence, True),) if code else ()
    return replace(StampReading("", code, variant, (), confidence if code else 0.0, candidates), **fields)


def refused(call: Callable[[], object]) -> tuple[Reason, str]:
    with pytest.raises(DocumentError) as caught:
        call()
    return caught.value.fault.reason, str(caught.value)


def test_the_photo_is_a_source_and_no_check_is_surer_than_it(ledger: Ledger, photo: Photo, stamps: Any) -> None:
    stamps.says["rear.png"] = says("ZQ500", 0.93, "M")
    answer = fit(ledger, photo("rear.png"))
    assert answer.verdict is Verdict.FITS
    for check in answer.checks:
        if check.check in ("largest_cog", "total_capacity"):
            assert check.confidence == pytest.approx(0.93)
            (seen,) = [source for source in check.sources if source.photo]
            assert (seen.document, seen.claim_id, seen.confidence) == ("rear.png", None, 0.93)
            assert check.sources[0].claim_id, "the document comes first"
            told = seen.as_json()
            assert (told["confidence"], told["snippet"]) == (0.93, "stamped: ZQ500 M")
            assert told["reading_id"] == ledger.photos()[0].reading_id
    assert any("rear.png" in note and "93%" in note and "compare" in note for note in answer.notes)
    assert not any("count the teeth" in note for note in answer.notes)


def test_a_document_less_sure_than_the_photo_stays_so(
    store: FolderStore, keep: Keep, claim: MakeClaim, photo: Photo, stamps: Any
) -> None:
    keep(claim(high=37, confidence=0.8), claim(limit="largest_cog", high=32, confidence=0.99))
    stamps.says["rear.png"] = says("ZQ500", 0.95)
    answer = fit(Ledger(store.folder), photo("rear.png"))
    sure = {check.check: check.confidence for check in answer.checks}
    assert (sure["total_capacity"], sure["largest_cog"]) == (pytest.approx(0.8), pytest.approx(0.95))


def test_an_unsure_photo_is_never_guessed_at(ledger: Ledger, photo: Photo, stamps: Any) -> None:
    reason, sentence = refused(lambda: fit(ledger, photo("vague.png")))
    assert reason is Reason.UNSURE_STAMP
    assert "vague.png, now.rear_derailleur" in sentence
    assert "ZQ500 M (60%) or ZQ508 (2%)" in sentence and "write its code into the build" in sentence
    stamps.says["edge.png"] = says("ZQ500", 0.899, "M")
    assert refused(lambda: fit(ledger, photo("edge.png")))[0] is Reason.UNSURE_STAMP
    reason, sentence = refused(lambda: fit(ledger, photo("dark.png")))
    assert reason is Reason.UNSURE_STAMP and "more light" in sentence
    assert refused(lambda: fit(ledger, photo("broken.png")))[0] is Reason.BROKEN_IMAGE
    reason, sentence = refused(lambda: fit(ledger, Path("gone.png")))
    assert reason is Reason.NOT_FOUND and "gone.png, now.rear_derailleur: there is no such file" in sentence


def test_a_sure_code_whose_variant_is_unsure_leaves_the_variant_open(ledger: Ledger, photo: Photo, stamps: Any) -> None:
    kin = (StampCandidate("ZQ500", "M", 0.6, True), StampCandidate("ZQ500", "S", 0.37, True))
    stamps.says["rear.png"] = StampReading("", "ZQ500", "M", (), 0.6, kin)
    answer = fit(ledger, photo("rear.png"))
    assert answer.verdict is Verdict.CANNOT_TELL
    assert {v.parts["rear_derailleur"]: v.verdict for v in answer.variants} == {
        "ZQ500 M": Verdict.FITS, "ZQ500 S": Verdict.DOES_NOT_FIT,
    }  # fmt: skip


def test_a_code_that_no_document_covers_is_named_as_read_from_the_photo(
    ledger: Ledger, photo: Photo, stamps: Any
) -> None:
    stamps.says["rear.png"] = says("ZQ900")
    with pytest.raises(CallError, match=r"rear\.png") as caught:
        fit(ledger, photo("rear.png"))
    assert caught.value.fault.reason is Reason.UNKNOWN_CODE and "ZQ500" in str(caught.value)


def test_a_photo_of_another_kind_of_part_is_refused(ledger: Ledger, photo: Photo, stamps: Any) -> None:
    stamps.says["rear.png"] = says("CC11")
    with pytest.raises(CallError, match="CC11 is a cassette, not a rear derailleur"):
        fit(ledger, photo("rear.png"))


def test_stamped_teeth_name_the_ends_of_a_cassette(ledger: Ledger, photo: Photo, stamps: Any) -> None:
    stamps.says["cogs.png"] = says(None, teeth=(11, 32), teeth_confidence=0.96)
    answer = fit(ledger, photo("cogs.png"), "cassette", rear_derailleur="ZQ500 M")
    checks = {check.check: check for check in answer.checks}
    assert checks["largest_cog"].needed == 32 and checks["total_capacity"].needed == (50 - 34) + (32 - 11)
    assert checks["largest_cog"].confidence == pytest.approx(0.96)
    assert any(source.document == "cogs.png" and source.photo for source in checks["largest_cog"].sources)
    assert any("11-32 T" in note and "count the teeth" in note for note in answer.notes)
    stamps.says["more.png"] = says(None, teeth=(11, 34), teeth_confidence=0.96)
    assert fit(ledger, photo("more.png"), "cassette", rear_derailleur="ZQ500 M").verdict is Verdict.DOES_NOT_FIT


@pytest.mark.parametrize("slot", ["rings", "crankset"])
def test_stamped_teeth_name_the_rings_of_a_double(ledger: Ledger, photo: Photo, stamps: Any, slot: str) -> None:
    stamps.says["rings.png"] = says(None, teeth=(50, 34), teeth_confidence=0.96)
    build = {"cassette": NOW["cassette"], "rear_derailleur": "ZQ500 M", slot: f"photo:{photo('rings.png')}"}
    answer = ledger.fit({"now": build})
    capacity = next(check for check in answer.checks if check.check == "total_capacity")
    assert (capacity.needed, capacity.verdict) == (37, Verdict.FITS)


@pytest.mark.parametrize(
    ("slot", "teeth", "sure", "words"),
    [
        ("rings", (34,), 0.99, "one of a set"),
        ("cassette", (32,), 0.99, "one of a set"),
        ("rings", (11, 32), 0.99, "no notation of rings"),
        ("cassette", (50, 34), 0.99, "no notation of cogs"),
        ("cassette", (11, 32), 0.85, "no model code"),
        ("cassette", (11, 32), None, "no model code"),
        ("rear_derailleur", (11, 32), 0.99, "no model code"),
    ],
)
def test_teeth_that_name_nothing(
    ledger: Ledger, photo: Photo, stamps: Any, slot: str, teeth: tuple[int, ...], sure: float | None, words: str
) -> None:
    stamps.says["x.png"] = says(None, teeth=teeth, teeth_confidence=sure)
    reason, sentence = refused(lambda: fit(ledger, photo("x.png"), slot))
    assert reason is Reason.UNSURE_STAMP and words in sentence


def test_a_known_code_comes_before_teeth_and_must_go_with_them(ledger: Ledger, photo: Photo, stamps: Any) -> None:
    stamps.says["c.png"] = says("CC11", 0.97, teeth=(11, 32), teeth_confidence=0.99)
    answer = fit(ledger, photo("c.png"), "cassette", rear_derailleur="ZQ500 M")
    assert answer.variants[0].parts["cassette"] == "CC11"
    stamps.says["d.png"] = says("CC11", 0.97, teeth=(11, 34), teeth_confidence=0.99)
    reason, sentence = refused(lambda: fit(ledger, photo("d.png"), "cassette", rear_derailleur="ZQ500 M"))
    assert reason is Reason.UNSURE_STAMP and "11-34 T, but the documents give CC11 11-32 T" in sentence
    stamps.says["e.png"] = says("QQ77", 0.97, teeth=(11, 32), teeth_confidence=0.99)
    answer = fit(ledger, photo("e.png"), "cassette", rear_derailleur="ZQ500 M")
    assert answer.verdict is Verdict.FITS, "teeth stand in for a code that no document covers"
    stamps.says["k.png"] = says("KC50", 0.97, teeth=(50,), teeth_confidence=0.99)
    assert fit(ledger, photo("k.png"), "crankset", rear_derailleur="ZQ500 M").verdict is Verdict.FITS


def test_a_photo_lies_beside_the_build_file_and_is_read_once(
    ledger: Ledger, photo: Photo, stamps: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo("bikes/rear.png")
    for name in ("a", "b"):
        lines = f'[now]\nrear_derailleur = "photo:rear.png"\ncassette = {NOW["cassette"]}\nrings = [50, 34]\n'
        (tmp_path / "bikes" / f"{name}.toml").write_text(lines)
    files = [str(tmp_path / "bikes" / f"{name}.toml") for name in ("a", "b")]
    assert run(app, ["fit", *files, "--store", str(ledger.name), "--jsonl"]) == 0
    answers = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [answer["verdict"] for answer in answers] == ["fits", "fits"]
    assert len(stamps.calls) == 1
    assert run(app, ["fit", files[0], "--store", str(ledger.name)]) == 0
    assert len(stamps.calls) == 1, "the kept reading stands as long as photo, codes and reader are the same"
    text = " ".join(capsys.readouterr().out.split())
    assert 'source: rear.png: "stamped: ZQ500 M"' in text and "97%" in text
    assert f"cogledger evidence --store {ledger.name}" in text and ledger.photos()[0].reading_id in text


def test_an_unsure_photo_in_a_batch_is_an_error_in_its_place(
    ledger: Ledger, photo: Photo, stamps: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo("vague.png")
    lines = [{"now": NOW | {"rear_derailleur": "photo:vague.png"}}, {"now": NOW | {"rear_derailleur": "ZQ500 M"}}]
    batch = tmp_path / "bikes.jsonl"
    batch.write_text("\n".join(map(json.dumps, lines)))
    assert run(app, ["fit", "--batch", str(batch), "--store", str(ledger.name), "--jsonl"]) == 1
    first, second = map(json.loads, capsys.readouterr().out.splitlines())
    assert first["error"]["reason"] == "unsure_stamp" and first["error"]["where"] == "now.rear_derailleur"
    assert second["verdict"] == "fits"


def test_without_a_store_a_photo_of_teeth_still_answers(tmp_path: Path, photo: Photo, stamps: Any) -> None:
    stamps.says["cogs.png"] = says(None, teeth=(11, 32), teeth_confidence=0.96)
    rear = {"largest_cog": 32, "total_capacity": 37}
    now = {"rear_derailleur": rear, "cassette": f"photo:{photo('cogs.png')}", "rings": [50, 34]}
    answer = Ledger(tmp_path / "none").fit({"now": now})
    assert answer.verdict is Verdict.FITS
    assert not (tmp_path / "none").exists()
