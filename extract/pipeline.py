"""One source → its reading: pages, words and rules, layouts, labels and values, claims, validated. In this order."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from dataclasses import replace

from ..schema.claims import Claim
from ..schema.errors import DocumentError, Fault
from ..schema.reasons import Reason
from ..schema.validation import HeldBack, validate_claims
from .assemble import Assembled, assemble
from .contents import count_pages, read_pages
from .context import DocumentMemory
from .layouts import read_layouts
from .makers import find_maker
from .records import PageContent, Reading, Source
from .settings import DEFAULT_SETTINGS, ReadSettings

READER_VERSION = "1"
_MAKER_PAGES = 3
_log = logging.getLogger("cogledger.extract")
OnPage = Callable[[int, int], None]


def read_source(source: Source, on_page: OnPage | None = None, settings: ReadSettings = DEFAULT_SETTINGS) -> Reading:
    """Everything that one PDF or picture states; ``on_page(done, of)`` is called after each page.

    A page that fails is named in the reading and the others go on.

    Raises:
        DocumentError: nothing of the file can be used.
    """
    started = time.perf_counter()
    pages = count_pages(source, settings)
    memory = DocumentMemory()
    claims: list[Claim] = []
    held: list[HeldBack] = []
    failed: list[Fault] = []
    first_pages: list[PageContent] = []
    for done, content in enumerate(read_pages(source, None, settings), 1):
        found = content if isinstance(content, Fault) else _understood(content, source, memory, settings)
        if isinstance(content, PageContent) and len(first_pages) < _MAKER_PAGES:
            first_pages.append(content)
        if isinstance(found, Fault):
            failed.append(found)
        else:
            claims.extend(found.claims)
            held.extend(found.held_back)
        if on_page:
            on_page(done, pages)
    if len(failed) == pages:
        raise _no_page(source, failed)
    maker = find_maker(first_pages)
    validation = validate_claims(replace(claim, maker=maker) for claim in claims)
    return Reading(source, pages, tuple(validation.valid), (*held, *validation.held_back), tuple(failed),
                   time.perf_counter() - started, READER_VERSION)  # fmt: skip


def _no_page(source: Source, failed: list[Fault]) -> DocumentError:
    """The error for a document of which nothing can be used: the page's own where there is but one."""
    if len(failed) == 1:
        return DocumentError(failed[0].reason, failed[0].message, file=source.name, where=failed[0].where)
    return DocumentError(Reason.BROKEN_PDF, "no page of the PDF can be read", file=source.name)


def _understood(
    content: PageContent, source: Source, memory: DocumentMemory, settings: ReadSettings
) -> Assembled | Fault:
    """Claims and held-back records of one page; a fault for a page that breaks a reader, so that the others go on."""
    try:
        found = read_layouts(content, memory, settings)
        return assemble(found.entries, content, source.name, None, memory, found.context.languages)
    except (ValueError, LookupError, ArithmeticError, RecursionError) as error:
        _log.debug("page %s of %s failed", content.number, source.name, exc_info=True)
        return Fault(Reason.BROKEN_PAGE, f"the page cannot be understood ({error})", source.name,
                     f"page {content.number}")  # fmt: skip
