"""Extensions come out of the wheels that pip installed, and from nowhere else."""

from __future__ import annotations

import importlib.util
import tomllib
from pathlib import Path

import duckdb
import pytest
from cogledger.schema.errors import InstallationError
from cogledger.warehouse.extensions import OFFLINE, find_extension, load_extensions

ROOT = Path(__file__).parents[2]
NAMES = ("ducklake", "postgres_scanner", "httpfs")


@pytest.mark.parametrize("name", NAMES)
def test_an_extension_is_loaded_from_its_wheel(name: str) -> None:
    file = find_extension(name)
    assert "site-packages" in file.parts
    with duckdb.connect(config=OFFLINE) as connection:
        load_extensions(connection, name)
        loaded = connection.execute("select extension_name from duckdb_extensions() where loaded").fetchall()
    assert (name,) in loaded


def sentence_of(name: str) -> str:
    with duckdb.connect(config=OFFLINE) as connection, pytest.raises(InstallationError) as caught:
        load_extensions(connection, name)
    return str(caught.value)


def test_a_missing_wheel_is_one_sentence_with_what_to_do() -> None:
    assert sentence_of("nothing_such") == (
        "DuckDB's extension nothing_such is not installed; install it with: pip install 'cogledger[team]'."
    )


def test_a_wheel_for_another_duckdb_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "duckdb_extension_pretended" / "extensions" / "v0.9.9"
    folder.mkdir(parents=True)
    (folder / "pretended.duckdb_extension").write_bytes(b"")
    (folder.parents[1] / "__init__.py").touch()
    monkeypatch.syspath_prepend(str(tmp_path))
    importlib.invalidate_caches()
    assert f"is installed for DuckDB v0.9.9, not for v{duckdb.__version__};" in sentence_of("pretended")


def test_a_broken_extension_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "duckdb_extension_torn" / "extensions" / f"v{duckdb.__version__}"
    folder.mkdir(parents=True)
    (folder / "torn.duckdb_extension").write_bytes(find_extension("ducklake").read_bytes()[:100_000])
    (folder.parents[1] / "__init__.py").touch()
    monkeypatch.syspath_prepend(str(tmp_path))
    importlib.invalidate_caches()
    sentence = sentence_of("torn")
    assert sentence.startswith("DuckDB's extension torn cannot be loaded (")
    assert "\n" not in sentence


def test_the_extensions_are_of_the_version_of_duckdb() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    (pinned,) = [line for line in project["dependencies"] if line.startswith("duckdb==")]
    for extra in ("team", "dev"):
        wanted = [line for line in project["optional-dependencies"][extra] if line.startswith("duckdb-extension-")]
        assert len(wanted) == len(NAMES)
        assert {line.partition("==")[2] for line in wanted} == {pinned.partition("==")[2]}
    assert set(project["optional-dependencies"]["team"]) <= set(project["optional-dependencies"]["dev"])
