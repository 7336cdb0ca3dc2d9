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
from .contents import Pages, open_pages
from .context import DocumentMemory
from .layouts import read_layouts
from .makers import find_maker, without_maker
from .part_photos import Shown, find_shown
from .records import PageContent, Reading, Source, SourceKind
from .settings import DEFAULT_SETTINGS, ReadSettings
from .triage import Outlook

READER_VERSION = "3"
_MAKER_PAGES = 3
_log = logging.getLogger("cogledger.extract")
OnPage = Callable[[int, int], None]


def read_source(source: Source, on_page: OnPage | None = None, settings: ReadSettings = DEFAULT_SETTINGS) -> Reading:
    """Everything that one PDF or picture states; ``on_page(done, of)`` is called after each page.

    Of a photo of a part nothing is read here: the reading says that it is one. A page that fails is named in the
    reading and the others go on.

    Raises:
        DocumentError: nothing of the file can be used.
    """
    started = time.perf_counter()
    shown = find_shown(source.path) if source.kind is SourceKind.IMAGE else Shown.PAGE
    if shown is Shown.PART:
        return Reading(source, 1, (), seconds=time.perf_counter() - started, reader=READER_VERSION, part_photo=True)
    with open_pages(source, settings) as pages:
        found = _Found(source, settings)
        for number in range(1, len(pages) + 1):
            found.take(number, pages)
            if on_page:
                on_page(number, len(pages))
        count, dated = len(pages), pages.dated
    if len(found.failed) == count:
        raise _no_page(source, found.failed)
    maker = find_maker(found.first_pages)
    validation = validate_claims(
        replace(claim, maker=maker, part_code=without_maker(claim.part_code, maker)) for claim in found.claims
    )
    return Reading(source, count, tuple(validation.valid), (*found.held, *validation.held_back), tuple(found.failed),
                   time.perf_counter() - started, READER_VERSION,
                   part_photo=shown is Shown.EITHER and not found.claims, dated=dated)  # fmt: skip


class _Found:
    """What the pages of a document gave so far, and what they hand on to later ones."""

    def __init__(self, source: Source, settings: ReadSettings) -> None:
        self.claims: list[Claim] = []
        self.held: list[HeldBack] = []
        self.failed: list[Fault] = []
        self.first_pages: list[PageContent] = []
        self._source, self._settings = source, settings
        self._memory = DocumentMemory()
        self._read_up_to = 0
        self._before: Outlook | None = None

    def take(self, number: int, pages: Pages) -> None:
        """Read page ``number`` if it can state limits, after the page before it if that was let go but names a part.

        The pages that say who made the document are always opened.
        """
        outlook = pages.outlook(number)
        goes_on = outlook.rows and self._memory.columns is not None and self._read_up_to == number - 1
        if outlook.limits or goes_on:
            if self._read_up_to < number - 1:
                self._memory.forget()
                if self._before is not None and self._before.names_part:
                    self._read(number - 1, pages)
            self._read(number, pages)
        elif number <= _MAKER_PAGES:
            self._keep_first(pages.content(number))
        self._before = outlook

    def _read(self, number: int, pages: Pages) -> None:
        content = pages.content(number)
        self._read_up_to = number
        self._keep_first(content)
        found = content
        if isinstance(content, PageContent):
            found = _understood(content, self._source, self._memory, self._settings)
        if isinstance(found, Assembled):
            self.claims.extend(found.claims)
            self.held.extend(found.held_back)
        elif isinstance(found, Fault):
            self.failed.append(found)

    def _keep_first(self, content: PageContent | Fault) -> None:
        if isinstance(content, PageContent) and content.number <= _MAKER_PAGES and content not in self.first_pages:
            self.first_pages.append(content)


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
