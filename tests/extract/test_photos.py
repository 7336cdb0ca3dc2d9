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


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("most", [photos.MOST_DETAIL, 80 * 120 // 4])
def test_every_orientation_sets_the_picture_upright(tmp_path, orientation, most):
    """Rows and columns by Exif 2.3, 4.6.4: what the 0th row and the 0th column of the stored picture show."""
    upright = np.zeros((80, 120, 3), np.uint8)
    upright[:40, :60], upright[:40, 60:], upright[40:, :60] = (255, 0, 0), (0, 255, 0), (0, 0, 255)
    stored = {
        1: upright, 2: upright[:, ::-1], 3: upright[::-1, ::-1], 4: upright[::-1], 5: upright.transpose(1, 0, 2),
        6: np.rot90(upright, 1), 7: np.rot90(upright, 2).transpose(1, 0, 2), 8: np.rot90(upright, -1),
    }[orientation]  # fmt: skip
    path = tmp_path / "turned.jpg"
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    Image.fromarray(np.ascontiguousarray(stored)).save(path, exif=exif, quality=95, subsampling=0)
    pixels = photos.read_photo(path, most)
    rows, columns = pixels.shape[:2]
    assert (rows, columns) == ((80, 120) if most > 9600 else (40, 60))
    corners = [pixels[rows // 5, columns // 5], pixels[rows // 5, -columns // 5], pixels[-rows // 5, columns // 5]]
    assert [int(corner.argmax()) for corner in corners] == [0, 1, 2]
    assert photos.read_size(path) == (120, 80)


def test_a_damaged_exif_record_does_not_cost_the_photo(tmp_path):
    path = tmp_path / "odd.jpg"
    half_red().save(path, exif=b"Exif\x00\x00MM\x00*\xff\xff\xff\xff garbage")
    assert photos.read_photo(path).shape == (80, 120, 3)
    assert photos.read_size(path) == (120, 80)


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp", "tiff", "bmp", "heic"])
def test_large_pictures_are_made_smaller_in_their_own_shape(tmp_path, suffix):
    path = tmp_path / f"large.{suffix}"
    big = half_red().resize((600, 400), Image.Resampling.NEAREST)
    if suffix == "heic":
        pillow_heif.from_pillow(big).save(path, quality=90)
    else:
        big.save(path)
    pixels = photos.read_photo(path, 60_000)
    assert pixels.shape == (200, 300, 3)
    assert pixels[100, 50, 0] > 200 > 60 > pixels[100, 50, 2]
    assert photos.read_size(path) == (600, 400)
    assert photos.read_photo(path).shape == (400, 600, 3)


@pytest.mark.parametrize("mode", ["I;16", "P", "1", "LA", "RGBA", "CMYK"])
def test_large_pictures_of_every_mode(tmp_path, mode):
    path = tmp_path / ("x.tiff" if mode == "CMYK" else "x.png")
    if mode == "I;16":
        Image.fromarray(np.full((400, 600), 0x8000, np.uint16)).save(path)
    else:
        half_red().resize((600, 400)).convert(mode).save(path)
    pixels = photos.read_photo(path, 60_000)
    assert pixels.shape == (200, 300, 3)
    if mode == "I;16":
        assert abs(int(pixels[5, 5, 0]) - 128) <= 1


@pytest.mark.parametrize("suffix", ["gif", "webp", "png", "tiff"])
def test_of_several_pictures_the_first_is_taken(tmp_path, suffix):
    path = tmp_path / f"moving.{suffix}"
    red, blue = Image.new("RGB", (60, 40), "red"), Image.new("RGB", (60, 40), "blue")
    red.save(path, save_all=True, append_images=[blue, blue])
    pixels = photos.read_photo(path)
    assert pixels.shape == (40, 60, 3) and pixels[20, 30, 0] > 200 > 60 > pixels[20, 30, 2]


def test_of_a_heif_sequence_the_main_picture_is_taken(tmp_path):
    path = tmp_path / "burst.heic"
    burst = pillow_heif.from_pillow(Image.new("RGB", (64, 48), "blue"))
    burst.add_from_pillow(Image.new("RGB", (64, 48), "red"))
    burst.save(path, primary_index=1)
    pixels = photos.read_photo(path)
    assert pixels.shape == (48, 64, 3) and pixels[20, 30, 0] > 200 > 60 > pixels[20, 30, 2]


def test_a_film_is_no_photo(tmp_path):
    path = tmp_path / "film.heic"
    path.write_bytes(struct.pack(">I", 24) + b"ftyphevc" + b"\0" * 4 + b"hevcmsf1" + b"\0" * 200)
    assert reason_for(path) is Reason.BROKEN_IMAGE


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names are POSIX")
def test_a_pipe_is_not_waited_for(tmp_path):
    path = tmp_path / "pipe.jpg"
    os.mkfifo(path)
    assert reason_for(path) is Reason.NOT_READABLE
