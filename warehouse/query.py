"""A question in SQL → an Arrow table, read from the store's views."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import duckdb
import pyarrow as pa

from ..schema.errors import CallError
from ..schema.reasons import Reason
from .store import Store

VIEWS = ("limits", "parts", "claims", "documents", "stamps")
"""The views that keep their names and columns."""


def ask_in_sql(store: Store, sql: str, parameters: Sequence[Any] | Mapping[str, Any] = ()) -> pa.Table:
    """The answer to one ``select`` on the views ``limits``, ``parts``, ``claims``, ``documents`` and ``stamps``.

    :param parameters: values for ``?`` in order, or for ``$name`` by name
    :raises CallError: it is no single ``select``, or DuckDB does not understand it
    """
    _must_only_read(sql)
    with store.reading() as connection:
        try:
            return connection.execute(sql, parameters or None).to_arrow_table()
        except (duckdb.CatalogException, duckdb.BinderException, duckdb.InvalidInputException,
                duckdb.ConversionException, duckdb.ParserException, duckdb.OutOfRangeException) as error:  # fmt: skip
            raise _not_understood(error) from None


def _must_only_read(sql: str) -> None:
    try:
        statements = duckdb.extract_statements(sql)
    except duckdb.Error as error:
        raise _not_understood(error) from None
    if [statement.type for statement in statements] != [duckdb.StatementType.SELECT]:
        advice = "ask with one select; claims change by confirm, correct and reject only"
        raise CallError(Reason.BAD_CALL, "the SQL is no single select", advice=advice)


def _not_understood(error: duckdb.Error) -> CallError:
    message = f"the SQL cannot be answered ({str(error).splitlines()[0]})"
    return CallError(Reason.BAD_CALL, message, advice=f"the views are {', '.join(VIEWS)}; see docs/sql.md")
