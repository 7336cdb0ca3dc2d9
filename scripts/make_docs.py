#!/usr/bin/env python3
"""Write the pages of docs/ that are made from the code: make_docs.py [--check]

With ``--check`` nothing is written; the call fails and names each page that differs from what would be written.
"""

from __future__ import annotations

import contextlib
import inspect
import io
import json
import os
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
DOCS, SOURCES = ROOT / "docs", ROOT / "docs_src"
os.environ["COLUMNS"] = "80"  # the width of --help
_MADE = "<!-- Made by scripts/make_docs.py from {source}. Change it there. -->"


def vocabulary_page() -> str:
    """Part kinds, limit keys and the fields of a claim, from schema/limits.py."""
    from cogledger.schema.claims import Claim
    from cogledger.schema.limits import LIMITS, PartKind, limits_of

    fields = _load("fields.toml")
    _same("docs_src/fields.toml", fields["claim"], Claim.__dataclass_fields__)
    intros = _load("intros.toml")
    lines = [
        "# Vocabulary: part kinds, limits, claims", "", _MADE.format(source="schema/limits.py"), "",
        intros["vocabulary"],
        "## Part kinds", "", "| kind | limits that it can have |", "| --- | --- |",
        *(f"| `{kind}` | {_coded(row.key for row in limits_of(kind))} |" for kind in PartKind), "",
        "## Limit keys", "", intros["form"],
        "| key | what it is | form | unit | plausible | part kinds |", "| --- | --- | --- | --- | --- | --- |",
        *(_limit_line(row) for row in LIMITS.values()), "",
        f"A lone number for a range is its upper bound for {_lone(LIMITS, 'high')} and its lower bound for "
        f"{_lone(LIMITS, 'low')}.", "",
        "## Fields of a claim", "", intros["claim"],
        "| field | meaning |", "| --- | --- |",
        *(f"| `{name}` | {meaning} |" for name, meaning in fields["claim"].items()), "",
        "`cogledger claims` adds:", "", "| field | meaning |", "| --- | --- |",
        *(f"| `{name}` | {meaning} |" for name, meaning in fields["kept"].items()),
    ]  # fmt: skip
    return _page(lines)


def _limit_line(row: Any) -> str:
    plausible = f"{row.plausible[0]:g} to {row.plausible[1]:g}" if row.plausible else "; ".join(row.choices)
    whole = ", whole" if row.whole else ""
    kinds = "all" if len(row.kinds) == 9 else ", ".join(row.kinds)
    return f"| `{row.key}` | {row.meaning} | {row.form} | {row.unit or ''} | {plausible}{whole} | {kinds} |"


def _lone(limits: Any, bound: str) -> str:
    return _coded(row.key for row in limits.values() if row.lone_bound == bound)


def reference_page() -> str:
    """Every command's help."""
    lines = ["# Reference of the command", "", _MADE.format(source="desk/cli.py"), "",
             _load("intros.toml")["reference"],
             "## cogledger", "", "```text", help_of([]), "```"]  # fmt: skip
    for name in command_names():
        lines += ["", f"## cogledger {name}", "", "```text", help_of([name]), "```"]
    return _page(lines)


def command_names() -> list[str]:
    """The names of all commands, in their order."""
    from cogledger.desk.cli import app

    return [command.name or command.callback.__name__ for command in app.registered_commands if command.callback]


def help_of(words: list[str]) -> str:
    """What ``cogledger WORDS --help`` prints, 80 signs wide."""
    from cogledger.desk.cli import app
    from cogledger.desk.faults import run

    with contextlib.redirect_stdout(io.StringIO()) as said:
        code = run(app, [*words, "--help"])
    if code:
        sys.exit(f"cogledger {' '.join(words)} --help ends with {code}")
    return "\n".join(line.rstrip() for line in said.getvalue().strip().splitlines())


