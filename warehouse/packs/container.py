"""A pack on disk, as a folder or one zip → its files at plain paths, every name and size looked at before."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import stat
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from ...schema.errors import DocumentError
from ...schema.reasons import Reason
from .about import DESCRIPTOR, Resource
from .names import find_clash, object_to_name
from .refusing import Place, shown
from .settings import PackSettings

_CHUNK = 1 << 20
_LEFT_BY_SYSTEMS = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
_END, _END_SIZE = b"PK\x05\x06", 22
_LOCATOR, _LOCATOR_SIZE = b"PK\x06\x07", 20
_BYTES_PER_ENTRY = 46 + 200
"""A central directory's fixed part (APPNOTE.TXT 4.3.12) and more than any name of ours."""


@dataclass(frozen=True)
class Container:
    """The files of a pack at plain paths; ``temporary`` folders are deleted by ``close``."""

    folder: Path
    files: dict[str, int]
    temporary: bool

    def close(self) -> None:
        """Delete what was unpacked."""
        if self.temporary:
            shutil.rmtree(self.folder, ignore_errors=True)


def open_container(path: Path, settings: PackSettings) -> Container:
    """Find the files of a pack; of a zip, unpack them into a folder of their own.

    :raises DocumentError: there is nothing, it cannot be read, or it holds what no pack may
    """
    pack = str(path)
    try:
        if path.is_dir():
            return Container(path, _list_folder(path, pack, settings), False)
        if not path.is_file():
            raise DocumentError(Reason.NOT_FOUND, "there is no such pack", file=pack)
        with path.open("rb") as file:
            if not zipfile.is_zipfile(file):
                Place(pack).refuse("it is neither a folder nor a zip")
        return _unpack(path, settings)
    except OSError as error:
        raise DocumentError(
            Reason.NOT_READABLE, f"the pack cannot be read ({error.strerror or error})", file=pack
        ) from None


def demand_listed(container: Container, resources: Iterable[Resource], pack: str) -> None:
    """Refuse a pack whose files are not just those that its descriptor names, in the sizes and with the hashes it says.

    :raises DocumentError: a file is missing, unlisted, or not the one that was described
    """
    listed = {resource.path: resource for resource in resources}
    for name in container.files:
        if name != DESCRIPTOR and name not in listed:
            Place(pack, name).refuse(f"{DESCRIPTOR} does not name this file")
    for name, resource in listed.items():
        place = Place(pack, name)
        if name not in container.files:
            place.refuse("the file is missing")
        if container.files[name] != resource.size:
            place.refuse(f"it has {container.files[name]:,} bytes and not {resource.size:,}")
        if hash_of(container.folder / name) != resource.sha256:
            place.refuse("its contents are not those that were shared: the hash differs")


