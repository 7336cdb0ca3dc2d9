"""The store of a team: a DuckLake with its catalogue in PostgreSQL and its data in a shared folder or object store.

Many processes read and write at once. A reader sees one whole state and never waits; writers take turns, since the
limits that one writes rest on the claims that it reads.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb

from ..schema.errors import CallError, CogledgerError, StoreError
from ..schema.reasons import Reason
from .lake_address import is_local, parse_address
from .lake_connection import Session, attached, connect, find_data, find_snapshot, has_turn, is_warm, turn
from .lake_faults import explain_lake
from .lake_sources import TABLES, LakeSources
from .lake_tidy import LakeSettings, is_due, join_files, lake_of
from .migrate import bring_up_to_date, is_up_to_date, read_number
from .order import TidySettings, needs_tidying, put_in_order
from .store import Connection, Store, StoreSettings

_LOG = logging.getLogger(__name__)
_NO_INLINING = ("data_inlining_row_limit", 0)
"""Few rows would go into the catalogue itself, which DuckLake 1.0 garbles where a list holds text."""
_TABLES = "select count(*) from duckdb_tables() where database_name = current_database() and not internal"

Check = Callable[[Connection], bool]


class LakeStore(Store):
    """The store in a team's catalogue: ``ducklake:postgres:host=… dbname=… data=…``."""

    def __init__(self, address: str, settings: StoreSettings | None = None, upkeep: LakeSettings | None = None) -> None:
        self._given, self.address = address, parse_address(address)
        self.settings = settings or StoreSettings()
        self.upkeep = upkeep or LakeSettings()
        self._data: str | None = None
        self._sources = LakeSources(self)

    @property
    def name(self) -> str:
        """The address, without passwords."""
        return self.address.name

    @property
    def own_folder(self) -> Path | None:
        """The folder of the data, where it is one and known."""
        data = self._data or self.address.data
        return Path(data) if data and is_local(data) else None

    def exists(self) -> bool:
        """Whether the catalogue is there."""
        if self._data and is_warm(self.address, writes=False):
            return True
        with self._explained(), connect(self.address) as session:
            return self._find_data(session) is not None

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees the state at its beginning; an older store is brought up to date first."""
        with self._explained(), ExitStack() as stack:
            yield self._open_reader(stack)

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection inside one transaction, in this writer's turn."""
        with self._explained(), self._writer() as (connection, session):
            before = find_snapshot(session)
            connection.execute("begin")
            yield connection
            if not has_turn(session):
                message = "PostgreSQL ended this writer's turn before it was done; nothing was written"
                raise StoreError(Reason.STORE_BUSY, message, file=self.name, advice="try again")
            connection.execute("commit")
            if is_due(before, find_snapshot(session), self.upkeep):
                self._join_files(connection)

    def keep_source(self, path: Path, sha256: str) -> str:
        """Put a copy of a document into the lake."""
        return self._sources.keep(path, sha256)

    def find_source(self, sha256: str) -> Path | None:
        """A copy of the document on this machine, which goes when this process ends."""
        return self._sources.find(sha256)

    def kept_sources(self) -> set[str]:
        """The hashes of all documents in the lake."""
        return self._sources.hashes()

    def tidy(self, settings: TidySettings | None = None) -> bool:
        """Write the big tables anew in order where much came since the last time."""
        with self.reading() as connection:
            if not needs_tidying(connection, settings or TidySettings()):
                return False
        with self.writing() as connection:
            put_in_order(connection)
        with self._explained(), self._writer() as (connection, _):
            self._join_files(connection)
        return True

    def with_settings(self, **changes: Any) -> LakeStore:
        """The same store with other settings."""
        return LakeStore(self._given, replace(self.settings, **changes), self.upkeep)

    def explain(self, error: Exception) -> CogledgerError:
        """The error of ours that an error of PostgreSQL, of DuckDB or of the system stands for."""
        return explain_lake(error, self.address, self._data or self.address.data, self.settings.wait_s)

    @contextmanager
    def _explained(self) -> Iterator[None]:
        """Tell errors in our words, and without what they came from: that may hold a password."""
        try:
            yield
        except duckdb.Error as error:
            raise self.explain(error) from None
        except Exception as error:
            if not type(error).__module__.startswith("psycopg"):
                raise
            raise self.explain(error) from None

    def _open_reader(self, stack: ExitStack) -> Connection:
        """A connection in a transaction, open as long as ``stack`` is."""
        while True:
            if not self.exists() or self._data is None:
                raise self._no_store()
            with ExitStack() as trial:
                connection, ready = self._attach(trial, self._data, False, self._begin_reading)
                if ready:
                    stack.enter_context(trial.pop_all())
                    return connection
            with self.writing():
                pass

    def _begin_reading(self, connection: Connection) -> bool:
        connection.execute("begin")
        number = self._format_of(connection)
        if number == 0:
            raise self._no_store()
        return is_up_to_date(connection, number)

    def _attach(self, stack: ExitStack, data: str, writes: bool, check: Check) -> tuple[Connection, bool]:
        """A connection, open as long as ``stack`` is, and what ``check`` said of it.

        A catalogue that was attached before and has gone away meanwhile is attached anew.
        """
        while True:
            was_warm = is_warm(self.address, writes=writes)
            try:
                with ExitStack() as trial:
                    connection = trial.enter_context(attached(self.address, data, writes=writes))
                    checked = check(connection)
                    stack.enter_context(trial.pop_all())
                    return connection, checked
            except duckdb.Error as error:
                if not was_warm:
                    raise
                _LOG.debug("attaching anew: %s", self.address.mask(str(error)))

    @contextmanager
    def _writer(self) -> Iterator[tuple[Connection, Session]]:
        """In this writer's turn, a connection to the lake, which is made or brought up to date where needed."""
        with turn(self.address, self.settings.wait_s) as session, ExitStack() as stack:
            data = self._find_data(session) or self._place_data()
            connection, _ = self._attach(stack, data, True, self._bring_up_to_date)
            self._data = data
            yield connection, session

    def _bring_up_to_date(self, connection: Connection) -> bool:
        number = self._format_of(connection)
        if number == 0:
            connection.execute(f"call {lake_of(connection)}.set_option(?, ?)", _NO_INLINING)
        bring_up_to_date(connection, number)
        connection.execute(TABLES)
        return True

    def _format_of(self, connection: Connection) -> int:
        """The format of the open lake; 0 where it holds nothing yet."""
        if read_number(connection) is None and connection.execute(_TABLES).fetchone() == (0,):
            return 0
        return self.number_of(connection)

    def _find_data(self, session: Session) -> str | None:
        """Where the data lies, as the catalogue has it; ``None`` where there is no lake yet."""
        if self._data is None:
            found = find_data(session)
            if found and self.address.data and found != self.address.data:
                message = f"the store's data lies in {found}, not in {self.address.data}"
                advice = "leave data= out of the address: the catalogue knows"
                raise CallError(Reason.BAD_CALL, message, file=self.name, advice=advice)
            self._data = found
        return self._data

    def _place_data(self) -> str:
        """Where the data of a new store is to lie; a folder is made."""
        data = self.address.data
        if data is None:
            message = "there is no store in this catalogue yet, and the address does not say where its data is to lie"
            raise CallError(Reason.BAD_CALL, message, file=self.name, advice="add data=FOLDER to the address")
        if is_local(data):
            try:
                Path(data).mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise self.explain(error) from None
        return data

    def _no_store(self) -> StoreError:
        return StoreError(Reason.NO_STORE, "there is no store here yet", file=self.name)

    def _join_files(self, connection: Connection) -> None:
        """Housekeeping; where it fails, what was written is kept all the same and the next writer tries again."""
        try:
            join_files(connection, self.upkeep)
        except duckdb.Error as error:
            _LOG.info("files were not joined: %s", self.address.mask(str(error)))
