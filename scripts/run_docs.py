#!/usr/bin/env python3
"""Run what the docs show: run_docs.py [--write] [PAGE...]

Each page is run from top to bottom in a folder of its own, as ``cogledger demo`` leaves one. What runs:

- ``console``: each line behind ``$`` is a command, the lines below it are its answer, word for word
- ``sh``: commands whose answer is not shown
- ``python`` and ``sql``: a ``text`` block right below is the answer; SQL runs on the demo's store, read-only
- any block under ``<!-- file: NAME -->`` is written to that file

``skip`` behind the language leaves a block out; ``exit=N`` says with which code its last command ends (0 where nothing
is said). Without ``--write`` an answer that differs is a failure; with it the page is brought up to date.
"""

from __future__ import annotations

import difflib
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MADE = {"vocabulary.md", "reference.md", "errors.md", "checks.md"}
LANGUAGES = ("console", "sh", "python", "sql", "text")
_FENCE = re.compile(r"^```(\w*)([^\n`]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_FILE = re.compile(r"<!-- file: (\S+) -->\n\Z")
_EXPORT = re.compile(r"^export (\w+)=(\S*)$")
_SQL = """import sys, duckdb
from pathlib import Path
done = duckdb.connect("demo-ledger/ledger.duckdb", read_only=True).execute(Path(sys.argv[1]).read_text())
print(" | ".join(column[0] for column in done.description))
for row in done.fetchall():
    print(" | ".join("" if cell is None else str(cell) for cell in row))
"""


class PageError(Exception):
    """A block of a page failed, or its answer is another one."""


@dataclass(frozen=True)
class Block:
    """One fenced block: its language, the words behind it, its text, and the file it is written to."""

    start: int
    end: int
    language: str
    words: tuple[str, ...]
    text: str
    file: str | None = None

    @property
    def runs(self) -> bool:
        """Whether there is anything to do for it."""
        return "skip" not in self.words and (self.file is not None or self.language in LANGUAGES)

    @property
    def code(self) -> int:
        """The exit code that its last command ends with."""
        return next((int(word[5:]) for word in self.words if word.startswith("exit=")), 0)


def pages() -> list[Path]:
    """Every page that is written by hand."""
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md",
            *sorted(p for p in (ROOT / "docs").glob("*.md") if p.name not in MADE)]  # fmt: skip


def blocks_of(text: str) -> list[Block]:
    """The fenced blocks of a page, in their order."""
    blocks = []
    for found in _FENCE.finditer(text):
        file = _FILE.search(text[: found.start()])
        words = tuple(found[2].split())
        blocks.append(Block(found.start(3), found.end(3), found[1], words, found[3], file[1] if file else None))
    return blocks


class Player:
    """Runs the blocks of one page in one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        bin_folder = Path(sys.executable).parent
        self.env = {**os.environ, "PATH": f"{bin_folder}{os.pathsep}{os.environ['PATH']}", "PYTHONUNBUFFERED": "1",
                    "LC_ALL": "C.UTF-8", "PYTHONWARNINGS": "error"}  # fmt: skip
        self.env.pop("COGLEDGER_STORE", None)

    def run(self, command: list[str], code: int, shown: str) -> str:
        """The answer of one command; raises where it ends with another code than it should."""
        done = subprocess.run(command, cwd=self.folder, env=self.env, stdin=subprocess.DEVNULL, text=True,
                              stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8")  # fmt: skip
        if done.returncode != code:
            raise PageError(f"{shown}\nends with {done.returncode}, not {code}:\n{done.stdout}")
        return "".join(f"{line.rstrip()}\n" for line in done.stdout.splitlines())

    def play(self, block: Block) -> str:
        """Run a block; its answer."""
        if block.file:
            target = self.folder / block.file
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text(block.text, encoding="utf-8")
            return ""
        if block.language == "sh":
            return self.run(["bash", "-euo", "pipefail", "-c", block.text], block.code, block.text)
        if block.language == "console":
            return self._play_console(block)
        script = self.folder / f".block.{'py' if block.language == 'python' else 'sql'}"
        script.write_text(block.text, encoding="utf-8")
        command = (
            [sys.executable, script.name] if block.language == "python" else [sys.executable, "-c", _SQL, script.name]
        )
        return self.run(command, block.code, block.text)

    def _play_console(self, block: Block) -> str:
        """The block as it would look today: each command with its answer."""
        commands = [line[2:] for line in block.text.splitlines() if line.startswith("$ ")]
        told = []
        for n, command in enumerate(commands):
            told.append(f"$ {command}\n")
            export = _EXPORT.match(command)
            if export:
                self.env[export[1]] = export[2]
                continue
            code = block.code if n == len(commands) - 1 else 0
            told.append(self.run(["bash", "-c", command], code, command))
        return "".join(told)


def play_page(text: str, folder: Path) -> str:
    """Run a page in ``folder``; the page as it should be today."""
    player, blocks = Player(folder), blocks_of(text)
    answers: dict[int, str] = {}
    for block, after in zip_longest(blocks, blocks[1:]):
        if not block.runs or block.language == "text":
            continue
        answer = player.play(block)
        if block.language == "console":
            answers[block.start] = answer
        elif block.language in ("python", "sql") and _is_answer(text, block, after):
            assert after is not None
            answers[after.start] = answer
    for block in reversed(blocks):
        if block.start in answers:
            text = text[: block.start] + answers[block.start] + text[block.end :]
    return text


def _is_answer(text: str, block: Block, after: Block | None) -> bool:
    """Whether nothing but the fences stands between a block and the ``text`` block below it."""
    return (
        after is not None and after.language == "text" and text[block.end : after.start].split() == ["```", "```text"]
    )


def make_world(folder: Path) -> None:
    """``folder`` as ``cogledger demo`` leaves it."""
    folder.mkdir(parents=True, exist_ok=True)
    Player(folder).run(["bash", "-c", "cogledger demo"], 0, "cogledger demo")


def check_page(page: Path, world: Path, folder: Path, write: bool = False) -> Iterator[str]:
    """Run ``page`` in a copy of ``world``; the lines that differ, none where all is well."""
    shutil.copytree(world, folder)
    text = page.read_text(encoding="utf-8")
    today = play_page(text, folder)
    if today != text and write:
        page.write_text(today, encoding="utf-8")
        return
    name = str(page.relative_to(ROOT))
    yield from difflib.unified_diff(text.splitlines(), today.splitlines(), name, "as it runs today", lineterm="", n=1)


def main(arguments: list[str]) -> int:
    """Run the pages named, or all."""
    write = "--write" in arguments
    named = [Path(word).resolve() for word in arguments if word != "--write"] or pages()
    failed = False
    with tempfile.TemporaryDirectory(prefix="cogledger-docs-") as temporary:
        world = Path(temporary) / "world"
        make_world(world)
        for n, page in enumerate(named):
            try:
                differences = list(check_page(page, world, Path(temporary) / str(n), write))
            except PageError as error:
                differences = [f"{page.relative_to(ROOT)}: {error}"]
            for line in differences:
                print(line, file=sys.stderr)
            failed = failed or bool(differences)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
