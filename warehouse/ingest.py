"""Files and folders → the store: skip what is unchanged, read in worker processes, keep each document as it is done."""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .cluster import ClusterCrew, is_address
from .incremental import find_change
from .keeping import IngestReport, IngestSettings, Keeper
from .photos import PhotoReader, find_known
from .stamps import find_part_photos, make_reading_id
from .store import Store
from .worker import Crew, read_one

if TYPE_CHECKING:
    from ..extract.records import Source

_LOG = logging.getLogger(__name__)
_PHOTOS_AT_ONCE = 8
"""So many photos of parts are kept in one transaction."""


@dataclass(frozen=True)
class Progress:
    """How far reading is: the document at hand, its page, and how many documents are done of how many."""

    document: str
    page: int
    pages: int
    done: int
    total: int


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
    keeper = Keeper(store, settings, report)
    try:
        for source, result in results:
            keeper.take(source, result)
    except KeyboardInterrupt:
        report.interrupted = True
    finally:
        results.close()
    keeper.keep()
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
