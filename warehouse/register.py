"""Readings → rows, rows → claims: what the documents say, as the store keeps it."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pyarrow as pa
from rapidfuzz import fuzz, process

from ..schema.claims import Claim, State, claim_ids
from ..schema.errors import CallError
from ..schema.reasons import Reason
from .claim_rows import CLAIM_COLUMNS, as_row, claim_of, dump, insert_rows, keys_of, record_of, tidy_claim
from .marks import MARKED, make_mark
from .order import note_disorder
from .same_statement import FormerReading, keep_ids
from .settled import settle
from .stamps import note_part_photos
from .store import Connection, rows_of

if TYPE_CHECKING:
    from ..extract.records import Reading
    from ..schema.validation import HeldBack

_DOCUMENT_COLUMNS = {
    "sha256": pa.string(), "name": pa.string(), "extension": pa.string(), "kind": pa.string(), "size": pa.int64(),
    "pages": pa.int32(), "reader": pa.string(), "seconds": pa.float64(), "read_at": pa.timestamp("us"),
    "dated": pa.timestamp("us"), "mark": pa.string(),
}  # fmt: skip
_FAULT_COLUMNS = {name: pa.string() for name in ("sha256", "reason", "message", "file", "where", "advice")}

AFTER_ALL = 1_000_000_000
"""The position of a claim that only a person's word keeps, behind all of its document."""

_TOLD = """
select c.*, coalesce(j.verdict, c.state) as verdict, j.correction, d.name, d.kind, d.origin, j.judged_by, j.judged_at,
       j.note, j.origin as judged_in, o.verdict as others_verdict, o.correction as others_correction,
       o.judged_by as others_by, o.origin as others_origin, o.note as others_note
from kept.claims c join kept.documents d using (sha256) left join kept.last_judgements j using (claim_id)
left join kept.others_words o on o.claim_id = c.claim_id
"""


@dataclass(frozen=True)
class ToldClaim:
    """One claim as the store tells it: the reading, a person's word on it, why it is held back, and its document."""

    claim_id: str
    state: State
    record: dict[str, Any]
    document_sha256: str
    document_kind: str
    reading: dict[str, Any]
    reasons: tuple[dict[str, Any], ...] = ()
    judged_by: str | None = None
    judged_at: datetime | None = None
    note: str | None = None
    shared_by: str | None = None
    """Who shared the document's reading; ``None`` where this store read it itself."""
    judged_in: str | None = None
    """Who shared the word on it; ``None`` for a word said in this store."""
    others_say: dict[str, Any] | None = None
    """The last word of somebody else on a reading of this store's own, which does not hold here."""

    @property
    def claim(self) -> Claim:
        """The claim; fields of a wrong type in a held-back record are left blank."""
        return tidy_claim(self.record)

    def as_json(self) -> dict[str, Any]:
        """The claim's fields with id and state, and what else is known of it."""
        told: dict[str, Any] = {"claim_id": self.claim_id, "state": str(self.state)} | self.record
        told["document_sha256"] = self.document_sha256
        if self.reasons:
            told["reasons"] = list(self.reasons)
        if self.judged_by:
            told |= {"judged_by": self.judged_by, "note": self.note,
                     "judged_at": f"{self.judged_at:%Y-%m-%dT%H:%M:%SZ}"}  # fmt: skip
        more = {"shared_by": self.shared_by, "judged_in": self.judged_in, "others_say": self.others_say}
        told |= {name: value for name, value in more.items() if value is not None}
        if self.state is State.CORRECTED:
            told["read_as"] = {name: self.reading.get(name) for name in ("low", "high", "values", "text", "unit")}
        return told


def find_reader_versions(connection: Connection) -> dict[str, str]:
    """The reader's version with which each document was read, by the document's hash."""
    return dict(connection.execute("select sha256, reader from kept.documents").fetchall())


def note_paths(connection: Connection, seen: Sequence[tuple[str, str, str]]) -> None:
    """Remember hash, name and path of documents that were seen; what else was seen there is there no more."""
    if not seen:
        return
    rows = [{"sha256": sha, "name": name, "path": path} for sha, name, path in dict.fromkeys(seen)]
    paths = [row["path"] for row in rows]
    keys = [f"{row['sha256']} {row['path']}" for row in rows]
    connection.execute(
        "delete from kept.document_paths where path in (select unnest(?::varchar[]))"
        " and sha256 || ' ' || path in (select unnest(?::varchar[]))",
        [paths, keys],
    )
    note_gone(connection, paths)
    insert_rows(connection, "kept.document_paths", {name: pa.string() for name in ("sha256", "name", "path")}, rows)


def forget_paths(connection: Connection, known: Sequence[tuple[str, str]]) -> None:
    """Forget hashes at paths that were noted from some folder and are noted from the root now."""
    for sha256, path in known:
        connection.execute("delete from kept.document_paths where sha256 = ? and path = ?", [sha256, path])


