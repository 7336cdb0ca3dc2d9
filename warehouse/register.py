"""Readings → rows, rows → claims: what the documents say, as the store keeps it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pyarrow as pa
from rapidfuzz import fuzz, process

from ..schema.claims import Claim, State, claim_from_json, claim_ids
from ..schema.errors import CallError
from ..schema.parts import code_key, variant_key
from ..schema.reasons import Reason
from .settled import insert_rows, settle, tidy_record
from .stamps import note_part_photo
from .store import Connection, rows_of

if TYPE_CHECKING:
    from ..extract.records import Reading

_CLAIM_COLUMNS = {
    "claim_id": pa.string(), "sha256": pa.string(), "position": pa.int32(), "state": pa.string(),
    "part_kind": pa.string(), "code_key": pa.string(), "variant_key": pa.string(), "limit_key": pa.string(),
    "record": pa.string(), "reasons": pa.string(), "reader": pa.string(),
}  # fmt: skip
_FAULT_COLUMNS = {name: pa.string() for name in ("sha256", "reason", "message", "file", "where", "advice")}

_TOLD = """
select c.claim_id, coalesce(j.verdict, c.state) as state, c.record, j.correction, c.reasons, c.sha256, d.name, d.kind,
       j.judged_by, j.judged_at, j.note
from kept.claims c join kept.documents d using (sha256) left join kept.last_judgements j using (claim_id)
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

    @property
    def claim(self) -> Claim:
        """The claim; fields of a wrong type in a held-back record are left blank."""
        return claim_from_json(tidy_record(self.record))

    def as_json(self) -> dict[str, Any]:
        """The claim's fields with id and state, and what else is known of it."""
        told: dict[str, Any] = {"claim_id": self.claim_id, "state": str(self.state)} | self.record
        told["document_sha256"] = self.document_sha256
        if self.reasons:
            told["reasons"] = list(self.reasons)
        if self.judged_by:
            told |= {"judged_by": self.judged_by, "note": self.note,
                     "judged_at": f"{self.judged_at:%Y-%m-%dT%H:%M:%SZ}"}  # fmt: skip
        if self.state is State.CORRECTED:
            told["read_as"] = {name: self.reading.get(name) for name in ("low", "high", "values", "text", "unit")}
        return told


def find_reader_versions(connection: Connection) -> dict[str, str]:
    """The reader's version with which each document was read, by the document's hash."""
    return dict(connection.execute("select sha256, reader from kept.documents").fetchall())


def note_path(connection: Connection, sha256: str, name: str, path: str) -> None:
    """Remember that a document was seen at this path."""
    connection.execute("delete from kept.document_paths where sha256 = ? and path = ?", [sha256, path])
    connection.execute("insert into kept.document_paths values (?, ?, ?)", [sha256, name, path])


def find_paths(connection: Connection) -> set[tuple[str, str]]:
    """Every hash and path at which a document was seen."""
    return {(row[0], row[1]) for row in connection.execute("select sha256, path from kept.document_paths").fetchall()}


def write_reading(connection: Connection, reading: Reading, extension: str, read_at: datetime | None = None) -> None:
    """Put one document's reading in place of its former one, inside the caller's transaction.

    Former readings that a person has judged stay, so that no later reader overrides or loses a person's word.
    """
    source = reading.source
    rows = _claim_rows(connection, reading)
    ids = [row["claim_id"] for row in rows]
    old = connection.execute("select distinct code_key from kept.claims where sha256 = ?", [source.sha256]).fetchall()
    connection.execute("delete from kept.documents where sha256 = ?", [source.sha256])
    connection.execute(
        "insert into kept.documents values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [source.sha256, source.name, extension, str(source.kind), source.size, reading.pages, reading.reader,
         reading.seconds, read_at or datetime.now(UTC).replace(tzinfo=None)],
    )  # fmt: skip
    note_path(connection, source.sha256, source.name, str(source.path))
    note_part_photo(connection, source.sha256, reading.part_photo)
    connection.execute("delete from kept.failed_pages where sha256 = ?", [source.sha256])
    faults = [fault.as_json() | {"sha256": source.sha256} for fault in reading.failed_pages]
    insert_rows(connection, "kept.failed_pages", _FAULT_COLUMNS, faults)
    connection.execute(
        "delete from kept.claims where sha256 = ? and (claim_id not in (select claim_id from kept.judgements)"
        " or claim_id in (select unnest(?::varchar[])))",
        [source.sha256, ids],
    )
    insert_rows(connection, "kept.claims", _CLAIM_COLUMNS, rows)
    settle(connection, {row[0] for row in old} | {row["code_key"] for row in rows})


def _claim_rows(connection: Connection, reading: Reading) -> list[dict[str, Any]]:
    """The rows of one document: valid claims first, so that their ids never depend on what is held back."""
    held = [claim_from_json(tidy_record(h.record)) for h in reading.held_back]
    ids = claim_ids(reading.source.sha256, [*reading.claims, *held])
    corrections = {
        row["claim_id"]: claim_from_json(json.loads(row["correction"]))
        for row in rows_of(
            connection,
            "select claim_id, correction from kept.last_judgements where sha256 = ? and correction is not null",
            [reading.source.sha256],
        )
    }
    rows = []
    told = [(claim, None) for claim in reading.claims] + list(zip(held, reading.held_back, strict=True))
    for position, (claim_id, (claim, held_back)) in enumerate(zip(ids, told, strict=True)):
        speaks_of = corrections.get(claim_id, claim)
        rows.append({
            "claim_id": claim_id, "sha256": reading.source.sha256, "position": position,
            "state": str(State.HELD_BACK if held_back else State.READ),
            "part_kind": speaks_of.part_kind, "code_key": code_key(speaks_of.part_code),
            "variant_key": variant_key(speaks_of.variant), "limit_key": speaks_of.limit,
            "record": _dump(held_back.record if held_back else claim.as_json()),
            "reasons": _dump([o.as_json() for o in held_back.objections]) if held_back else None,
            "reader": reading.reader,
        })  # fmt: skip
    return rows


def _dump(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, default=str)


def tell_claims(connection: Connection, where: str = "true", parameters: Sequence[Any] = ()) -> list[ToldClaim]:
    """The claims that satisfy an SQL condition on ``kept.claims c``, in the order of the documents."""
    sql = f"{_TOLD} where {where} order by d.name, c.sha256, c.position"
    return [_told(row) for row in rows_of(connection, sql, list(parameters))]


def _told(row: dict[str, Any]) -> ToldClaim:
    reading = json.loads(row["record"]) | {"document": row["name"]}
    record = json.loads(row["correction"]) | {"document": row["name"]} if row["correction"] else reading
    state = State(row["state"])
    reasons = tuple(json.loads(row["reasons"])) if row["reasons"] and state is State.HELD_BACK else ()
    return ToldClaim(
        row["claim_id"], state, record, row["sha256"], row["kind"], reading, reasons, row["judged_by"],
        row["judged_at"], row["note"],
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
