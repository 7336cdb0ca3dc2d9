"""Photos of parts → the codes stamped on them, weighed against the codes that the store knows, and kept in it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import astuple, dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..schema.claims import Box
from ..schema.errors import CallError, CogledgerError, DocumentError, Fault, InstallationError, StoreError
from ..schema.reasons import Reason
from .lookup import StoreParts
from .stamps import StampRow, list_stamps, make_codes_mark, make_reading_id, tell_stamps, write_stamps
from .store import Store

if TYPE_CHECKING:
    from ..extract.records import StampReading

_BLOCK = 1 << 20


@dataclass(frozen=True)
class StampReport:
    """What the photos say, and which of them could not be used or kept."""

    photos: tuple[StampReading, ...]
    failures: tuple[Fault, ...]

    def as_json(self) -> dict[str, Any]:
        """The JSON answer of ``stamp``."""
        report: dict[str, Any] = {"photos": [stamp_as_json(reading) for reading in self.photos]}
        if self.failures:
            report["failures"] = [fault.as_json() for fault in self.failures]
        return report


@dataclass(frozen=True)
class _Photo:
    """A photo that can be opened, and its contents' SHA-256."""

    path: Path
    sha256: str


@dataclass(frozen=True)
class _Told:
    """A reading with the photos it comes from; ``kept`` where the store has it already."""

    reading: StampReading
    photos: tuple[_Photo, ...]
    kept: bool = False

    @property
    def reading_id(self) -> str:
        return make_reading_id(photo.sha256 for photo in self.photos)


@dataclass
class PhotoReader:
    """Reads photos for one store. Codes are looked up once, and what is read is kept where the store exists.

    A photo that cannot be used is a fault in ``failures`` and never stops the others.
    """

    store: Store
    known: tuple[str, ...]
    failures: list[Fault] = field(default_factory=list)

    @cached_property
    def mark(self) -> str:
        """Stands for the codes that photos are weighed against."""
        return make_codes_mark(self.known)

    def read_each(self, photos: Sequence[Path], reuse: bool = False) -> list[StampReading]:
        """What each photo shows; with ``reuse`` a kept reading stands where this version read it by the same codes.

        Where somebody interrupts it, what was read by then is kept.
        """
        kept = self.find_kept() if reuse else {}
        told: list[_Told] = []
        try:
            for path in photos:
                photo = self._open(path)
                if photo is None:
                    continue
                if row := kept.get(make_reading_id([photo.sha256])):
                    told.append(_Told(replace(as_reading(row), file=path.name), (photo,), kept=True))
                elif reading := self._read([photo]):
                    told.append(_Told(reading, (photo,)))
        except KeyboardInterrupt:
            self._keep(told)
            raise
        return self._keep(told)

    def read_together(self, photos: Sequence[Path]) -> list[StampReading]:
        """What several photos of one part show together: one reading, or none where no photo can be used."""
        usable = [photo for path in photos if (photo := self._open(path))]
        while usable:
            before = len(self.failures)
            if reading := self._read(usable, same_part=True):
                reading = replace(reading, files=reading.files or tuple(photo.path.name for photo in usable))
                return self._keep([_Told(reading, tuple(usable))])
            bad = {fault.file for fault in self.failures[before:]}
            left = [photo for photo in usable if photo.path.name not in bad]
            usable = left if len(left) < len(usable) else []
        return []

    def _read(self, photos: Sequence[_Photo], same_part: bool = False) -> StampReading | None:
        """The one reading of a photo or of several together; a fault is noted."""
        from ..extract.stamps import read_photos

        name = ", ".join(photo.path.name for photo in photos)
        try:
            return next(iter(read_photos([photo.path for photo in photos], self.known, same_part=same_part)), None)
        except InstallationError:
            raise
        except CogledgerError as error:
            self.failures.append(error.fault)
        except MemoryError:
            self.failures.append(Fault(Reason.TOO_LARGE, "there was not enough memory to read it", name))
        except Exception as error:
            message = f"it could not be read ({type(error).__name__}: {error})"
            advice = "the other photos were read; try again with a smaller picture"
            self.failures.append(Fault(Reason.NOT_READABLE, message, file=name, advice=advice))
        return None

    def _open(self, path: Path) -> _Photo | None:
        """The photo with its hash; ``None``, and a fault, where it is no picture that can be opened."""
        from ..extract.photos import read_size

        try:
            read_size(path)
            digest = hashlib.sha256()
            with path.open("rb") as file:
                while block := file.read(_BLOCK):
                    digest.update(block)
        except DocumentError as error:
            self.failures.append(error.fault)
        except OSError as error:
            message = f"the file cannot be read ({error.strerror})"
            self.failures.append(Fault(Reason.NOT_READABLE, message, file=path.name))
        else:
            return _Photo(path, digest.hexdigest())
        return None

    def find_kept(self) -> dict[str, StampRow]:
        """The readings that the store keeps by this version and these codes, by id."""
        from ..extract.stamps import STAMP_READER

        if not self.store.exists():
            return {}
        with self.store.reading() as connection:
            rows = tell_stamps(connection, "reader = ? and codes = ?", [STAMP_READER, self.mark])
        return {row.reading_id: row for row in rows}

    def _keep(self, told: Sequence[_Told]) -> list[StampReading]:
        """Keep photos and readings where there is a store; the readings, with ids where they are kept."""
        from ..extract.stamps import STAMP_READER

        if not self.store.exists():
            return [one.reading for one in told]
        rows = [row for one in told if not one.kept and (row := self._make_row(one, STAMP_READER))]
        try:
            if rows:
                with self.store.writing() as connection:
                    write_stamps(connection, rows)
        except StoreError as error:
            self.failures.append(error.fault)
            rows = []
        ids = {row.reading_id for row in rows}
        return [
            replace(one.reading, reading_id=one.reading_id) if one.reading_id in ids else one.reading for one in told
        ]

    def _make_row(self, told: _Told, version: str) -> StampRow | None:
        """The row of a new reading, its photos copied into the store; ``None``, and a fault, where one is gone."""
        try:
            for photo in told.photos:
                self.store.keep_source(photo.path, photo.sha256)
        except CogledgerError as error:
            self.failures.append(error.fault)
            return None
        reading = told.reading
        on = next((photo for photo in told.photos if photo.path.name == reading.file), told.photos[0])
        return StampRow(
            told.reading_id, on.sha256, stamp_as_json(replace(reading, reading_id=told.reading_id)),
            astuple(reading.place) if reading.place else None,
            tuple((photo.path.name, photo.sha256) for photo in told.photos), self.mark, version,
        )  # fmt: skip


