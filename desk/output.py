"""Where answers go: text for people, JSON, JSON lines, CSV and Parquet for programs."""

from __future__ import annotations

import csv
import json
import shlex
import shutil
import sys
from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.text import Text

from ..schema.errors import CallError, StoreError
from ..schema.reasons import Reason
from ..warehouse import Ledger
from ..warehouse.files import put_whole
from ..warehouse.store import LAKE_MARK

PIPED_WIDTH = 100


class Shape(StrEnum):
    """The shape in which a command answers."""

    TEXT = "text"
    JSON = "json"
    JSONL = "jsonl"
    CSV = "csv"
    PARQUET = "parquet"


def choose_shape(**asked: object) -> Shape:
    """The one shape that was asked for; text where none was.

    :raises CallError: more than one was asked for
    """
    chosen = [Shape(name) for name, value in asked.items() if value]
    if len(chosen) > 1:
        names = " and ".join(f"--{shape}" for shape in chosen)
        raise CallError(Reason.BAD_CALL, f"{names} exclude each other", advice="choose one of them")
    return chosen[0] if chosen else Shape.TEXT


def screen_width() -> int:
    """Columns to lay text out for."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else PIPED_WIDTH


def for_store(store: str | None) -> str:
    """The option that a command shown to people needs so that it looks in the same store; a blank before it.

    A password in it is left out.
    """
    if store is None:
        return ""
    name = Ledger(store).name if str(store).startswith(LAKE_MARK) else str(store)
    return f" --store {shlex.quote(name)}"


def say(line: str = "", style: str = "") -> None:
    """One line for people on standard output; colours only where the terminal has them."""
    Console(highlight=False, soft_wrap=True).print(Text(line, style=style))


def say_all(lines: Iterable[str]) -> None:
    """Several lines for people."""
    for line in lines:
        say(line)


def complain(line: str) -> None:
    """One line on standard error."""
    print(line, file=sys.stderr)


def put_json(answer: object) -> None:
    """One JSON document on standard output."""
    print(_dump(answer, indent=2))


def put_line(answer: object) -> None:
    """One JSON line on standard output."""
    print(_dump(answer))


def _dump(answer: object, indent: int | None = None) -> str:
    ascii_only = (sys.stdout.encoding or "").lower().replace("-", "") != "utf8"
    return json.dumps(answer, ensure_ascii=ascii_only, indent=indent)


def put_csv(rows: Sequence[Mapping[str, Any]], columns: Sequence[str]) -> None:
    """Rows as CSV on standard output, with a head line; a missing field is blank."""
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([_cell(row.get(name)) for name in columns] for row in rows)


def _cell(value: object) -> object:
    if isinstance(value, (list, tuple)) and all(isinstance(v, (int, float, str)) for v in value):
        return " ".join(str(v) for v in value)
    return json.dumps(value, ensure_ascii=False) if isinstance(value, (dict, list)) else value


def put_parquet(rows: Sequence[Mapping[str, Any]], schema: Mapping[str, Any], file: Path) -> None:
    """Rows as a Parquet file, whole or not at all; fields that are objects become JSON text.

    :param schema: column → polars type
    """
    import polars as pl

    def fitting(value: object, kind: object) -> object:
        return json.dumps(value, ensure_ascii=False) if kind == pl.String and isinstance(value, (dict, list)) else value

    columns = {name: [fitting(row.get(name), kind) for row in rows] for name, kind in schema.items()}
    frame = pl.DataFrame(columns, schema=dict(schema), strict=False)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        put_whole(file, frame.write_parquet)
    except OSError as error:
        message = f"the table cannot be written ({error.strerror or error})"
        raise StoreError(Reason.NOT_WRITABLE, message, file=str(file), advice="give another place") from None
    complain(f"{len(rows)} rows written to {file}")
