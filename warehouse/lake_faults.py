"""What PostgreSQL, DuckDB or an object store said of a team's store → one sentence of ours, with what to do."""

from __future__ import annotations

import re

from ..schema.errors import CallError, CogledgerError, StoreError
from ..schema.reasons import Reason
from .lake_address import LakeAddress

_WAITED = ("lock timeout", "lock_timeout")
_LET_IN = ("password authentication failed", "no password supplied", "pg_hba.conf", "authentication failed")
_UNKNOWN = re.compile(r'(?:role|database) "[^"]*" does not exist')
_LOST = (
    "server closed the connection", "terminating connection", "connection refused", "could not connect",
    "unable to connect", "no connection to the server", "connection to server", "ssl syscall", "is shutting down",
    "is starting up", "could not translate host name", "failed to resolve host", "timeout expired",
    "connection timeout", "network is unreachable", "connection is closed", "connection is lost", "the connection is",
    "connection slots", "too many clients", "consuming input failed", "bad connection", "connection not open",
)  # fmt: skip
_CONFLICT = ("transaction conflict", "conflict on")
_RIGHTS = (
    "permission denied",
    "read-only",
    "no space left",
    "disk quota",
    "http 403",
    "403 forbidden",
    "access denied",
)
_FILES = (
    "no files found",
    "cannot open file",
    "could not open",
    "no such file",
    "http 404",
    "404 not found",
    "failed to read",
    "corrupt",
)
_LONGEST = 200


def explain_lake(error: Exception, address: LakeAddress, data: str | None, wait_s: float) -> CogledgerError:
    """The error of ours for one of PostgreSQL's driver, of DuckDB or of the system; it shows no password."""
    whole = address.mask(str(error))
    low = whole.lower()
    said, file = _shorten(whole) or type(error).__name__, address.name
    if any(sign in low for sign in _WAITED):
        return StoreError(Reason.STORE_BUSY, f"others wrote to the store for {wait_s:g} s", file=file)
    if any(sign in low for sign in _LET_IN) or _UNKNOWN.search(whole):
        advice = "check host, user and database in the address, and the password (PGPASSWORD, or libpq's password file)"
        return CallError(Reason.BAD_CALL, f"the catalogue does not let you in ({said})", file=file, advice=advice)
    over_http = re.search(r"\bhttps?\b", low) is not None
    if is_lost(error) and not over_http:
        advice = "check that PostgreSQL runs and can be reached from here, then try again; nothing kept was lost"
        return StoreError(Reason.STORE_BUSY, f"the catalogue does not answer ({said})", file=file, advice=advice)
    if any(sign in low for sign in _CONFLICT):
        message = "another program wrote to the store at the same moment; nothing was written"
        return StoreError(Reason.STORE_BUSY, message, file=file, advice="try again")
    if any(sign in low for sign in _RIGHTS):
        advice = "check your rights on the catalogue and on its data, and the room there"
        return StoreError(Reason.NOT_WRITABLE, f"the store may not be used so ({said})", file=file, advice=advice)
    if isinstance(error, OSError) or over_http or any(sign in low for sign in _FILES):
        advice = f"check that {data or 'the data'} can be reached from here, or restore it from a copy"
        return StoreError(Reason.STORE_BROKEN, f"the store's data cannot be read ({said})", file=file, advice=advice)
    advice = "restore catalogue and data from a copy of the same moment, or read the documents into a new store"
    return StoreError(Reason.STORE_BROKEN, f"the store cannot be read ({said})", file=file, advice=advice)


def is_lost(error: Exception) -> bool:
    """Whether the error says that PostgreSQL cannot be reached, or went away."""
    low = str(error).lower()
    return any(sign in low for sign in _LOST)


def _shorten(said: str) -> str:
    """The telling part of a long message: what the server said last, in one line."""
    lines = [line.strip() for line in said.splitlines() if line.strip()]
    telling = [line for line in lines if re.search(r"FATAL|failed:|refused|closed", line)]
    line = next(iter(telling + lines), "")
    for mark in ("FATAL:", "failed: ", "Unable to connect to Postgres at"):
        if mark in line:
            line = line.rpartition(mark)[2]
    line = line.strip().rstrip(".")
    return line if len(line) <= _LONGEST else f"{line[:_LONGEST]}…"
