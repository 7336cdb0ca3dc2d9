"""Photos through the Ledger, with a reader of stamps that says what the test wants."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from cogledger.desk.cli import app
from cogledger.desk.faults import run
from cogledger.extract.records import StampCandidate, StampReading
from cogledger.schema.answers import Verdict
from cogledger.schema.claims import Box, Claim
from cogledger.schema.errors import CallError, DocumentError
from cogledger.schema.reasons import Reason
from cogledger.warehouse import Ledger
from cogledger.warehouse.store import Store


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[list[str], list[str], bool]]:
    """Put a pretended reader in place; what it was asked for."""
    calls: list[tuple[list[str], list[str], bool]] = []

    def read_photos(paths: Sequence[Path], known_codes: Sequence[str], same_part: bool = False) -> list[StampReading]:
        calls.append(([p.name for p in paths], sorted(known_codes), same_part))
        if any(p.name == "broken.jpg" for p in paths):
            raise DocumentError(Reason.BROKEN_IMAGE, "the picture is broken", file="broken.jpg")
        if any(p.name == "dark.jpg" for p in paths):
            return [StampReading("dark.jpg", None, None, (), 0.0, advice="take it again with more light")]
        sure = 0.6 if paths[0].name == "vague.jpg" else 0.97
        candidates = (StampCandidate("ZQ500", "M", sure, True), StampCandidate("ZQ508", None, 0.02, False))
        return [StampReading(paths[0].name, "ZQ500", "M", (50, 34), sure, candidates, Box(1, 2.4, 30, 40.6))]

    monkeypatch.setattr("cogledger.extract.stamps.read_photos", read_photos, raising=False)
    return calls


def test_a_photo_is_weighed_against_the_stores_codes(
    store: Store, keep: Callable[..., str], claim: Callable[..., Claim], tmp_path: Path, asked: list
) -> None:
    keep(claim(variant="M", high=37))
    (tmp_path / "codes.txt").write_text("KW12\n")
    report = Ledger(store.folder).stamp(["a.jpg", "broken.jpg", "dark.jpg"], tmp_path / "codes.txt")
    assert asked[0] == (["a.jpg"], ["KW12", "ZQ500", "ZQ500 M"], False)
    first, second = report.as_json()["photos"]
    assert first == {
        "file": "a.jpg", "code": "ZQ500", "variant": "M", "teeth": [50, 34], "confidence": 0.97,
        "candidates": [{"code": "ZQ500", "variant": "M", "confidence": 0.97, "known": True},
                       {"code": "ZQ508", "variant": None, "confidence": 0.02, "known": False}],
        "bbox": [1, 2, 30, 41], "advice": None,
    }  # fmt: skip
    assert (second["code"], second["bbox"], second["advice"]) == (None, None, "take it again with more light")
    assert [fault.reason for fault in report.failures] == [Reason.BROKEN_IMAGE]


def test_photos_of_one_part_are_answered_together_without_the_broken_one(tmp_path: Path, asked: list) -> None:
    report = Ledger(tmp_path / "none").stamp(["a.jpg", "broken.jpg", "b.jpg"], same_part=True)
    assert asked[-1] == (["a.jpg", "b.jpg"], [], True)
    assert (len(report.photos), len(report.failures)) == (1, 1)
    with pytest.raises(CallError, match="no photo"):
        Ledger(tmp_path / "none").stamp([])


def test_the_command_shows_every_photo_and_ends_with_one_for_a_broken_one(
    tmp_path: Path, asked: list, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(app, ["stamp", "a.jpg", "broken.jpg", "--store", str(tmp_path / "none"), "--json"]) == 1
    out = capsys.readouterr()
    assert [p["code"] for p in json.loads(out.out)["photos"]] == ["ZQ500"]
    assert "broken.jpg" in out.err
    assert run(app, ["stamp", "a.jpg", "dark.jpg", "--store", str(tmp_path / "none")]) == 0
    out = capsys.readouterr()
    assert "a.jpg: ZQ500 M, 50-34 T, 97% sure" in out.out
    assert "or ZQ508, 2% (not in the store)" in out.out
    assert "take it again with more light" in out.out


def test_a_build_may_name_a_part_by_photo_but_never_by_an_unsure_one(
    store: Store, keep: Callable[..., str], claim: Callable[..., Claim], asked: list
) -> None:
    keep(claim(variant="M", high=37), claim(variant="M", limit="largest_cog", low=25, high=32))
    now = {"rear_derailleur": "photo:a.jpg", "cassette": [11, 13, 15, 32], "rings": [50, 34]}
    assert Ledger(store.folder).fit({"name": "x", "now": now}).verdict is Verdict.FITS
    for photo, words in (("vague.jpg", "60%"), ("dark.jpg", "more light"), ("broken.jpg", "no model code")):
        with pytest.raises(DocumentError, match=words):
            Ledger(store.folder).fit({"name": "x", "now": now | {"rear_derailleur": f"photo:{photo}"}})
