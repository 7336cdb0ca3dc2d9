"""One source → its reading: pages, words and rules, layouts, labels and values, claims, validated. In this order."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import pypdfium2 as pdfium

from ..schema.claims import Claim
from ..schema.errors import CogledgerError, DocumentError, Fault
from ..schema.reasons import Reason
from ..schema.validation import HeldBack, validate_claims
from .assemble import Assembled, assemble
from .context import DocumentMemory
from .layouts import read_layouts
from .makers import find_maker
from .pages import open_page, open_pdf
from .records import PageContent, Reading, Source, SourceKind
from .settings import DEFAULT_SETTINGS, ReadSettings
from .textlayer import has_picture, read_text_page

READER_VERSION = "1"
_log = logging.getLogger("cogledger.extract")
OnPage = Callable[[int, int], None]


@dataclass
class _Draft:
    pages: int = 0
    contents: list[PageContent] = field(default_factory=list)
    failed: list[Fault] = field(default_factory=list)


def read_source(source: Source, on_page: OnPage | None = None, settings: ReadSettings = DEFAULT_SETTINGS) -> Reading:
    """Everything that one PDF or picture states; ``on_page(done, of)`` is called after each page.

    A page that fails is named in the reading and the others go on.

    Raises:
        DocumentError: nothing of the file can be used.
    """
    started = time.perf_counter()
    draft = _Draft()
    contents = _contents(source, draft, on_page, settings)
    memory = DocumentMemory()
    claims: list[Claim] = []
    held: list[HeldBack] = []
    first_pages: list[PageContent] = []
    for content in contents:
        if len(first_pages) < 3:
            first_pages.append(content)
        assembled = _understood(content, source, memory, draft, settings)
        if assembled is not None:
            claims.extend(assembled.claims)
            held.extend(assembled.held_back)
    maker = find_maker(first_pages)
    validation = validate_claims(_with_maker(claims, maker))
    return Reading(source, draft.pages, tuple(validation.valid), (*held, *validation.held_back), tuple(draft.failed),
                   time.perf_counter() - started, READER_VERSION)  # fmt: skip


def _understood(
    content: PageContent, source: Source, memory: DocumentMemory, draft: _Draft, settings: ReadSettings
) -> Assembled | None:
    """Claims and held-back records of one page; a page that breaks a reader is named and the others go on."""
    try:
        found = read_layouts(content, memory, settings)
        return assemble(found.entries, content, source.name, None, memory, found.context.languages)
    except (ValueError, LookupError, ArithmeticError, RecursionError) as error:
        _log.debug("page %s of %s failed", content.number, source.name, exc_info=True)
        draft.failed.append(Fault(Reason.BROKEN_PAGE, f"the page cannot be understood ({error})", source.name,
                                  f"page {content.number}"))  # fmt: skip
        return None


def _with_maker(claims: list[Claim], maker: str | None) -> list[Claim]:
    from dataclasses import replace

    return [replace(claim, maker=maker) for claim in claims]


def _contents(source: Source, draft: _Draft, on_page: OnPage | None, settings: ReadSettings) -> Iterator[PageContent]:
    if source.kind is SourceKind.IMAGE:
        from .scans import read_picture

        draft.pages = 1
        yield read_picture(source.path, settings)
        if on_page:
            on_page(1, 1)
        return
    with open_pdf(source.path) as document:
        draft.pages = len(document)
        if draft.pages > settings.most_pages:
            raise DocumentError(Reason.TOO_LARGE, f"the PDF has {draft.pages} pages; {settings.most_pages} are read",
                                file=source.name)  # fmt: skip
        for number in range(1, draft.pages + 1):
            content = _page_content(document, number, source, draft, settings)
            if content is not None:
                yield content
            if on_page:
                on_page(number, draft.pages)
    if len(draft.failed) == draft.pages:
        raise DocumentError(Reason.BROKEN_PDF, "no page of the PDF can be read", file=source.name)


def _page_content(
    document: pdfium.PdfDocument, number: int, source: Source, draft: _Draft, settings: ReadSettings
) -> PageContent | None:
    try:
        with open_page(document, number, source.name) as page:
            content = read_text_page(page, number, settings)
            letters = sum(len(w.text) for w in content.words)
            if not content.trusted or (letters < settings.least_text_letters and has_picture(page)):
                from .scans import read_scanned_page

                return read_scanned_page(page, number, settings)
            return content
    except CogledgerError as error:
        draft.failed.append(Fault(error.fault.reason, error.fault.message, source.name, f"page {number}"))
    except (pdfium.PdfiumError, ValueError, ArithmeticError) as error:
        _log.debug("page %s of %s failed", number, source.name, exc_info=True)
        draft.failed.append(Fault(Reason.BROKEN_PAGE, f"the page cannot be read ({error})", source.name,
                                  f"page {number}"))  # fmt: skip
    return None
