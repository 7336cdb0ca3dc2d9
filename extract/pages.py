"""Documents → pages: opening, sizes, and pages as pixels."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pypdfium2 as pdfium
from PIL import Image

from ..schema.errors import DocumentError
from ..schema.reasons import Reason
from .records import SourceKind
from .sources import kind_of


@contextmanager
def open_pdf(path: Path) -> Iterator[pdfium.PdfDocument]:
    """A PDF, open for reading; closed afterwards.

    Raises:
        DocumentError: it is locked with a password, cut short, or no PDF.
    """
    try:
        document = pdfium.PdfDocument(path)
    except FileNotFoundError as error:
        raise DocumentError(Reason.NOT_FOUND, "there is no such file", file=str(path)) from error
    except pdfium.PdfiumError as error:
        if "password" in str(error).lower() or "security" in str(error).lower():
            raise DocumentError(Reason.LOCKED_PDF, "the PDF is locked with a password", file=str(path)) from error
        raise DocumentError(Reason.BROKEN_PDF, "the PDF cannot be opened; it is damaged or cut short",
                            file=str(path)) from error  # fmt: skip
    try:
        if len(document) == 0:
            raise DocumentError(Reason.BROKEN_PDF, "the PDF has no pages", file=str(path))
        yield document
    finally:
        document.close()


@contextmanager
def open_page(document: pdfium.PdfDocument, number: int, name: str) -> Iterator[pdfium.PdfPage]:
    """Page ``number`` (from 1) of an open document.

    Raises:
        DocumentError: the page is damaged.
    """
    try:
        page = document[number - 1]
    except (pdfium.PdfiumError, IndexError) as error:
        raise DocumentError(Reason.BROKEN_PAGE, "the page cannot be opened", file=name,
                            where=f"page {number}") from error  # fmt: skip
    try:
        yield page
    finally:
        page.close()


def render_page(path: Path, page: int, dpi: float = 150) -> Image.Image:
    """Page ``page`` (from 1) as it is shown, as an RGB picture; a photo comes upright in its own pixels.

    Raises:
        DocumentError: the file or page cannot be used.
    """
    with path.open("rb") as file:
        kind = kind_of(file.read(1100))
    if kind is SourceKind.IMAGE:
        from .photos import read_photo

        return Image.fromarray(read_photo(path))
    with open_pdf(path) as document, open_page(document, page, path.name) as opened:
        return draw_page(opened, dpi)


def draw_page(page: pdfium.PdfPage, dpi: float, grey: bool = False) -> Image.Image:
    """An open page as a picture of ``dpi`` dots per inch, RGB or grey; at most about 50 million pixels."""
    scale = dpi / 72
    width, height = page.get_size()
    most = (50_000_000 / max(1.0, width * height)) ** 0.5
    bitmap = page.render(scale=min(scale, most), grayscale=grey)
    return bitmap.to_pil() if grey else bitmap.to_pil().convert("RGB")