def note_gone(connection: Connection, paths: Sequence[str]) -> None:
    """Remember that these paths hold no document any more."""
    where = "gone_at is null and path in (select unnest(?::varchar[]))"
    connection.execute(f"update kept.document_paths set gone_at = ? where {where}", [_now(), list(paths)])


def find_paths(connection: Connection) -> set[tuple[str, str]]:
    """Every hash and path at which a document is, as far as is known."""
    sql = "select sha256, path from kept.document_paths where gone_at is null"
    return {(row[0], row[1]) for row in connection.execute(sql).fetchall()}


def write_reading(
    connection: Connection,
    reading: Reading,
    extension: str,
    read_at: datetime | None = None,
) -> None:
    """Put one document's reading in place of its former one, inside the caller's transaction.

    Former readings that a person has judged stay, so that no later reader overrides or loses a person's word.
    """
    write_readings(connection, [(reading, extension)], read_at)


def write_readings(
    connection: Connection, readings: Sequence[tuple[Reading, str]], read_at: datetime | None = None
) -> None:
    """Put readings of different documents, each with its file's extension, in place of former ones, all together."""
    hashes = [reading.source.sha256 for reading, _ in readings]
    known = connection.execute(
        "select sha256 from kept.documents where sha256 in (select unnest(?::varchar[]))", [hashes]
    ).fetchall()
    documents, faults, claims = [], [], []
    touched: set[str] = set()
    spoken: list[str] = []
    for reading, extension in readings:
        sha256 = reading.source.sha256
        former = _former_readings(connection, sha256)
        rows = _claim_rows(reading, former)
        if (sha256,) in known:
            touched.update(_remove_reading(connection, sha256, [row["claim_id"] for row in rows]))
        documents.append(_document_row(reading, extension, read_at or _now(), mark_of(rows)))
        faults += [fault.as_json() | {"sha256": sha256} for fault in reading.failed_pages]
        claims += rows
        spoken += [sha256] if former else []
    insert_rows(connection, "kept.documents", _DOCUMENT_COLUMNS, documents)
    paths = [(r.source.sha256, r.source.name, os.path.abspath(r.source.path)) for r, _ in readings]  # noqa: PTH100
    note_paths(connection, paths)
    note_part_photos(connection, {reading.source.sha256: reading.part_photo for reading, _ in readings})
    insert_rows(connection, "kept.failed_pages", _FAULT_COLUMNS, faults)
    insert_rows(connection, "kept.claims", CLAIM_COLUMNS, claims)
    note_disorder(connection, len(claims))
    touched.update(restore_judged(connection, spoken) if spoken else [])
    settle(connection, touched | {row["code_key"] for row in claims})


def _document_row(reading: Reading, extension: str, read_at: datetime, mark: str | None) -> dict[str, Any]:
    source = reading.source
    return {
        "sha256": source.sha256, "name": source.name, "extension": extension, "kind": str(source.kind),
        "size": source.size, "pages": reading.pages, "reader": reading.reader, "seconds": reading.seconds,
        "read_at": read_at, "dated": reading.dated, "mark": mark,
    }  # fmt: skip


def _remove_reading(connection: Connection, sha256: str, ids: Sequence[str]) -> list[str]:
    """Take a document's former reading away, but for judged claims that the new one lacks; the codes it spoke of."""
    old = connection.execute("select distinct code_key from kept.claims where sha256 = ?", [sha256]).fetchall()
    for table in ("documents", "failed_pages"):
        connection.execute(f"delete from kept.{table} where sha256 = ?", [sha256])
    connection.execute(
        "delete from kept.claims where sha256 = ? and (claim_id not in (select claim_id from kept.judgements)"
        " or claim_id in (select unnest(?::varchar[])))",
        [sha256, list(ids)],
    )
    return [row[0] for row in old]


def mark_of(rows: Iterable[Mapping[str, Any]]) -> str | None:
    """A mark that is equal for documents that say word for word the same; ``None`` where nothing is said."""
    return make_mark(dump([row[name] for name in MARKED]) for row in rows if row["state"] == State.READ)


def _former_readings(connection: Connection, sha256: str) -> list[FormerReading]:
    """What a document said before, where a person spoke on any of it: the judged claims first, as they read then."""
    judged = connection.execute(
        "select distinct claim_id, snapshot from kept.judgements where sha256 = ?", [sha256]
    ).fetchall()
    if not judged:
        return []
    told = [FormerReading(claim_id, tidy_claim(json.loads(snapshot))) for claim_id, snapshot in judged]
    rows = rows_of(connection, "select * from kept.claims where sha256 = ? order by position", [sha256])
    return [*told, *(FormerReading(row["claim_id"], claim_of(row, "")) for row in rows)]


