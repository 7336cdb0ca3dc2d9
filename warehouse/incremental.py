"""Files at hand, and what the store knows of them → which to read; where known ones are now, and which are gone."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from .register import find_paths, find_reader_versions, forget_paths, note_gone, note_paths
from .store import Store

if TYPE_CHECKING:
    from ..extract.records import Source


@dataclass(frozen=True)
class Change:
    """What a call of reading finds: sources to read, sources that are as they were, and documents that went away."""

    waiting: tuple[Source, ...]
    unchanged: tuple[Source, ...]
    gone: tuple[str, ...] = ()


def find_change(
    store: Store, roots: Sequence[Path], sources: Sequence[Source], reader_version: str | None, again: bool
) -> Change:
    """Compare files by their contents with what was read before by the same version of the reader.

    A file that moved keeps its claims, and its new path is noted. A file under ``roots`` that is no longer there keeps
    its claims too, and is noted as gone.
    """
    if not store.exists():
        return Change(tuple(sources), ())
    with store.reading() as connection:
        versions, paths = find_reader_versions(connection), find_paths(connection)
    kept = store.kept_sources()
    waiting: list[Source] = []
    unchanged: list[Source] = []
    for source in sources:
        current = versions.get(source.sha256) == reader_version and source.sha256 in kept
        (unchanged if current and not again else waiting).append(source)
    moved = [s for s in unchanged if (s.sha256, whole_path(s.path)) not in paths]
    now_at = {(s.sha256, whole_path(s.path)) for s in moved}
    from_some_folder = [(sha, path) for sha, path in paths
                        if not Path(path).is_absolute() and (sha, whole_path(path)) in now_at]  # fmt: skip
    gone = sorted(_find_gone({path for _, path in paths}, roots))
    if moved or gone:
        with store.writing() as connection:
            note_gone(connection, gone)
            note_paths(connection, [(s.sha256, s.name, whole_path(s.path)) for s in moved])
            forget_paths(connection, from_some_folder)
    return Change(tuple(waiting), tuple(unchanged), tuple(gone))


def whole_path(path: Path | str) -> str:
    """A path from the root, as it is noted."""
    return os.path.abspath(path)  # noqa: PTH100 - links stay: the path as the user knows it


def _find_gone(known: Iterable[str], roots: Sequence[Path]) -> Iterable[str]:
    """The known paths under one of the folders, or equal to it, at which there is no file now."""
    tops = [whole_path(root) for root in roots]
    for path in known:
        whole = whole_path(path)
        if any(whole == top or whole.startswith(top.rstrip(os.sep) + os.sep) for top in tops) and not _is_file(whole):
            yield path


def _is_file(path: str) -> bool:
    """Whether there is a file, as far as can be seen: a folder that may not be looked into hides none."""
    try:
        return stat.S_ISREG(os.stat(path).st_mode)  # noqa: PTH116 - there may be ten thousand
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError:
        return True
