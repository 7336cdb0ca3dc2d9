"""What photos of parts say, as the store keeps it: one row for each photo, or for each set of photos of one part."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from rapidfuzz import fuzz, process

from ..schema.errors import CallError
from ..schema.parts import code_key, part_label
from ..schema.reasons import Reason
from .claim_rows import dump
from .lookup import fits_words
from .store import Connection, rows_of

ID_MARK = "s"
"""The first sign of a reading's id; ids of claims are hexadecimal and never begin so."""
_ID_LENGTH = 16
_SHORTEST_BEGINNING = 6


@dataclass(frozen=True)
class StampRow:
    """One reading as kept.

    ``record`` is the reading's object in the JSON of ``stamp``, ``place`` its line (x, y, length, height, angle, bend),
    ``sha256`` the photo that both are on, ``photos`` the name and hash of each photo that took part, ``codes`` stands
    for the list of codes that it was weighed against.
    """

    reading_id: str
    sha256: str
    record: dict[str, Any]
    place: tuple[float, ...] | None
    photos: tuple[tuple[str, str], ...]
    codes: str
    reader: str
    read_at: datetime | None = None

    def as_json(self) -> dict[str, Any]:
        """The object that ``photos --json`` lists."""
        return self.record | {
            "reading_id": self.reading_id, "reader": self.reader, "read_at": f"{self.read_at:%Y-%m-%dT%H:%M:%SZ}",
            "photos": [{"file": name, "sha256": sha} for name, sha in self.photos],
        }  # fmt: skip


def make_reading_id(hashes: Iterable[str]) -> str:
    """A stable id for what one photo, or several of one part, say; it depends on their contents alone."""
    stem = "stamp " + " ".join(sorted(set(hashes)))
    return ID_MARK + hashlib.sha256(stem.encode()).hexdigest()[: _ID_LENGTH - 1]


def make_codes_mark(codes: Iterable[str]) -> str:
    """A mark that is equal for equal lists of codes."""
    keys = sorted({code_key(code) for code in codes})
    return hashlib.sha256("\n".join(keys).encode()).hexdigest()[:16]


def write_stamps(connection: Connection, rows: Sequence[StampRow]) -> None:
    """Put readings in place of former ones of the same photos, inside the caller's transaction."""
    now = datetime.now(UTC).replace(tzinfo=None)
    for row in {row.reading_id: row for row in rows}.values():
        photos = [{"file": name, "sha256": sha} for name, sha in row.photos]
        connection.execute("delete from kept.stamps where reading_id = ?", [row.reading_id])
        connection.execute(
            "insert into kept.stamps values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [row.reading_id, row.sha256, code_key(row.record.get("code")), dump(row.record),
             dump(row.place) if row.place else None, dump(photos), row.codes, row.reader, row.read_at or now],
        )  # fmt: skip


def tell_stamps(connection: Connection, where: str = "true", parameters: Sequence[Any] = ()) -> list[StampRow]:
    """The readings that satisfy an SQL condition on ``kept.stamps``, by the names of their photos."""
    sql = f"select * from kept.stamps where {where} order by record::json ->> 'file', reading_id"
    return [_as_row(row) for row in rows_of(connection, sql, list(parameters))]


def _as_row(row: dict[str, Any]) -> StampRow:
    photos = tuple((photo["file"], photo["sha256"]) for photo in json.loads(row["photos"]))
    place = tuple(json.loads(row["place"])) if row["place"] else None
    return StampRow(
        row["reading_id"], row["sha256"], json.loads(row["record"]), place, photos, row["codes"], row["reader"],
        row["read_at"],
    )  # fmt: skip


def list_stamps(connection: Connection, words: Sequence[str] = ()) -> list[StampRow]:
    """Every reading that all words fit: code, variant, name of a photo, id."""
    return [row for row in tell_stamps(connection) if not words or fits_words(words, _named(row))]


def _named(row: StampRow) -> list[str]:
    code, variant = row.record.get("code"), row.record.get("variant")
    names = [code, variant, row.reading_id, *(name for name, _ in row.photos)]
    return [name for name in (*names, part_label(code or "", variant)) if name]


def find_stamp(connection: Connection, reading_id: str) -> StampRow:
    """The reading with this id, or with an id that begins so and no other does.

    :raises CallError: there is no such reading; the nearest ids are named
    """
    asked = reading_id.strip().lower()
    found = tell_stamps(connection, "reading_id = ?", [asked])
    if not found and len(asked) >= _SHORTEST_BEGINNING:
        found = tell_stamps(connection, "starts_with(reading_id, ?)", [asked])
    if len(found) == 1:
        return found[0]
    known = [row[0] for row in connection.execute("select reading_id from kept.stamps").fetchall()]
    near = [row.reading_id for row in found[:3]]
    near = near or [name for name, *_ in process.extract(asked, known, scorer=fuzz.ratio, limit=3, score_cutoff=50)]
    advice = (
        f"did you mean {', '.join(near)}? " if near else ""
    ) + "list the photos that are kept with: cogledger photos"
    message = f"the store keeps no reading of a photo {reading_id!r}"
    raise CallError(Reason.UNKNOWN_CLAIM, message, advice=advice)


def is_stamp_id(asked: str) -> bool:
    """Whether an id is one of a reading of a photo and not of a claim."""
    return asked.strip().lower().startswith(ID_MARK)


def note_part_photos(connection: Connection, found: Mapping[str, bool]) -> None:
    """Remember for each document whether it is a photo of a part."""
    where = "sha256 in (select unnest(?::varchar[]))"
    connection.execute(f"delete from kept.part_photos where {where}", [list(found)])
    for sha256 in [sha256 for sha256, is_part in found.items() if is_part]:
        connection.execute("insert into kept.part_photos values (?)", [sha256])


def find_part_photos(connection: Connection) -> set[str]:
    """The hashes of all documents that are photos of parts."""
    return {row[0] for row in connection.execute("select sha256 from kept.part_photos").fetchall()}
