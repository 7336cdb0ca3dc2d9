"""Tables → a pack, whole or not at all: written beside its place, read back with every check, then put there."""

from __future__ import annotations

import json
import os
import random
import re
import shutil
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pyarrow as pa

from ...schema.errors import CallError, StoreError
from ...schema.reasons import Reason
from .about import DESCRIPTOR, PackAbout, Resource, make_descriptor, picture_name, picture_path
from .container import hash_of
from .descriptor import is_ours, read_mark
from .fields import TABLES, TableFields
from .files import CsvTableWriter, ParquetTableWriter
from .reading import PackCounts, open_pack
from .settings import PackSettings

Rows = Any
"""An Arrow table, or an iterable of record batches."""
_PACK_FILE = re.compile(r"datapackage\.json|(documents|claims|words)\.(csv|parquet)|evidence(/[0-9a-f]{16}\.png)?")
_EPOCH_OF_ZIP = (1980, 1, 1, 0, 0, 0)


def write_pack(
    out: Path,
    tables: Mapping[str, Rows],
    about: PackAbout,
    csv: bool = False,
    pictures: Iterable[tuple[str, bytes]] = (),
    settings: PackSettings | None = None,
) -> PackCounts:
    """Write a pack, as one zip where ``out`` ends in .zip, else as a folder.

    :param tables: ``documents``, ``claims`` and ``words`` in the columns of ``fields``; batches come in the order of
        the table's key, an Arrow table is put in that order
    :param pictures: PNGs with the ids of their claims
    :raises CallError: ``out`` is something else than a pack, or ``about`` cannot stand
    :raises DocumentError: the tables hold what no pack may
    :raises StoreError: the pack cannot be written
    """
    settings = settings or PackSettings()
    about.demand_sound()
    demand_free(out)
    fresh = out.parent / f".{out.name}.{os.getpid()}-{random.randrange(1 << 32):08x}.part"
    try:
        fresh.mkdir(parents=True)
        resources = [_write_table(fresh, table, tables[table.name], csv, settings) for table in TABLES.values()]
        resources += [_write_picture(fresh, claim_id, data) for claim_id, data in sorted(pictures)]
        told = make_descriptor(about, resources)
        (fresh / DESCRIPTOR).write_text(json.dumps(told, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        with open_pack(fresh, settings, name=str(out)) as pack:
            counts = pack.check()
        if out.suffix.lower() == ".zip":
            _put_zip(fresh, out, [DESCRIPTOR, *(r.path for r in resources)])
        else:
            _put_folder(fresh, out)
        return counts
    except OSError as error:
        message = f"the pack cannot be written ({error.strerror or error})"
        raise StoreError(
            Reason.NOT_WRITABLE, message, file=str(out), advice="make room or choose another place"
        ) from None
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def demand_free(out: Path) -> None:
    """Check that a pack may be put at ``out``: nothing is there, or an empty folder, or a pack and nothing else.

    :raises CallError: something else is there
    """
    if not out.exists() and not out.is_symlink():
        return
    if out.is_symlink():
        wrong = "it is a link"
    elif out.is_dir():
        held = [path.relative_to(out).as_posix() for path in out.rglob("*")]
        strange = sorted(name for name in held if not _PACK_FILE.fullmatch(name))
        ours = not held or read_mark(out / DESCRIPTOR)
        wrong = f"the folder holds {strange[0]}" if strange else None if ours else "the folder holds no pack"
        if out.suffix.lower() == ".zip":
            wrong = "it is a folder"
    else:
        wrong = None if _is_our_zip(out) else "the file is no pack"
    if wrong:
        raise CallError(
            Reason.BAD_CALL, f"{wrong}, and is not overwritten", file=str(out), advice="name a new folder or zip"
        )


def _is_our_zip(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as archive, archive.open(DESCRIPTOR) as file:
            return path.suffix.lower() == ".zip" and is_ours(file.read(64 << 20))
    except (OSError, ValueError, KeyError, RuntimeError, NotImplementedError, EOFError, zipfile.BadZipFile):
        return False


def _write_table(folder: Path, table: TableFields, rows: Rows, csv: bool, settings: PackSettings) -> Resource:
    path = folder / f"{table.name}.{'csv' if csv else 'parquet'}"
    writer = CsvTableWriter(path, table) if csv else ParquetTableWriter(path, table)
    try:
        for batch in even_batches(rows, table, settings.batch_rows):
            writer.write(batch)
    finally:
        writer.close()
    return _describe(folder, table.name, path.name)


def even_batches(rows: Rows, table: TableFields, size: int) -> Iterator[pa.RecordBatch]:
    """Rows in batches of ``size``, however they come, so that equal rows give equal files."""
    if isinstance(rows, pa.Table):
        rows = rows.sort_by([(name, "ascending") for name in table.key]).to_batches()
    waiting: list[pa.RecordBatch] = []
    count = 0
    for batch in rows:
        waiting.append(batch.select(table.names).cast(table.arrow))
        count += batch.num_rows
        if count < size:
            continue
        joined = pa.Table.from_batches(waiting).combine_chunks()
        whole = count - count % size
        for start in range(0, whole, size):
            yield _one_batch(joined.slice(start, size))
        rest = joined.slice(whole)
        waiting, count = ([_one_batch(rest)] if rest.num_rows else []), rest.num_rows
    if waiting:
        yield _one_batch(pa.Table.from_batches(waiting))


def _one_batch(table: pa.Table) -> pa.RecordBatch:
    return table.combine_chunks().to_batches()[0]


def _write_picture(folder: Path, claim_id: str, data: bytes) -> Resource:
    path = folder / picture_path(claim_id)
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    return _describe(folder, picture_name(claim_id), picture_path(claim_id))


def _describe(folder: Path, name: str, path: str) -> Resource:
    file = folder / path
    with file.open("rb+") as opened:
        os.fsync(opened.fileno())
    return Resource(name, path, file.stat().st_size, hash_of(file))


def _put_zip(fresh: Path, out: Path, names: list[str]) -> None:
    """Pack the files, in this order and with no time of writing, and put the zip in place."""
    packed = fresh / "packed.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        for name in names:
            entry = zipfile.ZipInfo(name, _EPOCH_OF_ZIP)
            entry.external_attr = 0o644 << 16
            entry.create_system = 3
            entry.compress_type = zipfile.ZIP_DEFLATED if name.endswith((".csv", ".json")) else zipfile.ZIP_STORED
            large = (fresh / name).stat().st_size > (1 << 30)
            with (fresh / name).open("rb") as file, archive.open(entry, "w", force_zip64=large) as target:
                shutil.copyfileobj(file, target, 1 << 20)
    with packed.open("rb+") as file:
        os.fsync(file.fileno())
    packed.replace(out)


def _put_folder(fresh: Path, out: Path) -> None:
    """Put the folder in place; a former pack is moved aside first and deleted at the end."""
    former = fresh.with_suffix(".former")
    if out.exists():
        out.rename(former)
    try:
        fresh.rename(out)
    except OSError:
        if former.exists():
            former.rename(out)
        raise
    shutil.rmtree(former, ignore_errors=True)
