"""Arguments as typed → values for the Ledger."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ..schema.errors import CallError
from ..schema.limits import LIMITS
from ..schema.reasons import Reason
from ..warehouse.asking import AnyBuild, BatchLine, read_batch
from ..warehouse.cluster import is_address

_MOST_PROCESSES = 1024


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


def parse_numbers_of(option: str, written: Sequence[str] | None) -> tuple[tuple[str, float], ...]:
    """``["largest_cog=32"]`` → each key with its number.

    >>> parse_numbers_of("--takes", ["rear_speeds=10", "largest_cog = 34T"])
    (('rear_speeds', 10.0), ('largest_cog', 34.0))

    :raises CallError: one is not written so
    """
    told = []
    for key, value in parse_pairs(option, written):
        row = LIMITS.get(key)
        unit = str(row.unit) if row and row.unit else ""
        try:
            told.append((key, float(value.removesuffix(unit))))
        except ValueError:
            message = f"{option} {key}: {value!r} is no number"
            raise CallError(Reason.BAD_CALL, message, advice=f"write it as {option} {key}=32") from None
    return tuple(told)


def parse_pairs(option: str, written: Sequence[str] | None) -> tuple[tuple[str, str], ...]:
    """``["freehub_fit=spline 9"]`` → each key with what is asked of it.

    :raises CallError: one is not written so
    """
    told = []
    for pair in written or ():
        key, sign, value = (piece.strip() for piece in pair.partition("="))
        if not (key and sign and value):
            message = f"{option} {pair!r} does not name a limit and what is asked of it"
            raise CallError(Reason.BAD_CALL, message, advice=f"write it as {option} KEY=..., such as largest_cog=32")
        told.append((key.lower().replace(" ", "_").replace("-", "_"), value))
    return tuple(told)


def gather_values(
    at_least: Sequence[str] | None,
    at_most: Sequence[str] | None,
    takes: Sequence[str] | None,
    says: Sequence[str] | None,
) -> dict[str, Any]:
    """What is asked of values, as the fields of a filter.

    :raises CallError: one is not written as KEY=VALUE
    """
    return {
        "at_least": parse_numbers_of("--at-least", at_least), "at_most": parse_numbers_of("--at-most", at_most),
        "takes": parse_numbers_of("--takes", takes), "says": parse_pairs("--says", says),
    }  # fmt: skip


def parse_workers(written: str | None) -> int | str | None:
    """``"4"`` → so many processes; ``"tcp://host:port"`` → the address of a cluster.

    >>> parse_workers("4"), parse_workers("tcp://10.0.0.5:8786")
    (4, 'tcp://10.0.0.5:8786')
    """
    if written is None or is_address(written):
        return written
    if written.isascii() and written.isdigit() and 0 < int(written) <= _MOST_PROCESSES:
        return int(written)
    advice = (
        f"write a number from 1 to {_MOST_PROCESSES}, or the address of a Dask scheduler such as tcp://10.0.0.5:8786"
    )
    raise CallError(Reason.BAD_CALL, f"{written!r} is no number of processes and no address", advice=advice)


def gather_builds(files: list[Path], batch: Path | None) -> list[AnyBuild | BatchLine]:
    """The builds of a call, files first and then the batch's.

    :raises CallError: none was named, or the batch cannot be read
    """
    builds: list[AnyBuild | BatchLine] = [*files, *(read_batch(batch) if batch else ())]
    if not builds:
        message = "the batch holds no build" if batch else "no build was named"
        raise CallError(Reason.BAD_CALL, message, file=str(batch) if batch else None, advice="name a build file")
    return builds
