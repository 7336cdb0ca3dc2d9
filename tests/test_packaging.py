"""The wheel holds every package and every data file; versions and requirements agree with each other."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
LAYERS = ("schema", "extract", "warehouse", "desk")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
DATA = (
    "*.py",
    "*.toml",
    "*.sql",
    "*.html",
    "*.css",
    "*.js",
    "*.json",
    "*.pdf",
    "*.jpg",
    "*.png",
    "*.md",
    "py.typed",
    "extract/stamps/models/*.onnx",
)


def tracked_files() -> set[str]:
    """Files of the packages that git has or would take."""
    listing = ["git", "ls-files", "--cached", "--others", "--exclude-standard", *LAYERS]
    done = subprocess.run(listing, cwd=ROOT, check=True, capture_output=True, text=True)
    return {name for name in done.stdout.splitlines() if (ROOT / name).is_file()}


def locked() -> dict[str, str]:
    text = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    return dict(re.findall(r"^([A-Za-z0-9._-]+)==(\S+)", text, re.MULTILINE))


def folded(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


@pytest.mark.slow
def test_wheel_holds_every_file_of_the_packages(tmp_path: Path) -> None:
    command = [sys.executable, str(ROOT / "scripts" / "build_wheel.py"), str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=300)
    assert done.returncode == 0, done.stderr
    with zipfile.ZipFile(done.stdout.strip()) as wheel:
        held = {name.removeprefix("cogledger/") for name in wheel.namelist() if name.startswith("cogledger/")}
        others = {name.split("/")[0] for name in wheel.namelist()} - {"cogledger"}
        metadata = next(name for name in wheel.namelist() if name.endswith("/METADATA"))
        said = wheel.read(metadata).decode()
    assert held == tracked_files()
    assert all(name.endswith(".dist-info") for name in others), others
    assert 'Requires-Dist: pytest; extra == "dev"' in said
    assert "Requires-Dist: pytest\n" not in said


def test_every_kind_of_file_is_known() -> None:
    """A data file of a new kind needs a line under package-data, and here."""
    strange = {name for name in tracked_files() if not any(Path(name).match(pattern) for pattern in DATA)}
    assert not strange


def test_every_package_is_listed() -> None:
    folders = {Path(name).parent for name in tracked_files() if name.endswith("__init__.py")}
    names = {"cogledger." + ".".join(folder.parts) for folder in folders}
    assert names == set(PROJECT["tool"]["setuptools"]["packages"])


def test_the_lock_holds_every_requirement_in_a_version_that_suits() -> None:
    project = PROJECT["project"]
    pinned = {folded(name): version for name, version in locked().items()}
    for line in [*project["dependencies"], *project["optional-dependencies"]["dev"]]:
        requirement = Requirement(line)
        assert pinned[folded(requirement.name)] in requirement.specifier, line


def test_every_locked_line_carries_a_hash_and_no_address() -> None:
    text = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    for block in re.split(r"\n(?=\S)", text):
        if re.match(r"[A-Za-z0-9]", block):
            assert "--hash=sha256:" in block, block.splitlines()[0]
    assert "://" not in text and not re.search(r"^-", text, re.MULTILINE)


def test_version_stands_in_the_changelog() -> None:
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    headings = re.findall(r"^## (.+)$", changelog, re.MULTILINE)
    assert headings[0] == "Unreleased"
    assert headings[1].split(" ")[0] == PROJECT["project"]["version"]


@pytest.mark.parametrize("name", [".ci/run", "scripts/check", "scripts/build_wheel.py", "scripts/make_docs.py"])
def test_scripts_can_be_run(name: str) -> None:
    listed = subprocess.run(["git", "ls-files", "--stage", name], cwd=ROOT, check=True, capture_output=True, text=True)
    assert listed.stdout.startswith("100755"), f"git does not hold {name} as a program"
