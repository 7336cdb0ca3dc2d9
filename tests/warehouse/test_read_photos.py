"""``read`` on folders in which photos of parts lie among manuals, with the real telling apart of the two."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cogledger.desk.cli import app
from cogledger.desk.faults import run
from cogledger.extract import stamps as stamp_package
from cogledger.warehouse import Ledger
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.stamps import make_codes_mark, make_reading_id
from cogledger.warehouse.store import rows_of
from PIL import Image, ImageDraw, ImageFont

Photo = Callable[..., Path]


@pytest.fixture
def folder(tmp_path: Path, photo: Photo) -> Path:
    photo("bike/rear.png", (400, 300))
    photo("bike/dark.png", (400, 300))
    return tmp_path / "bike"


def draw_page(path: Path) -> None:
    page = Image.new("RGB", (1240, 1754), "white")
    draw = ImageDraw.Draw(page)
    rows = ["Brambel rear derailleur ZQ700", "", "Total capacity: 37T", "Largest cog: 32T", "Smallest cog: 11T"]
    rows += [f"Read these notes before you fit the part, and keep them, line {n}." for n in range(20)]
    for n, row in enumerate(rows):
        draw.text((120, 140 + n * 60), row, fill="black", font=ImageFont.load_default(34))
    page.save(path)


def test_photos_of_parts_are_told_from_pages_and_read_after_them(store: FolderStore, folder: Path, stamps: Any) -> None:
    draw_page(folder / "sheet.png")
    report = Ledger(store.folder).read([folder], workers=1)
    assert report.complete
    assert {d.document: d.claims > 0 for d in report.documents} == {
        "rear.png": False, "dark.png": False, "sheet.png": True,
    }  # fmt: skip
    assert [(r.file, r.code) for r in report.photos] == [("dark.png", None), ("rear.png", "ZQ500")]
    assert {tuple(known) for _, known, _ in stamps.calls} == {("ZQ700",)}, "the sheet's code is known by then"
    assert [row.record["file"] for row in Ledger(store.folder).photos()] == ["dark.png", "rear.png"]
    with store.reading() as connection:
        rows = rows_of(connection, "select photo, code, variant, confidence, reader from stamps order by photo")
    assert rows[1] == {
        "photo": "rear.png", "code": "ZQ500", "variant": "M", "confidence": 0.97, "reader": stamp_package.STAMP_READER,
    }  # fmt: skip


def test_a_photo_is_read_again_when_reader_or_codes_change_and_not_before(
    store: FolderStore, folder: Path, stamps: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger = Ledger(store.folder)
    ledger.read([folder], workers=1)
    assert len(stamps.calls) == 2
    assert ledger.read([folder], workers=1).photos == [] and len(stamps.calls) == 2
    monkeypatch.setattr(stamp_package, "STAMP_READER", "later")
    assert len(ledger.read([folder], workers=1).photos) == 2
    assert {row.reader for row in ledger.photos()} == {"later"}
    assert ledger.read([folder], workers=1).photos == []
    draw_page(folder / "sheet.png")
    assert len(ledger.read([folder], workers=1).photos) == 2, "codes that are new may be what the photos show"
    assert len(ledger.read([folder], workers=1, again=True).photos) == 2


def test_a_photo_that_cannot_be_read_does_not_stop_the_rest(
    store: FolderStore, folder: Path, photo: Photo, stamps: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    photo("bike/broken.png", (400, 300))
    (folder / "empty.jpg").touch()
    assert run(app, ["read", str(folder), "--store", str(store.folder), "--workers", "1", "--json"]) == 1
    out = capsys.readouterr()
    told = json.loads(out.out)
    assert [p["file"] for p in told["photos"]] == ["dark.png", "rear.png"]
    assert {Path(f["file"]).name for f in told["failures"]} == {"broken.png", "empty.jpg"}
    assert "broken.png" in out.err and "empty.jpg" in out.err
    assert run(app, ["read", str(folder), "--store", str(store.folder), "--workers", "1", "--again"]) == 1
    text = " ".join(capsys.readouterr().out.split())
    assert "2 photos of parts:" in text and "rear.png: ZQ500 M, sure, 97%" in text
    assert "dark.png: no code read. Take it again with more light." in text


def test_ids_and_marks_depend_on_what_they_stand_for() -> None:
    assert make_reading_id(["a", "b"]) == make_reading_id(["b", "a", "b"]) != make_reading_id(["a"])
    assert make_reading_id(["a"])[0] == "s" and len(make_reading_id(["a"])) == 16
    assert make_codes_mark(["ZQ 500", "KX1"]) == make_codes_mark(["KX-1", "zq500"]) != make_codes_mark(["KX1"])


@pytest.mark.parametrize("what", ["deleted", "changed"])
def test_a_photo_that_goes_while_it_is_read_is_told_of_and_not_kept(
    store: FolderStore, keep: Callable[..., str], claim: Callable[..., Any], photo: Photo, stamps: Any, what: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    keep(claim(high=37))

    def read(paths: list[Path], known: Any, same_part: bool = False) -> Any:
        if paths[0].name == "a.png":
            paths[0].unlink() if what == "deleted" else paths[0].write_bytes(b"other")
        return stamps(paths, known, same_part)

    monkeypatch.setattr(stamp_package, "read_photos", read)
    report = Ledger(store.folder).stamp([photo("a.png"), photo("b.png")])
    assert [(r.file, bool(r.reading_id)) for r in report.photos] == [("a.png", False), ("b.png", True)]
    (fault,) = report.failures
    assert fault.file and fault.file.endswith("a.png")
    assert [row.record["file"] for row in Ledger(store.folder).photos()] == ["b.png"]


def test_photos_are_told_from_pages_in_worker_processes_too(store: FolderStore, folder: Path, stamps: Any) -> None:
    draw_page(folder / "sheet.png")
    report = Ledger(store.folder).read([folder], workers=2)
    assert [reading.file for reading in report.photos] == ["dark.png", "rear.png"]
    assert report.total("claims") > 0
