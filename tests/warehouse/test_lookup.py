"""Codes as written → parts; what only looks alike is offered, never taken."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from cogledger.schema.claims import Claim
from cogledger.schema.errors import StoreError
from cogledger.schema.limits import PartKind
from cogledger.schema.reasons import Reason
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.lookup import StoreParts, fits_words
from cogledger.warehouse.search import list_limits

MakeClaim = Callable[..., Claim]
Keep = Callable[..., str]


@pytest.fixture
def parts(store: FolderStore, keep: Keep, claim: MakeClaim) -> StoreParts:
    keep(
        claim("ZQ500", variant="S", high=33), claim("ZQ500", variant="M", high=37),
        claim("ZQ510", high=41), claim("ZQ510", limit="replaces", text="zq 500", unit=None),
        claim("CT-11", limit="cogs", part_kind="cassette", values=(11, 13, 15), maker="Dunmore"),
    )  # fmt: skip
    return StoreParts(store)


def labels(parts: StoreParts, written: str, kind: PartKind | None = None) -> list[str]:
    return [part.label() for part in parts.find_parts(written, kind)]


@pytest.mark.parametrize("written", ["ZQ500 M", "zq500-m", "ZQ 500 medium cage", "ZQ500M", "ZQ500 (M)", "zq500 mid"])
def test_a_code_with_its_variant_is_one_part(parts: StoreParts, written: str) -> None:
    assert labels(parts, written) == ["ZQ500 M"]


@pytest.mark.parametrize("written", ["ZQ500", "zq 500", "ZQ-500"])
def test_a_code_alone_is_every_variant(parts: StoreParts, written: str) -> None:
    assert labels(parts, written) == ["ZQ500 M", "ZQ500 S"]


@pytest.mark.parametrize("written", ["ZQ5OO", "ZQ50", "ZQ500 XL", "ZQ5000", "", "  ", "?!"])
def test_what_is_not_known_finds_nothing(parts: StoreParts, written: str) -> None:
    assert labels(parts, written) == []


def test_a_digit_behind_a_code_names_a_variant_only_when_set_apart(
    store: FolderStore, keep: Keep, claim: MakeClaim
) -> None:
    keep(claim("ZQ50", variant="0", high=37))
    assert labels(StoreParts(store), "ZQ500") == []
    assert labels(StoreParts(store), "ZQ50-0") == ["ZQ50 0"]


def test_the_kind_can_be_asked_for(parts: StoreParts) -> None:
    assert labels(parts, "ct11", PartKind.CASSETTE) == ["CT-11"]
    assert labels(parts, "ct11", PartKind.CHAIN) == []


def test_lookalikes_and_slips_are_offered(parts: StoreParts) -> None:
    assert parts.near_codes("ZQ5OO")[0] == "ZQ500"
    assert parts.near_codes("ZQ501")[0] in ("ZQ500", "ZQ510")
    assert parts.near_codes("ZQ500 XL") == ("ZQ500 M", "ZQ500 S")
    assert parts.near_codes("W9999999") == ()


def test_successors_are_reported(parts: StoreParts) -> None:
    assert [p.label() for p in parts.successors("ZQ500")] == ["ZQ510"]
    assert parts.successors("ZQ510") == ()


def test_without_a_store_codes_are_empty_and_questions_say_so(tmp_path) -> None:
    nothing = StoreParts(FolderStore(tmp_path / "none"))
    assert nothing.codes() == ()
    with pytest.raises(StoreError) as caught:
        nothing.find_parts("ZQ500")
    assert caught.value.fault.reason is Reason.NO_STORE
    assert not (tmp_path / "none").exists()


def test_every_code_is_known_alone_and_with_its_variants(parts: StoreParts) -> None:
    assert set(parts.codes()) == {"ZQ500", "ZQ500 M", "ZQ500 S", "ZQ510", "CT-11"}


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ([], ["CT-11", "ZQ500 M", "ZQ500 S", "ZQ510"]),
        (["zq"], ["ZQ500 M", "ZQ500 S", "ZQ510"]),
        (["m", "ZQ-500"], ["ZQ500 M"]),
        (["capacity", "zq51"], ["ZQ510"]),
        (["dun"], ["CT-11"]),
        (["rear", "derail"], ["ZQ500 M", "ZQ500 S", "ZQ510"]),
        (["ct 11"], ["CT-11"]),
        (["zq", "dunmore"], []),
    ],
)
def test_search(parts: StoreParts, words: list[str], found: list[str]) -> None:
    assert [p.label() for p in list_limits(parts.store, words)] == found


def test_search_by_kind_and_limit(parts: StoreParts) -> None:
    assert [p.label() for p in list_limits(parts.store, kind="cassette")] == ["CT-11"]
    (part,) = list_limits(parts.store, limit="replaces")
    assert (part.label(), list(part.limits)) == ("ZQ510", ["replaces"])


def test_words_fit_beginnings() -> None:
    assert fits_words(["vx-2", "CAP"], ["VX 240", "total_capacity"])
    assert not fits_words(["vx 9"], ["VX 240", "total_capacity"])
    assert not fits_words(["40"], ["VX240"])
