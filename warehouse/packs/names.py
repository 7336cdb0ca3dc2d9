"""Names of files in a pack: which may be put on a disk."""

from __future__ import annotations

import re
from collections.abc import Iterable

_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*(/[A-Za-z0-9][A-Za-z0-9._-]*)*")
_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+:")
_DRIVE = re.compile(r"[A-Za-z]:")
_DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"com{n}" for n in range(10)), *(f"lpt{n}" for n in range(10))})
_LONGEST = 120


def object_to_name(name: str) -> str | None:
    """Why a file of this name may not be in a pack, as a clause; ``None`` where it may."""
    wrong = None
    if name.startswith(("/", "\\")) or _DRIVE.match(name):
        wrong = "is absolute" if not _ADDRESS.match(name) else "is an address"
    elif _ADDRESS.match(name):
        wrong = "is an address"
    elif ".." in re.split(r"[/\\]", name):
        wrong = "leads outside the pack"
    elif len(name) > _LONGEST or not _PLAIN.fullmatch(name):
        wrong = "is not made of plain letters, digits, dots and dashes"
    elif any(part.split(".")[0].lower() in _DEVICES or part.endswith(".") for part in name.split("/")):
        wrong = "is no name of a file on every system"
    return wrong


def find_clash(names: Iterable[str]) -> tuple[str, str] | None:
    """Two names that are one on a disk that ignores capitals; ``None`` where there are none."""
    seen: dict[str, str] = {}
    for name in names:
        other = seen.setdefault(name.casefold(), name)
        if other is not name:
            return other, name
    return None
