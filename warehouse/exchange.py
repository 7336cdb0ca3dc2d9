"""Sharing and merging, imported only when they are asked for: what checks packs takes a moment to load."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ..schema.limits import PartKind
from .store import Store
from .who import login_name

if TYPE_CHECKING:
    from .merge import MergeReport
    from .share import ShareReport


def share(
    store: Store,
    out: Path,
    shared_by: str | None,
    licence: str | None,
    words: Sequence[str],
    kind: PartKind | str | None,
    documents: Sequence[str],
    csv: bool,
    pictures: bool,
) -> ShareReport:
    """Write a pack, see ``share.share_pack``; by the user's login name and under CC0 where nothing else is said."""
    from .packs import PackAbout
    from .share import share_pack

    about = PackAbout(shared_by or login_name(), licence or PackAbout.licence)
    return share_pack(store, out, about, words, kind, csv, pictures, documents)


def merge(store: Store, pack: Path) -> MergeReport:
    """Take a pack in, see ``merge.merge_pack``."""
    from .merge import merge_pack

    return merge_pack(store, pack)
