"""Files that are whole or not there: read as the known one, written under another name and then put in place."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..schema.errors import DocumentError
from ..schema.reasons import Reason


def read_as_known(path: Path, sha256: str) -> bytes:
    """The contents of a file that had this hash when it was read.

    :raises DocumentError: it is gone, or has changed since
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        message = f"it could not be copied ({error.strerror})"
        raise DocumentError(Reason.NOT_READABLE, message, file=str(path)) from None
    if hashlib.sha256(data).hexdigest() != sha256:
        message = "the file changed while it was being read"
        raise DocumentError(Reason.NOT_READABLE, message, file=str(path), advice="read it again")
    return data


def write_whole(target: Path, data: bytes) -> None:
    """Write ``data`` to ``target`` so that the file is either whole or not there."""
    put_whole(target, lambda path: path.write_bytes(data))


def put_whole(target: Path, write: Callable[[Path], Any]) -> None:
    """Let ``write`` fill a file of another name beside ``target``, then put it in place."""
    fresh = target.with_name(f".{target.name}.{os.getpid()}.part{target.suffix}")
    try:
        write(fresh)
        with fresh.open("rb+") as file:
            os.fsync(file.fileno())
        fresh.replace(target)
    finally:
        fresh.unlink(missing_ok=True)


def put_new(fresh: Path, target: Path) -> None:
    """Put ``fresh`` in place as ``target``, unless another process was first."""
    try:
        os.link(fresh, target)
    except FileExistsError:
        return
    except OSError:
        if not target.exists():
            fresh.replace(target)