def errors_page() -> str:
    """Every reason, what it means and what to do."""
    from cogledger.schema.reasons import ADVICE, Reason

    groups = _load("reasons.toml")
    told = [name for group in groups.values() for name in group if name != "title"]
    _same("docs_src/reasons.toml", told, [str(reason) for reason in Reason])
    lines = ["# Errors and reasons", "", _MADE.format(source="schema/reasons.py and docs_src/reasons.toml"), "",
             _load("intros.toml")["errors"].rstrip()]  # fmt: skip
    for group in groups.values():
        lines += ["", f"## {group['title']}"]
        for name, meaning in group.items():
            if name != "title":
                lines += ["", f"### {name}", "", meaning, "", f"What to do: {ADVICE[Reason(name)]}."]
    return _page(lines)


def checks_page() -> str:
    """Every check: what it is about, what it needs, when it counts."""
    from cogledger.warehouse.checks import CHECK_NAMES, CHECKS, MODULES

    _same("CHECK_NAMES", CHECK_NAMES, {check.name for check in CHECKS})
    modules = ", ".join(f"warehouse/checks/{_stem(module)}.py" for module in MODULES)
    lines = ["# Checks", "", _MADE.format(source=modules), "", _load("intros.toml")["checks"].rstrip()]
    for name in CHECK_NAMES:
        lines += ["", f"## {name}"]
        for check in (c for c in CHECKS if c.name == name):
            about = " or ".join(slot.replace("_", " ") for slot in check.about)
            lines += ["", _sentences(check.function), "", f"- about: {about}", f"- counts: {check.counts}",
                      f"- needs: {_coded(check.needs)}"]  # fmt: skip
            if check.maybe:
                lines.append(f"- uses where known: {_coded(check.maybe)}")
    return _page(lines)


def _coded(names: Any) -> str:
    return ", ".join(f"`{name}`" for name in names)


def _stem(module: Any) -> str:
    return module.__name__.rsplit(".", 1)[1]


def _sentences(function: Callable[..., Any]) -> str:
    """A docstring with its lines joined, paragraphs kept, literals as Markdown has them."""
    text = (inspect.getdoc(function) or "").replace("``", "`")
    return "\n\n".join(" ".join(paragraph.split()) for paragraph in text.split("\n\n"))


def claim_schema() -> str:
    """The JSON Schema of a claim."""
    from cogledger.schema.validation import claim_json_schema

    return json.dumps(claim_json_schema(), indent=1, ensure_ascii=False) + "\n"


def build_schema() -> str:
    """The JSON Schema of a build."""
    from cogledger.schema.build_schema import build_json_schema

    return json.dumps(build_json_schema(), indent=1, ensure_ascii=False) + "\n"


PAGES: dict[str, Callable[[], str]] = {
    "vocabulary.md": vocabulary_page,
    "reference.md": reference_page,
    "errors.md": errors_page,
    "checks.md": checks_page,
    "claim.schema.json": claim_schema,
    "build.schema.json": build_schema,
}


def _load(name: str) -> dict[str, Any]:
    return tomllib.loads((SOURCES / name).read_text(encoding="utf-8"))


def _same(where: str, told: Any, known: Any) -> None:
    if set(told) != set(known):
        sys.exit(f"{where} and the code differ in: {', '.join(sorted(set(told) ^ set(known)))}")


def _page(lines: list[str]) -> str:
    return "\n".join(lines) + "\n"


def stale_pages() -> Iterator[tuple[Path, str]]:
    """Each page that is missing or differs, with what it should hold."""
    for name, make in PAGES.items():
        path, wanted = DOCS / name, make()
        if not path.is_file() or path.read_text(encoding="utf-8") != wanted:
            yield path, wanted


def main(arguments: list[str]) -> int:
    """Write the pages that differ, or only name them."""
    if arguments not in ([], ["--check"]):
        sys.exit("usage: make_docs.py [--check]")
    stale = list(stale_pages())
    for path, wanted in stale:
        shown = path.relative_to(ROOT)
        if arguments:
            print(f"{shown} is not what the code says; run: make docs", file=sys.stderr)
        else:
            path.parent.mkdir(exist_ok=True)
            path.write_text(wanted, encoding="utf-8")
            print(f"{shown} written")
    return 1 if stale and arguments else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
