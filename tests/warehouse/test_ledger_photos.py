"""Photos through the Ledger and the command, with a reader of stamps that says what the test wants."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cogledger.desk.cli import app
from cogledger.desk.faults import run
from cogledger.extract import stamps as stamp_package
from cogledger.schema.claims import Claim
from cogledger.schema.errors import CallError, StoreError
from cogledger.schema.reasons import Reason
from cogledger.warehouse import Ledger
from cogledger.warehouse.folder_store import FolderStore
from PIL import Image

Keep, MakeClaim, Photo = Callable[..., str], Callable[..., Claim], Callable[..., Path]


def copies(store: FolderStore) -> set[str]:
    return {path.name for path in store.sources.iterdir()}


def hash_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_photo_is_weighed_against_the_stores_codes_and_kept(
    store: FolderStore, keep: Keep, claim: MakeClaim, tmp_path: Path, photo: Photo, stamps: Any
) -> None:
    keep(claim(variant="M", high=37))
    (tmp_path / "codes.txt").write_text("KW12\n# a note\n\n")
    paths = [photo("a.png"), photo("broken.png"), photo("dark.png")]
    report = Ledger(store.folder).stamp(paths, tmp_path / "codes.txt")
    assert stamps.calls[0] == (["a.png"], ["KW12", "ZQ500", "ZQ500 M"], False)
    first, second = report.as_json()["photos"]
    reading_id = first.pop("reading_id")
    assert first == {
        "file": "a.png", "code": "ZQ500", "variant": "M", "teeth": [], "confidence": 0.97,
        "candidates": [{"code": "ZQ500", "variant": "M", "confidence": 0.97, "known": True},
                       {"code": "ZQ508", "variant": None, "confidence": 0.02, "known": False}],
        "bbox": [25, 25, 55, 35], "advice": None, "teeth_confidence": None,
    }  # fmt: skip
    assert (second["code"], second["bbox"], second["advice"]) == (None, None, "Take it again with more light.")
    assert [fault.reason for fault in report.failures] == [Reason.BROKEN_IMAGE]
    assert {f"{hash_of(paths[0])}.png", f"{hash_of(paths[2])}.png"} <= copies(store)
    assert f"{hash_of(paths[1])}.png" not in copies(store), "of a photo that says nothing no copy is kept"
    (row,) = Ledger(store.folder).photos(["zq500", "m"])
    assert (row.reading_id, row.sha256, row.record["confidence"]) == (reading_id, hash_of(paths[0]), 0.97)
    assert row.reader == stamp_package.STAMP_READER
    assert len(Ledger(store.folder).photos()) == 2 and Ledger(store.folder).photos(["QQ1"]) == []


def test_the_id_stays_and_the_reading_is_replaced(
    store: FolderStore, keep: Keep, claim: MakeClaim, photo: Photo, stamps: Any
) -> None:
    keep(claim(high=37))
    path = photo("a.png")
    (first,) = Ledger(store.folder).stamp([path]).photos
    stamps.says["moved.png"] = stamps.reading("vague.png")
    moved = path.rename(path.with_name("moved.png"))
    (second,) = Ledger(store.folder).stamp([moved]).photos
    assert first.reading_id and first.reading_id == second.reading_id
    (row,) = Ledger(store.folder).photos()
    assert (row.record["file"], row.record["confidence"]) == ("moved.png", 0.6)


def test_without_a_store_photos_are_read_and_nothing_is_written(tmp_path: Path, photo: Photo, stamps: Any) -> None:
    (reading,) = Ledger(tmp_path / "none").stamp([photo("a.png")]).photos
    assert (reading.code, reading.reading_id) == ("ZQ500", None)
    assert not (tmp_path / "none").exists()
    with pytest.raises(CallError, match="no photo"):
        Ledger(tmp_path / "none").stamp([])


def test_a_store_that_cannot_be_written_does_not_cost_the_answer(
    store: FolderStore, keep: Keep, claim: MakeClaim, photo: Photo, stamps: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(claim(high=37))

    def refuse(self: FolderStore) -> None:
        raise StoreError(Reason.STORE_BUSY, "the store stayed in use", file="ledger")

    monkeypatch.setattr(FolderStore, "writing", refuse)
    report = Ledger(store.folder).stamp([photo("a.png")])
    assert [(r.code, r.reading_id) for r in report.photos] == [("ZQ500", None)]
    assert [fault.reason for fault in report.failures] == [Reason.STORE_BUSY]


def test_what_was_read_before_an_interruption_is_kept(
    store: FolderStore, keep: Keep, claim: MakeClaim, photo: Photo, stamps: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(claim(high=37))
    read = stamp_package.read_photos

    def read_some(paths: list[Path], *known: Any, **how: Any) -> list[Any]:
        if paths[0].name == "c.png":
            raise KeyboardInterrupt
        return read(paths, *known, **how)

    monkeypatch.setattr(stamp_package, "read_photos", read_some)
    with pytest.raises(KeyboardInterrupt):
        Ledger(store.folder).stamp([photo(f"{name}.png") for name in "abcd"])
    assert [row.record["file"] for row in Ledger(store.folder).photos()] == ["a.png", "b.png"]


def test_photos_of_one_part_are_answered_together_without_the_bad_ones(
    store: FolderStore, keep: Keep, claim: MakeClaim, tmp_path: Path, photo: Photo, stamps: Any
) -> None:
    keep(claim(high=37))
    (tmp_path / "note.jpg").write_text("no picture")
    paths = [photo("a.png"), photo("broken.png"), tmp_path / "gone.png", tmp_path / "note.jpg", photo("b.png")]
    report = Ledger(store.folder).stamp(paths, same_part=True)
    assert stamps.calls[-1][0] == ["a.png", "b.png"] and stamps.calls[-1][2]
    (reading,) = report.photos
    assert reading.files == ("a.png", "b.png")
    assert {(fault.file, fault.reason) for fault in report.failures} == {
        ("broken.png", Reason.BROKEN_IMAGE), ("gone.png", Reason.NOT_FOUND), ("note.jpg", Reason.WRONG_TYPE),
    }  # fmt: skip
    (row,) = Ledger(store.folder).photos()
    assert [name for name, _ in row.photos] == ["a.png", "b.png"]
    assert {f"{sha}.png" for _, sha in row.photos} <= copies(store)
    assert report.as_json()["photos"][0]["files"] == ["a.png", "b.png"]
    assert Ledger(store.folder).stamp([paths[1], paths[2]], same_part=True).photos == ()


def test_a_fault_of_the_reader_costs_one_photo_only(tmp_path: Path, photo: Photo, stamps: Any) -> None:
    report = Ledger(tmp_path / "none").stamp([photo("bug.png"), photo("a.png")])
    assert [reading.file for reading in report.photos] == ["a.png"]
    assert [(fault.file, fault.reason) for fault in report.failures] == [("bug.png", Reason.NOT_READABLE)]
    assert report.failures[0].sentence().startswith("bug.png: it could not be read (ZeroDivisionError: oops)")


def test_the_command_shows_every_photo_and_ends_with_one_for_a_broken_one(
    tmp_path: Path, photo: Photo, stamps: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    good, broken, dark, vague = (str(photo(f"{name}.png")) for name in ("größe", "broken", "dark", "vague"))
    nowhere = ["--store", str(tmp_path / "none")]
    assert run(app, ["stamp", good, broken, *nowhere, "--json"]) == 1
    out = capsys.readouterr()
    assert [p["code"] for p in json.loads(out.out)["photos"]] == ["ZQ500"]
    assert "broken.png" in out.err
    assert run(app, ["stamp", good, dark, vague, *nowhere]) == 0
    sure, none, unsure = capsys.readouterr().out.split("\n")[:-1], "dark.png: no code read", "vague.png: ZQ500 M"
    assert sure[0] == "größe.png: ZQ500 M" and "sure, 97%" in sure[1] and "or ZQ508, 2%" in sure[2]
    text = "\n".join(sure)
    assert none in text and "Take it again with more light." in text
    assert unsure in text and "unsure, 60%" in text
    assert text.index("Compare it with the part") > text.index(unsure), "a sure reading needs no such words"
    assert "there is no store here yet" in text and "cogledger evidence" not in text


def test_the_command_names_the_part_that_the_store_knows_and_the_way_to_the_picture(
    store: FolderStore, keep: Keep, claim: MakeClaim, photo: Photo, stamps: Any, capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:  # fmt: skip
    keep(claim(variant="M", high=37))
    assert run(app, ["stamp", str(photo("a.png")), "--store", str(store.folder)]) == 0
    text = capsys.readouterr().out
    assert "in the store: rear derailleur, Brambel" in text
    assert run(app, ["photos", "--store", str(store.folder)]) == 0
    listed = capsys.readouterr().out
    (row,) = Ledger(store.folder).photos()
    assert f"{row.reading_id} --out stamp.png" in " ".join(text.split()) and row.reading_id in listed
    out = tmp_path / "stamp.png"
    assert run(app, ["evidence", row.reading_id, "--store", str(store.folder), "--out", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["stamp"]["reading_id"] == row.reading_id and told["stamp"]["code"] == "ZQ500"


def test_the_picture_shows_the_stamp_level_and_its_place_framed(
    store: FolderStore, keep: Keep, claim: MakeClaim, tmp_path: Path, stamps: Any
) -> None:
    """The stamp stands upside down: its left end, blue on the photo's right, comes to the left of the level view."""
    keep(claim(high=37))
    pixels = np.full((60, 80, 3), 120, np.uint8)
    pixels[27:33, 48:54] = (0, 0, 255)
    path = tmp_path / "a.png"
    Image.fromarray(pixels).save(path)
    (reading,) = Ledger(store.folder).stamp([path]).photos
    assert reading.reading_id
    path.unlink()
    out = tmp_path / "deep" / "stamp.png"
    Ledger(store.folder).evidence(reading.reading_id[:8], out)
    with Image.open(out) as picture:
        shown = np.asarray(picture.convert("RGB")).astype(int)
    blue = np.argwhere((shown[..., 2] > 180) & (shown[..., 0] < 80) & (shown[..., 1] < 80))
    left, right = blue[blue[:, 1] < 600], blue[blue[:, 1] > 600]
    level = np.argwhere(abs(shown[:, :600] - 120).sum(axis=2) < 40)
    assert left[:, 1].mean() < level[:, 1].mean() - 60, "read from left to right"
    red = np.argwhere(abs(shown[:400] - (200, 60, 30)).sum(axis=2) < 40)
    assert len(right) and red[:, 1].min() > 600
    assert red[:, 0].min() < right[:, 0].min() and right[:, 0].max() < red[:, 0].max()


