"""Arguments as typed → values for the Ledger."""

from __future__ import annotations

import re
from pathlib import Path

from ..schema.errors import CallError
from ..schema.reasons import Reason
from ..warehouse.asking import AnyBuild, BatchLine, read_batch


def parse_numbers(written: str | None) -> tuple[float, ...] | None:
    """``"11 13 15"`` or ``"11,13,15"`` → numbers.

    >>> parse_numbers("11, 13 15.5")
    (11.0, 13.0, 15.5)
    """
    if written is None:
        return None
    try:
        numbers = tuple(float(word) for word in re.split(r"[,;\s]+", written.strip()) if word)
    except ValueError:
        numbers = ()
    if not numbers:
        raise CallError(Reason.BAD_CALL, f"{written!r} is no list of numbers", advice='write it as "11 13 15"')
    return numbers


def gather_builds(files: list[Path], batch: Path | None) -> list[AnyBuild | BatchLine]:
    """The builds of a call, files first and then the batch's.

    :raises CallError: none was named, or the batch cannot be read
    """
    builds: list[AnyBuild | BatchLine] = [*files, *(read_batch(batch) if batch else ())]
    if not builds:
        message = "the batch holds no build" if batch else "no build was named"
        raise CallError(Reason.BAD_CALL, message, file=str(batch) if batch else None, advice="name a build file")
    return builds
