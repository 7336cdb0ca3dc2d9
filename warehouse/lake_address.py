"""``ducklake:postgres:host=… dbname=… data=…`` → where a team's catalogue and data are; passwords never shown."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from ..schema.errors import CallError, CogledgerError, InstallationError
from ..schema.reasons import Reason
from .extensions import INSTALL_TEAM

MARK = "ducklake:postgres:"
_SHAPE = "ducklake:postgres:host=HOST dbname=DATABASE data=FOLDER"
_KEYWORD = re.compile(r"\s*(\w+)\s*=\s*(?:'((?:[^'\\]|\\.)*)'|((?:[^\s'\\]|\\.)*))(?=\s|$)", re.DOTALL)
_SECRET = ("password", "sslpassword")
_HIDDEN = "***"
_DEFAULTS = {"connect_timeout": "10", "application_name": "cogledger"}


@dataclass(frozen=True)
class LakeAddress:
    """A team's store: libpq's keywords for its catalogue, and the folder or object store of its data where named.

    ``data`` ends with a slash. Keywords that are left out come from libpq's own environment, files and services.
    """

    keywords: Mapping[str, str] = field(repr=False)
    data: str | None = None

    @property
    def conninfo(self) -> str:
        """The keywords as libpq takes them, passwords included: for connecting, never for showing."""
        keywords = _DEFAULTS | dict(self.keywords)
        return " ".join(f"{key}={_quote(value)}" for key, value in keywords.items())

    @property
    def name(self) -> str:
        """The address as messages show it."""
        shown = {key: _HIDDEN if key in _SECRET else value for key, value in self.keywords.items()}
        return MARK + " ".join(f"{key}={_quote(value)}" for key, value in shown.items())

    def mask(self, said: str) -> str:
        """``said`` without this address's passwords."""
        for key in _SECRET:
            for secret in {self.keywords.get(key), _quote(self.keywords.get(key) or "")}:
                if secret and secret != "''":
                    said = said.replace(secret, _HIDDEN)
        return said


def parse_address(given: str) -> LakeAddress:
    """The store that an address means.

    :raises CallError: it does not have the shape of libpq's keywords
    :raises InstallationError: what team stores need is not installed
    """
    if not given.startswith(MARK):
        raise _refusal("a team's store needs PostgreSQL for its catalogue")
    words, found, at = given.removeprefix(MARK).strip(), {}, 0
    while at < len(words):
        match = _KEYWORD.match(words, at)
        if not match:
            raise _refusal(f"the address of the store cannot be read after {at} signs behind {MARK}")
        key, quoted, bare = match.groups()
        if key in found:
            raise _refusal(f"the address of the store names {key} twice")
        found[key] = re.sub(r"\\(.)", r"\1", quoted if quoted is not None else bare)
        at = match.end()
    data = found.pop("data", None)
    _check_keywords(found)
    return LakeAddress(found, None if data is None else _whole(data))


def is_local(data: str) -> bool:
    """Whether data lies in a folder, rather than in an object store."""
    return "://" not in data


def _whole(data: str) -> str:
    """Where data lies, the same however it was written: absolute, with a slash at its end."""
    if not data:
        raise _refusal("data= in the address of the store names no folder")
    if not is_local(data) and not data.startswith("s3://"):
        raise _refusal(f"data can lie in a folder, or in an object store as s3://BUCKET/PREFIX, not in {data}")
    whole = Path(data).expanduser().resolve().as_posix() if is_local(data) else data
    return whole.rstrip("/") + "/"


def _check_keywords(keywords: Mapping[str, str]) -> None:
    try:
        from psycopg import ProgrammingError
        from psycopg.conninfo import make_conninfo
    except ImportError as error:
        raise missing_psycopg(error) from None
    try:
        make_conninfo("", **keywords)
    except ProgrammingError as error:
        raise _refusal(f"the address of the store is none that PostgreSQL takes ({str(error).strip()})") from None


def missing_psycopg(error: ImportError) -> InstallationError:
    """What to say where PostgreSQL's driver is not installed."""
    message = f"a team's store needs psycopg, which is not installed ({error})"
    return InstallationError(Reason.ENGINE_MISSING, message, advice=f"install it with: {INSTALL_TEAM}")


def _refusal(message: str) -> CogledgerError:
    return CallError(Reason.BAD_CALL, message, advice=f"write it as {_SHAPE}")


def _quote(value: str) -> str:
    if value and not re.search(r"[\s'\\]", value):
        return value
    escaped = value.replace("\\", "\\\\").replace("'", "\\'")
    return f"'{escaped}'"
