"""Hand-made readings, so that the store is tested without any reader."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from cogledger.extract.records import Reading, Source, SourceKind
from cogledger.schema.claims import Box, Claim
from cogledger.schema.limits import LIMITS
from cogledger.schema.validation import HeldBack
from cogledger.warehouse.register import write_reading
from cogledger.warehouse.store import Store, StoreSettings


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
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "ledger", StoreSettings(wait_s=20))


@pytest.fixture
def keep(store: Store, tmp_path: Path) -> Callable[..., str]:
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
