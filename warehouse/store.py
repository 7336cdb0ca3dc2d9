"""What a store is: connections, transactions, the copies of what was read, and how its errors are told.

``folder_store`` keeps it in a folder, ``lake_store`` in the catalogue of a team.
"""

from __future__ import annotations

import os
from abc import ABC, abstractmethod
from collections.abc import Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from ..schema.errors import CogledgerError, StoreError
from ..schema.reasons import Reason
from .migrate import newest_number, read_number
from .order import TidySettings

LAKE_MARK = "ducklake:"
VARIABLE = "COGLEDGER_STORE"
DEFAULT_FOLDER = "ledger"
_LOCKED = (
    "could not set lock",
    "conflicting lock",
    "different configuration",
    "being used by another process",
    "unique file handle conflict",
)
_NO_ROOM = ("no space left", "permission denied", "read-only file system", "could not write", "disk quota")

Connection = duckdb.DuckDBPyConnection


@dataclass(frozen=True)
class StoreSettings:
    """How long to wait for another process, in seconds, and the first and longest pause between two tries.

    What was read is kept open for ``warm_s`` seconds, so that one question after another is answered quickly.
    """

    wait_s: float = 30.0
    first_pause_s: float = 0.01
    longest_pause_s: float = 0.25
    warm_s: float = 0.2


def choose_store(given: Path | str | None, environment: Mapping[str, str] = os.environ) -> str:
    """The store that is meant: the one given, else the one in ``COGLEDGER_STORE``, else ``./ledger``."""
    return str(given or environment.get(VARIABLE) or DEFAULT_FOLDER)


def open_store(given: Path | str | None = None, settings: StoreSettings | None = None) -> Store:
    """The store of that name: a folder, or the catalogue of a team where the name begins with ``ducklake:``.

    Opening touches nothing.
    """
    chosen = choose_store(given)
    if chosen.startswith(LAKE_MARK):
        from .lake_store import LakeStore

        return LakeStore(chosen, settings)
    from .folder_store import FolderStore

    return FolderStore(Path(chosen), settings)


class Store(ABC):
    """Where claims are kept. Making the object touches nothing; the first write makes the store."""

    settings: StoreSettings

    @property
    @abstractmethod
    def name(self) -> str:
        """The store as messages name it."""

    @property
    def own_folder(self) -> Path | None:
        """The folder that holds the store's own files, which are not to be read as documents."""
        return None

    @abstractmethod
    def exists(self) -> bool:
        """Whether anything was ever written here."""

    @abstractmethod
    def reading(self) -> AbstractContextManager[Connection]:
        """A connection for the length of a ``with`` block that only reads; an older store is renewed first."""

    @abstractmethod
    def writing(self) -> AbstractContextManager[Connection]:
        """A connection inside one transaction: committed when the ``with`` block ends, rolled back when it raises."""

    @abstractmethod
    def keep_source(self, path: Path, sha256: str) -> str:
        """Keep a copy of a document under its hash, whole or not at all; the extension that it is kept with.

        :raises DocumentError: the file is gone, or is no longer the one that was read
        :raises StoreError: the copy cannot be written
        """

    @abstractmethod
    def find_source(self, sha256: str) -> Path | None:
        """A file with the contents of the document of this hash, or ``None``."""

    @abstractmethod
    def kept_sources(self) -> set[str]:
        """The hashes of all documents of which a copy is kept."""

    @abstractmethod
    def tidy(self, settings: TidySettings | None = None) -> bool:
        """Put the big tables in order where much came since the last time; whether it was done."""

    @abstractmethod
    def with_settings(self, **changes: Any) -> Store:
        """The same store with other settings."""

    def number_of(self, connection: Connection) -> int:
        """The format of an open store.

        :raises StoreError: it is no store, or one of a newer version
        """
        number = read_number(connection)
        if number is None:
            raise StoreError(Reason.STORE_BROKEN, "this database was not made by cogledger", file=self.name)
        if number > newest_number():
            raise StoreError(Reason.STORE_NEWER, f"the store has format {number}", file=self.name)
        return number

    def explain(self, error: Exception) -> CogledgerError:
        """The error of ours that an error of DuckDB or of the system stands for."""
        said = str(error).splitlines()[0] if str(error) else type(error).__name__
        low = said.lower()
        if any(sign in low for sign in _LOCKED):
            message = f"the store stayed in use by another process for {self.settings.wait_s:g} s"
            return StoreError(Reason.STORE_BUSY, message, file=self.name)
        if isinstance(error, OSError) or any(sign in low for sign in _NO_ROOM):
            said = error.strerror or said if isinstance(error, OSError) else said
            return StoreError(Reason.NOT_WRITABLE, f"the store cannot be written or opened ({said})", file=self.name)
        if "does not exist" in low and not self.exists():
            return StoreError(Reason.NO_STORE, "there is no store here yet", file=self.name)
        if "version number" in low or "newer version" in low:
            return StoreError(Reason.STORE_NEWER, "the store has a newer file format", file=self.name)
        return StoreError(Reason.STORE_BROKEN, f"the store cannot be read ({said})", file=self.name)


def rows_of(connection: Connection, sql: str, parameters: list[Any] | None = None) -> list[dict[str, Any]]:
    """The rows of a query as dictionaries."""
    cursor = connection.execute(sql, parameters or [])
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
