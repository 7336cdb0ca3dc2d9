"""Files and folders → the store: skip what is unchanged, read in worker processes, keep each document as it is done."""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..schema.errors import CogledgerError, Fault, StoreError
from .cluster import ClusterCrew, is_address
from .incremental import find_change
from .photos import PhotoReader, find_known, stamp_as_json
from .register import write_reading
from .stamps import find_part_photos, make_reading_id
from .store import Store
from .worker import Crew, read_one

if TYPE_CHECKING:
    from ..extract.records import Reading, Source, StampReading

_LOG = logging.getLogger(__name__)
_PHOTOS_AT_ONCE = 8
"""So many photos of parts are kept in one transaction."""


@dataclass(frozen=True)
class IngestSettings:
    """How reading is spread over processes.

    ``small_batch`` documents or fewer are read in this process: starting another takes longer. A worker that gives no
    sign for ``silence_s`` seconds is ended; a page has a shorter time limit of its own.
    """

    reader: str = "cogledger.extract.pipeline:read_source"
    reader_version: str | None = None
    small_batch: int = 2
    silence_s: float = 300.0


@dataclass(frozen=True)
class Progress:
    """How far reading is: the document at hand, its page, and how many documents are done of how many."""

    document: str
    page: int
    pages: int
    done: int
    total: int


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


OnProgress = Callable[[Progress], None]


def ingest(
    store: Store,
    paths: Sequence[Path],
    workers: int | str | None = None,
    again: bool = False,
    on_progress: OnProgress | None = None,
    settings: IngestSettings | None = None,
) -> IngestReport:
    """Read files and folders into the store; each document is kept in one transaction as soon as it is done.

    :param workers: processes to read in; the number of processors where not given, 1 for this process alone; or the
        address of a Dask cluster, ``tcp://host:port``, which photos of parts are not sent to
    :param again: read also what is unchanged since it was last read by this version
    :raises StoreError: the store cannot be used at all; a fault of a single document is in the report
    """
    from ..extract.sources import find_sources

    settings = _with_version(settings or IngestSettings())
    sources, faults = find_sources(list(_around_store(paths, store.own_folder)))
    report = IngestReport(files=len(sources) + len(faults), failures=list(faults))
    change = find_change(store, paths, sources, settings.reader_version, again)
    report.unchanged, report.gone = len(change.unchanged), len(change.gone)
    waiting = list(change.waiting)
    tell = on_progress or (lambda progress: None)
    results = _read_all(waiting, workers or os.cpu_count() or 1, settings, tell)
    try:
        for source, result in results:
            _keep(store, source, result, settings, report)
    except KeyboardInterrupt:
        report.interrupted = True
    finally:
        results.close()
    if not report.interrupted:
        _read_part_photos(store, sources, again, report, tell)
    if report.documents:
        store.tidy()
    report.documents.sort(key=lambda result: (result.document, result.sha256))
    return report


def _around_store(paths: Sequence[Path], folder: Path | None) -> Iterator[Path]:
    """``paths`` without the store's own folder, whose copies are not to be read as documents."""
    if folder is None:
        yield from paths
        return
    own = folder.resolve()
    for path in paths:
        whole = path.resolve()
        if whole == own or own in whole.parents:
            continue
        if path.is_dir() and whole in own.parents and own.exists():
            yield from _around_store(sorted(path.iterdir()), folder)
        else:
            yield path


def _with_version(settings: IngestSettings) -> IngestSettings:
    if settings.reader_version is not None:
        return settings
    from ..extract.pipeline import READER_VERSION

    return replace(settings, reader_version=READER_VERSION)


def _read_all(
    waiting: list[Source], workers: int | str, settings: IngestSettings, tell: OnProgress
) -> Generator[tuple[Source, Any], None, None]:
    """Each source with its reading or its fault, as they are done."""
    if not is_address(workers) and (int(workers) <= 1 or len(waiting) <= settings.small_batch):
        for done, source in enumerate(waiting):
            tell(Progress(source.name, 0, 0, done, len(waiting)))
            yield source, read_one(settings.reader, source, _page_teller(source, done, len(waiting), tell))
            tell(Progress(source.name, 0, 0, done + 1, len(waiting)))
        return
    crew = _gather_crew(waiting, workers, settings)
    done = 0
    try:
        crew.start()
        while done < len(waiting):
            event, source, what = crew.events.get()
            if event == "page":
                page, pages = what
                tell(Progress(source.name, page, pages, done, len(waiting)))
                continue
            done += 1
            yield source, what
            tell(Progress(source.name, 0, 0, done, len(waiting)))
    finally:
        crew.stop()


def _gather_crew(waiting: list[Source], workers: int | str, settings: IngestSettings) -> Crew | ClusterCrew:
    if is_address(workers):
        return ClusterCrew(settings.reader, waiting, str(workers), settings.silence_s)
    return Crew(settings.reader, waiting, int(workers), settings.silence_s)


def _read_part_photos(
    store: Store, sources: Sequence[Source], again: bool, report: IngestReport, tell: OnProgress
) -> None:
    """Read the stamps on the photos of parts, after all documents, since they are weighed against the codes of these.

    One that this version read before, by the same codes, is left as it is.
    """
    pictures = {source.sha256: source.path for source in sources if str(source.kind) == "image"}
    if not pictures or not store.exists():
        return
    with store.reading() as connection:
        parts = find_part_photos(connection)
    reader = PhotoReader(store, find_known(store))
    kept = {} if again else reader.find_kept()
    due = [path for sha, path in pictures.items() if sha in parts and make_reading_id([sha]) not in kept]
    try:
        for start in range(0, len(due), _PHOTOS_AT_ONCE):
            tell(Progress(due[start].name, 0, 0, start, len(due)))
            report.photos += reader.read_each(due[start : start + _PHOTOS_AT_ONCE])
    except KeyboardInterrupt:
        report.interrupted = True
    report.failures.extend(reader.failures)


def _page_teller(source: Source, done: int, total: int, tell: OnProgress) -> Callable[[int, int], None]:
    return lambda page, pages: tell(Progress(source.name, page, pages, done, total))


def _keep(
    store: Store, source: Source, result: Reading | Fault, settings: IngestSettings, report: IngestReport
) -> None:
    """Keep one document's reading, or note why there is none."""
    if isinstance(result, Fault):
        _LOG.info("not read: %s", result.sentence())
        report.failures.append(result)
        return
    from ..schema.validation import validate_claims

    checked = validate_claims(result.claims)
    reading = replace(
        result, claims=tuple(checked.valid), held_back=(*result.held_back, *checked.held_back),
        reader=settings.reader_version or result.reader,
    )  # fmt: skip
    try:
        extension = store.keep_source(source.path, source.sha256)
        with store.writing() as connection:
            write_reading(connection, reading, extension)
    except StoreError:
        raise
    except CogledgerError as error:
        report.failures.append(error.fault)
        return
    _LOG.info("%s: %d claims, %d held back", source.name, len(reading.claims), len(reading.held_back))
    report.failed_pages.extend(reading.failed_pages)
    report.documents.append(
        DocumentResult(source.name, source.sha256, reading.pages, len(reading.claims), len(reading.held_back),
                       reading.seconds)
    )  # fmt: skip
