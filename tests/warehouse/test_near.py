"""What a code that nobody knows may have been meant for."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from cogledger.schema.claims import Claim
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.near import find_near_codes


@pytest.fixture
def stocked(store: FolderStore, keep: Callable[..., str], claim: Callable[..., Claim]) -> FolderStore:
    keep(
        claim("KX-71", variant="S", high=33), claim("KX-71", variant="M", high=37), claim("KX-82", high=41),
        claim("WRT8241", high=41), claim("ЖK500", high=39),
    )  # fmt: skip
    return store


@pytest.mark.parametrize(
    ("written", "near"),
    [
        ("KX7I", ("KX-71",)),
        ("Brambel Works KX7I", ("KX-71",)),
        ("KX17", ("KX-71",)),
        ("KX771", ("KX-71",)),
        ("KX-71", ("KX-71 M", "KX-71 S")),
        ("KX71 XL", ("KX-71 M", "KX-71 S")),
        ("WRT2841", ("WRT8241",)),
        ("WRT8214X", ("WRT8241",)),
        ("ЩK500", ("ЖK500",)),
        ("KX-82", ()),
        ("nothing", ()),
        ("", ()),
        ("'", ()),
    ],
)
def test_near_codes(stocked: FolderStore, written: str, near: tuple[str, ...]) -> None:
    with stocked.reading() as connection:
        assert find_near_codes(connection, written) == near


def test_as_many_as_are_wanted(stocked: FolderStore) -> None:
    with stocked.reading() as connection:
        assert find_near_codes(connection, "KX71", 1) == ("KX-71 M",)
        assert find_near_codes(connection, "KX71", 0) == ()
