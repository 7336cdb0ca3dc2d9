"""A pack → its tables, batch by batch, each row checked before anyone sees it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

import polars as pl
import pyarrow as pa

from ...schema.validation import HeldBack, validate_frame
from .about import DESCRIPTOR, PackAbout, Resource, picture_name
from .container import Container, demand_listed, open_container
from .descriptor import parse_descriptor
from .fields import CLAIMS, DOCUMENTS, TABLES, WORDS, TableFields
from .files import count_rows, read_table
from .ids import IdChecker
from .pictures import read_picture
from .refusing import Place
from .rows import KnownDocuments, RowChecker
from .settings import PackSettings
from .words import check_words


@dataclass(frozen=True)
class ClaimBatch:
    """Some claims of a pack in its columns, and those that the schema holds back, by their row in the batch."""

    rows: pa.RecordBatch
    held_back: dict[int, HeldBack]


@dataclass(frozen=True)
class PackCounts:
    """How much a pack holds."""

    documents: int
    claims: int
    held_back: int
    words: int
    pictures: int


class Pack:
    """An open pack. Names, sizes and hashes of its files are checked; its rows are while they are read.

    Use it in a ``with`` block, which deletes what was unpacked. Every method raises ``DocumentError`` with the reason
    ``bad_pack`` as soon as something in the pack may not be there; whatever was taken from it until then must not be
    kept.
    """

    def __init__(
        self, name: str, container: Container, about: PackAbout, resources: dict[str, Resource], settings: PackSettings
    ) -> None:
        self.name = name
        self.about = about
        self.settings = settings
        self._container = container
        self._resources = resources
        self._known: KnownDocuments | None = None

    def __enter__(self) -> Pack:
        """The pack itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Delete what was unpacked."""
        self.close()

    def close(self) -> None:
        """Delete what was unpacked."""
        self._container.close()

    def documents(self) -> Iterator[pa.RecordBatch]:
        """The documents, ordered by hash."""
        known = KnownDocuments()
        for batch, _ in self._checked(DOCUMENTS):
            known.add(batch)
            yield batch
        self._known = known

    def claims(self) -> Iterator[ClaimBatch]:
        """The claims, ordered by document and position."""
        ids = IdChecker()
        rows = None
        for batch, rows in self._checked(CLAIMS):
            ids.check(batch, rows)
            yield ClaimBatch(batch, hold_back(batch))
        if rows:
            ids.demand_unique(rows)

    def words(self) -> Iterator[pa.RecordBatch]:
        """What people said, ordered by id."""
        for batch, rows in self._checked(WORDS):
            check_words(batch, rows)
            yield batch

    def pictures(self) -> Iterator[tuple[str, bytes]]:
        """Each picture of a place in a document, as PNG, with the id of its claim."""
        for name, resource in sorted(self._resources.items()):
            if name not in TABLES:
                place = Place(self.name, resource.path)
                yield name.rpartition("-")[2], read_picture(self._read(resource), place, self.settings)

    def check(self) -> PackCounts:
        """Read everything once and keep nothing; how much there is."""
        documents = sum(batch.num_rows for batch in self.documents())
        claims, held = 0, 0
        for batch in self.claims():
            claims, held = claims + batch.rows.num_rows, held + len(batch.held_back)
        words = sum(batch.num_rows for batch in self.words())
        pictures = sum(1 for _ in self.pictures())
        self.demand_pictures_of_claims()
        return PackCounts(documents, claims, held, words, pictures)

    def demand_pictures_of_claims(self) -> None:
        """Refuse a pack with a picture of what is no claim or word in it; no other check is made on the way."""
        wanted = {name.rpartition("-")[2] for name in self._resources if name not in TABLES}
        for table in (CLAIMS, WORDS):
            if wanted:
                resource = self._resources[table.name]
                path, place = self._container.folder / resource.path, Place(self.name, resource.path)
                for batch in read_table(path, table, place, self.settings.batch_rows):
                    wanted.difference_update(batch.column("claim_id").to_pylist())
        if wanted:
            path = self._resources[picture_name(min(wanted))].path
            Place(self.name, path).refuse("no claim of the pack has this id")

    def _checked(self, table: TableFields) -> Iterator[tuple[pa.RecordBatch, RowChecker]]:
        """The batches of a table with its checker; a batch is counted when the next one is asked for."""
        resource = self._resources[table.name]
        place = Place(self.name, resource.path)
        if table.within and self._known is None:
            for _ in self.documents():
                pass
        rows = RowChecker(table, place, self.settings)
        path = self._container.folder / resource.path
        for raw in read_table(path, table, place, self.settings.batch_rows):
            batch = rows.check(raw)
            if table.within and self._known and (at := self._known.find_unknown(batch)) >= 0:
                rows.refuse(at, "sha256", f"the document is not among those in {table.within}")
            yield batch, rows
            rows.count(batch)

    def _read(self, resource: Resource) -> bytes:
        return (self._container.folder / resource.path).read_bytes()


def open_pack(path: Path, settings: PackSettings | None = None, name: str | None = None) -> Pack:
    """Open a pack: a folder or a zip.

    :param name: what messages call the pack, its path where missing
    :raises DocumentError: it is not there, cannot be read, or holds what no pack may; the pack is refused whole
    """
    settings, name = settings or PackSettings(), name or str(path)
    container = open_container(path, settings)
    try:
        if DESCRIPTOR not in container.files:
            Place(name).refuse(f"it is no pack: there is no {DESCRIPTOR}")
        if container.files[DESCRIPTOR] > settings.most_descriptor_bytes:
            Place(name, DESCRIPTOR).refuse(f"it is larger than {settings.most_descriptor_bytes:,} bytes")
        told = parse_descriptor((container.folder / DESCRIPTOR).read_bytes(), name, settings)
        demand_listed(container, told.resources.values(), name)
        for table in TABLES.values():
            resource = told.resources[table.name]
            place = Place(name, resource.path)
            rows = count_rows(container.folder / resource.path, place)
            if rows is not None and rows > settings.most_rows(table.name):
                place.refuse(f"it has more than {settings.most_rows(table.name):,} rows")
        return Pack(name, container, told.about, told.resources, settings)
    except BaseException:
        container.close()
        raise


def hold_back(batch: pa.RecordBatch) -> dict[int, HeldBack]:
    """The claims of a batch that the schema holds back, by their row."""
    names = [name for name in CLAIMS.names if name not in ("claim_id", "sha256", "position", "reader")]
    frame = pl.from_arrow(batch.select(names))
    assert isinstance(frame, pl.DataFrame)
    return validate_frame(frame)
