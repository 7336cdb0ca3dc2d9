"""The tables of a pack as files: Parquet or CSV ↔ Arrow record batches."""

from __future__ import annotations

import codecs
import json
from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pcsv
import pyarrow.parquet as pq

from .compute import pc
from .descriptor import parse_strict_json
from .fields import Field, TableFields
from .refusing import Place, shown

_BLOCK = 4 << 20
_WHOLE = "^-?[0-9]{1,18}$"
_NUMBER = "^-?[0-9]{1,40}([.][0-9]{1,40})?([eE][+-]?[0-9]{1,3})?$"
_TIME = "^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}[.][0-9]{6}Z$"
_WRITTEN_AS_THEY_ARE = ("integer", "number")
_ARROW_SAYS = (pa.ArrowException, OSError, ValueError, LookupError, OverflowError, MemoryError)


class ParquetTableWriter:
    """Writes a table as Parquet, compressed by Zstandard."""

    def __init__(self, path: Path, table: TableFields) -> None:
        self._writer = pq.ParquetWriter(path, table.arrow, compression="zstd", store_schema=False)

    def write(self, batch: pa.RecordBatch) -> None:
        """Write one batch as one row group."""
        self._writer.write_batch(batch)

    def close(self) -> None:
        """Finish the file."""
        self._writer.close()


class CsvTableWriter:
    """Writes a table as CSV (RFC 4180: commas, quotes where needed), lists as JSON arrays, times in UTC."""

    def __init__(self, path: Path, table: TableFields) -> None:
        self._table = table
        options = pcsv.WriteOptions(quoting_style="needed")
        kinds = [(f.name, f.arrow if f.kind in _WRITTEN_AS_THEY_ARE else pa.string()) for f in table.fields]
        self._writer = pcsv.CSVWriter(path, pa.schema(kinds), write_options=options)

    def write(self, batch: pa.RecordBatch) -> None:
        """Write one batch."""
        columns = [_as_text(batch.column(field.name), field) for field in self._table.fields]
        self._writer.write_batch(pa.record_batch(columns, names=self._table.names))

    def close(self) -> None:
        """Finish the file."""
        self._writer.close()


def _as_text(column: pa.Array, field: Field) -> pa.Array:
    if field.kind == "array":
        told = [None if v is None else json.dumps([_plain(x) for x in v]) for v in column.to_pylist()]
        return pa.array(told, pa.string())
    if field.kind == "datetime":
        return pc.binary_join_element_wise(pc.utf8_replace_slice(column.cast(pa.string()), 10, 11, "T"), "Z", "")
    return column if field.kind in _WRITTEN_AS_THEY_ARE else pc.if_else(pc.equal(column, ""), None, column)


def _plain(number: float) -> float | int:
    return int(number) if number.is_integer() else number


def count_rows(path: Path, place: Place) -> int | None:
    """The number of rows that a Parquet file says it has; ``None`` for CSV.

    :raises DocumentError: it is no Parquet file
    """
    if path.suffix != ".parquet":
        return None
    try:
        with pq.ParquetFile(path) as file:
            return file.metadata.num_rows
    except _ARROW_SAYS as error:
        place.refuse(f"the file is damaged ({shown(error, 120)})")


def read_table(path: Path, table: TableFields, place: Place, batch_rows: int) -> Iterator[pa.RecordBatch]:
    """The rows of a table in batches, in the columns and types of the table, nothing else checked.

    :raises DocumentError: it is no such file, or its columns or types are others
    """
    read = _read_parquet if path.suffix == ".parquet" else _read_csv
    batches = read(path, table, place, batch_rows)
    while True:
        try:
            batch = next(batches, None)
        except _ARROW_SAYS as error:
            place.refuse(f"the file is damaged ({shown(error, 120)})")
        if batch is None:
            return
        if batch.num_rows:
            yield batch


def _read_parquet(path: Path, table: TableFields, place: Place, batch_rows: int) -> Iterator[pa.RecordBatch]:
    with pq.ParquetFile(path, arrow_extensions_enabled=False) as file:
        _demand_columns(file.schema_arrow, table, place)
    words = [field.name for field in table.fields if pa.types.is_string(field.arrow)]
    with pq.ParquetFile(path, read_dictionary=words, pre_buffer=False, arrow_extensions_enabled=False) as file:
        row = 0
        for batch in file.iter_batches(batch_size=batch_rows, use_threads=False):
            columns = []
            for field in table.fields:
                column = batch.column(field.name)
                if pa.types.is_dictionary(column.type):
                    column = _spell_out(column, field, Place(place.pack, place.file, row + 1, field.name))
                columns.append(_same_type(column, field))
            row += batch.num_rows
            yield pa.record_batch(columns, schema=table.arrow)


