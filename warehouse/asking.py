"""Builds → answers: from files, mappings and batches, one answer or one error for each, in the order given."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..schema.builds import Build, CodeRef, build_from_mapping, load_build, with_photos
from ..schema.errors import CallError, CogledgerError, Fault
from ..schema.reasons import Reason
from .by_photo import PhotoNamer
from .lookup import StoreParts
from .store import Store

if TYPE_CHECKING:
    from ..schema.answers import FitAnswer

AnyBuild = Build | Mapping[str, Any] | Path | str


@dataclass(frozen=True)
class BatchLine:
    """One build of a batch file: its fields, or why there are none."""

    where: str
    fields: Mapping[str, Any] | None
    fault: Fault | None = None


def answer_build(
    store: Store, build: AnyBuild, parts: StoreParts | None = None, namer: PhotoNamer | None = None
) -> FitAnswer:
    """Does this build fit?

    :raises DocumentError: a photo that it names cannot be used, or is too unsure to build on
    :raises BuildError: the build cannot be used; every fault in it is named
    :raises StoreError: it names a code and the store cannot be opened; a build that is written out needs none
    """
    from .fit import fit_build

    parts = parts or StoreParts(store)
    namer = namer or PhotoNamer(store, parts)
    named = with_photos(as_build(build), namer.name_part)
    placed = (*named.wished_parts().values(), *named.now_parts().values())
    parts.look_up(one.entry.written for one in placed if isinstance(one.entry, CodeRef))
    return fit_build(named, parts)


def as_build(build: AnyBuild) -> Build:
    """A build from whatever stands for one: itself, its fields, or the path of its file."""
    if isinstance(build, Build):
        return build
    return build_from_mapping(build) if isinstance(build, Mapping) else load_build(build)


def answer_builds(store: Store, builds: Iterable[AnyBuild | BatchLine]) -> Iterator[FitAnswer | CogledgerError]:
    """An answer or an error for each build, as they are asked for; one error never ends the batch."""
    parts = StoreParts(store)
    namer = PhotoNamer(store, parts)
    for build in builds:
        try:
            yield answer_build(store, _from_line(build) if isinstance(build, BatchLine) else build, parts, namer)
        except CogledgerError as error:
            yield error


def _from_line(line: BatchLine) -> Build:
    if line.fields is None:
        fault = line.fault or Fault(Reason.BAD_BUILD, "is no build")
        raise CallError(fault.reason, fault.message, file=fault.file, where=fault.where, advice=fault.advice)
    return build_from_mapping(line.fields, line.where)


def read_batch(path: Path) -> Iterator[BatchLine]:
    """The builds of a batch file: JSON lines, or Parquet with the same fields.

    :raises CallError: the file is missing, or is neither
    """
    try:
        with path.open("rb") as file:
            is_parquet = file.read(4) == b"PAR1"
        lines = _parquet_lines(path) if is_parquet else _json_lines(path)
    except FileNotFoundError:
        raise CallError(Reason.NOT_FOUND, "there is no such batch file", file=str(path)) from None
    except OSError as error:
        message = f"the batch file cannot be read ({error.strerror or error})"
        raise CallError(Reason.NOT_READABLE, message, file=str(path)) from None
    except UnicodeDecodeError:
        message = "the batch file is neither JSON lines nor Parquet"
        raise CallError(Reason.WRONG_TYPE, message, file=str(path), advice="write one build a line, as JSON") from None
    return iter(lines)


def _json_lines(path: Path) -> Sequence[BatchLine]:
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    return [_json_line(path, number, line) for number, line in enumerate(lines, 1) if line.strip()]


def _json_line(path: Path, number: int, line: str) -> BatchLine:
    where = f"{path}, line {number}"
    try:
        fields = json.loads(line)
    except json.JSONDecodeError as error:
        fault = Fault(Reason.BAD_BUILD, f"the line is no JSON ({error.msg})", file=str(path), where=f"line {number}")
        return BatchLine(where, None, fault)
    if isinstance(fields, dict):
        return BatchLine(where, fields)
    fault = Fault(Reason.BAD_BUILD, "the line holds no JSON object", file=str(path), where=f"line {number}")
    return BatchLine(where, None, fault)


def _parquet_lines(path: Path) -> Sequence[BatchLine]:
    import polars as pl

    try:
        rows = pl.read_parquet(path).to_dicts()
    except pl.exceptions.PolarsError as error:
        message = f"the batch file is no sound Parquet ({str(error).splitlines()[0]})"
        raise CallError(Reason.WRONG_TYPE, message, file=str(path), advice="write it again") from None
    return [BatchLine(f"{path}, row {number}", row) for number, row in enumerate(rows, 1)]
