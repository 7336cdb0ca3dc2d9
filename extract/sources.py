"""Paths → the files that can be read, by content and with their SHA-256, and a fault for each that cannot."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Sequence
from io import RawIOBase
from pathlib import Path

from ..schema.errors import Fault
from ..schema.reasons import Reason
from .records import Source, SourceKind
from .settings import DEFAULT_SETTINGS, ReadSettings

_SUFFIXES = {".pdf", ".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".bmp"}
_HEIF_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")
_HEAD = 1100
_FIRST = 64 * 1024
_BLOCK = 1024 * 1024


def find_sources(paths: Sequence[Path], settings: ReadSettings = DEFAULT_SETTINGS) -> tuple[list[Source], list[Fault]]:
    """Files under ``paths``, folders recursively, sorted by path; the same content is listed once.

    A file that was named itself must be usable or gives a fault; in a folder, files of other types are passed over
    and only those whose name promises a PDF or a picture give faults.
    """
    sources: dict[str, Source] = {}
    faults: list[Fault] = []
    for path, named in _files_under(paths, faults):
        found = _source_or_fault(path, settings, named)
        if isinstance(found, Source):
            sources.setdefault(found.sha256, found)
        elif found is not None:
            faults.append(found)
    if not sources and not faults:
        listed = ", ".join(str(p) for p in paths) or "nothing was named"
        faults.append(Fault(Reason.NOTHING_FOUND, f"no PDF and no picture in {listed}"))
    return list(sources.values()), faults


def _files_under(paths: Sequence[Path], faults: list[Fault]) -> Iterator[tuple[Path, bool]]:
    for path in paths:
        if path.is_dir():
            yield from ((inside, False) for inside in _files_in(path, faults))
        elif path.exists():
            yield path, True
        else:
            faults.append(Fault(Reason.NOT_FOUND, "there is no such file or folder", str(path)))


def _files_in(folder: Path, faults: list[Fault]) -> Iterator[Path]:
    """Every file under ``folder`` that is not hidden, by name; links to folders are not followed."""
    waiting = _list_folder(str(folder), faults)
    while waiting:
        entry = waiting.pop()
        if entry.is_dir(follow_symlinks=False):
            waiting += _list_folder(entry.path, faults)
        elif not entry.name.startswith(".") and _is_file(entry):
            yield Path(entry.path)


def _list_folder(folder: str, faults: list[Fault]) -> list[os.DirEntry[str]]:
    """What is in a folder, the last name first; a fault where it cannot be listed."""
    try:
        with os.scandir(folder) as entries:
            return sorted(entries, key=lambda entry: entry.name, reverse=True)
    except OSError as error:
        faults.append(Fault(Reason.NOT_READABLE, f"the folder cannot be listed ({error.strerror})", folder))
        return []


def _is_file(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_file()
    except OSError:
        return False


def _source_or_fault(path: Path, settings: ReadSettings, named: bool) -> Source | Fault | None:
    promised = named or path.suffix.lower() in _SUFFIXES
    try:
        with path.open("rb", buffering=0) as file:
            first = file.read(_FIRST)
            size = os.fstat(file.fileno()).st_size
            kind = kind_of(first[:_HEAD])
            if kind is None:
                return _wrong_content(path, size) if promised else None
            if size > settings.most_file_bytes:
                return Fault(Reason.TOO_LARGE, f"the file has {size} bytes; {settings.most_file_bytes} are taken",
                             str(path))  # fmt: skip
            digest = _digest(first, file)
    except OSError as error:
        return Fault(Reason.NOT_READABLE, f"the file cannot be read ({error.strerror})", str(path))
    return Source(path, path.name, digest, size, kind)


def _wrong_content(path: Path, size: int) -> Fault:
    if size == 0:
        return Fault(Reason.EMPTY_FILE, "the file is empty", str(path))
    return Fault(Reason.WRONG_TYPE, "the file holds neither a PDF nor a picture, whatever its name says", str(path))


def _digest(first: bytes, file: RawIOBase) -> str:
    """The SHA-256 of a file of which ``first`` was read."""
    digest = hashlib.sha256(first)
    while block := file.read(_BLOCK):
        digest.update(block)
    return digest.hexdigest()


def kind_of(head: bytes) -> SourceKind | None:
    """What a file is by its first bytes (1,100 of them suffice); ``None`` for anything else."""
    if b"%PDF-" in head[:1029]:
        return SourceKind.PDF
    pictures = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\x00", b"MM\x00*", b"BM")
    is_webp = head[:4] == b"RIFF" and head[8:12] == b"WEBP"
    is_heif = head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS
    return SourceKind.IMAGE if head.startswith(pictures) or is_webp or is_heif else None
