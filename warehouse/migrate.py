"""Old store → present store: numbered SQL files, each run once, in one transaction with its own record."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib import resources

import duckdb

_RECORD = "create table if not exists main.cogledger_schema (number integer primary key, name varchar not null)"

_KEY = " primary key"


@dataclass(frozen=True)
class Migration:
    """One step: its number, its file's name and its SQL."""

    number: int
    name: str
    sql: str


@cache
def list_migrations() -> tuple[Migration, ...]:
    """Every step that this version knows, in order."""
    files = [f for f in resources.files("cogledger.warehouse.migrations").iterdir() if f.name.endswith(".sql")]
    steps = (Migration(int(f.name.split("_")[0]), f.name, f.read_text(encoding="utf-8")) for f in files)
    return tuple(sorted(steps, key=lambda step: step.number))


def newest_number() -> int:
    """The number of the last step that this version knows."""
    return list_migrations()[-1].number


def read_number(connection: duckdb.DuckDBPyConnection) -> int | None:
    """The number of the last step a store has been through; ``None`` for a database that is no store."""
    try:
        row = connection.execute("select max(number) from main.cogledger_schema").fetchone()
    except duckdb.CatalogException:
        return None
    return row[0] if row else None


def is_up_to_date(connection: duckdb.DuckDBPyConnection, number: int) -> bool:
    """Whether a store with step ``number`` has been through every step and holds limits made by the present rule."""
    from .settled import is_settled

    return number == newest_number() and is_settled(connection)


def bring_up_to_date(connection: duckdb.DuckDBPyConnection, number: int) -> None:
    """Run the steps after ``number`` (0 for a new store), and make the resolved limits anew where the rule changed."""
    from .settled import is_settled, settle_all

    if number < newest_number():
        migrate(connection, number)
    if not is_settled(connection):
        connection.execute("begin")
        try:
            settle_all(connection)
            connection.execute("commit")
        except BaseException:
            with suppress(duckdb.Error):
                connection.execute("rollback")
            raise


def migrate(connection: duckdb.DuckDBPyConnection, after: int) -> None:
    """Run every step after number ``after`` (0 for a new store); a step that fails leaves the store as it was."""
    keyless = _is_lake(connection)
    for step in list_migrations():
        if step.number <= after:
            continue
        connection.execute("begin")
        try:
            for sql in (_RECORD, step.sql):
                connection.execute(sql.replace(_KEY, "") if keyless else sql)
            connection.execute("insert into main.cogledger_schema values (?, ?)", [step.number, step.name])
            connection.execute("commit")
        except BaseException:
            with suppress(duckdb.Error):
                connection.execute("rollback")
            raise
    connection.execute("checkpoint")


def _is_lake(connection: duckdb.DuckDBPyConnection) -> bool:
    """Whether the database in use is a DuckLake, which has no keys."""
    sql = "select type = 'ducklake' from duckdb_databases() where database_name = current_database()"
    row = connection.execute(sql).fetchone()
    return bool(row and row[0])
