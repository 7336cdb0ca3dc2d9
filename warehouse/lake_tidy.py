"""Housekeeping of a lake: many small files become few, and what no reader needs any more is deleted.

Every transaction writes a file for each table that it touches. Now and then the writer whose turn it is joins them.
What was replaced stays for a while, for readers that are still in an older state.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from .lake_sources import FILES_TABLE


@dataclass(frozen=True)
class LakeSettings:
    """How often files are joined, in snapshots of the catalogue, and for how many seconds old states are kept."""

    every: int = 60
    keep_s: float = 3600.0
    share_deleted: float = 0.2


def is_due(before: int, after: int, settings: LakeSettings) -> bool:
    """Whether joining is due, now that the catalogue went from one snapshot to another."""
    return before // settings.every != after // settings.every


def join_files(connection: duckdb.DuckDBPyConnection, settings: LakeSettings) -> None:
    """Join the small files of every table but that of the documents' copies, and delete what is no longer needed.

    Outside a transaction, in a writer's turn.
    """
    lake = lake_of(connection)
    sql = "select schema_name, table_name from duckdb_tables() where database_name = ? and not internal"
    for schema, table in connection.execute(sql, [lake]).fetchall():
        if table == FILES_TABLE:
            continue
        connection.execute(
            f"call ducklake_rewrite_data_files('{lake}', ?, schema => ?, delete_threshold => {settings.share_deleted})",
            [table, schema],
        )
        connection.execute(f"call ducklake_merge_adjacent_files('{lake}', ?, schema => ?)", [table, schema])
    before = f"now()::timestamp - interval '{settings.keep_s} seconds'"
    connection.execute(f"call ducklake_expire_snapshots('{lake}', older_than => {before})")
    connection.execute(f"call ducklake_cleanup_old_files('{lake}', older_than => {before})")


def lake_of(connection: duckdb.DuckDBPyConnection) -> str:
    """The name under which the lake in use is attached."""
    (name,) = connection.execute("select current_database()").fetchone() or ("",)
    return name