def _claim_rows(reading: Reading, former: Sequence[FormerReading]) -> list[dict[str, Any]]:
    """The rows of one document: valid claims first, so that their ids never depend on what is held back."""
    held = [tidy_claim(h.record) for h in reading.held_back]
    claims = [*reading.claims, *held]
    sha256 = reading.source.sha256
    ids = keep_ids(sha256, claim_ids(sha256, claims), claims, former)
    told = [(claim, None) for claim in reading.claims] + list(zip(held, reading.held_back, strict=True))
    return [
        as_row(claim_id, reading.source.sha256, position, claim, reading.reader, held_back)
        for position, (claim_id, (claim, held_back)) in enumerate(zip(ids, told, strict=True))
    ]


def restore_judged(connection: Connection, hashes: Sequence[str]) -> list[str]:
    """Make the claims that a person judged whole again: a row for each, found by what the word on it says.

    A judged claim that the document's present reading lacks is made anew from how it read when it was judged. A
    corrected one is kept under the code that the correction names. Gives the codes that were touched.
    """
    sql = """
        select j.claim_id, j.sha256, j.snapshot, l.correction, c.code_key, c.variant_key, c.record, c.part_code,
               c.variant, c.claim_id is null as lost
        from (select claim_id, sha256, first(snapshot order by judged_at, judgement_id) as snapshot
              from kept.judgements where sha256 in (select unnest(?::varchar[])) group by all) j
        join kept.documents d using (sha256)
        left join kept.claims c using (claim_id) left join kept.last_judgements l using (claim_id)
    """
    touched: set[str] = set()
    lost: list[dict[str, Any]] = []
    for row in rows_of(connection, sql, [list(hashes)]):
        told = json.loads(row["correction"] or row["snapshot"])
        keys = keys_of(told.get("part_code"), told.get("variant"))
        if row["lost"]:
            lost.append(_lost_row(row) | keys)
        elif (row["code_key"], row["variant_key"]) != (keys["code_key"], keys["variant_key"]):
            touched.add(row["code_key"])
            connection.execute(
                "update kept.claims set family = ?, code_key = ?, variant_key = ? where claim_id = ?",
                [keys["family"], keys["code_key"], keys["variant_key"], row["claim_id"]],
            )
        touched.add(keys["code_key"])
    insert_rows(connection, "kept.claims", CLAIM_COLUMNS, lost)
    return sorted(touched)


def _lost_row(row: Mapping[str, Any]) -> dict[str, Any]:
    from ..schema.validation import validate_records

    snapshot = json.loads(row["snapshot"])
    reader = str(snapshot.pop("reader", ""))
    checked = validate_records([snapshot])
    held: HeldBack | None = next(iter(checked.held_back), None)
    return as_row(row["claim_id"], row["sha256"], AFTER_ALL, tidy_claim(snapshot), reader, held)


def _now() -> datetime:
    return datetime.now(UTC).replace(tzinfo=None)


def tell_claims(connection: Connection, where: str = "true", parameters: Sequence[Any] = ()) -> list[ToldClaim]:
    """The claims that satisfy an SQL condition on ``kept.claims c``, in the order of the documents."""
    sql = f"{_TOLD} where {where} order by d.name, c.sha256, c.position"
    return [_told(row) for row in rows_of(connection, sql, list(parameters))]


def _told(row: dict[str, Any]) -> ToldClaim:
    reading = record_of(row, row["name"])
    record = json.loads(row["correction"]) | {"document": row["name"]} if row["correction"] else reading
    state = State(row["verdict"])
    reasons = tuple(json.loads(row["reasons"])) if row["reasons"] and state is State.HELD_BACK else ()
    others = None
    if row["others_verdict"]:
        others = {"verdict": row["others_verdict"], "by": row["others_by"], "shared_by": row["others_origin"],
                  "note": row["others_note"]}  # fmt: skip
        if row["others_correction"]:
            said = json.loads(row["others_correction"])
            others |= {name: said.get(name) for name in ("part_code", "variant", "low", "high", "values", "text")}
    return ToldClaim(
        row["claim_id"], state, record, row["sha256"], row["kind"], reading, reasons, row["judged_by"],
        row["judged_at"], row["note"], row["origin"], row["judged_in"], others,
    )  # fmt: skip


def find_claim(connection: Connection, claim_id: str) -> ToldClaim:
    """The claim with this id, or with an id that begins so and no other does.

    :raises CallError: there is no such claim; the nearest ids are named
    """
    asked = claim_id.strip().lower()
    found = tell_claims(connection, "c.claim_id = ?", [asked])
    if not found and len(asked) >= 6:
        found = tell_claims(connection, "starts_with(c.claim_id, ?)", [asked])
    if len(found) == 1:
        return found[0]
    known = [row[0] for row in connection.execute("select claim_id from kept.claims").fetchall()]
    near = [told.claim_id for told in found[:3]] or _nearest(asked, known)
    advice = f"did you mean {', '.join(near)}? List claim ids with: cogledger claims --jsonl" if near else None
    raise CallError(Reason.UNKNOWN_CLAIM, f"the store has no claim {claim_id!r}", advice=advice)


def _nearest(asked: str, known: Sequence[str]) -> list[str]:
    return [name for name, *_ in process.extract(asked, known, scorer=fuzz.ratio, limit=3, score_cutoff=50)]
