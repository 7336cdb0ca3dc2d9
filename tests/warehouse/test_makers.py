"""The same code of two makers is two parts; spellings of one maker are one."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest
from cogledger.schema.answers import Verdict
from cogledger.schema.claims import Claim, State
from cogledger.schema.parts import family_key, maker_key
from cogledger.warehouse import Ledger
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.lookup import StoreParts
from cogledger.warehouse.makers import find_makers
from cogledger.warehouse.resolve import KeptClaim, resolve_parts

MakeClaim = Callable[..., Claim]
_COUNTER = itertools.count()


def kept(claim: Claim, document: str = "a", state: State = State.READ) -> KeptClaim:
    return KeptClaim(
        f"{next(_COUNTER):04d}", document, replace(claim, document=f"{document}.pdf"), state, datetime(2001, 1, 1)
    )


def test_two_makers_of_one_code_have_a_part_each(claim: MakeClaim) -> None:
    parts = resolve_parts([
        kept(claim(high=37, maker="Brambel"), "a"), kept(claim(high=43, maker="Torvik"), "b"),
        kept(claim(limit="largest_cog", high=32, maker="Torvik"), "b"),
    ])  # fmt: skip
    assert [(p.maker, p.limits["total_capacity"][0].value.high) for p in parts] == [("Brambel", 37), ("Torvik", 43)]
    assert not any(limit.conflicts for p in parts for limits in p.limits.values() for limit in limits)
    assert "largest_cog" not in parts[0].limits


@pytest.mark.parametrize("other", ["BRAMBEL", "Brambel GmbH & Co. KG", "Brambel Works", "Brambei"])
def test_spellings_of_one_maker_are_one(claim: MakeClaim, other: str) -> None:
    (part,) = resolve_parts([kept(claim(high=37, maker="Brambel"), "a"), kept(claim(high=43, maker=other), "b")])
    assert len(part.limits["total_capacity"][0].conflicts) == 1


def test_a_claim_without_a_maker_goes_with_its_document_or_the_only_maker(claim: MakeClaim) -> None:
    bare = claim(limit="largest_cog", high=32, maker=None)
    (one,) = resolve_parts([kept(claim(high=37), "a"), kept(bare, "c")])
    assert set(one.limits) == {"total_capacity", "largest_cog"}
    two = [kept(claim(high=37), "a"), kept(claim(high=43, maker="Torvik"), "b")]
    parts = {p.maker: set(p.limits) for p in resolve_parts([*two, kept(bare, "b")])}
    assert parts == {"Brambel": {"total_capacity"}, "Torvik": {"total_capacity", "largest_cog"}}
    parts = {p.maker: set(p.limits) for p in resolve_parts([*two, kept(bare, "c")])}
    assert parts == {"Brambel": {"total_capacity"}, "Torvik": {"total_capacity"}, None: {"largest_cog"}}


def test_the_order_of_spellings_does_not_matter() -> None:
    names = ["BRAMBEL", "BRAMBELWORKS", "BRAMBEI", "TORVIK", "TORVIKA", "QUIN"]
    answers = [find_makers(order) for order in itertools.permutations(names)]
    assert all(answer == answers[0] for answer in answers)
    assert len(set(answers[0].values())) == 3


def test_a_build_can_name_the_maker(store: FolderStore, keep: Callable[..., str], claim: MakeClaim) -> None:
    keep(claim(high=37, maker="Brambel Works"), name="a.pdf")
    keep(claim(high=43, maker="Torvik", variant="M"), name="b.pdf")
    parts = StoreParts(store)
    assert {p.maker for p in parts.find_parts("ZQ500")} == {"Brambel Works", "Torvik"}
    assert [p.maker for p in parts.find_parts("Brambel ZQ500")] == ["Brambel Works"]
    assert [p.maker for p in parts.find_parts("brambel works ZQ-500")] == ["Brambel Works"]
    assert [p.label() for p in parts.find_parts("Torvik ZQ500 M")] == ["ZQ500 M"]
    assert parts.find_parts("Quinby ZQ500") == ()


def test_fit_tells_makers_apart_and_never_takes_one_for_the_other(
    store: FolderStore, keep: Callable[..., str], claim: MakeClaim
) -> None:
    for name, maker, most in (("a.pdf", "Brambel", 37), ("b.pdf", "Torvik", 43)):
        keep(claim(high=most, maker=maker), claim(limit="largest_cog", low=28, high=36, maker=maker), name=name)
    build = {"now": {"rear_derailleur": "ZQ500", "cassette": "11-34", "rings": [50, 34]}}
    answer = Ledger(store.folder).fit(build)
    assert answer.verdict is Verdict.CANNOT_TELL
    named = {one.parts["rear_derailleur"]: one.verdict for one in answer.variants}
    assert named == {"Brambel ZQ500": Verdict.DOES_NOT_FIT, "Torvik ZQ500": Verdict.FITS}
    for label, verdict in named.items():
        assert Ledger(store.folder).fit({"now": build["now"] | {"rear_derailleur": label}}).verdict is verdict


def test_keys() -> None:
    assert maker_key("AG") == "AG", "a name of nothing but a company's form stays"
    assert (family_key("KX71M"), family_key("kx-71"), family_key("ABCDE"), family_key("AB")) == (
        "KX71",
        "KX71",
        "ABC",
        "AB",
    )
    assert family_key("ÉÀ7Ö") == family_key("EA7")
