"""Which value is gone by: the rule of the module's docstring, point by point; worked by hand."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest
from cogledger.schema.claims import Box, Claim, State
from cogledger.schema.resolved import Part
from cogledger.warehouse.resolve import MOST_CONFIDENCE, KeptClaim, confidence_of, resolve_parts

MakeClaim = Callable[..., Claim]
_COUNTER = itertools.count()
OLD, NEW = datetime(2001, 1, 1), datetime(2011, 1, 1)


def kept(claim: Claim, document: str = "a", state: State = State.READ, read_at: datetime = OLD) -> KeptClaim:
    return KeptClaim(f"{next(_COUNTER):04d}", document, replace(claim, document=f"{document}.pdf"), state, read_at)


def the_part(*claims: KeptClaim) -> Part:
    (part,) = resolve_parts(claims)
    return part


def high(part: Part, limit: str = "total_capacity") -> float | None:
    (resolved,) = part.limits[limit]
    return resolved.value.high


def test_rejected_and_held_back_readings_are_never_used(claim: MakeClaim) -> None:
    part = the_part(
        kept(claim(high=43), "a", State.REJECTED),
        kept(claim(high=45), "b", State.HELD_BACK),
        kept(claim(high=37, confidence=0.1), "c"),
    )
    assert high(part) == 37
    assert part.limits["total_capacity"][0].conflicts == ()
    assert resolve_parts([kept(claim(high=43), state=State.HELD_BACK)]) == []


def test_a_persons_word_comes_before_any_number_of_documents(claim: MakeClaim) -> None:
    for state in (State.CONFIRMED, State.CORRECTED):
        part = the_part(
            kept(claim(high=37, confidence=0.2), "a", state), kept(claim(high=43), "b"), kept(claim(high=43), "c")
        )
        (resolved,) = part.limits["total_capacity"]
        assert (resolved.value.high, resolved.confidence) == (37, MOST_CONFIDENCE)
        assert [c.value.high for c in resolved.conflicts] == [43]


def test_agreement_comes_before_confidence_and_the_same_document_counts_once(claim: MakeClaim) -> None:
    two = [kept(claim(high=37, confidence=0.6), d) for d in "ab"]
    surer = kept(claim(high=43, confidence=0.95), "c")
    assert high(the_part(*two, surer)) == 37
    repeated = [kept(claim(high=37, confidence=0.6, page=page), "a") for page in (1, 2, 3)]
    assert high(the_part(*repeated, surer)) == 43


def test_then_confidence_then_the_newest_document(claim: MakeClaim) -> None:
    assert high(the_part(kept(claim(high=37, confidence=0.8), "a"), kept(claim(high=43, confidence=0.81), "b"))) == 43
    old, new = kept(claim(high=37), "a", read_at=OLD), kept(claim(high=43), "b", read_at=NEW)
    assert high(the_part(old, new)) == high(the_part(new, old)) == 43


def test_independent_documents_add_up_and_one_document_does_not(claim: MakeClaim) -> None:
    # Independent events: the chance that all err is the product of the chances that each errs (elementary probability).
    a, b = kept(claim(high=37, confidence=0.8), "a"), kept(claim(high=37, confidence=0.5), "b")
    assert confidence_of([a, b]) == pytest.approx(0.9)
    assert confidence_of([a, kept(claim(high=37, confidence=0.7, page=2), "a")]) == pytest.approx(0.8)
    assert confidence_of([kept(claim(high=37, confidence=0.99), d) for d in "abc"]) == MOST_CONFIDENCE
    part = the_part(a, b)
    assert [s.document for s in part.limits["total_capacity"][0].sources] == ["a.pdf", "b.pdf"]


def test_other_values_stay_as_conflicts_with_their_sources(claim: MakeClaim) -> None:
    part = the_part(kept(claim(high=37, confidence=0.9), "a"), kept(claim(high=33, confidence=0.7), "b"))
    (resolved,) = part.limits["total_capacity"]
    (conflict,) = resolved.conflicts
    assert (conflict.value.high, conflict.confidence, conflict.sources[0].document) == (33, 0.7, "b.pdf")


def test_bounds_stated_apart_are_one_range(claim: MakeClaim) -> None:
    def bound(**fields: float) -> Claim:
        return claim(limit="largest_cog", **fields)

    for second in ("a", "b"):
        part = the_part(kept(bound(low=28, confidence=0.9), "a"), kept(bound(high=32, confidence=0.7), second))
        (resolved,) = part.limits["largest_cog"]
        assert (resolved.value.low, resolved.value.high, resolved.confidence) == (28, 32, 0.7)
        assert resolved.conflicts == ()
        assert len(resolved.sources) == 2


def test_an_upper_bound_alone_agrees_with_the_range_it_belongs_to(claim: MakeClaim) -> None:
    part = the_part(
        kept(claim(limit="largest_cog", high=32), "a"), kept(claim(limit="largest_cog", low=28, high=32), "b"),
        kept(claim(limit="largest_cog", low=28, high=34), "c"),
    )  # fmt: skip
    (resolved,) = part.limits["largest_cog"]
    assert (resolved.value.low, resolved.value.high) == (28, 32)
    assert [(c.value.low, c.value.high) for c in resolved.conflicts] == [(28, 34)]


def test_bounds_that_exclude_each_other_are_never_joined(claim: MakeClaim) -> None:
    part = the_part(
        kept(claim(limit="largest_cog", high=28, confidence=0.9), "a"),
        kept(claim(limit="largest_cog", low=30, confidence=0.8), "b"),
    )
    (resolved,) = part.limits["largest_cog"]
    assert (resolved.value.low, resolved.value.high) == (None, 28)
    assert [(c.value.low, c.value.high) for c in resolved.conflicts] == [(30, None)]


def test_alternatives_agree_in_any_order_and_cogs_only_in_theirs(claim: MakeClaim) -> None:
    speeds = [kept(claim(limit="rear_speeds", values=v), d) for d, v in (("a", (10, 11)), ("b", (11, 10)))]
    assert the_part(*speeds).limits["rear_speeds"][0].conflicts == ()
    words = [kept(claim(limit="shift_family", text=t, unit=None), d) for d, t in (("a", "Fen 2"), ("b", "FEN  2"))]
    assert the_part(*words).limits["shift_family"][0].conflicts == ()
    rings = [kept(claim(limit="rings", values=v), d) for d, v in (("a", (50, 34)), ("b", (34, 50)))]
    assert len(the_part(*rings).limits["rings"][0].conflicts) == 1


def test_values_under_different_conditions_stand_side_by_side(claim: MakeClaim) -> None:
    part = the_part(
        kept(claim(high=37, condition={"ring_count": 2})), kept(claim(high=43, condition={"ring_count": 3.0})),
        kept(claim(high=33)),
    )  # fmt: skip
    assert {(r.value.condition or {}).get("ring_count"): r.value.high for r in part.limits["total_capacity"]} == {
        2: 37, 3: 43, None: 33,
    }  # fmt: skip
    assert all(r.conflicts == () for r in part.limits["total_capacity"])


def test_a_part_may_replace_several(claim: MakeClaim) -> None:
    part = the_part(*(kept(claim(limit="replaces", text=t, unit=None)) for t in ("ZQ400", "ZQ300", "zq-400")))
    assert sorted(r.value.text or "" for r in part.limits["replaces"]) == ["ZQ300", "ZQ400"]


def test_claims_without_variant_hold_for_each_variant_that_does_not_say_otherwise(claim: MakeClaim) -> None:
    parts = resolve_parts([
        kept(claim(variant="S", high=33)), kept(claim(variant="M", high=37)),
        kept(claim(limit="smallest_cog", low=11)), kept(claim(limit="smallest_cog", low=12, variant="S")),
    ])  # fmt: skip
    assert {p.label(): p.limits["smallest_cog"][0].value.low for p in parts} == {"ZQ500 M": 11, "ZQ500 S": 12}
    assert [p.label() for p in parts if "total_capacity" in p.limits] == ["ZQ500 M", "ZQ500 S"]


def test_one_word_for_all_variants_makes_no_part_of_its_own(claim: MakeClaim) -> None:
    parts = resolve_parts(
        [kept(claim(variant="S", high=33)), kept(claim(high=33)), kept(claim(limit="rear_speeds", values=(11,)))]
    )
    assert [p.label() for p in parts] == ["ZQ500 S"]
    assert list(parts[0].limits) == ["total_capacity", "rear_speeds"]


def test_a_value_that_no_named_variant_has_points_to_an_unnamed_one(claim: MakeClaim) -> None:
    parts = resolve_parts([kept(claim(variant="M", high=37)), kept(claim(high=33), "b")])
    assert {p.label(): high(p) for p in parts} == {"ZQ500": 33, "ZQ500 M": 37}


def test_a_document_of_an_unnamed_version_says_nothing_of_the_named_ones(claim: MakeClaim) -> None:
    named = [kept(claim(variant=v, high=h), "a") for v, h in (("M", 37), ("L", 40))]
    other = [kept(claim(high=33), "b"), kept(claim(limit="rear_speeds", values=(9,)), "b")]
    parts = {p.label(): p for p in resolve_parts([*named, *other])}
    assert set(parts) == {"ZQ500", "ZQ500 M", "ZQ500 L"}
    assert [label for label, p in parts.items() if "rear_speeds" in p.limits] == ["ZQ500"]
    same_document = [replace(k, sha256="a") for k in other]
    parts = {p.label(): p for p in resolve_parts([*named, *same_document])}
    assert all("rear_speeds" in p.limits for p in parts.values())


def test_a_bound_that_a_variant_has_too_points_to_no_unnamed_one(claim: MakeClaim) -> None:
    own = kept(claim(limit="largest_cog", variant="M", low=28, high=32), "a")
    assert [p.label() for p in resolve_parts([own, kept(claim(limit="largest_cog", high=32), "b")])] == ["ZQ500 M"]


def test_a_variants_own_number_that_is_held_back_is_not_filled_from_elsewhere(claim: MakeClaim) -> None:
    parts = resolve_parts([
        kept(claim(variant="S", limit="smallest_cog", low=11)),
        kept(claim(variant="S", high=3), state=State.HELD_BACK),
        kept(claim(high=43)),
    ])  # fmt: skip
    (short,) = [p for p in parts if p.variant == "S"]
    assert "total_capacity" not in short.limits


def test_a_variant_that_only_held_back_readings_name_is_not_forgotten(claim: MakeClaim) -> None:
    held = kept(claim(variant="S", high=3), state=State.HELD_BACK)
    general = kept(claim(limit="largest_cog", high=32))
    parts = {p.label(): p for p in resolve_parts([kept(claim(variant="M", high=37)), held, general])}
    assert set(parts) == {"ZQ500 M", "ZQ500 S"}
    assert list(parts["ZQ500 S"].limits) == ["largest_cog"]
    assert [p.label() for p in resolve_parts([held, general])] == ["ZQ500"]


def test_a_code_that_ends_in_its_variant_joins_only_what_is_printed_apart(claim: MakeClaim) -> None:
    apart = [kept(claim("ZQ500", variant=v, high=h)) for v, h in (("M", 37), ("L", 40))]
    joined = kept(claim("ZQ500-M", limit="smallest_cog", low=11), "b")
    parts = {p.label(): p for p in resolve_parts([*apart, joined])}
    assert set(parts) == {"ZQ500 M", "ZQ500 L"}
    assert "smallest_cog" in parts["ZQ500 M"].limits
    assert "smallest_cog" not in parts["ZQ500 L"].limits
    alone = {p.label() for p in resolve_parts([kept(claim("ZQ500", high=37)), joined])}
    assert alone == {"ZQ500", "ZQ500-M"}
    other_letter = {p.label() for p in resolve_parts([*apart, kept(claim("ZQ500-S", high=33))])}
    assert other_letter == {"ZQ500 M", "ZQ500 L", "ZQ500-S"}


def test_a_number_behind_a_code_is_never_a_variant(claim: MakeClaim) -> None:
    parts = resolve_parts([kept(claim("ZQ50", variant="0", high=37)), kept(claim("ZQ500", high=40))])
    assert {p.label() for p in parts} == {"ZQ50 0", "ZQ500"}


def test_spelling_and_language_of_code_and_variant_do_not_matter(claim: MakeClaim) -> None:
    part = the_part(
        kept(claim("ZQ 500", variant="long cage", high=40), "a"), kept(claim("zq-500", variant="L", high=40), "b"),
        kept(claim("ZQ500", variant="lang", high=40), "c"), kept(claim("ZQ500", variant="L", high=40), "d"),
    )  # fmt: skip
    assert part.label() == "ZQ500 L"
    assert len(part.limits["total_capacity"][0].sources) == 4


def test_the_same_code_of_two_kinds_is_two_parts(claim: MakeClaim) -> None:
    parts = resolve_parts([
        kept(claim(limit="weight", low=300, high=300, part_kind="rear_derailleur")),
        kept(claim(limit="weight", low=250, high=250, part_kind="cassette")),
    ])  # fmt: skip
    assert [str(p.kind) for p in parts] == ["cassette", "rear_derailleur"]


def test_a_persons_word_settles_other_readings_of_the_same_words_only(claim: MakeClaim) -> None:
    person = kept(claim(high=37), "a", State.CORRECTED)
    again = kept(claim(high=87, bbox=Box(101, 201, 131, 213)), "a")
    elsewhere = kept(claim(high=33, bbox=Box(100, 400, 130, 412)), "a")
    (resolved,) = the_part(person, again, elsewhere).limits["total_capacity"]
    assert [c.value.high for c in resolved.conflicts] == [33]


def test_the_order_of_claims_does_not_matter(claim: MakeClaim) -> None:
    claims = [
        kept(claim(high=37, variant="M"), "a"), kept(claim("ZQ 500", high=39, variant="medium"), "b"),
        kept(claim("ZQ500M", limit="largest_cog", high=32), "c"), kept(claim(limit="largest_cog", low=28), "a"),
    ]  # fmt: skip
    answers = [resolve_parts(order) for order in itertools.permutations(claims)]
    assert all(answer == answers[0] for answer in answers)
