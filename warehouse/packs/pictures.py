"""Pictures of the places that claims were read from, in a pack: plain PNGs and nothing else."""

from __future__ import annotations

import io
import warnings

from PIL import Image

from .refusing import Place
from .settings import PackSettings

_SIGNATURE = b"\x89PNG\r\n\x1a\n"


def read_picture(data: bytes, place: Place, settings: PackSettings) -> bytes:
    """The pixels of a PNG as a PNG of our own making: what else the file carried is left behind.

    :raises DocumentError: it is no PNG, is damaged, or is too large
    """
    if len(data) > settings.most_picture_bytes:
        place.refuse(f"the picture is larger than {settings.most_picture_bytes:,} bytes")
    if not data.startswith(_SIGNATURE):
        place.refuse("the picture is no PNG")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with Image.open(io.BytesIO(data), formats=["PNG"]) as picture:
                if picture.width * picture.height > settings.most_picture_pixels:
                    place.refuse(f"the picture has more than {settings.most_picture_pixels:,} pixels")
                pixels = picture.convert("RGB")
    except (OSError, ValueError, SyntaxError, EOFError, Warning, Image.DecompressionBombError):
        place.refuse("the picture is damaged")
    out = io.BytesIO()
    pixels.save(out, "PNG")
    return out.getvalue()
