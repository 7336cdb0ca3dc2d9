"""Searching: every order of words, every beginning, every typing fault, every filter, against plain Python."""

from __future__ import annotations

import doctest
import itertools
import math
import types
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import cast

import duckdb
import pytest
from cogledger.schema.claims import Claim, State
from cogledger.schema.errors import CallError
from cogledger.schema.limits import PartKind
from cogledger.schema.parts import lookalike_key, squash
from cogledger.schema.resolved import LimitValue, Part, ResolvedLimit, SourceRef
from cogledger.warehouse import ClaimFilter, Correction, Ledger, LimitFilter, clauses, filters, words
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.migrate import bring_up_to_date
from cogledger.warehouse.resolve import KeptClaim, resolve_parts
from cogledger.warehouse.search import FoundParts, list_claims, list_limits
from cogledger.warehouse.settled import put_settled
from cogledger.warehouse.store import Store
from hypothesis import example, given, settings
from hypothesis import strategies as st
from rapidfuzz.distance import DamerauLevenshtein

MakeClaim = Callable[..., Claim]
Keep = Callable[..., str]


class Shelf:
    """A store in memory, for many examples."""

    def __init__(self) -> None:
        self.connection = duckdb.connect()
        bring_up_to_date(self.connection, 0)

    @contextmanager
    def reading(self) -> Iterator[duckdb.DuckDBPyConnection]:
        yield self.connection


@pytest.fixture(scope="module")
def shelf() -> Iterator[Store]:
    """A store that is filled anew for each example."""
    made = Shelf()
    yield cast(Store, made)
    made.connection.close()


def fill(store: Store, parts: Sequence[Part]) -> None:
    with store.reading() as connection:
        connection.execute("delete from kept.parts")
        connection.execute("delete from kept.limits")
        put_settled(connection, parts)


def part_of(code: str, maker: str | None, variant: str | None = None) -> Part:
    value = LimitValue("total_capacity", high=37, unit="T")
    limit = ResolvedLimit(value, 0.9, (SourceRef("c", "zq.pdf", 1, "37T"),))
    return Part(PartKind.REAR_DERAILLEUR, code, variant, maker, {"total_capacity": (limit,)})


@pytest.fixture
def filled(store: FolderStore, keep: Keep, claim: MakeClaim) -> FolderStore:
    keep(
        claim("ZQ500", variant="S", high=33), claim("ZQ500", variant="M", high=37, confidence=0.6),
        claim("ZQ500", limit="largest_cog", low=25, high=32, condition={"ring_count": 2}),
        claim("ZQ510", high=41), claim("ZQ510", limit="largest_cog", high=36),
        claim("ZQ510", limit="replaces", text="zq 500", unit=None),
        claim("ZQ520", limit="largest_cog", low=28, maker="Tolk"),
        claim("CT-11", limit="cogs", part_kind="cassette", values=(11, 13, 15), maker="Dünmore & Co."),
        claim("CT-11", limit="freehub_fit", part_kind="cassette", text="Spline-9 body", unit=None,
              maker="Dünmore & Co."),
        claim("CT-11", limit="rear_speeds", part_kind="cassette", values=(10, 11), maker="Dünmore & Co."),
    )  # fmt: skip
    keep(claim("ZQ510", high=43, maker="Brambel"), name="other.pdf")
    return store


def labels(found: FoundParts) -> list[str]:
    return [part.label() for part in found]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        (["ZQ", "500"], ["ZQ500 M", "ZQ500 S"]),
        (["zq 500 m"], ["ZQ500 M"]),
        (["zq-500", "medium"], []),
        (["500"], []),
        (["dunm"], ["CT-11"]),
        (["ct11", "DÜNMORE"], ["CT-11"]),
        (["freehub", "casse"], ["CT-11"]),
        (["11"], ["CT-11"]),
        (["'; drop table kept.parts; --"], []),
        (["%"], ["CT-11", "ZQ500 M", "ZQ500 S", "ZQ510", "ZQ520"]),
        (["ZQ5%"], ["ZQ500 M", "ZQ500 S", "ZQ510", "ZQ520"]),
        (["tolk", "ZQ"], ["ZQ520"]),
    ],
)  # fmt: skip
def test_words(filled: FolderStore, asked: list[str], found: list[str]) -> None:
    answer = list_limits(filled, asked)
    assert (labels(answer), answer.corrected) == (found, {})


