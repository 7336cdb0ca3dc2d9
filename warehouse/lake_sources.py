"""The copies of documents in a lake, so that a folder and an object store work alike.

A document lies in pieces in ``kept.source_files``, of which each transaction makes a file of its own; the short table
``kept.source_names`` tells what is there. A file on this machine is made when one is asked for.
"""

from __future__ import annotations

import atexit
import hashlib
import shutil
import tempfile
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow as pa

from .claim_rows import insert_rows
from .files import read_as_known, write_whole

if TYPE_CHECKING:
    from .store import Connection, Store

TABLES = """
create table if not exists kept.source_names (sha256 varchar, extension varchar, size bigint);
create table if not exists kept.source_files (sha256 varchar, piece integer, data blob);
"""
FILES_TABLE = "source_files"
_PIECE = 16 * 2**20
"""So many bytes of a document stand in one row."""
_COPIES = 64
"""So many documents lie on this machine at a time."""
_NAMES = {"sha256": pa.string(), "extension": pa.string(), "size": pa.int64()}
_FILES = {"sha256": pa.string(), "piece": pa.int32(), "data": pa.binary()}


class LakeSources:
    """The copies of documents of one store."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = threading.Lock()
        self._folder: Path | None = None
        self._known: dict[str, str] = {}

    def keep(self, path: Path, sha256: str) -> str:
        """Put a document into the lake, whole or not at all; the extension that it is kept with."""
        if sha256 in self._known:
            return self._known[sha256]
        suffix = path.suffix.lower()
        extension = suffix if suffix[1:].isalnum() else ""
        data = read_as_known(path, sha256)
        with self._store.writing() as connection:
            known = self._find_extension(connection, sha256)
            if known is None:
                pieces = [data[start : start + _PIECE] for start in range(0, len(data), _PIECE)]
                rows = [{"sha256": sha256, "piece": number, "data": piece} for number, piece in enumerate(pieces)]
                insert_rows(connection, "kept.source_files", _FILES, rows)
                name = {"sha256": sha256, "extension": extension, "size": len(data)}
                insert_rows(connection, "kept.source_names", _NAMES, [name])
        return known[0] if known else extension

    def find(self, sha256: str) -> Path | None:
        """The document as a file on this machine, or ``None``; it goes when this process ends."""
        with self._lock:
            folder = self._folder = self._folder or _make_folder()
            found = next(iter(folder.glob(f"{sha256}*")), None)
            if found:
                found.touch()
                return found
            if not self._store.exists():
                return None
            with self._store.reading() as connection:
                known = self._find_extension(connection, sha256)
                sql = "select data from kept.source_files where sha256 = ? order by piece"
                pieces = connection.execute(sql, [sha256]).fetchall() if known else []
            data = b"".join(piece[0] for piece in pieces)
            if not known or hashlib.sha256(data).hexdigest() != sha256:
                return None
            target = folder / f"{sha256}{known[0]}"
            write_whole(target, data)
            _forget_oldest(folder)
            return target

    def hashes(self) -> set[str]:
        """The hashes of all documents in the lake."""
        if not self._store.exists():
            return set()
        with self._store.reading() as connection:
            rows = connection.execute("select sha256, extension from kept.source_names").fetchall()
        self._known = dict(rows)
        return set(self._known)

    @staticmethod
    def _find_extension(connection: Connection, sha256: str) -> tuple[str] | None:
        return connection.execute("select extension from kept.source_names where sha256 = ?", [sha256]).fetchone()


def _make_folder() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="cogledger-sources-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def _forget_oldest(folder: Path) -> None:
    files = sorted(folder.iterdir(), key=lambda path: path.stat().st_mtime)
    for path in files[:-_COPIES]:
        path.unlink(missing_ok=True)
