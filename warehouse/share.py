"""A store → a pack for other people's stores: whole readings of documents, and what people said of them."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa

from ..schema.errors import CallError, CogledgerError
from ..schema.limits import PartKind
from ..schema.parts import squash
from ..schema.reasons import Reason
from .packs import CLAIMS, DOCUMENTS, WORDS, PackAbout, PackSettings, write_pack
from .packs.taming import tame_claims, tame_documents, tame_words
from .packs.writing import demand_free
from .register import AFTER_ALL
from .store import Connection, Store, rows_of

_CHOSEN = """
create or replace temp table chosen as
select d.* from kept.documents d where {where} and (
    exists (select 1 from kept.claims c where c.sha256 = d.sha256 and c.state = 'read')
    or exists (select 1 from kept.judgements j where j.sha256 = d.sha256))
"""
_WITH_PARTS = """
d.sha256 in (select c.sha256 from kept.claims c semi join (
    select part_kind, code_key, variant_key from kept.parts where {where}) using (part_kind, code_key, variant_key))
"""
_SHARED_CLAIMS = f"""
select c.claim_id, c.sha256,
       cast(row_number() over (partition by c.sha256 order by c.position, c.claim_id) - 1 as integer) as position,
       c.page, c.bbox, c.maker, c.part_code, c.variant, c.part_kind, c.limit_key as "limit", c.low, c.high, c."values",
       c.text, c.unit, c.condition, c.snippet, c.method, c.confidence, c.reader
from kept.claims c join chosen d using (sha256)
where c.state = 'read' and c.position < {AFTER_ALL} and c.reader = d.reader
order by sha256, position
"""


@dataclass(frozen=True)
class ShareReport:
    """What a pack holds, and what of the store could not go into it."""

    file: str
    documents: int
    claims: int
    words: int
    pictures: int
    left_out: int
    """Claims and words whose own texts no pack may hold."""
    without_picture: int
    """Claims of documents of which this store has no copy."""

    def as_json(self) -> dict[str, Any]:
        """The JSON answer of ``share``."""
        return asdict(self)


def share_pack(
    store: Store,
    out: Path,
    about: PackAbout,
    words: Sequence[str] = (),
    kind: PartKind | str | None = None,
    csv: bool = False,
    pictures: bool = False,
    documents: Sequence[str] = (),
    settings: PackSettings | None = None,
) -> ShareReport:
    """Write a pack of what the documents in a store say of parts.

    A document is shared whole or not at all, so that nobody takes a part of a reading for the reading.

    :param out: a folder, or one zip where the name ends in .zip
    :param words: only documents that speak of parts that all these words fit, as in a search
    :param kind: only documents that speak of parts of this kind
    :param pictures: add the pictures of the places that the claims were read from
    :param documents: only documents of these names, or with these hashes
    :raises CallError: nothing fits, or ``out`` is something else than a pack
    :raises StoreError: there is no store, or the pack cannot be written
    """
    settings = settings or PackSettings()
    about.demand_sound()
    demand_free(out)
    with store.reading() as connection:
        _choose(connection, words, kind, documents)
        held = _count(connection, f"select count(*) from ({_SHARED_CLAIMS})")
        said = rows_of(connection, "select j.* from kept.judgements j semi join chosen using (sha256) order by 1")
        told = tame_words(said, settings)
        tables = {
            "documents": _documents(connection, settings),
            "claims": _claims(connection, settings),
            "words": pa.Table.from_pylist(told, schema=WORDS.arrow),
        }
        drawn: list[tuple[str, bytes]] = []
        if pictures:
            drawn = _draw(store, [row[0] for row in connection.execute(_ids()).fetchall()], settings)
        counts = write_pack(out, tables, about, csv=csv, pictures=drawn, settings=settings)
        connection.execute("drop table chosen")
    left = held - counts.claims + len(said) - counts.words
    without = held - len(drawn) if pictures else 0
    return ShareReport(str(out), counts.documents, counts.claims, counts.words, counts.pictures, left, without)


def _choose(connection: Connection, words: Sequence[str], kind: str | None, documents: Sequence[str]) -> None:
    where, parameters = ["true"], []
    if documents:
        where.append("(d.name in (select unnest(?::varchar[])) or d.sha256 in (select unnest(?::varchar[])))")
        parameters += [list(documents)] * 2
    if words or kind:
        of_parts = ["part_kind = ?"] * bool(kind) + ["contains(words, ?)"] * len(words)
        where.append(_WITH_PARTS.format(where=" and ".join(of_parts)))
        parameters += [str(kind)] * bool(kind) + [f" {squash(word)}" for word in words]
    connection.execute(_CHOSEN.format(where=" and ".join(where)), parameters)
    if not _count(connection, "select count(*) from chosen"):
        advice = "see what there is with: cogledger limits"
        raise CallError(Reason.BAD_CALL, "the store has nothing to share that fits", advice=advice)


def _count(connection: Connection, sql: str) -> int:
    row = connection.execute(sql).fetchone()
    return row[0] if row else 0


def _documents(connection: Connection, settings: PackSettings) -> Iterator[pa.RecordBatch]:
    columns = ", ".join(DOCUMENTS.names)
    for batch in _batches(connection, f"select {columns} from chosen order by sha256", settings):
        yield tame_documents(batch.cast(DOCUMENTS.arrow), settings)


def _claims(connection: Connection, settings: PackSettings) -> Iterator[pa.RecordBatch]:
    for batch in _batches(connection, _SHARED_CLAIMS, settings):
        yield tame_claims(batch.cast(CLAIMS.arrow))


def _batches(connection: Connection, sql: str, settings: PackSettings) -> Iterator[pa.RecordBatch]:
    yield from connection.execute(sql).to_arrow_reader(settings.batch_rows)


def _ids() -> str:
    return f"select claim_id from ({_SHARED_CLAIMS}) order by claim_id"


def _draw(store: Store, ids: Sequence[str], settings: PackSettings) -> list[tuple[str, bytes]]:
    """The picture of each claim's place, where the store has a copy of the document."""
    from .evidence import make_evidence

    if len(ids) > settings.most_pictures:
        raise CallError(
            Reason.BAD_CALL, f"{len(ids):,} claims have too many pictures for one pack",
            advice=f"name words or documents that leave {settings.most_pictures:,} claims at most",
        )  # fmt: skip
    drawn = []
    with tempfile.TemporaryDirectory(prefix="cogledger-share-") as folder:
        out = Path(folder, "picture.png")
        for claim_id in ids:
            try:
                make_evidence(store, claim_id, out)
            except CogledgerError as error:
                if error.fault.reason is not Reason.SOURCE_GONE:
                    raise
                continue
            drawn.append((claim_id, out.read_bytes()))
    return drawn
