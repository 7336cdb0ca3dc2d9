"""A folder → the store in it: connections, transactions, waiting for the lock, and the copies of what was read.

The only module that opens DuckDB. One process that writes shuts out every other one, readers included, and a reader
shuts out writers; so both open late, close early, and wait patiently when refused.
"""

from __future__ import annotations

import hashlib
import os
import random
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import duckdb

from ..schema.errors import CogledgerError, DocumentError, StoreError
from ..schema.reasons import Reason
from .migrate import bring_up_to_date, is_up_to_date, newest_number, read_number

DATABASE = "ledger.duckdb"
SOURCES = "sources"
VARIABLE = "COGLEDGER_STORE"
DEFAULT_FOLDER = "ledger"
_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
}
_LOCKED = ("could not set lock", "conflicting lock", "different configuration", "being used by another process")
_NO_ROOM = ("no space left", "permission denied", "read-only file system", "could not write", "disk quota")

Connection = duckdb.DuckDBPyConnection


@dataclass(frozen=True)
class StoreSettings:
    """How long to wait for another process, in seconds, and the first and longest pause between two tries."""

    wait_s: float = 30.0
    first_pause_s: float = 0.01
    longest_pause_s: float = 0.25


def choose_folder(given: Path | str | None, environment: Mapping[str, str] = os.environ) -> Path:
    """The store's folder: the one given, else the one in ``COGLEDGER_STORE``, else ``./ledger``."""
    return Path(given or environment.get(VARIABLE) or DEFAULT_FOLDER)