@pytest.mark.parametrize(
    ("asked", "found", "taken_for"),
    [
        (["ZQ5OO"], ["ZQ500 M", "ZQ500 S"], {"ZQ5OO": ["ZQ500"]}),
        (["ZQ", "5OO"], ["ZQ500 M", "ZQ500 S"], {"ZQ 5OO": ["ZQ500"]}),
        (["ZQ5O0", "M"], ["ZQ500 M"], {"ZQ5O0": ["ZQ500"]}),
        (["QZ500"], ["ZQ500 M", "ZQ500 S"], {"QZ500": ["ZQ500"]}),
        (["CTI"], ["CT-11"], {"CTI": ["CT1"]}),
        (["Brmabel", "ZQ510"], ["ZQ510"], {"Brmabel": ["Brambel"]}),
        (["casette"], ["CT-11"], {"casette": ["cassette"]}),
        (["derailer", "tolk"], ["ZQ520"], {"derailer": ["derailleur"]}),
        (["ZQ999999"], [], {}),
        (["zq9"], [], {}),
    ],
)
def test_a_typing_fault_is_told(
    filled: FolderStore, asked: list[str], found: list[str], taken_for: dict[str, list[str]]
) -> None:
    answer = list_limits(filled, asked)
    assert (labels(answer), answer.corrected) == (found, taken_for)


def test_a_word_that_is_known_is_never_taken_for_another(filled: FolderStore) -> None:
    assert list_limits(filled, ["ZQ500", "Dunmore"]) == FoundParts()
    assert list_limits(filled, ["ZQ500"], kind="cassette") == FoundParts()


@pytest.mark.parametrize(
    ("chosen", "found"),
    [
        (LimitFilter(at_least={"largest_cog": 32}), ["ZQ500 M", "ZQ500 S", "ZQ510"]),
        (LimitFilter(at_least={"largest_cog": 33}), ["ZQ510"]),
        (LimitFilter(at_most={"largest_cog": 25}), ["ZQ500 M", "ZQ500 S"]),
        (LimitFilter(takes={"largest_cog": 30}), ["ZQ500 M", "ZQ500 S", "ZQ510"]),
        (LimitFilter(takes={"largest_cog": 24}), ["ZQ510"]),
        (LimitFilter(takes={"total_capacity": 35}), ["ZQ500 M", "ZQ510"]),
        (LimitFilter(takes=(("rear_speeds", 10), ("rear_speeds", 11))), ["CT-11"]),
        (LimitFilter(takes=(("rear_speeds", 10), ("rear_speeds", 12))), []),
        (LimitFilter(at_least={"cogs": 15}, at_most={"cogs": 11}), ["CT-11"]),
        (LimitFilter(at_most={"cogs": 10}), []),
        (LimitFilter(says={"freehub_fit": "BODY spline 9"}), ["CT-11"]),
        (LimitFilter(says={"freehub_fit": "' or true --"}), []),
        (LimitFilter(maker="dunmore"), ["CT-11"]),
        (LimitFilter(maker="Dunmroe"), ["CT-11"]),
        (LimitFilter(maker="nobody"), []),
        (LimitFilter(conflicts=True), ["ZQ510"]),
        (LimitFilter(at_least={"total_capacity": 37}, sure=0.9), ["ZQ510"]),
    ],
)
def test_filters(filled: FolderStore, chosen: LimitFilter, found: list[str]) -> None:
    assert labels(list_limits(filled, chosen=chosen)) == found


def test_only_limits_that_are_asked_for_are_shown(filled: FolderStore) -> None:
    (part,) = list_limits(filled, ["ZQ510"], chosen=LimitFilter(conflicts=True))
    assert list(part.limits) == ["total_capacity"]
    assert "ZQ500 M" in labels(list_limits(filled, ["ZQ500"], chosen=LimitFilter(sure=0.7)))
    medium = next(p for p in list_limits(filled, ["ZQ500 M"], chosen=LimitFilter(sure=0.7)))
    assert list(medium.limits) == ["largest_cog"]
    assert medium.limits["largest_cog"][0].value.condition == {"ring_count": 2}


def test_the_state_is_that_of_the_claims_behind(filled: FolderStore) -> None:
    assert list_limits(filled, chosen=LimitFilter(state="confirmed")) == FoundParts()
    ledger = Ledger(filled.folder)
    told = ledger.claims(["ZQ520"])[0]
    ledger.confirm(told.claim_id)
    assert labels(ledger.limits(chosen=LimitFilter(state=State.CONFIRMED))) == ["ZQ520"]


