"""A pack → the store, in one transaction: readings of documents by a rule that needs no order, words never overwritten.

What a store holds after any packs were merged, in any order and any number of times, is a function of the packs alone:
of each document the store's own reading, else the greatest of those that came (by the reader's version, then by a
digest of what it says); and every word that was said, told apart by its id.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from ..schema.errors import DocumentError
from ..schema.reasons import Reason
from .arriving import load_arriving, same_word
from .claim_rows import CLAIM_COLUMNS
from .order import note_disorder
from .packs import DOCUMENTS, WORDS, Pack, PackSettings, open_pack
from .packs.taming import tame_word
from .register import AFTER_ALL, restore_judged
from .settled import settle, settle_all
from .shared_pictures import keep_shared_pictures
from .store import Connection, Store, rows_of

_MANY_CODES = 5_000
"""From so many codes on, all limits are made anew at once, which is quicker than one family after the other."""
_SAID = ("claim_id", "sha256", "verdict", "judged_by", "judged_at", "note")
_TEMPORARY = ("documents", "claims", "words", "marks")

_SPOKEN = ", ".join(
    f'"{name}" := "{name}"' for name in CLAIM_COLUMNS
    if name not in ("sha256", "position", "family", "code_key", "variant_key", "reader", "reasons")
)  # fmt: skip
_VERSION = "[coalesce(try_cast(v as bigint), 0) for v in regexp_extract_all({reader}, '[0-9]+')]"
_DESCRIBED = ", ".join(f'"{name}" := {{0}}."{name}"' for name in DOCUMENTS.names if name != "sha256")

_RIVALS = f"""
create or replace temp table rivals as
select a.sha256, {_VERSION.format(reader="a.reader")} as a_version, {_VERSION.format(reader="k.reader")} as k_version,
       to_json(struct_pack({_DESCRIBED.format("a")}))::varchar as a_told,
       to_json(struct_pack({_DESCRIBED.format("k")}))::varchar as k_told
from arriving_documents a join kept.documents k using (sha256) where k.origin is not null
"""
_DIGEST = f"""
select sha256, md5(string_agg(md5(to_json(struct_pack({_SPOKEN}))::varchar), '' order by position, claim_id)) as digest
from {{table}} semi join (select sha256 from rivals where a_version = k_version) using (sha256)
where position < {AFTER_ALL} group by sha256
"""
_TAKEN = f"""
create or replace temp table taken as
select sha256, false as known from arriving_documents anti join kept.documents using (sha256)
union all
select r.sha256, true from rivals r
left join ({_DIGEST.format(table="arriving_claims")}) a using (sha256)
left join ({_DIGEST.format(table="kept.claims")}) k using (sha256)
where a_version > k_version or (a_version = k_version and (
    coalesce(a.digest, '') > coalesce(k.digest, '')
    or (coalesce(a.digest, '') = coalesce(k.digest, '') and a_told < k_told)))
"""


@dataclass(frozen=True)
class MergeReport:
    """What came of a pack: readings of documents and their claims, and words."""

    file: str
    shared_by: str
    licence: str
    documents_new: int
    documents_replaced: int
    """Documents whose former reading by somebody else was put aside for the one in the pack."""
    documents_left: int
    """Documents that this store read itself, or of which it has the pack's reading or a better one."""
    claims: int
    held_back: int
    """Claims in the pack that the schema holds back."""
    words_new: int
    words_known: int

    def as_json(self) -> dict[str, Any]:
        """The JSON answer of ``merge``."""
        return asdict(self)


def merge_pack(
    store: Store,
    path: Path,
    settings: PackSettings | None = None,
) -> MergeReport:
    """Take a pack into a store: all of it, or nothing.

    :raises DocumentError: there is no such pack, or it is refused; the store stays as it was
    :raises StoreError: the store cannot be written
    """
    with open_pack(path, settings) as pack:
        pack.demand_pictures_of_claims()
        with store.writing() as connection:
            report = merge_into(connection, pack)
        keep_shared_pictures(store, pack.pictures())
    store.tidy()
    return report


