"""Free fonts for drawn stamps: Debian packages named in fonts.toml → one small folder of faces cut to the signs needed.

``python -m training.fonts --out DIR`` downloads the packages with apt (Debian or a relative of it), unpacks them
without installing anything, and writes one file ``FAMILY__FACE.ttf`` for each face. One family in eight, by the hash of
its name, is held out for judging: nothing is trained on its faces.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib
import logging
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

LIST = Path(__file__).with_name("fonts.toml")
SIGNS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-./*>&(),:+#<= "
"""What is kept of each face."""
HELD_OUT_SHARE = 8
"""One family in so many is kept for judging."""
_TABLES = frozenset("GlyphOrder|head|hhea|maxp|OS/2|hmtx|cmap|loca|glyf|CFF |name|post".split("|"))
"""What a face needs to be drawn; everything else is left behind."""
_SAME_DESIGN = {
    "sans": ("arimo", "liberation", "nimbus", "freesans", "tex", "heros"),
    "mono": ("cousine", "freemono", "courier", "tlwg"),
    "serif": ("tinos", "freeserif", "roman", "caladea"),
    "geometric": ("urw", "gothic"),
    "century": ("c059", "schoolbook", "bookman"),
    "palladio": ("p052",),
    "computer": ("latin", "cmu"),
    "vera": ("dejavu", "verana", "hack", "waree", "mono"),
    "mplus": ("m", "mmcedar"),
    "ocra": ("ocraitalic", "ocrabold", "ocracondensed"),
    "opendyslexic": ("opendyslexicalta", "opendyslexicmono"),
    "oxygen": ("oxygensans",),
    "karla": ("karmilla",),
    "fonts3270": ("ibm",),
    "inconsolata": ("ricty",),
    "beteckna": ("betecknags", "betecknagscondensed"),
    "abecedario": ("abecedarioguiada",),
    "ubuntu": ("ubuntutitle",),
}
"""Families that copy each other's shapes count as one, so that no design is on both sides."""
_GROUP = {member: group for group, members in _SAME_DESIGN.items() for member in members}


class FontsMissing(Exception):
    """The fonts cannot be gathered or found; the message says what to do."""


@dataclass(frozen=True)
class Package:
    """One Debian package: its name, the licence of its fonts, the file names of the faces taken."""

    name: str
    licence: str
    faces: tuple[str, ...]


def read_packages(path: Path = LIST) -> list[Package]:
    """The list of packages, in the order of the file."""
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    return [Package(name, row["licence"], tuple(row["faces"])) for name, row in table.items()]


def find_fonts(folder: Path, held_out: bool = False) -> list[Path]:
    """The faces of ``folder`` for training, or those ``held_out`` for judging, sorted by name.

    Raises ``FontsMissing`` where the folder holds none.
    """
    faces = sorted(folder.glob("*__*.ttf"))
    if not faces:
        raise FontsMissing(f"{folder}: no fonts there; gather them with: python -m training.fonts --out {folder}")
    return [face for face in faces if is_held_out(face.name.split("__")[0]) == held_out]


def is_held_out(family: str) -> bool:
    """Whether a family is kept for judging, by the hash of its name alone."""
    return hashlib.sha256(f"judging:{family}".encode()).digest()[0] % HELD_OUT_SHARE == 0


def name_family(words: str) -> str:
    """A face's family name as its file states it → the name that keeps related designs together."""
    first = re.sub(r"[^a-z0-9]", "", words.lower().split()[0]) if words.split() else "unnamed"
    return _GROUP.get(first, first)


def gather(out: Path, packages: Sequence[Package]) -> int:
    """Download, unpack and cut the faces of ``packages`` into ``out``; returns how many were written.

    Raises ``FontsMissing`` where apt or fontTools is missing, a package cannot be had or lacks a face.
    """
    _ready()
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="fonts-") as name:
        work = Path(name)
        written = [_cut(face, out) for package in packages for face in _unpack(package, work)]
    return len(set(written))


def _ready() -> None:
    for program in ("apt-get", "dpkg-deb"):
        if shutil.which(program) is None:
            raise FontsMissing(
                f"{program} is not on this system: the fonts come as Debian packages; run this on Debian or Ubuntu"
            )
    try:
        importlib.import_module("fontTools.subset")
    except ImportError:
        raise FontsMissing("fontTools is missing: python -m pip install fonttools") from None
    logging.getLogger("fontTools").setLevel(logging.ERROR)


def _unpack(package: Package, work: Path) -> Iterator[Path]:
    """Files of the faces of one package, unpacked below ``work``."""
    folder = work / package.name
    folder.mkdir()
    got = subprocess.run(
        ["apt-get", "-o", "APT::Sandbox::User=root", "download", package.name],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    debs = list(folder.glob("*.deb"))
    if got.returncode or not debs:
        said = " ".join((got.stderr or got.stdout).split())[-200:]
        raise FontsMissing(f"{package.name} cannot be downloaded ({said}); try apt-get update first")
    subprocess.run(["dpkg-deb", "-x", str(debs[0]), str(folder / "files")], check=True)
    held = {path.name: path for path in (folder / "files").rglob("*") if path.is_file() and not path.is_symlink()}
    for face in package.faces:
        if face not in held:
            raise FontsMissing(f"{package.name} holds no {face} any more: mend or drop its line in {LIST.name}")
        yield held[face]


def _cut(face: Path, out: Path) -> Path:
    """One face cut to ``SIGNS`` without hints and layout tables → the file written."""
    subset = importlib.import_module("fontTools.subset")
    options = subset.Options(hinting=False, layout_features=[], notdef_outline=True)
    font = subset.load_font(str(face), options)
    for tag in set(font.keys()) - _TABLES:
        del font[tag]
    words = font["name"].getDebugName(16) or font["name"].getDebugName(1) or face.stem
    cutter = subset.Subsetter(options)
    cutter.populate(text=SIGNS)
    cutter.subset(font)
    stem = re.sub(r"[^A-Za-z0-9]+", "-", face.stem).strip("-")
    target = out / f"{name_family(words)}__{stem}.ttf"
    subset.save_font(font, str(target), options)
    return target


def main(arguments: Sequence[str] | None = None) -> int:
    """Gather the fonts; 0 when all faces of the list are there."""
    parser = argparse.ArgumentParser(prog="python -m training.fonts", description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder for the faces")
    parser.add_argument("--package", action="append", help="only this package of the list (may be given again)")
    chosen = parser.parse_args(arguments)
    packages = [p for p in read_packages() if not chosen.package or p.name in chosen.package]
    try:
        count = gather(chosen.out, packages)
        kept = len(find_fonts(chosen.out, held_out=True))
    except FontsMissing as fault:
        sys.stderr.write(f"{fault}\n")
        return 1
    sys.stdout.write(f"{count} faces in {chosen.out}, {kept} of them held out for judging\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