def _spell_out(column: pa.Array, field: Field, place: Place) -> pa.Array:
    """The texts of a column that repeats few of them; a long one repeated often is refused before it fills memory."""
    column.validate(full=True)
    longest = pc.max(pc.binary_length(column.dictionary)).as_py() or 0
    if longest > 4 * (field.longest or 0):
        place.refuse(f"a text here or in the rows after it is longer than {field.longest:,} signs")
    return column.dictionary_decode()


def _same_type(column: pa.Array, field: Field) -> pa.Array:
    column.validate(full=True)
    return column if column.type == field.arrow else column.cast(field.arrow)


def _demand_columns(schema: pa.Schema, table: TableFields, place: Place) -> None:
    _demand_names(schema.names, table, place)
    for field in table.fields:
        found = schema.field(field.name).type
        if pa.types.is_dictionary(found):
            found = found.value_type
        same = found == field.arrow
        if pa.types.is_list(found) and pa.types.is_list(field.arrow):
            same = found.value_type == field.arrow.value_type
        if not same:
            Place(place.pack, place.file, None, field.name).refuse(
                f"the column has the type {found}, not {field.arrow}"
            )


def _demand_names(names: list[str], table: TableFields, place: Place) -> None:
    for name in table.names:
        if name not in names:
            place.refuse(f"the column {name} is missing")
    for name in names:
        if name not in table.names:
            place.refuse(f"there is no column {shown(name)} in a pack")
    if names != table.names:
        place.refuse("the columns are in another order, or one is there twice")


def _read_csv(path: Path, table: TableFields, place: Place, batch_rows: int) -> Iterator[pa.RecordBatch]:
    _demand_utf8(path, place)
    short: list[pcsv.InvalidRow] = []

    def note(row: pcsv.InvalidRow) -> str:
        short.append(row)
        return "error"

    try:
        with pcsv.open_csv(
            path,
            pcsv.ReadOptions(use_threads=False, block_size=_BLOCK),
            pcsv.ParseOptions(invalid_row_handler=note, newlines_in_values=False),
            pcsv.ConvertOptions(
                column_types={name: pa.string() for name in table.names}, strings_can_be_null=True, null_values=[""]
            ),
        ) as reader:
            _demand_names(reader.schema.names, table, place)
            row = 0
            for batch in reader:
                for start in range(0, batch.num_rows, batch_rows):
                    part = batch.slice(start, batch_rows)
                    columns = [_from_text(part.column(f.name), f, place, row + start) for f in table.fields]
                    yield pa.record_batch(columns, schema=table.arrow)
                row += batch.num_rows
    except pa.ArrowInvalid:
        if not short:
            raise
        number = None if short[0].number is None else short[0].number - 1
        cells = f"{short[0].actual_columns} cells and not {short[0].expected_columns}"
        Place(place.pack, place.file, number).refuse(f"the row has {cells}")


def _demand_utf8(path: Path, place: Place) -> None:
    decoder = codecs.getincrementaldecoder("utf-8")()
    row = 0
    with path.open("rb") as file:
        try:
            while chunk := file.read(_BLOCK):
                row += decoder.decode(chunk).count("\n")
            decoder.decode(b"", final=True)
        except UnicodeDecodeError as error:
            before = error.object[: error.start].count(b"\n")
            Place(place.pack, place.file, row + before).refuse("the row is not UTF-8")


def _from_text(column: pa.Array, field: Field, place: Place, row: int) -> pa.Array:
    if field.kind in ("string", "object"):
        return pc.fill_null(column, "") if field.blank else column
    if field.kind == "array":
        return pa.array([_parse_list(v, field, place, row + n) for n, v in enumerate(column.to_pylist())], field.arrow)
    pattern = {"integer": _WHOLE, "number": _NUMBER, "datetime": _TIME}[field.kind]
    wrong = pc.index(pc.fill_null(pc.match_substring_regex(column, pattern), True), False).as_py()
    at = Place(place.pack, place.file, row + wrong + 1, field.name)
    if wrong >= 0:
        at.refuse(f"{shown(column[wrong].as_py())} is no {field.kind}")
    try:
        if field.kind == "datetime":
            return pc.utf8_slice_codeunits(column, 0, 26).cast(field.arrow)
        return column.cast(field.arrow)
    except pa.ArrowInvalid:
        Place(place.pack, place.file, None, field.name).refuse(f"a cell after row {row} is no {field.kind}")


def _parse_list(text: str | None, field: Field, place: Place, row: int) -> list[float] | None:
    if text is None:
        return None
    at = Place(place.pack, place.file, row + 1, field.name)
    if len(text) > 64 * (field.longest or 1):
        at.refuse(f"the list is longer than {field.longest}")
    try:
        told = parse_strict_json(text)
        sound = isinstance(told, list) and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in told)
        numbers = [float(v) for v in told] if sound else None
    except (ValueError, RecursionError, OverflowError):
        numbers = None
    if numbers is None:
        at.refuse(f"{shown(text)} is no JSON list of numbers")
    return numbers
