#!/usr/bin/env python3
"""Build the wheel from a clean copy of the tree: build_wheel.py FOLDER

Only files that git tracks or would track are copied, so that neither an old ``*.egg-info`` nor a ``build`` folder can
lend the wheel what the package list leaves out. Prints the path of the wheel.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def copy_tree(target: Path) -> None:
    """Copy every file that is tracked, or new and not ignored, to ``target``."""
    listing = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    names = subprocess.run(listing, cwd=ROOT, check=True, capture_output=True, text=True).stdout.split("\0")
    for name in filter(None, names):
        source = ROOT / name
        if source.is_file():
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, target / name)


def build_wheel(out: Path) -> Path:
    """Build the wheel of the tree as it is into ``out``; its path."""
    with tempfile.TemporaryDirectory(prefix="cogledger-wheel-") as folder:
        copy, built = Path(folder) / "tree", Path(folder) / "built"
        copy_tree(copy)
        command = [sys.executable, "-m", "build", "--no-isolation", "--wheel", "--outdir", str(built), str(copy)]
        done = subprocess.run(command, capture_output=True, text=True, stdin=subprocess.DEVNULL)
        if done.returncode:
            sys.exit(f"the wheel cannot be built:\n{done.stdout}\n{done.stderr}")
        wheel = next(built.glob("*.whl"))
        out.mkdir(parents=True, exist_ok=True)
        return Path(shutil.copy2(wheel, out / wheel.name))


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: build_wheel.py FOLDER")
    print(build_wheel(Path(sys.argv[1])))
