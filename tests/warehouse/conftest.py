"""Hand-made readings, so that the store is tested without any reader."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from cogledger.extract.records import Reading, SignPlace, Source, SourceKind, StampCandidate, StampReading
from cogledger.schema.claims import Box, Claim
from cogledger.schema.errors import DocumentError
from cogledger.schema.limits import LIMITS
from cogledger.schema.reasons import Reason
from cogledger.schema.validation import HeldBack
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.register import write_reading
from cogledger.warehouse.store import StoreSettings
from PIL import Image


def _make_claim(code: str = "ZQ500", limit: str = "total_capacity", **fields: Any) -> Claim:
    kinds = LIMITS[limit].kinds
    unit = LIMITS[limit].unit
    claim = Claim("zq.pdf", 1, Box(100, 200, 130, 212), "Brambel", code, None, str(kinds[0]), limit,
                  unit=str(unit) if unit else None, snippet="as printed", method="test", confidence=0.9)  # fmt: skip
    return replace(claim, **fields)


@pytest.fixture
def claim() -> Callable[..., Claim]:
    return _make_claim


@pytest.fixture
def store(tmp_path: Path) -> FolderStore:
    return FolderStore(tmp_path / "ledger", StoreSettings(wait_s=20))


@pytest.fixture
def keep(store: FolderStore, tmp_path: Path) -> Callable[..., str]:
    """Keep claims as one document; its SHA-256. The same name is the same document."""

    def put(
        *claims: Claim,
        name: str = "zq.pdf",
        held: tuple[HeldBack, ...] = (),
        reader: str = "r1",
        read_at: datetime | None = None,
    ) -> str:
        sha = hashlib.sha256(name.encode()).hexdigest()
        source = Source(tmp_path / name, name, sha, 10, SourceKind.PDF)
        named = tuple(replace(c, document=name) for c in claims)
        with store.writing() as connection:
            write_reading(connection, Reading(source, 2, named, held, (), 0.1, reader), ".pdf", read_at)
        return sha

    return put


class PretendedReader:
    """A reader of stamps that says what the test wants; ``calls`` is what it was asked for."""

    def __init__(self) -> None:
        self.calls: list[tuple[list[str], list[str], bool]] = []
        self.says: dict[str, StampReading] = {}

    def __call__(
        self, paths: Sequence[Path], known_codes: Sequence[str] = (), same_part: bool = False
    ) -> list[StampReading]:
        self.calls.append(([p.name for p in paths], sorted(known_codes), same_part))
        for path in paths:
            if path.name.startswith("broken"):
                raise DocumentError(Reason.BROKEN_IMAGE, "the picture is broken", file=path.name)
            if path.name.startswith("bug"):
                raise ZeroDivisionError("oops")
        return [self.reading(path.name) for path in (paths[:1] if same_part else paths)]

    def reading(self, name: str) -> StampReading:
        """What is said of the photo of that name; "dark" shows nothing, "vague" an unsure code."""
        if name in self.says:
            return replace(self.says[name], file=name)
        if name.startswith("dark"):
            return StampReading(name, None, None, (), 0.0, advice="Take it again with more light.")
        sure = 0.6 if name.startswith("vague") else 0.97
        candidates = (StampCandidate("ZQ500", "M", sure, True), StampCandidate("ZQ508", None, 0.02, False))
        place = SignPlace(40, 30, 30, 10, 180.0)
        return StampReading(name, "ZQ500", "M", (), sure, candidates, Box(25, 24.6, 55, 35.4), place=place)


@pytest.fixture
def stamps(monkeypatch: pytest.MonkeyPatch) -> PretendedReader:
    reader = PretendedReader()
    monkeypatch.setattr("cogledger.extract.stamps.read_photos", reader)
    return reader


@pytest.fixture
def photo(tmp_path: Path) -> Callable[..., Path]:
    """A small picture of that name; the same name has the same contents."""

    def take(name: str, size: tuple[int, int] = (80, 60)) -> Path:
        shade = hashlib.sha256(name.encode()).digest()[:3]
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        Image.new("RGB", size, tuple(shade)).save(path)
        return path

    return take
