"""Photo file → its pixels as a person sees them: upright, in colour, eight bits."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pillow_heif
from PIL import Image, ImageOps, UnidentifiedImageError

from ..schema.errors import DocumentError
from ..schema.reasons import Reason

MOST_PIXELS = 120_000_000
"""More pixels than any photo of a part needs; above it a small file may be made to fill the memory."""

_FORMATS = ("JPEG", "PNG", "WEBP", "TIFF")
_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif")
_SIGNS = (b"\xff\xd8\xff", b"\x89PNG", b"RIFF", b"II*\x00", b"MM\x00*")
_SHORTEST_SIDE = 8


def read_photo(path: Path) -> np.ndarray:
    """The pixels of a JPEG, PNG, WebP, TIFF or HEIC file: height × width × 3, RGB, after its own rotation.

    Of a file with several pictures the first is taken. Raises ``DocumentError`` with a sentence that names the file:
    ``NOT_FOUND``, ``NOT_READABLE``, ``EMPTY_FILE``, ``WRONG_TYPE`` where it is no picture, ``BROKEN_IMAGE`` where it is
    one cut short, ``TOO_LARGE`` above ``MOST_PIXELS``.
    """
    head = _read_head(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            picture = _open_heif(path) if _is_heif(head) else _open(path)
            return _as_rgb(picture)
    except UnidentifiedImageError:
        if head.startswith(_SIGNS):
            raise _fault(Reason.BROKEN_IMAGE, "the picture is damaged and cannot be opened", path) from None
        raise _fault(Reason.WRONG_TYPE, "this is no picture", path) from None
    except Image.DecompressionBombError:
        raise _too_large(path) from None
    except (OSError, ValueError, SyntaxError, EOFError, RuntimeError, IndexError) as error:
        raise _fault(
            Reason.BROKEN_IMAGE, f"the picture is cut short or damaged ({_first_line(error)})", path
        ) from error


def _read_head(path: Path) -> bytes:
    """The first bytes of the file, which tell what it is."""
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


def _open(path: Path) -> Image.Image:
    with Image.open(path, formats=_FORMATS) as picture:
        _check_size(picture.size, path)
        picture.load()
        return ImageOps.exif_transpose(picture)


def _open_heif(path: Path) -> Image.Image:
    """The first picture of a HEIF file; its container's rotation is applied by the decoder, its EXIF one is void."""
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
        grey = np.asarray(picture, dtype=np.float64)
        top = 65535.0 if grey.max(initial=0) > 255 else 255.0
        eight = np.clip(grey * (255.0 / top), 0, 255).astype(np.uint8)
        return np.repeat(eight[:, :, None], 3, axis=2)
    if picture.has_transparency_data:
        clear = picture.convert("RGBA")
        white = Image.new("RGBA", clear.size, "white")
        picture = Image.alpha_composite(white, clear)
    return np.array(picture.convert("RGB"))


def _too_large(path: Path) -> DocumentError:
    limit = MOST_PIXELS // 1_000_000
    return _fault(Reason.TOO_LARGE, f"the picture has more than {limit} million pixels", path)


def _fault(reason: Reason, message: str, path: Path) -> DocumentError:
    return DocumentError(reason, message, file=path.name)


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0]