def hash_of(path: Path) -> str:
    """The SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _list_folder(path: Path, pack: str, settings: PackSettings) -> dict[str, int]:
    files: dict[str, int] = {}
    for here, folders, names in os.walk(path):
        for name in [*folders, *names]:
            full = Path(here, name)
            told = full.relative_to(path).as_posix()
            mode = full.lstat().st_mode
            if stat.S_ISLNK(mode):
                Place(pack).refuse(f"{shown(told)} is a link")
            if name in _LEFT_BY_SYSTEMS or name in folders:
                continue
            if not stat.S_ISREG(mode):
                Place(pack).refuse(f"{shown(told)} is no plain file")
            if wrong := object_to_name(told):
                Place(pack).refuse(f"the name {shown(told)} {wrong}")
            files[told] = full.lstat().st_size
            if len(files) > settings.most_entries:
                Place(pack).refuse(f"it holds more than {settings.most_entries:,} files")
    _demand_no_clash(files, pack)
    return files


def _demand_no_clash(names: Iterable[str], pack: str) -> None:
    if clash := find_clash(names):
        same = clash[0] == clash[1]
        told = "is there twice" if same else f"and {shown(clash[1])} differ in capitals only"
        Place(pack).refuse(f"the name {shown(clash[0])} {told}")


def _unpack(path: Path, settings: PackSettings) -> Container:
    pack = str(path)
    folder = Path(tempfile.mkdtemp(prefix="cogledger-pack-"))
    try:
        _demand_small_directory(path, settings)
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
            _object_to_entries(entries, pack, settings)
            files = {entry.filename: 0 for entry in entries if not entry.is_dir()}
            room = settings.most_bytes
            for name in files:
                files[name] = _unpack_entry(archive, name, folder, pack, settings, room)
                room -= files[name]
        return Container(folder, files, True)
    except OSError as error:
        shutil.rmtree(folder, ignore_errors=True)
        if error.errno not in (None, errno.EINVAL):
            raise
        Place(pack).refuse("the zip is damaged or cut short")
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError, RuntimeError, struct.error):
        shutil.rmtree(folder, ignore_errors=True)
        Place(pack).refuse("the zip is damaged or cut short")
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise


def _demand_small_directory(path: Path, settings: PackSettings) -> None:
    """Refuse a zip whose table of contents is far larger than a pack's, before anything reads it whole."""
    size = path.stat().st_size
    with path.open("rb") as file:
        file.seek(max(0, size - _END_SIZE - (1 << 16)))
        tail = file.read()
        at = tail.rfind(_END)
        length = struct.unpack("<L", tail[at + 12 : at + 16])[0] if at >= 0 else 0
        if at >= _LOCATOR_SIZE and tail[at - _LOCATOR_SIZE :].startswith(_LOCATOR):
            offset = struct.unpack("<Q", tail[at - 12 : at - 4])[0]
            file.seek(min(offset, size))
            large = file.read(56)
            length = struct.unpack("<Q", large[40:48])[0] if len(large) == 56 else size
    if length > settings.most_entries * _BYTES_PER_ENTRY:
        Place(str(path)).refuse(f"it holds more than {settings.most_entries:,} files")


def _object_to_entries(entries: list[zipfile.ZipInfo], pack: str, settings: PackSettings) -> None:
    if len(entries) > settings.most_entries:
        Place(pack).refuse(f"it holds more than {settings.most_entries:,} files")
    for entry in entries:
        name = getattr(entry, "orig_filename", entry.filename)
        if wrong := object_to_name(name.rstrip("/") if entry.is_dir() else name):
            Place(pack).refuse(f"the name {shown(name)} {wrong}")
        if entry.flag_bits & 0x41:
            Place(pack, entry.filename).refuse("it is encrypted")
        if stat.S_IFMT(entry.external_attr >> 16) not in (0, stat.S_IFREG, stat.S_IFDIR):
            Place(pack).refuse(f"{shown(name)} is a link or no plain file")
        if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            Place(pack, entry.filename).refuse(
                "it is packed in a way that packs do not use; deflate and store are used"
            )
    _demand_no_clash([entry.filename.rstrip("/") for entry in entries], pack)
    if sum(entry.compress_size for entry in entries) > Path(pack).stat().st_size:
        Place(pack).refuse("its entries lie over each other, as in a zip bomb")


def _unpack_entry(
    archive: zipfile.ZipFile, name: str, folder: Path, pack: str, settings: PackSettings, room: int
) -> int:
    """Unpack one entry, counting what really comes out; its size in bytes."""
    packed = max(1, archive.getinfo(name).compress_size)
    target = folder / name
    target.parent.mkdir(parents=True, exist_ok=True)
    size = 0
    with archive.open(name) as entry, target.open("xb") as out:
        while chunk := entry.read(_CHUNK):
            size += len(chunk)
            if size > room:
                Place(pack, name).refuse(f"unpacked, the pack is larger than {settings.most_bytes:,} bytes")
            if size > settings.ratio_from and size > packed * settings.most_ratio:
                Place(pack, name).refuse(f"it unpacks to more than {settings.most_ratio} times its size, as a zip bomb")
            if name == DESCRIPTOR and size > settings.most_descriptor_bytes:
                Place(pack, name).refuse(f"it is larger than {settings.most_descriptor_bytes:,} bytes")
            out.write(chunk)
    return size