def test_an_id_that_no_photo_has(store: FolderStore, keep: Keep, claim: MakeClaim, tmp_path: Path, stamps: Any) -> None:
    keep(claim(high=37))
    with pytest.raises(CallError, match="cogledger photos") as caught:
        Ledger(store.folder).evidence("s123456", tmp_path / "x.png")
    assert caught.value.fault.reason is Reason.UNKNOWN_CLAIM


def test_a_picture_whose_copy_is_gone(
    store: FolderStore, keep: Keep, claim: MakeClaim, tmp_path: Path, photo: Photo, stamps: Any
) -> None:
    keep(claim(high=37))
    (reading,) = Ledger(store.folder).stamp([photo("a.png")]).photos
    assert reading.reading_id
    for copy in store.sources.iterdir():
        copy.unlink()
    with pytest.raises(StoreError, match="gone") as caught:
        Ledger(store.folder).evidence(reading.reading_id, tmp_path / "x.png")
    assert caught.value.fault.reason is Reason.SOURCE_GONE


def test_what_is_given_instead_of_a_photo(
    tmp_path: Path, photo: Photo, stamps: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "note.jpg").write_text("a note")
    (tmp_path / "folder.jpg").mkdir()
    Image.new("RGB", (1, 1)).save(tmp_path / "dot.png")
    names = ("empty.jpg", "note.jpg", "folder.jpg", "dot.png", "gone.jpg")
    given = [str(tmp_path / name) for name in names]
    assert run(app, ["stamp", *given, str(photo("a.png")), "--store", str(tmp_path / "none")]) == 1
    out = capsys.readouterr()
    assert "a.png: ZQ500 M" in out.out
    said = dict(zip(names, out.err.splitlines(), strict=True))
    assert all(sentence.startswith(f"{name}: ") and sentence.endswith(".") for name, sentence in said.items())
    assert "folder" in said["folder.jpg"] and "name the photos in it" in said["folder.jpg"]
    assert "empty" in said["empty.jpg"] and "1 by 1" in said["dot.png"] and "no such file" in said["gone.jpg"]