def test_rows_are_cut_off_and_counted(filled: FolderStore) -> None:
    found = list_limits(filled, chosen=LimitFilter(most=2))
    assert (labels(found), found.more) == (["CT-11", "ZQ500 M"], 3)
    assert list_limits(filled, ["zq"], chosen=LimitFilter(most=9)).more == 0
    claims = list_claims(filled, ["zq"], ClaimFilter(most=3))
    assert (len(claims), claims.more) == (3, 8), "of the document zq.pdf all, and one of the other"
    assert [c.claim_id for c in claims] == [c.claim_id for c in list_claims(filled, ["zq"])][:3]


def test_successors_are_told(filled: FolderStore) -> None:
    found = list_limits(filled, ["zq"])
    assert [found.successors_of(part) for part in found] == [("ZQ510",), ("ZQ510",), (), ()]


@pytest.mark.parametrize(
    "chosen",
    [
        LimitFilter(at_least={"colour": 3}), LimitFilter(at_most={"mount": 3}), LimitFilter(takes={"cogs": math.nan}),
        LimitFilter(says={"cogs": "11"}), LimitFilter(says={"mount": " - "}), LimitFilter(sure=1.5),
        LimitFilter(state="lost"), LimitFilter(most=0),
    ],
)  # fmt: skip
def test_a_filter_that_cannot_be_used_is_named(filled: FolderStore, chosen: LimitFilter) -> None:
    with pytest.raises(CallError) as caught:
        list_limits(filled, chosen=chosen)
    assert caught.value.fault.advice


@pytest.mark.parametrize("module", [clauses, filters, words])
def test_examples_in_docstrings_hold(module: types.ModuleType) -> None:
    assert doctest.testmod(module).failed == 0


def test_claims_as_a_persons_word_leaves_them(filled: FolderStore) -> None:
    ledger = Ledger(filled.folder)
    told = next(c for c in ledger.claims(["ZQ500", "S"]) if c.record["limit"] == "total_capacity")
    ledger.correct(told.claim_id, Correction(high=39))
    assert [c.claim_id for c in ledger.claims(["ZQ500"], ClaimFilter(at_least={"total_capacity": 38}))] == [
        told.claim_id
    ]
    assert not ledger.claims(["ZQ500"], ClaimFilter(at_most={"total_capacity": 34}))
    corrected = ledger.claims([], ClaimFilter(state="corrected", maker="bramb", sure=0.5))
    assert [c.claim_id for c in corrected] == [told.claim_id]
    assert len(ledger.claims(["other"])) == 1 == len(ledger.claims([], ClaimFilter(document="other.pdf")))
    assert {c.record["part_code"] for c in ledger.claims(["dünmore", "11", "free"])} == {"CT-11"}
    assert len(ledger.claims([], ClaimFilter(says={"freehub_fit": "spline"}))) == 1
    assert not ledger.claims(["'; drop table kept.claims"])


CODES = st.builds(lambda a, b: a + b, st.text("KXZQ", min_size=2, max_size=3), st.text("0128", min_size=2, max_size=4))
MAKERS = st.sampled_from(["Brambel Works", "Tolk", "Ørsund-Velde"])


@settings(max_examples=40, deadline=None)
@given(CODES, MAKERS, st.sampled_from(["S", "medium", None]), st.data())
def test_every_order_of_words_and_every_beginning_finds_the_part(
    shelf: Store, code: str, maker: str, variant: str | None, data: st.DataObject
) -> None:
    fill(shelf, [part_of(code, maker, variant)])
    named = [code, *maker.split(), "rear", "derailleur", "capacity", *([variant] if variant else [])]
    chosen = data.draw(st.lists(st.sampled_from(named), unique=True, min_size=1, max_size=3))
    cut = [word[: data.draw(st.integers(1, len(word)))] for word in chosen]
    for order in itertools.permutations(cut):
        typed = [data.draw(st.sampled_from([word, word.lower(), word.upper()])) for word in order]
        found = list_limits(shelf, typed)
        assert (len(found), found.corrected) == (1, {})


@settings(max_examples=60, deadline=None)
@given(CODES, st.integers(1, 5), MAKERS)
def test_a_code_may_be_typed_in_pieces(shelf: Store, code: str, cut: int, maker: str) -> None:
    fill(shelf, [part_of(code, maker), part_of("W9" + code, "Tolk")])
    assert labels(list_limits(shelf, [code[:cut], code[cut:]])) == [code]
    assert labels(list_limits(shelf, [f"{code[:cut]} {code[cut:]}"])) == [code]


