"""The order of the big tables: rows of one family of codes beside each other, so that a part is found among millions.

DuckDB notes the least and the greatest value of each column in each block of rows and passes over blocks that cannot
hold what is asked for. What comes later stands at the end, in the order in which it came; where that is much, the
tables are written anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

_ORDERS = {
    "claims": "family, code_key, sha256, position",
    "limits": "family, part_kind, code_key, maker_key, variant_key, position",
    "parts": "family, part_kind, code_key, maker_key, variant_key",
}


@dataclass(frozen=True)
class TidySettings:
    """When the big tables are put in order again: so many rows, and so large a share of all, came since."""

    least_rows: int = 100_000
    share: float = 0.05


def note_disorder(connection: duckdb.DuckDBPyConnection, rows: int) -> None:
    """Remember that so many rows were put at the end of the big tables."""
    if rows:
        connection.execute("update kept.disorder set rows_since = rows_since + ?", [rows])


def needs_tidying(connection: duckdb.DuckDBPyConnection, settings: TidySettings) -> bool:
    """Whether enough rows came out of order to make looking a part up slow."""
    row = connection.execute("select (select sum(rows_since) from kept.disorder), count(*) from kept.claims").fetchone()
    since, rows = row if row else (0, 0)
    return (since or 0) >= max(settings.least_rows, settings.share * rows)


def put_in_order(connection: duckdb.DuckDBPyConnection) -> None:
    """Write every big table anew in its order, inside the caller's transaction."""
    for table, order in _ORDERS.items():
        connection.execute(f"create table kept.in_order as select * from kept.{table} order by {order}")
        connection.execute(f"drop table kept.{table}")
        connection.execute(f"alter table kept.in_order rename to {table}")
    connection.execute("update kept.disorder set rows_since = 0")
