"""A team's catalogue → connections with the lake attached, kept warm for a short while since attaching is slow.

Loading the extensions takes some 200 ms and attaching the catalogue 50 ms, a question then 10 ms. So a process loads
them once, attaches a catalogue once for reading and once for writing, and lets go of it when nobody asked for a while.
"""

from __future__ import annotations

import itertools
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any

import duckdb

from .extensions import OFFLINE, load_extensions
from .lake_address import LakeAddress, is_local, missing_psycopg
from .object_store import literal, secret_from

if TYPE_CHECKING:
    import psycopg

    Session = psycopg.Connection[tuple[Any, ...]]
else:
    Session = Any

_IDLE_S = 30.0
"""So long, in seconds, a catalogue stays attached that nobody asks."""
_TURN = (0x636F67, 0x6C6564)
"""The advisory lock by which writers take turns: two numbers that nobody else in the database is likely to use."""


class _Attached:
    """One catalogue, attached for reading or for writing; shared by the threads of this process."""

    def __init__(self, address: LakeAddress, data: str, writes: bool) -> None:
        self.database, self.alias = _open_base(), f"lake{next(_NUMBERS)}"
        if not is_local(data):
            load_extensions(self.database, "httpfs")
            self.database.execute(secret_from(os.environ))
        how = f"data_path {literal(data)}" if writes else "read_only"
        place = literal("ducklake:postgres:" + address.conninfo)
        self.database.execute(f"attach {place} as {self.alias} ({how})")
        self.users = 0
        self.broken = False

    def cursor(self) -> duckdb.DuckDBPyConnection:
        cursor = self.database.cursor()
        cursor.execute(f"use {self.alias}")
        return cursor

    def close(self) -> None:
        with suppress(duckdb.Error):
            self.database.execute(f"detach {self.alias}")


def _open_base() -> duckdb.DuckDBPyConnection:
    """The database in memory to which this process attaches catalogues."""
    base = _BASES.get(os.getpid())
    if base is None:
        base = duckdb.connect(":memory:", config=OFFLINE)
        load_extensions(base, "postgres_scanner", "ducklake")
        _BASES[os.getpid()] = base
    return base


_Key = tuple[int, str, bool]
_LOCK = threading.Lock()
_WARM: dict[_Key, _Attached] = {}
_TIMERS: dict[_Key, threading.Timer] = {}
_BASES: dict[int, duckdb.DuckDBPyConnection] = {}
_NUMBERS = itertools.count(1)


@contextmanager
def attached(address: LakeAddress, data: str, *, writes: bool) -> Iterator[duckdb.DuckDBPyConnection]:
    """A connection in which the lake is the database in use; a ``duckdb.Error`` in the block lets go of the lake."""
    key = (os.getpid(), address.conninfo, writes)
    lake = _take(key, address, data)
    try:
        cursor = lake.cursor()
        try:
            yield cursor
        finally:
            with suppress(duckdb.Error):
                cursor.execute("rollback")
            cursor.close()
    except duckdb.Error:
        lake.broken = True
        raise
    finally:
        _give_back(key, lake)


def is_warm(address: LakeAddress, *, writes: bool) -> bool:
    """Whether this process has the catalogue attached."""
    with _LOCK:
        return (os.getpid(), address.conninfo, writes) in _WARM


def let_go(address: LakeAddress) -> None:
    """Detach the catalogue as soon as nobody in this process uses it."""
    with _LOCK:
        for key in [key for key in _WARM if key[1] == address.conninfo]:
            lake = _WARM.pop(key)
            lake.broken = True
            if lake.users == 0:
                lake.close()


def _take(key: _Key, address: LakeAddress, data: str) -> _Attached:
    with _LOCK:
        lake = _WARM.get(key)
        if lake is None:
            lake = _WARM[key] = _Attached(address, data, key[2])
        lake.users += 1
        if timer := _TIMERS.pop(key, None):
            timer.cancel()
        return lake


def _give_back(key: _Key, lake: _Attached) -> None:
    with _LOCK:
        lake.users -= 1
        if lake.broken and _WARM.get(key) is lake:
            del _WARM[key]
        if lake.users:
            return
        if lake.broken:
            lake.close()
            return
        timer = _TIMERS[key] = threading.Timer(_IDLE_S, _dismiss, [key, lake])
        timer.daemon = True
        timer.start()


def _dismiss(key: _Key, lake: _Attached) -> None:
    with _LOCK:
        if _WARM.get(key) is lake and lake.users == 0:
            del _WARM[key]
            lake.close()


def find_data(session: Session) -> str | None:
    """Where the data of the database's lake lies; ``None`` where there is no lake yet."""
    if not _one(session, "select to_regclass('ducklake_metadata') is not null"):
        return None
    return str(_one(session, "select value from ducklake_metadata where key = 'data_path' and scope is null"))


def find_snapshot(session: Session) -> int:
    """The number of the lake's newest state."""
    return int(_one(session, "select coalesce(max(snapshot_id), 0) from ducklake_snapshot") or 0)


@contextmanager
def turn(address: LakeAddress, wait_s: float) -> Iterator[Session]:
    """Be the only writer for the length of a ``with`` block; PostgreSQL ends the turn of a process that dies.

    :raises psycopg.errors.LockNotAvailable: others wrote for longer than ``wait_s`` seconds
    """
    with connect(address) as session:
        session.execute("select set_config('lock_timeout', %s, false)", [str(max(1, round(wait_s * 1000)))])
        session.execute("select pg_advisory_lock(%s, %s)", _TURN)
        session.execute("set lock_timeout = 0")
        yield session


def has_turn(session: Session) -> bool:
    """Whether a turn is still ours: it ends with the session."""
    sql = "select count(*) from pg_locks where locktype = 'advisory' and granted and pid = pg_backend_pid()"
    return _one(session, f"{sql} and classid = {_TURN[0]} and objid = {_TURN[1]}") == 1


@contextmanager
def connect(address: LakeAddress) -> Iterator[Session]:
    """A session of our own with the catalogue's PostgreSQL, where every statement is a transaction."""
    try:
        import psycopg
    except ImportError as error:
        raise missing_psycopg(error) from None
    session = psycopg.connect(address.conninfo, autocommit=True)
    try:
        yield session
    finally:
        session.close()


def _one(session: Session, sql: str) -> str | int | bool | None:
    row = session.execute(sql.encode()).fetchone()
    return row[0] if row else None
