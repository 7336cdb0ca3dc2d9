"""Photo file → its pixels as a person sees them: upright, in colour, eight bits."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pillow_heif
from PIL import Image, UnidentifiedImageError

from ..schema.errors import DocumentError
from ..schema.reasons import Reason

MOST_PIXELS = 120_000_000
"""More pixels than any photo of a part needs; above it a small file may be made to fill the memory."""
MOST_DETAIL = 16_000_000
"""Photos with more pixels are made smaller: what such cameras add beyond it is mostly noise."""

_FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "GIF")
_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif")
_SIGNS = (b"\xff\xd8\xff", b"\x89PNG", b"RIFF", b"II*\x00", b"MM\x00*", b"BM", b"GIF8")
_NAME_A_PICTURE = "name a picture as JPEG, PNG, WebP, TIFF, HEIC, BMP or GIF; PDFs are for: cogledger read"
_SHORTEST_SIDE = 8
_ORIENTATION = 0x0112
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_270, 7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}  # fmt: skip
"""What sets a picture upright, by the value of its EXIF tag 274 (Exif 2.3, section 4.6.4)."""


def read_photo(path: Path, most_pixels: int = MOST_DETAIL) -> np.ndarray:
    """The pixels of a JPEG, PNG, WebP, TIFF, HEIC, BMP or GIF file: height × width × 3, RGB, after its own rotation.

    Of a file with several pictures the first is taken. One with more than ``most_pixels`` is made smaller, both sides
    alike; :func:`read_size` tells its own size. Raises ``DocumentError`` with a sentence that names the file:
    ``NOT_FOUND``, ``NOT_READABLE``, ``EMPTY_FILE``, ``WRONG_TYPE`` where it is no picture, ``BROKEN_IMAGE`` where it is
    one cut short, ``TOO_LARGE`` above ``MOST_PIXELS``.
    """
    head = _read_head(path)
    with _explained(path, head):
        picture = _open_heif(path) if _is_heif(head) else _open(path, most_pixels)
        return _as_rgb(_reduced(picture, most_pixels))


def read_size(path: Path) -> tuple[int, int]:
    """Width and height of a photo after its own rotation, in its own pixels. Raises as :func:`read_photo` does."""
    head = _read_head(path)
    with _explained(path, head):
        if _is_heif(head):
            return pillow_heif.open_heif(path).size
        with Image.open(path, formats=_FORMATS) as picture:
            _check_size(picture.size, path)
            width, height = picture.size
            return (height, width) if _orientation(picture) >= 5 else (width, height)


@contextmanager
def _explained(path: Path, head: bytes) -> Iterator[None]:
    """Whatever a decoder raises, as a sentence of ours."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except UnidentifiedImageError:
        if head.startswith(_SIGNS):
            raise _fault(Reason.BROKEN_IMAGE, "the picture is damaged and cannot be opened", path) from None
        message = "this is no picture"
        raise DocumentError(Reason.WRONG_TYPE, message, file=path.name, advice=_NAME_A_PICTURE) from None
    except Image.DecompressionBombError:
        raise _too_large(path) from None
    except MemoryError:
        raise _fault(Reason.TOO_LARGE, "there is not enough memory to open the picture", path) from None
    except (OSError, ValueError, SyntaxError, EOFError, RuntimeError, IndexError, KeyError, TypeError) as error:
        raise _fault(
            Reason.BROKEN_IMAGE, f"the picture is cut short or damaged ({_first_line(error)})", path
        ) from error


def check_file(path: Path) -> None:
    """Raise ``DocumentError`` where a path is no ordinary file; opening it might wait for ever."""
    if path.is_dir():
        message = "this is a folder, not a photo"
        raise DocumentError(Reason.NOT_READABLE, message, file=path.name, advice="name the photos in it one by one")
    if not path.exists():
        raise _fault(Reason.NOT_FOUND, "there is no such file", path)
    if not path.is_file():
        raise _fault(Reason.NOT_READABLE, "this is no ordinary file", path)


def _read_head(path: Path) -> bytes:
    """The first bytes of the file, which tell what it is."""
    check_file(path)
    try:
        with path.open("rb") as file:
            head = file.read(32)
    except FileNotFoundError:
        raise _fault(Reason.NOT_FOUND, "there is no such file", path) from None
    except OSError as error:
        raise _fault(Reason.NOT_READABLE, f"the file cannot be read ({error.strerror})", path) from error
    if not head:
        raise _fault(Reason.EMPTY_FILE, "the file is empty", path)
    return head


