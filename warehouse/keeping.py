"""Readings as they come in → the store, several documents in one transaction, and what became of each."""

from __future__ import annotations

import logging
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from ..schema.errors import CogledgerError, Fault, StoreError
from .photos import stamp_as_json
from .register import write_readings
from .store import Store

if TYPE_CHECKING:
    from ..extract.records import Reading, Source, StampReading

_LOG = logging.getLogger(__name__)


@dataclass(frozen=True)
class IngestSettings:
    """How reading is spread over processes.

    ``small_batch`` documents or fewer are read in this process: starting another takes longer. A worker that gives no
    sign for ``silence_s`` seconds is ended; a page has a shorter time limit of its own. What is read is kept
    ``most_at_once`` documents at a time at most; no more than ``most_wait_s`` seconds of reading ever wait for that.
    """

    reader: str = "cogledger.extract.pipeline:read_source"
    reader_version: str | None = None
    small_batch: int = 2
    most_at_once: int = 32
    most_wait_s: float = 0.5
    silence_s: float = 300.0


@dataclass(frozen=True)
class DocumentResult:
    """What one document gave."""

    document: str
    sha256: str
    pages: int
    claims: int
    held_back: int
    seconds: float

    def as_json(self) -> dict[str, Any]:
        """The object that stands under ``documents``."""
        return {"document": self.document, "sha256": self.sha256, "pages": self.pages, "claims": self.claims,
                "held_back": self.held_back, "seconds": round(self.seconds, 3)}  # fmt: skip


@dataclass
class IngestReport:
    """What a whole call of reading gave."""

    files: int = 0
    unchanged: int = 0
    gone: int = 0
    """Documents that were under one of the paths before and are there no more; their claims stay."""
    documents: list[DocumentResult] = field(default_factory=list)
    failures: list[Fault] = field(default_factory=list)
    failed_pages: list[Fault] = field(default_factory=list)
    photos: list[StampReading] = field(default_factory=list)
    interrupted: bool = False

    def total(self, name: str) -> int:
        """The sum over all documents of one of their numbers."""
        return sum(getattr(document, name) for document in self.documents)

    @property
    def complete(self) -> bool:
        """Whether every file and page could be used."""
        return not (self.failures or self.failed_pages or self.interrupted)

    def as_json(self) -> dict[str, Any]:
        """The JSON answer of ``read``."""
        return {
            "files": self.files, "read": len(self.documents), "unchanged": self.unchanged, "gone": self.gone,
            "pages": self.total("pages"), "claims": self.total("claims"), "held_back": self.total("held_back"),
            "documents": [document.as_json() for document in self.documents],
            "failures": [fault.as_json() for fault in self.failures],
            "failed_pages": [fault.as_json() for fault in self.failed_pages],
            "photos": [stamp_as_json(reading) for reading in self.photos],
            "interrupted": self.interrupted,
        }  # fmt: skip


class Keeper:
    """Keeps readings, several together, since opening and closing the store takes longer than putting one in."""

    def __init__(self, store: Store, settings: IngestSettings, report: IngestReport) -> None:
        self._store, self._settings, self._report = store, settings, report
        self._waiting: list[Reading] = []
        self._since = 0.0

    def take(self, source: Source, result: Reading | Fault) -> None:
        """A document's reading, to be kept soon, or the reason why there is none."""
        if isinstance(result, Fault):
            _LOG.info("not read: %s", result.sentence())
            self._report.failures.append(result)
        else:
            self._since = self._since if self._waiting else time.monotonic()
            self._waiting.append(replace(result, reader=self._settings.reader_version or result.reader))
        work = max(time.monotonic() - self._since, sum(reading.seconds for reading in self._waiting))
        if len(self._waiting) >= self._settings.most_at_once or (self._waiting and work > self._settings.most_wait_s):
            self.keep()

    def keep(self) -> None:
        """Keep all that waits: a copy of each document, and then all readings in one transaction.

        :raises StoreError: the store cannot be written
        """
        waiting, self._waiting = self._waiting, []
        readings: list[tuple[Reading, str]] = []
        for reading in _validated(waiting):
            try:
                readings.append((reading, self._store.keep_source(reading.source.path, reading.source.sha256)))
            except StoreError:
                raise
            except CogledgerError as error:
                self._report.failures.append(error.fault)
        if not readings:
            return
        with self._store.writing() as connection:
            write_readings(connection, readings)
        for reading, _ in readings:
            self._note(reading)

    def _note(self, reading: Reading) -> None:
        name, claims, held = reading.source.name, len(reading.claims), len(reading.held_back)
        _LOG.info("%s: %d claims, %d held back", name, claims, held)
        self._report.failed_pages.extend(reading.failed_pages)
        self._report.documents.append(
            DocumentResult(name, reading.source.sha256, reading.pages, claims, held, reading.seconds)
        )


def _validated(readings: Sequence[Reading]) -> list[Reading]:
    """The readings with what no claim may say held back; all are looked at together."""
    from ..schema.validation import validate_each

    outcomes = iter(validate_each([claim.as_json() for reading in readings for claim in reading.claims]))
    checked = []
    for reading in readings:
        told = [(claim, next(outcomes)) for claim in reading.claims]
        held = tuple(held for _, held in told if held)
        valid = tuple(claim for claim, held in told if not held)
        checked.append(replace(reading, claims=valid, held_back=(*reading.held_back, *held)))
    return checked
