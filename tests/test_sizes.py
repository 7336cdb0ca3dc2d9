"""Small modules and small functions: what has more to say is two things."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
MOST_MODULE_LINES = 400
MOST_FUNCTION_LINES = 60
CODE = ("schema", "extract", "warehouse", "desk", "fixtures", "scripts", "benchmarks")

ALLOWED: dict[str, int] = {}
"""Modules that are longer for now, each with the length it must not pass and the reason why. Shorten, never add."""


def python_files() -> list[Path]:
    return sorted(path for folder in CODE for path in (ROOT / folder).rglob("*.py"))


def functions(path: Path) -> list[tuple[str, int]]:
    """Each function of a module with its number of lines, decorators and docstring included."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [
        (node.name, (node.end_lineno or 0) - min([node.lineno, *(d.lineno for d in node.decorator_list)]) + 1)
        for node in ast.walk(tree)
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))
    ]


@pytest.mark.parametrize("path", python_files(), ids=lambda path: str(path.relative_to(ROOT)))
def test_module_and_functions_are_short(path: Path) -> None:
    name = path.relative_to(ROOT).as_posix()
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= ALLOWED.get(name, MOST_MODULE_LINES), "split it by subject"
    long = [f"{function}: {length}" for function, length in functions(path) if length > MOST_FUNCTION_LINES]
    assert not long


def test_no_allowance_is_left_over() -> None:
    for name, most in ALLOWED.items():
        lines = len((ROOT / name).read_text(encoding="utf-8").splitlines())
        assert MOST_MODULE_LINES < lines <= most, f"{name} has {lines} lines: lower or remove its allowance"


def test_every_module_says_what_it_holds() -> None:
    bare = [str(p.relative_to(ROOT)) for p in python_files() if not ast.get_docstring(ast.parse(p.read_text("utf-8")))]
    assert not bare
