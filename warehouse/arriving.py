"""A pack's rows → tables of the present connection, in the columns of the store, before anything of it is kept."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import pyarrow as pa

from ..schema.claims import State
from ..schema.parts import code_key, family_key, variant_key
from ..schema.validation import HeldBack
from .claim_rows import CLAIM_COLUMNS, as_row, dump, tidy_claim
from .marks import MARKED, make_mark
from .packs import DOCUMENTS, WORDS, ClaimBatch, Pack
from .packs.compute import pc
from .store import Connection


def load_arriving(connection: Connection, pack: Pack) -> int:
    """Put a pack's rows into ``arriving_documents``, ``arriving_claims`` and ``arriving_words``, all checked.

    What has no origin comes from who shared the pack. Gives the number of claims that the schema holds back.

    :raises DocumentError: the pack may not be taken
    """
    for name, schema in (
        ("arriving_documents", DOCUMENTS.arrow), ("arriving_claims", pa.schema(CLAIM_COLUMNS)),
        ("arriving_words", WORDS.arrow), ("arriving_marks", _MARKS),
    ):  # fmt: skip
        _insert(connection, name, schema.empty_table(), f"create or replace temp table {name} as select * from batch")
    shared_by = pack.about.shared_by
    for batch in pack.documents():
        _insert(connection, "arriving_documents", _with_origin(batch, shared_by))
    marks = Marks()
    held = 0
    for claims in pack.claims():
        held += len(claims.held_back)
        rows = store_rows(claims)
        _insert(connection, "arriving_claims", rows)
        _insert(connection, "arriving_marks", pa.Table.from_pylist(list(marks.add(rows)), schema=_MARKS))
    _insert(connection, "arriving_marks", pa.Table.from_pylist(list(marks.finish()), schema=_MARKS))
    for batch in pack.words():
        _insert(connection, "arriving_words", _with_origin(batch, shared_by))
    for _ in pack.pictures():
        pass
    return held


_MARKS = pa.schema({"sha256": pa.string(), "mark": pa.string()})


def _insert(connection: Connection, name: str, rows: Any, sql: str | None = None) -> None:
    connection.register("batch", pa.Table.from_batches([rows]) if isinstance(rows, pa.RecordBatch) else rows)
    try:
        connection.execute(sql or f"insert into {name} by name select * from batch")
    finally:
        connection.unregister("batch")


def _with_origin(batch: pa.RecordBatch, shared_by: str) -> pa.RecordBatch:
    at = batch.schema.get_field_index("origin")
    return batch.set_column(at, "origin", pc.fill_null(batch.column("origin"), shared_by))


def store_rows(claims: ClaimBatch) -> pa.Table:
    """Claims of a pack in the columns of ``kept.claims``; those that the schema holds back with record and reasons."""
    sound = pa.array([at not in claims.held_back for at in range(claims.rows.num_rows)], pa.bool_())
    rows = claims.rows.filter(sound)
    codes, variants = rows.column("part_code"), rows.column("variant")
    columns = {name: rows.column(name) for name in rows.schema.names if name != "limit"} | {
        "limit_key": rows.column("limit"),
        "state": pa.array([str(State.READ)] * rows.num_rows),
        "family": _folded(codes, family_key), "code_key": _folded(codes, code_key),
        "variant_key": pc.fill_null(_folded(variants, variant_key), ""),
        "record": pa.nulls(rows.num_rows, pa.string()), "reasons": pa.nulls(rows.num_rows, pa.string()),
    }  # fmt: skip
    schema = pa.schema(CLAIM_COLUMNS)
    taken = pa.table({name: columns[name] for name in CLAIM_COLUMNS}, schema=schema)
    held = [_held_row(claims.rows, at, why) for at, why in sorted(claims.held_back.items())]
    return pa.concat_tables([taken, pa.Table.from_pylist(held, schema=schema)]) if held else taken


def _held_row(rows: pa.RecordBatch, at: int, held: HeldBack) -> dict[str, Any]:
    claim_id, sha256, position, reader = (
        rows.column(name)[at].as_py() for name in ("claim_id", "sha256", "position", "reader")
    )
    return as_row(claim_id, sha256, position, tidy_claim(held.record), reader, held)


def _folded(column: pa.Array, fold: Callable[[str], str]) -> pa.Array:
    """``fold`` of each text, made once for equal ones."""
    coded = column.dictionary_encode()
    folded = pa.array([fold(text) for text in coded.dictionary.to_pylist()], pa.string())
    return folded.take(coded.indices)


class Marks:
    """The marks of documents whose claims come one after the other; equal to those of ``register.mark_of``."""

    def __init__(self) -> None:
        self._sha256: str | None = None
        self._said: list[str] = []

    def add(self, rows: pa.Table) -> Iterator[dict[str, str]]:
        """Take the rows of a batch; gives the marks of the documents that ended in it."""
        rows = rows.filter(pc.equal(rows.column("state"), str(State.READ))).sort_by("sha256")
        for sha256, *said in zip(*(rows.column(name).to_pylist() for name in ("sha256", *MARKED)), strict=True):
            if sha256 != self._sha256:
                yield from self.finish()
                self._sha256 = sha256
            self._said.append(dump(said))

    def finish(self) -> Iterator[dict[str, str]]:
        """The mark of the document at hand, if anything is said in it."""
        if self._sha256 is not None and (mark := make_mark(self._said)):
            yield {"sha256": self._sha256, "mark": mark}
        self._said = []


def same_word(one: str | None, other: str | None) -> bool:
    """Whether two records as JSON text say the same."""
    return one == other or (one is not None and other is not None and json.loads(one) == json.loads(other))