@st.composite
def slips(draw: st.DrawFn) -> tuple[str, str]:
    """A code, and how it reads with one sign wrong, missing, too many, or two swapped."""
    code = draw(st.text("ABCDXYZ0123456789", min_size=4, max_size=11))
    place, sign = draw(st.integers(0, len(code) - 1)), draw(st.sampled_from("ABCDXYZ0123456789Ж"))
    kind = draw(st.sampled_from(["wrong", "missing", "more", "swapped"]))
    if kind == "swapped" and place + 1 < len(code):
        return code, code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    after = code[place + (kind != "more") :]
    return code, code[:place] + (sign if kind != "missing" else "") + after


@settings(max_examples=150, deadline=None)
@given(slips(), st.lists(st.text("ABCDXYZ0123456789", min_size=3, max_size=11), max_size=6))
@example(("KX71", "KX7I"), ["KX72"])
@example(("AB12", "A1B2"), [])
@example(("ABCD", "BACD"), ["ACBD"])
@example(("12345678", "12436578"), [])
def test_every_slip_is_found_as_plain_python_finds_it(shelf: Store, slip: tuple[str, str], others: list[str]) -> None:
    code, typed = slip
    codes = sorted({code, *others})
    fill(shelf, [part_of(one, "Ööö") for one in codes])
    found = list_limits(shelf, [typed])
    expected, corrected = plain_search(codes, squash(typed))
    assert labels(found) == expected
    assert found.corrected == ({typed: corrected} if corrected else {})
    assert code in labels(found) or any(c != code for c in expected)


def plain_search(codes: Sequence[str], key: str) -> tuple[list[str], list[str]]:
    """Which of ``codes`` a word finds, and what it is taken for; the distance is rapidfuzz's, of each code in turn."""
    begun = [code for code in codes if code.startswith(key)]
    if begun or not key:
        return begun or list(codes), []
    alike = [code for code in codes if lookalike_key(code) == lookalike_key(key)]
    longer = [code for code in codes if lookalike_key(code).startswith(lookalike_key(key))]
    if alike or longer:
        return (alike, alike) if alike else (longer, sorted({code[: len(key)] for code in longer}))
    within = {faults: [c for c in codes if DamerauLevenshtein.distance(c, key) <= faults] for faults in (1, 2)}
    near = within[1] or (within[2] if len(key) >= 8 else [])
    return near, near


VALUES = st.one_of(st.none(), st.integers(20, 40))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(CODES, VALUES, VALUES, st.sampled_from([None, 1, 2]), st.floats(0.1, 0.99)), max_size=8),
    st.sampled_from(["at_least", "at_most", "takes"]), st.integers(19, 41), st.sampled_from([None, 0.5]),
)  # fmt: skip
def test_values_are_filtered_as_plain_python_does(
    shelf: Store, rows: list[tuple[str, int | None, int | None, int | None, float]], asked: str, number: int,
    sure: float | None,
) -> None:  # fmt: skip
    kept = [
        KeptClaim(
            f"c{n}", f"d{n}",
            Claim(f"{n}.pdf", 1, None, "Brambel", code, None, "rear_derailleur", "largest_cog", low, high, unit="T",
                  condition={"ring_count": rings} if rings else None, confidence=confidence),
            State.READ, datetime(2024, 1, 1),
        )
        for n, (code, low, high, rings, confidence) in enumerate(rows)
        if (low is not None or high is not None) and (low is None or high is None or low <= high)
    ]  # fmt: skip
    parts = resolve_parts(kept)
    fill(shelf, parts)
    found = list_limits(shelf, chosen=LimitFilter(sure=sure, **{asked: {"largest_cog": number}}))
    expected = [p.label() for p in parts if any(fits(v, asked, number, sure) for v in p.limits["largest_cog"])]
    assert labels(found) == expected


def fits(limit: ResolvedLimit, asked: str, number: float, sure: float | None) -> bool:
    low, high = limit.value.low, limit.value.high
    stated = [bound for bound in (low, high) if bound is not None]
    if sure is not None and limit.confidence < sure:
        return False
    if asked == "takes":
        return high is not None and number <= high and (low is None or low <= number)
    return max(stated) >= number if asked == "at_least" else min(stated) <= number
