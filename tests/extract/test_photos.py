"""Photo files → upright pixels, and one clear sentence for each file that is none."""

import os
import struct
import zlib

import numpy as np
import pillow_heif
import pytest
from cogledger.extract import photos
from cogledger.schema.errors import DocumentError
from cogledger.schema.reasons import Reason
from PIL import Image

ORIENTATION = 0x0112  # EXIF tag 274 "Orientation": 6 means that the camera was turned, show it turned by 90° clockwise


def half_red() -> Image.Image:
    """120 wide, 80 high, the left half red and the right half blue."""
    pixels = np.zeros((80, 120, 3), np.uint8)
    pixels[:, :60, 0] = 255
    pixels[:, 60:, 2] = 255
    return Image.fromarray(pixels)


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp", "tiff"])
def test_every_common_format(tmp_path, suffix):
    path = tmp_path / f"rear.{suffix}"
    half_red().save(path)
    pixels = photos.read_photo(path)
    assert pixels.shape == (80, 120, 3) and pixels.dtype == np.uint8
    assert pixels[40, 20, 0] > 200 > 60 > pixels[40, 20, 2]


def test_heic(tmp_path):
    path = tmp_path / "rear.heic"
    pillow_heif.from_pillow(half_red()).save(path, quality=90)
    pixels = photos.read_photo(path)
    assert pixels.shape == (80, 120, 3)
    assert pixels[40, 20, 0] > 200 > 60 > pixels[40, 20, 2]


def test_rotation_by_exif_is_applied(tmp_path):
    path = tmp_path / "turned.jpg"
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    half_red().save(path, exif=exif)
    pixels = photos.read_photo(path)
    assert pixels.shape == (120, 80, 3)
    assert pixels[20, 40, 0] > 200 and pixels[100, 40, 2] > 200


def test_heic_is_turned_only_once(tmp_path):
    path = tmp_path / "turned.heic"
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    pillow_heif.from_pillow(half_red()).save(path, quality=90, exif=exif.tobytes())
    pixels = photos.read_photo(path)
    assert pixels.shape == (120, 80, 3)
    assert pixels[20, 40, 0] > 200 and pixels[100, 40, 2] > 200


@pytest.mark.parametrize("mode", ["L", "LA", "P", "RGBA", "CMYK", "1"])
def test_every_mode_becomes_rgb(tmp_path, mode):
    path = tmp_path / ("x.tiff" if mode == "CMYK" else "x.png")
    half_red().convert(mode).save(path)
    assert photos.read_photo(path).shape == (80, 120, 3)


def test_sixteen_bits_are_scaled(tmp_path):
    path = tmp_path / "deep.png"
    Image.fromarray(np.full((20, 20), 0x8000, np.uint16)).save(path)
    assert abs(int(photos.read_photo(path)[5, 5, 0]) - 128) <= 1


def test_what_is_transparent_is_white(tmp_path):
    path = tmp_path / "clear.png"
    Image.new("RGBA", (20, 20), (0, 0, 0, 0)).save(path)
    assert photos.read_photo(path).min() == 255


def reason_for(path) -> Reason:
    with pytest.raises(DocumentError) as caught:
        photos.read_photo(path)
    assert str(caught.value).startswith(path.name)
    return caught.value.fault.reason


def test_files_that_are_no_picture(tmp_path):
    text = tmp_path / "note.jpg"
    text.write_text("this is a note, whatever its name says")
    empty = tmp_path / "empty.jpg"
    empty.touch()
    assert reason_for(text) is Reason.WRONG_TYPE
    assert reason_for(empty) is Reason.EMPTY_FILE
    assert reason_for(tmp_path / "gone.jpg") is Reason.NOT_FOUND
    if os.name == "posix":
        assert reason_for(tmp_path) is Reason.NOT_READABLE


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp", "tiff", "heic"])
@pytest.mark.parametrize("kept", [0.02, 0.5])
def test_pictures_cut_short(tmp_path, suffix, kept):
    noise = np.random.default_rng(7).integers(0, 255, (200, 200, 3), dtype=np.uint8)
    whole = tmp_path / f"whole.{suffix}"
    if suffix == "heic":
        pillow_heif.from_pillow(Image.fromarray(noise)).save(whole)
    else:
        Image.fromarray(noise).save(whole)
    cut = tmp_path / f"cut.{suffix}"
    cut.write_bytes(whole.read_bytes()[: int(whole.stat().st_size * kept)])
    assert reason_for(cut) is Reason.BROKEN_IMAGE


def test_a_small_file_that_would_fill_the_memory(tmp_path):
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)  # layout of IHDR: ISO/IEC 15948 (PNG)
    bomb = tmp_path / "bomb.png"
    bomb.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 100)))
    assert reason_for(bomb) is Reason.TOO_LARGE


def test_the_limit_holds_below_the_library_s_own(tmp_path, monkeypatch):
    monkeypatch.setattr(photos, "MOST_PIXELS", 80 * 120 - 1)
    for name in ("a.png", "a.heic"):
        path = tmp_path / name
        if name.endswith("heic"):
            pillow_heif.from_pillow(half_red()).save(path)
        else:
            half_red().save(path)
        assert reason_for(path) is Reason.TOO_LARGE


def test_a_picture_of_a_few_pixels(tmp_path):
    path = tmp_path / "dot.png"
    Image.new("RGB", (3, 3)).save(path)
    assert reason_for(path) is Reason.BROKEN_IMAGE
