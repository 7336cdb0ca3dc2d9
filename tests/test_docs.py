"""Everything is documented, links resolve, made pages are fresh, and what the docs show is what happens."""

from __future__ import annotations

import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
import time
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import jsonschema
import pytest
import typer
from cogledger.desk.cli import app
from cogledger.schema.limits import LIMITS, PartKind
from cogledger.schema.reasons import Reason
from cogledger.warehouse.checks import CHECK_NAMES

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md", *DOCS.glob("*.md")])


def load(name: str) -> ModuleType:
    """A script of scripts/ as a module."""
    spec = importlib.util.spec_from_file_location(f"script_{name}", ROOT / "scripts" / f"{name}.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


make_docs, run_docs = load("make_docs"), load("run_docs")
commands = typer.main.get_command(app).commands  # pyright: ignore[reportAttributeAccessIssue]


def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def slug(heading: str) -> str:
    """The anchor of a heading, as the usual viewers of Markdown make it."""
    bare = unicodedata.normalize("NFC", heading.replace("`", "").strip().lower())
    return re.sub(r"\s", "-", re.sub(r"[^\w\s-]", "", bare))


def without_blocks(text: str) -> str:
    return re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize("name", make_docs.PAGES)
def test_made_pages_are_fresh(name: str) -> None:
    assert text_of(DOCS / name) == make_docs.PAGES[name](), "run: make docs"


def test_every_command_and_option_is_in_the_reference() -> None:
    reference = text_of(DOCS / "reference.md")
    for name, command in commands.items():
        section = reference.split(f"## cogledger {name}\n")[1].split("\n## ")[0]
        assert command.help, f"{name} says nothing of itself"
        for parameter in command.params:
            if parameter.param_type_name == "option":
                assert parameter.help, f"{name} {parameter.opts[0]} says nothing of itself"
                assert all(option in section for option in parameter.opts)


def test_every_command_is_in_the_readme_and_the_interface() -> None:
    for page in (ROOT / "README.md", DOCS / "interface.md"):
        rows = "\n".join(line for line in text_of(page).splitlines() if line.startswith("|"))
        missing = [name for name in commands if not re.search(rf"`(cogledger )?{name}\b", rows)]
        assert not missing, page.name


def test_every_limit_kind_check_and_reason_has_its_place() -> None:
    vocabulary, checks, errors = (text_of(DOCS / name) for name in ("vocabulary.md", "checks.md", "errors.md"))
    assert [key for key in LIMITS if f"| `{key}` |" not in vocabulary] == []
    assert [kind for kind in PartKind if f"| `{kind}` |" not in vocabulary] == []
    assert [name for name in CHECK_NAMES if f"\n## {name}\n" not in checks] == []
    assert [reason for reason in Reason if f"\n### {reason}\n" not in errors] == []


def test_every_field_of_an_answer_is_in_the_interface() -> None:
    from cogledger.warehouse import Ledger

    build = {"name": "x", "now": {"rear_derailleur": {"largest_cog": 32}, "cassette": [11, 13, 15, 17, 19, 21, 24, 28]}}
    answer = Ledger("none").fit(build).as_json()
    assert answer["checks"]
    section = text_of(DOCS / "interface.md").split("\n## Fit\n")[1].split("\n## ")[0]
    for field in [*answer, *answer["checks"][0]]:
        assert f"`{field}`" in section, field


def test_every_key_of_a_build_file_is_in_the_interface() -> None:
    schema = json.loads(text_of(DOCS / "build.schema.json"))
    section = text_of(DOCS / "interface.md").split("\n## Build file\n")[1].split("\n## ")[0]
    for table in ("bike", "now", "wish"):
        for key in schema["properties"][table]["properties"]:
            assert f"`{key}`" in section, key


def shown_commands() -> Iterator[tuple[str, list[str]]]:
    """Each ``cogledger …`` that a page shows, as words, up to a pipe or the end of the command."""
    for page in PAGES:
        if page.name in run_docs.MADE:
            continue
        text = text_of(page)
        shown = [block.text for block in run_docs.blocks_of(text) if block.language in ("sh", "console")]
        shown += re.findall(r"`((?:\S*/)?cogledger [^`]*)`", without_blocks(text))
        for piece in shown:
            for call in re.findall(r"(?:^|[\s/(`$])cogledger ([a-z-][^\n|;)`]*)", piece):
                yield page.name, call.split(" #")[0].split()


def test_shown_commands_exist_with_their_options() -> None:
    calls = list(shown_commands())
    assert len(calls) > 20
    for page, words in calls:
        known = {option for parameter in typer.main.get_command(app).params for option in parameter.opts}
        rest = [word for word in words if word not in known]
        if not rest:
            continue
        assert rest[0] in commands, f"{page}: cogledger {' '.join(words)}"
        options = {option for parameter in commands[rest[0]].params for option in parameter.opts} | {"--help"}
        strange = [word for word in rest[1:] if word.startswith("--") and word.split("=")[0] not in options]
        assert not strange, f"{page}: cogledger {' '.join(words)}"


def test_shown_make_targets_exist() -> None:
    targets = set(re.findall(r"^([a-z]+):", text_of(ROOT / "Makefile"), re.MULTILINE))
    for page in PAGES:
        shown = re.findall(r"(?:^|`)make ([a-z]+)", text_of(page), re.MULTILINE)
        assert set(shown) <= targets, page.name


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_resolve(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", without_blocks(text_of(page))):
        assert "://" not in target, f"{page.name}: {target} needs the network"
        file, _, anchor = target.partition("#")
        path = (page.parent / file).resolve() if file else page
        assert path.exists(), f"{page.name}: {target}"
        if anchor:
            headings = re.findall(r"^#+ (.+)$", without_blocks(text_of(path)), re.MULTILINE)
            assert anchor in {slug(heading) for heading in headings}, f"{page.name}: {target}"


@pytest.mark.parametrize("page", [ROOT / "DEVELOPERS.md", DOCS / "extending.md"], ids=lambda page: page.name)
def test_files_named_for_developers_exist(page: Path) -> None:
    named = re.findall(r"`((?:[\w.]+/)+[\w.]*)`", without_blocks(text_of(page)))
    own = [name for name in named if (ROOT / name.split("/")[0]).exists()]
    assert len(own) > 20
    assert [name for name in own if not (ROOT / name).exists()] == []


SHOWN = (
    "TZ410 largest_cog None 34 T",
    "QV310 weight 268 268 g",
    "TZ411 total_capacity None 37 T",
    "HL12 drop 22 22 mm",
    " both/",
)


@pytest.mark.parametrize("answer", SHOWN)
def test_each_example_of_an_addition_reads_what_it_adds(answer: str) -> None:
    """So that writing the answers anew cannot hide an example that no longer works."""
    assert answer in text_of(DOCS / "extending.md")


def test_every_page_of_docs_can_be_reached_from_the_readme() -> None:
    linked, seen = [ROOT / "README.md"], set[Path]()
    while linked:
        page = linked.pop()
        if page not in seen and page.suffix == ".md":
            seen.add(page)
            targets = re.findall(r"\]\(([^)\s#]+)", without_blocks(text_of(page)))
            linked.extend((page.parent / target).resolve() for target in targets)
    assert set(DOCS.glob("*.md")) <= seen


def test_readme_opens_with_one_paragraph() -> None:
    opening = text_of(ROOT / "README.md").split("\n## ")[0].split("\n\n")
    assert opening[0].startswith("# ") and len([part for part in opening[1:] if part.strip()]) == 1


def test_published_schemas_are_schemas_and_take_real_records() -> None:
    for name in ("claim.schema.json", "build.schema.json"):
        jsonschema.Draft202012Validator.check_schema(json.loads(text_of(DOCS / name)))
    validator = jsonschema.Draft202012Validator(json.loads(text_of(DOCS / "claim.schema.json")))
    truth = (ROOT / "fixtures" / "documents" / "truth.jsonl").read_text(encoding="utf-8").splitlines()
    record = json.loads(truth[0]) | {"snippet": "", "method": "drawn", "confidence": 1.0}
    assert validator.is_valid(record)
    assert not validator.is_valid(record | {"limit": "colour"})


@pytest.fixture(scope="session")
def world(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as ``cogledger demo`` leaves it, made once for all workers."""
    shared = tmp_path_factory.getbasetemp()
    shared = shared.parent if "PYTEST_XDIST_WORKER" in os.environ else shared
    folder, done, making = shared / "world", shared / "world.done", shared / "world.making"
    try:
        making.mkdir()
    except FileExistsError:
        for _ in range(600):
            if done.exists():
                return folder
            time.sleep(0.5)
        pytest.fail("the other worker never finished the demo")
    run_docs.make_world(folder)
    done.touch()
    return folder


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="the pages are written for a POSIX shell")
@pytest.mark.parametrize("page", run_docs.pages(), ids=lambda page: page.name)
def test_what_pages_show_is_what_happens(page: Path, world: Path, tmp_path: Path) -> None:
    assert list(run_docs.check_page(page, world, tmp_path / "page")) == [], "look at it, then run: make docs"


def test_a_wrong_answer_on_a_page_is_noticed(tmp_path: Path) -> None:
    """The runner of pages itself: wrong answers differ, right ones do not, failing commands raise."""
    right = "```console\n$ printf 'a\\nb\\n'\na\nb\n```\n"
    assert run_docs.play_page(right, tmp_path) == right
    assert run_docs.play_page(right.replace("\na\n", "\nc\n"), tmp_path) == right
    assert run_docs.play_page("```python\nprint(1 + 1)\n```\n```text\n3\n```\n", tmp_path).endswith("```text\n2\n```\n")
    assert run_docs.play_page("```sh exit=4\nexit 4\n```\n", tmp_path)
    with pytest.raises(run_docs.PageError):
        run_docs.play_page("```sh\nfalse\n```\n", tmp_path)


@pytest.mark.slow
def test_gates_notice_a_stale_page(tmp_path: Path) -> None:
    for name in ("docs", "docs_src", "scripts", "schema", "warehouse", "desk"):
        shutil.copytree(ROOT / name, tmp_path / name)
    page = tmp_path / "docs" / "errors.md"
    page.write_text(text_of(page).replace("### bad_call", "### worse_call"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "scripts/make_docs.py", "--check"], cwd=tmp_path, capture_output=True, text=True
    )
    assert done.returncode == 1 and "docs/errors.md" in done.stderr
