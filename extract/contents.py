"""A page of a document → its content, from the text layer or, where that is missing or not to be trusted, by OCR."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import replace

import pypdfium2 as pdfium

from ..schema.errors import CogledgerError, DocumentError, Fault
from ..schema.reasons import Reason
from .pages import open_page, open_pdf
from .records import PageContent, Source, SourceKind
from .settings import DEFAULT_SETTINGS, ReadSettings
from .textlayer import has_picture, read_text_page

_log = logging.getLogger("cogledger.extract")


def count_pages(source: Source, settings: ReadSettings = DEFAULT_SETTINGS) -> int:
    """How many pages a source has; 1 for a picture.

    Raises:
        DocumentError: the file cannot be opened, or has more pages than are read.
    """
    if source.kind is SourceKind.IMAGE:
        return 1
    with open_pdf(source.path) as document:
        pages = len(document)
    if pages > settings.most_pages:
        raise DocumentError(Reason.TOO_LARGE, f"the PDF has {pages} pages; {settings.most_pages} are read",
                            file=source.name)  # fmt: skip
    return pages


def read_pages(
    source: Source, last: int | None = None, settings: ReadSettings = DEFAULT_SETTINGS
) -> Iterator[PageContent | Fault]:
    """The content of each page up to ``last``, in order; a fault in the place of a page that cannot be read.

    Raises:
        DocumentError: the file cannot be opened, or is a picture that cannot be read.
    """
    if source.kind is SourceKind.IMAGE:
        from .scans import read_picture

        yield read_picture(source.path, settings)
        return
    with open_pdf(source.path) as document:
        for number in range(1, min(last or len(document), len(document)) + 1):
            yield read_page(document, number, source.name, settings)


def read_page(
    document: pdfium.PdfDocument, number: int, name: str, settings: ReadSettings = DEFAULT_SETTINGS
) -> PageContent | Fault:
    """Page ``number`` (from 1) of an open PDF; a fault that names file and page where it cannot be read."""
    where = f"page {number}"
    try:
        with open_page(document, number, name) as page:
            content = read_text_page(page, number, settings)
            letters = sum(len(w.text) for w in content.words)
            if not content.trusted or (letters < settings.least_text_letters and has_picture(page)):
                from .scans import read_scanned_page

                return read_scanned_page(page, number, settings)
            return content
    except CogledgerError as error:
        return replace(error.fault, file=name, where=where)
    except (pdfium.PdfiumError, ValueError, ArithmeticError) as error:
        _log.debug("page %s of %s failed", number, name, exc_info=True)
        return Fault(Reason.BROKEN_PAGE, f"the page cannot be read ({error})", name, where)