class Store:
    """The store in one folder. Making the object touches nothing; the folder is made by the first write."""

    def __init__(self, folder: Path, settings: StoreSettings | None = None) -> None:
        self.folder = folder
        self.settings = settings or StoreSettings()

    @property
    def database(self) -> Path:
        """Where the DuckDB file is."""
        return self.folder / DATABASE

    @property
    def sources(self) -> Path:
        """Where the copies of the documents are."""
        return self.folder / SOURCES

    def exists(self) -> bool:
        """Whether anything was ever written here."""
        return self.database.is_file()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A read-only connection for the length of a ``with`` block; an older store is brought up to date first."""
        if not self.exists():
            raise StoreError(Reason.NO_STORE, "there is no store here yet", file=str(self.folder))
        connection = self._open_reader()
        try:
            yield connection
        except duckdb.Error as error:
            raise self._explain(error) from error
        finally:
            connection.close()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection inside one transaction: committed when the ``with`` block ends, rolled back when it raises."""
        self._make()
        connection = self._open(read_only=False)
        try:
            bring_up_to_date(connection, self._number_of(connection))
            connection.execute("begin")
            try:
                yield connection
                connection.execute("commit")
            except BaseException:
                with suppress(duckdb.Error):
                    connection.execute("rollback")
                raise
        except (duckdb.Error, OSError) as error:
            raise self._explain(error) from error
        finally:
            with suppress(duckdb.Error):
                connection.close()

    def keep_source(self, path: Path, sha256: str) -> Path:
        """Copy a document into ``sources/`` under its hash, whole or not at all; the copy's path.

        :raises DocumentError: the file is gone, or is no longer the one that was read
        :raises StoreError: the copy cannot be written
        """
        suffix = path.suffix.lower()
        target = self.sources / f"{sha256}{suffix if suffix[1:].isalnum() else ''}"
        if target.is_file():
            return target
        try:
            data = path.read_bytes()
        except OSError as error:
            raise DocumentError(
                Reason.NOT_READABLE, f"it could not be copied ({error.strerror})", file=str(path)
            ) from None
        if hashlib.sha256(data).hexdigest() != sha256:
            raise DocumentError(
                Reason.NOT_READABLE, "the file changed while it was being read", file=str(path), advice="read it again"
            )
        try:
            self.sources.mkdir(parents=True, exist_ok=True)
            write_whole(target, data)
        except OSError as error:
            raise self._explain(error) from error
        return target

    def find_source(self, sha256: str) -> Path | None:
        """The copy of the document with this hash, or ``None``."""
        return next(iter(sorted(self.sources.glob(f"{sha256}.*")) or sorted(self.sources.glob(sha256))), None)

    def _make(self) -> None:
        """Make folder and database, if missing: made whole under another name, then put in place."""
        if self.exists():
            return
        fresh = self.folder / f".new-{os.getpid()}-{random.randrange(1 << 32):08x}.duckdb"
        try:
            self.sources.mkdir(parents=True, exist_ok=True)
            connection = duckdb.connect(str(fresh), config=_CONFIG)
            try:
                bring_up_to_date(connection, 0)
            finally:
                connection.close()
            put_new(fresh, self.database)
        except (duckdb.Error, OSError) as error:
            raise self._explain(error) from error
        finally:
            with suppress(OSError):
                fresh.unlink(missing_ok=True)

    def _open(self, *, read_only: bool) -> Connection:
        """Open the database, trying again until it is free or the wait is over."""
        give_up = time.monotonic() + self.settings.wait_s
        pause = self.settings.first_pause_s
        while True:
            try:
                return duckdb.connect(str(self.database), read_only=read_only, config=_CONFIG)
            except (duckdb.Error, OSError) as error:
                explained = self._explain(error)
                if explained.fault.reason is not Reason.STORE_BUSY or time.monotonic() > give_up:
                    raise explained from error
            time.sleep(pause * random.uniform(0.5, 1.0))
            pause = min(pause * 2, self.settings.longest_pause_s)

    def _open_reader(self) -> Connection:
        connection = self._open(read_only=True)
        try:
            up_to_date = is_up_to_date(connection, self._number_of(connection))
        except duckdb.Error as error:
            connection.close()
            raise self._explain(error) from error
        except BaseException:
            connection.close()
            raise
        if up_to_date:
            return connection
        connection.close()
        with self.writing():
            pass
        return self._open(read_only=True)

    def _number_of(self, connection: Connection) -> int:
        number = read_number(connection)
        if number is None:
            raise StoreError(Reason.STORE_BROKEN, "this database was not made by cogledger", file=str(self.database))
        if number > newest_number():
            raise StoreError(Reason.STORE_NEWER, f"the store has format {number}", file=str(self.database))
        return number

    def _explain(self, error: Exception) -> CogledgerError:
        """The error of ours that an error of DuckDB or of the system stands for."""
        said = str(error).splitlines()[0] if str(error) else type(error).__name__
        low = said.lower()
        file = str(self.database)
        if any(sign in low for sign in _LOCKED):
            message = f"the store stayed in use by another process for {self.settings.wait_s:g} s"
            return StoreError(Reason.STORE_BUSY, message, file=file)
        if isinstance(error, OSError) or any(sign in low for sign in _NO_ROOM):
            said = error.strerror or said if isinstance(error, OSError) else said
            return StoreError(
                Reason.NOT_WRITABLE, f"the store cannot be written or opened ({said})", file=str(self.folder)
            )
        if "does not exist" in low and not self.exists():
            return StoreError(Reason.NO_STORE, "there is no store here yet", file=str(self.folder))
        if "version number" in low or "newer version" in low:
            return StoreError(Reason.STORE_NEWER, "the store has a newer file format", file=file)
        return StoreError(Reason.STORE_BROKEN, f"the store cannot be read ({said})", file=file)

    def with_settings(self, **changes: Any) -> Store:
        """The same store with other settings."""
        return Store(self.folder, replace(self.settings, **changes))


def write_whole(target: Path, data: bytes) -> None:
    """Write ``data`` to ``target`` so that the file is either whole or not there."""
    put_whole(target, lambda path: path.write_bytes(data))


def put_whole(target: Path, write: Callable[[Path], Any]) -> None:
    """Let ``write`` fill a file of another name beside ``target``, then put it in place."""
    fresh = target.with_name(f".{target.name}.{os.getpid()}.part{target.suffix}")
    try:
        write(fresh)
        with fresh.open("rb+") as file:
            os.fsync(file.fileno())
        fresh.replace(target)
    finally:
        fresh.unlink(missing_ok=True)


def put_new(fresh: Path, target: Path) -> None:
    """Put ``fresh`` in place as ``target``, unless another process was first."""
    try:
        os.link(fresh, target)
    except FileExistsError:
        return
    except OSError:
        if not target.exists():
            fresh.replace(target)


def rows_of(connection: Connection, sql: str, parameters: list[Any] | None = None) -> list[dict[str, Any]]:
    """The rows of a query as dictionaries."""
    cursor = connection.execute(sql, parameters or [])
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
