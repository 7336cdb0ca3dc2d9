"""DuckDB's extensions for team stores: found inside the wheels that pip installed, loaded by path, never fetched."""

from __future__ import annotations

from importlib import util
from pathlib import Path

import duckdb

from ..schema.errors import InstallationError
from ..schema.reasons import Reason

INSTALL_TEAM = "pip install 'cogledger[team]'"
OFFLINE: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
}
"""The settings with which every connection is opened: nothing is fetched at run time."""


def find_extension(name: str) -> Path:
    """The file of DuckDB's extension ``name`` inside its wheel, for the DuckDB that is installed.

    :raises InstallationError: its wheel is not installed, or was made for another DuckDB
    """
    found = util.find_spec(f"duckdb_extension_{name}")
    folders = [Path(place) / "extensions" for place in (found.submodule_search_locations or ())] if found else []
    if not folders:
        raise _missing(f"DuckDB's extension {name} is not installed")
    for folder in folders:
        file = folder / f"v{duckdb.__version__}" / f"{name}.duckdb_extension"
        if file.is_file():
            return file
    made_for = ", ".join(sorted(place.name for folder in folders for place in folder.glob("v*"))) or "none"
    raise _missing(f"DuckDB's extension {name} is installed for DuckDB {made_for}, not for v{duckdb.__version__}")


def load_extensions(connection: duckdb.DuckDBPyConnection, *names: str) -> None:
    """Load extensions into an open database, in the order given.

    :raises InstallationError: one is not installed, or cannot be loaded on this system
    """
    for name in names:
        file = find_extension(name)
        try:
            connection.load_extension(str(file))
        except duckdb.Error as error:
            said = str(error).splitlines()[0] if str(error) else type(error).__name__
            raise _missing(f"DuckDB's extension {name} cannot be loaded ({said})") from error


def _missing(message: str) -> InstallationError:
    return InstallationError(Reason.ENGINE_MISSING, message, advice=f"install it with: {INSTALL_TEAM}")
