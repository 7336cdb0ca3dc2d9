"""The store in one folder: a DuckDB file and the documents by their SHA-256.

One process that writes shuts out every other one, readers included, and a reader shuts out writers. So both open late,
close early, and take turns at a gate: a lock on a file beside the database, so that no stream of readers keeps a writer
waiting for ever.
"""

from __future__ import annotations

import os
import random
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
from filelock import BaseFileLock, FileLock, Timeout

from ..schema.errors import StoreError
from ..schema.reasons import Reason
from .files import put_new, read_as_known, write_whole
from .migrate import bring_up_to_date, is_up_to_date
from .order import TidySettings, needs_tidying, put_in_order
from .store import Connection, Store, StoreSettings
from .warm import WarmReader

DATABASE = "ledger.duckdb"
SOURCES = "sources"
GATE = ".turn"
_ABANDONED_S, _SWEPT_EVERY_S = 3600.0, 600.0
"""After so many seconds nobody is at a file under another name any more; how often such files are looked for."""
_ROWS_IN_A_BLOCK = 20_480
"""Rows that DuckDB keeps together: small, since a part is found by passing over blocks that cannot hold it."""
_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
}


class FolderStore(Store):
    """The store in one folder."""

    def __init__(self, folder: Path, settings: StoreSettings | None = None) -> None:
        self.folder = folder
        self.settings = settings or StoreSettings()
        self._here = threading.local()
        self._swept = 0.0
        self._warm = WarmReader(self.settings.warm_s)

    @property
    def name(self) -> str:
        """The folder."""
        return str(self.folder)

    @property
    def own_folder(self) -> Path:
        """The folder."""
        return self.folder

    @property
    def database(self) -> Path:
        """Where the DuckDB file is."""
        return self.folder / DATABASE

    @property
    def sources(self) -> Path:
        """Where the copies of the documents are."""
        return self.folder / SOURCES

    def exists(self) -> bool:
        """Whether the database is there."""
        return self.database.is_file()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A read-only connection for the length of a ``with`` block; an older store is brought up to date first."""
        outer: Connection | None = getattr(self._here, "reader", None)
        if outer is not None:
            with outer.cursor() as inner:
                yield inner
            return
        if not self.exists():
            raise StoreError(Reason.NO_STORE, "there is no store here yet", file=self.name)
        connection = self._open_reader()
        self._here.reader = connection
        try:
            yield connection
        except duckdb.Error as error:
            raise self.explain(error) from error
        finally:
            self._here.reader = None
            connection.close()
            self._warm.let_go_soon()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection inside one transaction: committed when the ``with`` block ends, rolled back when it raises."""
        self._make()
        with self._turn(must=True) as give_up:
            self._warm.let_go()
            self._sweep()
            connection = self._open(give_up, read_only=False)
            try:
                bring_up_to_date(connection, self.number_of(connection))
                connection.execute("begin")
                try:
                    yield connection
                    connection.execute("commit")
                except BaseException:
                    with suppress(duckdb.Error):
                        connection.execute("rollback")
                    raise
            except (duckdb.Error, OSError) as error:
                raise self.explain(error) from error
            finally:
                with suppress(duckdb.Error):
                    connection.close()

    def keep_source(self, path: Path, sha256: str) -> str:
        """Copy a document into ``sources/`` under its hash, whole or not at all."""
        suffix = path.suffix.lower()
        extension = suffix if suffix[1:].isalnum() else ""
        target = self.sources / f"{sha256}{extension}"
        if target.is_file():
            return extension
        data = read_as_known(path, sha256)
        try:
            self.sources.mkdir(parents=True, exist_ok=True)
            write_whole(target, data)
        except OSError as error:
            raise self.explain(error) from error
        return extension

    def find_source(self, sha256: str) -> Path | None:
        """The copy in ``sources/``."""
        return next(iter(sorted(self.sources.glob(f"{sha256}.*")) or sorted(self.sources.glob(sha256))), None)

    def kept_sources(self) -> set[str]:
        """The hashes that the names in ``sources/`` begin with."""
        try:
            with os.scandir(self.sources) as entries:
                return {entry.name.partition(".")[0] for entry in entries}
        except FileNotFoundError:
            return set()

    def tidy(self, settings: TidySettings | None = None) -> bool:
        """Write the big tables anew in the order of their families, where enough rows came since the last time."""
        with self.reading() as connection:
            if not needs_tidying(connection, settings or TidySettings()):
                return False
        with self.writing() as connection:
            put_in_order(connection)
        return True

    def with_settings(self, **changes: Any) -> FolderStore:
        """The same folder with other settings."""
        return FolderStore(self.folder, replace(self.settings, **changes))

    def _make(self) -> None:
        """Make folder and database, if missing: made whole under another name, then put in place."""
        if self.exists():
            return
        fresh = self.folder / f".new-{os.getpid()}-{random.randrange(1 << 32):08x}.duckdb"
        try:
            self.sources.mkdir(parents=True, exist_ok=True)
            with self._connect_writer(fresh) as connection:
                bring_up_to_date(connection, 0)
            put_new(fresh, self.database)
        except (duckdb.Error, OSError) as error:
            raise self.explain(error) from error
        finally:
            with suppress(OSError):
                fresh.unlink(missing_ok=True)

    def _sweep(self) -> None:
        """Remove what a writer left that was killed in the middle of making a file, once nobody can be at it."""
        now = time.time()
        if now - self._swept < _SWEPT_EVERY_S:
            return
        self._swept = now
        for place, pattern in ((self.folder, ".new-*.duckdb*"), (self.sources, ".*.part*")):
            for path in place.glob(pattern):
                with suppress(OSError):
                    if now - path.stat().st_mtime > _ABANDONED_S:
                        path.unlink()

    @contextmanager
    def _turn(self, *, must: bool) -> Iterator[float]:
        """Hold the gate for the length of a ``with`` block; the moment, on the monotonic clock, at which to give up.

        A reader that may not make the file of the gate goes on without.
        """
        give_up = time.monotonic() + self.settings.wait_s
        gate: BaseFileLock | None = FileLock(self.folder / GATE, timeout=self.settings.wait_s)
        try:
            gate.acquire(poll_interval=self.settings.first_pause_s)
        except Timeout:
            message = f"the store stayed in use by another process for {self.settings.wait_s:g} s"
            raise StoreError(Reason.STORE_BUSY, message, file=self.name) from None
        except (OSError, NotImplementedError) as error:
            if must and isinstance(error, OSError):
                raise self.explain(error) from error
            gate = None
        try:
            yield give_up
        finally:
            if gate is not None:
                gate.release()

    def _open(self, give_up: float, *, read_only: bool) -> Connection:
        """Open the database, trying again until it is free or the wait is over."""
        pause = self.settings.first_pause_s
        while True:
            try:
                if not read_only:
                    return self._connect_writer(self.database)
                return self._connect_reader()
            except (duckdb.Error, OSError) as error:
                explained = self.explain(error)
                if explained.fault.reason is not Reason.STORE_BUSY or time.monotonic() > give_up:
                    raise explained from error
            time.sleep(pause * random.uniform(0.5, 1.0))
            pause = min(pause * 2, self.settings.longest_pause_s)

    def _connect_reader(self) -> Connection:
        """Open the database for reading, with the settings that any client opens it with, so that one does not shut out
        the other in one process."""
        connection = duckdb.connect(str(self.database), read_only=True)
        for name, value in _CONFIG.items():
            connection.execute(f"set {name} = {value}")
        return connection

    def _connect_writer(self, database: Path) -> Connection:
        """Open a database for writing in blocks of our own size, which DuckDB takes only where it is attached."""
        connection = duckdb.connect(config={**_CONFIG, "temp_directory": f"{self.database}.tmp"})
        try:
            place = str(database).replace("'", "''")
            connection.execute(f"attach '{place}' as ledger (row_group_size {_ROWS_IN_A_BLOCK})")
            connection.execute("use ledger")
        except BaseException:
            connection.close()
            raise
        return connection

    def _open_reader(self) -> Connection:
        while True:
            with self._turn(must=False) as give_up:
                if self._warm.is_held():
                    return self._open(give_up, read_only=True)
                connection = self._open(give_up, read_only=True)
            try:
                if is_up_to_date(connection, self.number_of(connection)):
                    self._warm.hold(self._connect_reader())
                    return connection
            except duckdb.Error as error:
                connection.close()
                raise self.explain(error) from error
            except BaseException:
                connection.close()
                raise
            connection.close()
            with self.writing():
                pass