def read_stamps(
    store: Store, photos: Sequence[Path], codes: Path | None = None, same_part: bool = False
) -> StampReport:
    """What is stamped on the parts in the photos; a photo that cannot be used does not stop the others.

    Photos and readings are kept where the store exists; without one nothing is written.

    :param codes: a file of further known codes, one a line
    :param same_part: all photos show one part and give one answer
    """
    if not photos:
        raise CallError(Reason.BAD_CALL, "no photo was named", advice="name one or more photos")
    reader = PhotoReader(store, find_known(store, codes))
    readings = reader.read_together(photos) if same_part else reader.read_each(photos)
    return StampReport(tuple(readings), tuple(reader.failures))


def list_photos(store: Store, words: Sequence[str] = ()) -> list[StampRow]:
    """Every reading of a photo that the store keeps and that all words fit."""
    with store.reading() as connection:
        return list_stamps(connection, words)


def find_known(store: Store, codes: Path | None = None) -> tuple[str, ...]:
    """Every code that the store knows, and those of a list."""
    return (*StoreParts(store).codes(), *(read_codes(codes) if codes else ()))


def read_codes(path: Path) -> tuple[str, ...]:
    """The codes in a text file, one a line; blank lines and lines that begin with # are passed over.

    :raises CallError: the file cannot be read as text
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except OSError as error:
        raise CallError(
            Reason.NOT_READABLE, f"the list of codes cannot be read ({error.strerror})", file=str(path)
        ) from None
    except UnicodeDecodeError:
        raise CallError(
            Reason.WRONG_TYPE, "the list of codes is no text in UTF-8", file=str(path), advice="save it as UTF-8"
        ) from None
    return tuple(line.strip() for line in lines if line.strip() and not line.lstrip().startswith("#"))


def stamp_as_json(reading: StampReading) -> dict[str, Any]:
    """One photo's object in the JSON answer of ``stamp``; the box is in pixels."""
    told = {
        "file": reading.file, "code": reading.code, "variant": reading.variant, "teeth": list(reading.teeth),
        "confidence": round(reading.confidence, 4),
        "candidates": [
            {"code": c.code, "variant": c.variant, "confidence": round(c.confidence, 4), "known": c.known}
            for c in reading.candidates
        ],
        "bbox": _pixels(reading.bbox), "advice": reading.advice,
        "teeth_confidence": None if reading.teeth_confidence is None else round(reading.teeth_confidence, 4),
        "reading_id": reading.reading_id,
    }  # fmt: skip
    return told | {"files": list(reading.files)} if reading.files else told


def as_reading(row: StampRow) -> StampReading:
    """A kept reading as the reader gave it."""
    from ..extract.records import SignPlace, StampCandidate, StampReading

    told = row.record
    candidates = tuple(StampCandidate(**candidate) for candidate in told["candidates"])
    box = Box(*told["bbox"]) if told["bbox"] else None
    return StampReading(
        told["file"], told["code"], told["variant"], tuple(told["teeth"]), told["confidence"], candidates, box,
        told["advice"], SignPlace(*row.place) if row.place else None, told.get("teeth_confidence"),
        tuple(told.get("files", ())), row.reading_id,
    )  # fmt: skip


def _pixels(box: Box | None) -> list[int] | None:
    return [round(v) for v in (box.x0, box.top, box.x1, box.bottom)] if box else None