def merge_into(connection: Connection, pack: Pack) -> MergeReport:
    """Take an open pack into a store, inside the caller's transaction, which must not be kept if this raises.

    :raises DocumentError: the pack is refused
    """
    held = load_arriving(connection, pack)
    words_new, words_known = _take_words(connection, pack.name)
    connection.execute(_RIVALS)
    connection.execute(_TAKEN)
    arriving = _count(connection, "select count(*) from arriving_documents")
    replaced = _count(connection, "select count(*) from taken where known")
    new = _count(connection, "select count(*) from taken where not known")
    claims = _count(connection, "select count(*) from arriving_claims semi join taken using (sha256)")
    codes = _codes(connection, "kept.claims") | _codes(connection, "arriving_claims")
    had_claims = _count(connection, "select count(*) from (from kept.claims limit 1)")
    _take_readings(connection)
    note_disorder(connection, claims if had_claims else 0)
    codes |= _restore(connection)
    if len(codes) > _MANY_CODES:
        settle_all(connection)
    else:
        settle(connection, codes)
    for name in (*(f"arriving_{table}" for table in _TEMPORARY), "rivals", "taken", "spoken_of"):
        connection.execute(f"drop table {name}")
    return MergeReport(
        pack.name, pack.about.shared_by, pack.about.licence, new, replaced, arriving - new - replaced, claims, held,
        words_new, words_known,
    )  # fmt: skip


def _count(connection: Connection, sql: str) -> int:
    row = connection.execute(sql).fetchone()
    return row[0] if row else 0


def _codes(connection: Connection, table: str) -> set[str]:
    sql = f"select distinct code_key from {table} semi join taken using (sha256)"
    return {row[0] for row in connection.execute(sql).fetchall()}


def _take_words(connection: Connection, file: str) -> tuple[int, int]:
    """Add the words that are not known yet; how many are new, how many were known."""
    known = rows_of(
        connection,
        f"select {', '.join(f'a.{n} as {n}, k.{n} as k_{n}' for n in WORDS.names)} "
        "from arriving_words a join kept.judgements k using (judgement_id) order by a.judgement_id",
    )
    for row in known:
        ours = tame_word({name: row[f"k_{name}"] for name in WORDS.names})
        same = all(ours[name] == row[name] for name in _SAID)
        if not same or not all(same_word(ours[name], row[name]) for name in ("snapshot", "correction")):
            raise DocumentError(
                Reason.BAD_PACK, "the pack holds other words under an id that this store knows",
                file=file, where=f"words, judgement_id {row['judgement_id']}",
            )  # fmt: skip
    connection.execute(
        "create or replace temp table spoken_of as "
        "select distinct sha256 from arriving_words anti join kept.judgements using (judgement_id)"
    )
    connection.execute(
        "update kept.judgements k set origin = a.origin from arriving_words a "
        "where a.judgement_id = k.judgement_id and k.origin is not null and a.origin < k.origin"
    )
    new = _count(connection, "select count(*) from arriving_words anti join kept.judgements using (judgement_id)")
    connection.execute(
        "insert into kept.judgements by name select * from arriving_words a "
        "where a.judgement_id not in (select judgement_id from kept.judgements)"
    )
    return new, len(known)


def _take_readings(connection: Connection) -> None:
    """Put the readings that are taken in place of former ones."""
    for table in ("documents", "failed_pages", "claims"):
        connection.execute(f"delete from kept.{table} where sha256 in (select sha256 from taken)")
    connection.execute(
        "insert into kept.documents by name select a.*, m.mark, 0.0 as seconds from arriving_documents a "
        "semi join taken using (sha256) left join arriving_marks m using (sha256)"
    )
    connection.execute(
        "insert into kept.claims by name select * from arriving_claims a semi join taken using (sha256) "
        "order by family, code_key, sha256, position"
    )


def _restore(connection: Connection) -> set[str]:
    """Make the judged claims whole again where words or readings came; the codes that were touched."""
    spoken = connection.execute(
        "select distinct sha256 from kept.judgements "
        "where sha256 in (select sha256 from taken union select sha256 from spoken_of)"
    ).fetchall()
    hashes = [row[0] for row in spoken]
    if not hashes:
        return set()
    lost = connection.execute(
        "select distinct code_key from kept.claims where sha256 in (select unnest(?::varchar[])) and position >= ?",
        [hashes, AFTER_ALL],
    ).fetchall()
    connection.execute(
        "delete from kept.claims where sha256 in (select unnest(?::varchar[])) and position >= ?", [hashes, AFTER_ALL]
    )
    return {row[0] for row in lost} | set(restore_judged(connection, hashes))
