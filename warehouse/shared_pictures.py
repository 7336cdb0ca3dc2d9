"""Pictures of places in documents that came in packs: kept beside the copies of documents, found by their claims."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterable
from pathlib import Path

import pyarrow as pa

from .claim_rows import insert_rows
from .store import Store

_COLUMNS = {"claim_id": pa.string(), "sha256": pa.string()}


def keep_shared_pictures(store: Store, pictures: Iterable[tuple[str, bytes]]) -> int:
    """Keep PNGs with the ids of their claims, where a claim has none yet; how many were kept.

    :raises StoreError: the store cannot be written
    """
    with store.reading() as connection:
        known = {row[0] for row in connection.execute("select claim_id from kept.pictures").fetchall()}
    rows = []
    with tempfile.TemporaryDirectory(prefix="cogledger-pictures-") as folder:
        file = Path(folder) / "picture.png"
        for claim_id, data in pictures:
            if claim_id in known:
                continue
            known.add(claim_id)
            file.write_bytes(data)
            sha = hashlib.sha256(data).hexdigest()
            store.keep_source(file, sha)
            rows.append({"claim_id": claim_id, "sha256": sha})
    if rows:
        with store.writing() as connection:
            insert_rows(connection, "kept.pictures", _COLUMNS, rows)
    return len(rows)


def find_shared_picture(store: Store, claim_id: str) -> Path | None:
    """The picture that came with a claim, or ``None``."""
    with store.reading() as connection:
        row = connection.execute("select sha256 from kept.pictures where claim_id = ?", [claim_id]).fetchone()
    return store.find_source(row[0]) if row else None
