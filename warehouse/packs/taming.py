"""A store's own rows → rows that a pack may hold: texts for people are tamed, what cannot be is left out and counted.

Texts that ids are made from (codes, variants, values in words) are never changed: a claim whose own words no pack may
hold stays at home.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import pyarrow as pa

from ..claim_rows import dump
from .compute import pc
from .fields import CLAIMS, DOCUMENTS, TableFields
from .settings import PackSettings
from .texts import find_all_bad, tame
from .words import find_bad_word

_FOR_PEOPLE = {"claims": ("maker", "snippet", "method"), "documents": ("name", "origin")}
_TIMES = ("dated", "read_at")


def tame_claims(batch: pa.RecordBatch) -> pa.RecordBatch:
    """The claims of a batch that may be shared."""
    batch = _tame_texts(batch, CLAIMS)
    sound = pa.array([True] * batch.num_rows)
    for rule in CLAIMS.fields:
        if pa.types.is_string(rule.arrow):
            column = batch.column(rule.name)
            wrong = pc.or_(find_all_bad(column), pc.greater(pc.utf8_length(column), rule.longest))
            sound = pc.and_(sound, pc.invert(pc.fill_null(wrong, False)))
    return batch.filter(sound)


def tame_documents(batch: pa.RecordBatch, settings: PackSettings) -> pa.RecordBatch:
    """The documents of a batch; a time that cannot be is left blank, or brought into bounds where it is needed."""
    batch = _tame_texts(batch, DOCUMENTS)
    names = batch.column("name")
    if _any(pc.match_substring_regex(names, r"[/\\]|^$")):
        told = [name.replace("\\", "/").rpartition("/")[2] or "document" for name in names.to_pylist()]
        batch = _put(batch, "name", pa.array(told, pa.string()))
    earliest = pa.scalar(settings.earliest, pa.timestamp("us"))
    latest = pa.scalar(datetime.now(UTC).replace(tzinfo=None), pa.timestamp("us"))
    for name in _TIMES:
        column = batch.column(name)
        beyond = pc.or_(pc.less(column, earliest), pc.greater(column, latest))
        if _any(beyond):
            instead = pa.scalar(None, column.type) if name == "dated" else latest
            batch = _put(batch, name, pc.if_else(pc.fill_null(beyond, False), instead, column))
    return batch


def tame_words(words: Sequence[Mapping[str, Any]], settings: PackSettings) -> list[dict[str, Any]]:
    """The words that may be shared; every text in them that is only for people tamed."""
    latest = datetime.now(UTC).replace(tzinfo=None) + settings.ahead
    told = [tame_word(word) for word in words if settings.earliest <= word["judged_at"] <= latest]
    while (wrong := find_bad_word(told)) is not None:
        del told[wrong[0]]
    return told


def tame_word(word: Mapping[str, Any]) -> dict[str, Any]:
    """One word as it is shared; a word that was shared stays as it is."""
    told = dict(word)
    told["judged_by"] = tame(word["judged_by"], 200) or "someone"
    told["note"] = tame(word["note"], 2000) or None if word["note"] else None
    for name in ("snapshot", "correction"):
        if word[name] is not None:
            told[name] = _tame_record(word[name])
    return told


def _tame_record(text: str) -> str:
    record = json.loads(text)
    changed = dict(record)
    for name, longest in (("document", 255), ("maker", 200), ("snippet", 2000), ("method", 200)):
        if isinstance(record.get(name), str):
            changed[name] = tame(record[name], longest)
    return text if changed == record else dump(changed)


def _tame_texts(batch: pa.RecordBatch, table: TableFields) -> pa.RecordBatch:
    longest = {rule.name: rule.longest or 0 for rule in table.fields}
    for name in _FOR_PEOPLE[table.name]:
        column = batch.column(name)
        if _any(pc.or_(find_all_bad(column), pc.greater(pc.utf8_length(column), longest[name]))):
            told = [None if text is None else tame(text, longest[name]) for text in column.to_pylist()]
            batch = _put(batch, name, pa.array(told, pa.string()))
    return batch


def _any(mask: pa.Array) -> bool:
    return bool(pc.any(mask).as_py())


def _put(batch: pa.RecordBatch, name: str, column: pa.Array) -> pa.RecordBatch:
    return batch.set_column(batch.schema.get_field_index(name), name, column)