def _is_heif(head: bytes) -> bool:
    return head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS


def _open(path: Path, most_pixels: int) -> Image.Image:
    """The first picture of a file, upright; a JPEG that will be made smaller is decoded smaller at once."""
    with Image.open(path, formats=_FORMATS) as picture:
        _check_size(picture.size, path)
        turn = _TURNS.get(_orientation(picture))
        if picture.format == "JPEG":
            picture.draft(None, _fitting(picture.size, most_pixels))
        picture.load()
        small = _reduced(picture, most_pixels)
        return small.transpose(turn) if turn is not None else small.copy() if small is picture else small


def _orientation(picture: Image.Image) -> int:
    """The value of the EXIF tag; 1, upright, where there is none or the EXIF record is damaged."""
    try:
        found = picture.getexif().get(_ORIENTATION, 1)
    except Exception:  # a damaged record raises whatever its bytes lead to, and the picture may be sound all the same
        return 1
    return found if isinstance(found, int) and 1 <= found <= 8 else 1


def _fitting(size: tuple[int, int], most_pixels: int) -> tuple[int, int]:
    """The largest size of the same shape with at most so many pixels."""
    shrink = min(1.0, math.sqrt(most_pixels / (size[0] * size[1])))
    return max(1, math.floor(size[0] * shrink)), max(1, math.floor(size[1] * shrink))


def _reduced(picture: Image.Image, most_pixels: int) -> Image.Image:
    """The picture with at most so many pixels; modes that cannot be averaged are turned into others first."""
    if picture.width * picture.height <= most_pixels:
        return picture
    if picture.mode.startswith("I") or picture.mode == "F":
        picture = Image.fromarray(_eight_bits(np.asarray(picture)))
    elif picture.mode in ("1", "P"):
        picture = picture.convert("RGBA" if picture.has_transparency_data else "RGB")
    size = _fitting(picture.size, most_pixels)
    if picture.mode in ("RGBA", "LA"):  # band by band: whole, it would be copied once more
        bands = [picture.getchannel(n).resize(size, Image.Resampling.BOX) for n in range(len(picture.getbands()))]
        return Image.merge(picture.mode, bands)
    return picture.resize(size, Image.Resampling.BOX)


def _open_heif(path: Path) -> Image.Image:
    """The main picture of a HEIF file; its container's rotation is applied by the decoder, its EXIF one is void."""
    container = pillow_heif.open_heif(path, convert_hdr_to_8bit=True)
    _check_size(container.size, path)
    return container.to_pillow()


def _check_size(size: tuple[int, int], path: Path) -> None:
    if size[0] * size[1] > MOST_PIXELS:
        raise _too_large(path)
    if min(size) < _SHORTEST_SIDE:
        raise _fault(Reason.BROKEN_IMAGE, f"the picture is only {size[0]} by {size[1]} pixels", path)


def _as_rgb(picture: Image.Image) -> np.ndarray:
    """Any mode → RGB, sixteen bits scaled to eight, what is transparent on white."""
    if picture.mode.startswith("I") or picture.mode == "F":
        return np.repeat(_eight_bits(np.asarray(picture))[:, :, None], 3, axis=2)
    if picture.has_transparency_data:
        clear = picture.convert("RGBA")
        white = Image.new("RGBA", clear.size, "white")
        picture = Image.alpha_composite(white, clear)
    return np.array(picture.convert("RGB"))


def _eight_bits(grey: np.ndarray) -> np.ndarray:
    """Grey values of up to sixteen bits, or shares of 255, as bytes."""
    if grey.dtype == np.uint16 and grey.max(initial=0) > 255:
        return (grey >> 8).astype(np.uint8)
    top = 65535.0 if grey.max(initial=0) > 255 else 255.0
    return np.clip(grey * np.float32(255.0 / top), 0, 255).astype(np.uint8)


def _too_large(path: Path) -> DocumentError:
    limit = MOST_PIXELS // 1_000_000
    return _fault(Reason.TOO_LARGE, f"the picture has more than {limit} million pixels", path)


def _fault(reason: Reason, message: str, path: Path) -> DocumentError:
    return DocumentError(reason, message, file=path.name)


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0]
