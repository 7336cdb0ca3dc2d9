"""Each package imports those to its left only: schema, extract, warehouse, desk."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LAYERS = ("schema", "extract", "warehouse", "desk")
READING = {"cluster_worker.py", "evidence.py", "ingest.py", "photos.py", "stamp_evidence.py"}
"""Modules of the warehouse that read files, and so import extract when they run."""
RECORDS = {"by_photo.py", "keeping.py", "cluster.py", "incremental.py", "register.py", "worker.py"}
"""Modules of the warehouse that name extract's records in their types only."""


OPENING = {"folder_store.py", "lake_connection.py"}
"""Modules of the warehouse that open a database."""


def modules(layer: str) -> list[Path]:
    return sorted((ROOT / layer).rglob("*.py"))


def imported_layers(source: str, path: Path) -> Iterator[tuple[str, bool]]:
    """Each of our packages that a module imports from, and whether it does so for its types only."""
    tree = ast.parse(source)
    for_types = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    package = ("cogledger", *path.relative_to(ROOT).parent.parts)
    for node in ast.walk(tree):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            stem = [*base, *filter(None, [node.module])]
            names = [".".join([*stem, alias.name]) for alias in node.names]
        for name in names:
            parts = name.split(".")
            if parts[0] == "cogledger" and len(parts) > 1:
                yield parts[1], id(node) in for_types
            elif parts[0] in LAYERS:
                yield parts[0], id(node) in for_types


def test_the_reader_of_imports_sees_every_way_of_importing() -> None:
    source = """
from __future__ import annotations
import json, cogledger.desk.cli
from typing import TYPE_CHECKING
from .. import warehouse
from ..warehouse.store import Store
from . import store
if TYPE_CHECKING:
    from ..extract.records import Reading
def later():
    from ..extract import pipeline
"""
    found = sorted(imported_layers(source, ROOT / "schema" / "x.py"))
    assert found == [("desk", False), ("extract", False), ("extract", True), ("schema", False),
                     ("warehouse", False), ("warehouse", False)]  # fmt: skip


@pytest.mark.parametrize("layer", LAYERS)
def test_a_package_imports_only_those_to_its_left(layer: str) -> None:
    assert modules(layer), f"{layer}/ holds no module"
    allowed = LAYERS[: LAYERS.index(layer) + 1]
    wrong = {
        f"{path.relative_to(ROOT)} imports {name}"
        for path in modules(layer)
        for name, _ in imported_layers(path.read_text(encoding="utf-8"), path)
        if name not in allowed
    }
    assert not wrong


def test_only_named_modules_of_the_warehouse_read_files() -> None:
    running, for_types = set(), set()
    for path in modules("warehouse"):
        for name, types_only in imported_layers(path.read_text(encoding="utf-8"), path):
            if name == "extract":
                (for_types if types_only else running).add(str(path.relative_to(ROOT / "warehouse")))
    assert running == READING
    assert for_types - running == RECORDS


def test_the_desk_reaches_documents_through_the_warehouse_only() -> None:
    wrong = {
        str(path)
        for path in modules("desk")
        for name, _ in imported_layers(path.read_text(encoding="utf-8"), path)
        if name == "extract"
    }
    assert not wrong


def test_checks_hold_no_sql_and_the_store_no_arithmetic() -> None:
    """Checks answer from values handed to them; only the store's own modules speak to DuckDB."""
    for path in modules("warehouse/checks"):
        text = path.read_text(encoding="utf-8")
        assert "duckdb" not in text and "connection" not in text, path
    for path in modules("warehouse"):
        if path.parent.name == "checks":
            continue
        opens = "duckdb.connect(" in path.read_text(encoding="utf-8")
        assert not opens or path.name in OPENING, f"{path} opens the database itself"
