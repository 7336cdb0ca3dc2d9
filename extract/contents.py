"""A document → its pages: what each lets expect, and its content from the text layer or, where that fails, by OCR."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from datetime import datetime

import pypdfium2 as pdfium

from ..schema.claims import Box
from ..schema.errors import CogledgerError, DocumentError, Fault
from ..schema.reasons import Reason
from .dates import find_date
from .drawn import Handle, find_images
from .letters import read_text
from .pages import open_page, open_pdf
from .print_check import PrintCheck
from .records import PageContent, Source, SourceKind
from .settings import DEFAULT_SETTINGS, ReadSettings
from .textlayer import read_letters_and_rules, reads_as_language, shown_matrix
from .triage import Outlook, find_outlook
from .trust import FontTrust

_log = logging.getLogger("cogledger.extract")
_ANYTHING = Outlook(limits=True, rows=True, names_part=True)


class Pages:
    """The pages of one open document, by number from 1. Looking at a page and then reading it opens it once."""

    def __init__(self, source: Source, document: pdfium.PdfDocument | None, settings: ReadSettings) -> None:
        self._source, self._document, self._settings = source, document, settings
        self._open: tuple[int, pdfium.PdfPage, pdfium.PdfTextPage, str] | None = None
        self._held = ExitStack()
        self._fonts = FontTrust()
        self._prints = PrintCheck()

    @property
    def dated(self) -> datetime | None:
        """The date that the document bears, in UTC; none for a picture, whose date is that of the photo."""
        return find_date(self._document) if self._document is not None else None

    def __len__(self) -> int:
        return len(self._document) if self._document is not None else 1

    def outlook(self, number: int) -> Outlook:
        """What page ``number`` lets expect, by its bare text; anything where that text or the page cannot be used."""
        if self._document is None:
            return _ANYTHING
        try:
            page, _, text = self._opened(number)
            found = find_outlook(text)
            if found.limits or not self._text_settles(page, text):
                return replace(found, limits=True)
            return found
        except (CogledgerError, pdfium.PdfiumError, ValueError, ArithmeticError):
            return _ANYTHING

    def content(self, number: int) -> PageContent | Fault:
        """The content of page ``number``; a fault that names file and page where it cannot be read.

        Raises:
            DocumentError: the document is a picture that cannot be read.
        """
        if self._document is None:
            from .scans import read_picture

            return read_picture(self._source.path, self._settings)
        try:
            return self._read(number)
        except CogledgerError as error:
            return replace(error.fault, file=self._source.name, where=f"page {number}")
        except (pdfium.PdfiumError, ValueError, ArithmeticError) as error:
            _log.debug("page %s of %s failed", number, self._source.name, exc_info=True)
            return Fault(Reason.BROKEN_PAGE, f"the page cannot be read ({error})", self._source.name,
                         f"page {number}")  # fmt: skip

    def close(self) -> None:
        """Close the page that is open, if any."""
        self._open = None
        self._held.close()

    def _opened(self, number: int) -> tuple[pdfium.PdfPage, pdfium.PdfTextPage, str]:
        if self._open is None or self._open[0] != number:
            self.close()
            assert self._document is not None
            page = self._held.enter_context(open_page(self._document, number, self._source.name))
            textpage = page.get_textpage()
            self._held.callback(textpage.close)
            self._open = (number, page, textpage, read_text(textpage))
        return self._open[1:]

    def _read(self, number: int) -> PageContent:
        page, textpage, text = self._opened(number)
        content = read_letters_and_rules(page, textpage, text, number, self._settings)
        letters = sum(len(w.text) for w in content.words)
        images = find_images(page, shown_matrix(page))
        few = letters < self._settings.least_text_letters and images
        if few or not content.trusted or not self._fonts.is_sound(page, textpage, content):
            from .scans import read_scanned_page

            return read_scanned_page(page, number, self._settings)
        pictures = [box for image, box in images if self._can_hold_print(page, image, box)]
        if pictures:
            from .pictures import with_pictures

            return with_pictures(page, content, pictures, self._settings)
        return content

    def _text_settles(self, page: pdfium.PdfPage, text: str) -> bool:
        """Whether the bare text is all that the page says: it reads as language, and no picture can hold words."""
        words = text.split()
        if not reads_as_language(words):
            return False
        images = find_images(page, shown_matrix(page))
        if images and sum(map(len, words)) < self._settings.least_text_letters:
            return False
        return not any(_covers(page, box) or self._can_hold_print(page, image, box) for image, box in images)

    def _can_hold_print(self, page: pdfium.PdfPage, image: Handle, box: Box) -> bool:
        """Whether an image is large enough to hold a table and even enough to be print."""
        least = self._settings.least_picture_pt
        sizeable = box.x1 - box.x0 >= least and box.bottom - box.top >= least
        return sizeable and self._prints.can_hold_print(page, image, box)


def _covers(page: pdfium.PdfPage, box: Box) -> bool:
    """Whether an image covers so much of its page that the page can be a scan with words behind it."""
    width, height = page.get_size()
    return (box.x1 - box.x0) * (box.bottom - box.top) >= 0.5 * width * height


@contextmanager
def open_pages(source: Source, settings: ReadSettings = DEFAULT_SETTINGS) -> Iterator[Pages]:
    """The pages of a source, open for reading.

    Raises:
        DocumentError: the file cannot be opened, or has more pages than are read.
    """
    if source.kind is SourceKind.IMAGE:
        yield Pages(source, None, settings)
        return
    with open_pdf(source.path) as document:
        if len(document) > settings.most_pages:
            raise DocumentError(Reason.TOO_LARGE, f"the PDF has {len(document)} pages; {settings.most_pages} are read",
                                file=source.name)  # fmt: skip
        pages = Pages(source, document, settings)
        try:
            yield pages
        finally:
            pages.close()
