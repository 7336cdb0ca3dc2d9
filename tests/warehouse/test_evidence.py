"""Claim → picture: the frame stands where the value is, the caption fits, the sentence when the copy is gone."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Box, Claim
from cogledger.schema.errors import CallError, StoreError
from cogledger.schema.reasons import Reason
from cogledger.warehouse.evidence import Look, make_evidence
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.register import tell_claims, write_reading
from cogledger.warehouse.wording import drawable
from PIL import Image, ImageDraw, ImageFont

MakeClaim = Callable[..., Claim]
BLUE = (0, 0, 255)


def keep_picture(store: FolderStore, folder: Path, claim: Claim, size: tuple[int, int], marked: Box) -> str:
    """A page with a blue block where the value is, kept as an image document; the claim's id."""
    page = Image.new("RGB", size, "white")
    ImageDraw.Draw(page).rectangle((marked.x0, marked.top, marked.x1, marked.bottom), fill=BLUE)
    buffer = io.BytesIO()
    page.save(buffer, "PNG")
    path = folder / "scan.png"
    path.write_bytes(buffer.getvalue())
    sha = hashlib.sha256(buffer.getvalue()).hexdigest()
    store.keep_source(path, sha)
    source = Source(path, path.name, sha, path.stat().st_size, SourceKind.IMAGE)
    with store.writing() as connection:
        write_reading(connection, Reading(source, 1, (claim,), reader="r"), ".png")
    with store.reading() as connection:
        return tell_claims(connection)[0].claim_id


def extent(mask: np.ndarray) -> tuple[int, int, int, int]:
    rows, columns = np.where(mask)
    return columns.min(), rows.min(), columns.max(), rows.max()


@pytest.mark.parametrize("marked", [Box(700, 900, 760, 930), Box(5, 3, 60, 20), Box(900, 1360, 995, 1398)])
def test_the_frame_stands_around_the_value(store: FolderStore, tmp_path: Path, claim: MakeClaim, marked: Box) -> None:
    claim_id = keep_picture(store, tmp_path, claim(high=37, bbox=marked), (1000, 1400), marked)
    out = tmp_path / "deep" / "er" / "out.png"
    made = make_evidence(store, claim_id, out)
    assert (made.out, made.told.claim_id) == (out, claim_id)
    with Image.open(out) as picture:
        assert picture.format == "PNG"
        pixels = np.asarray(picture.convert("RGB")).astype(int)
    assert pixels.shape[1] == Look().width
    blue = extent((pixels[..., 2] > 200) & (pixels[..., 0] < 60))
    page_rows = slice(0, blue[3] + 40)
    red = extent(abs(pixels[page_rows] - (200, 60, 30)).sum(axis=2) < 30)
    zoom = Look().width / 1000
    assert blue[2] - blue[0] == pytest.approx((marked.x1 - marked.x0) * zoom, abs=3)
    assert red[0] <= blue[0] or blue[0] < 15
    assert red[1] <= blue[1] or blue[1] < 15
    assert red[2] >= blue[2]
    assert red[3] >= blue[3]
    assert red[2] - blue[2] < 30


def test_a_claim_without_a_place_shows_the_whole_page(store: FolderStore, tmp_path: Path, claim: MakeClaim) -> None:
    claim_id = keep_picture(store, tmp_path, claim(high=37, bbox=None), (500, 700), Box(10, 10, 20, 20))
    with Image.open(make_evidence(store, claim_id, tmp_path / "out.png").out) as picture:
        assert picture.height > 700 * Look().width / 500


def test_every_way_it_can_fail(store: FolderStore, tmp_path: Path, claim: MakeClaim) -> None:
    claim_id = keep_picture(store, tmp_path, claim(high=37), (500, 700), Box(10, 10, 20, 20))
    with pytest.raises(CallError) as caught:
        make_evidence(store, claim_id, tmp_path / "out.jpg")
    assert caught.value.fault.reason is Reason.BAD_CALL
    with pytest.raises(CallError) as caught:
        make_evidence(store, "f" * 16, tmp_path / "out.png")
    assert caught.value.fault.reason is Reason.UNKNOWN_CLAIM
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreError) as failed:
        make_evidence(store, claim_id, tmp_path / "file" / "out.png")
    assert failed.value.fault.reason is Reason.NOT_WRITABLE
    for damage in (b"garbage", None):
        for copy in list(store.sources.iterdir()):
            copy.unlink() if damage is None else copy.write_bytes(damage)
        with pytest.raises(StoreError) as failed:
            make_evidence(store, claim_id, tmp_path / "out.png")
        assert failed.value.fault.reason is Reason.SOURCE_GONE
    assert not (tmp_path / "out.png").exists()


def test_captions_are_spelt_with_the_letters_that_the_font_has() -> None:
    assert drawable("Größe – Ü, naïve façade ≤ 34°") == "Grosse - U, naive facade <= 34°"
    assert drawable("HX 540-M 100%") == "HX 540-M 100%"
    font, nothing = ImageFont.load_default(20), "\uffff"
    shown = "".join(sign for n in range(0x20, 0x250) if (sign := chr(n)).isprintable())
    lacking = bytes(font.getmask(nothing))
    missing = [sign for sign in drawable(shown) if sign.strip() and bytes(font.getmask(sign)) == lacking]
    assert not missing
