"""Readings → rows → claims: nothing lost, re-reading is whole, a person's word survives."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from cogledger.schema.claims import Claim, State, claim_ids
from cogledger.schema.errors import CallError
from cogledger.schema.limits import LIMITS, Form
from cogledger.schema.reasons import Reason
from cogledger.schema.validation import HeldBack, Objection, validate_records
from cogledger.warehouse.folder_store import FolderStore
from cogledger.warehouse.judge import Correction, confirm_claim, correct_claim, reject_claim
from cogledger.warehouse.lookup import StoreParts
from cogledger.warehouse.register import find_claim, tell_claims
from cogledger.warehouse.search import list_limits
from cogledger.warehouse.store import rows_of

MakeClaim = Callable[..., Claim]
Keep = Callable[..., str]


def told(store: FolderStore) -> dict[str, dict]:
    with store.reading() as connection:
        return {t.claim_id: t.as_json() for t in tell_claims(connection)}


def test_a_claim_comes_back_as_it_was_given(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    given = [
        claim(high=37, variant="M", condition={"ring_count": 2}),
        claim(limit="cogs", part_kind="cassette", values=(11, 13, 15, 18), unit="T", bbox=None, maker=None),
        claim(limit="chainline", part_kind="crankset", low=44.5, high=44.5, unit="mm"),
        claim(limit="shift_family", text="Ümläut 2", unit=None),
    ]
    sha = keep(*given)
    kept = told(store)
    assert list(kept) == claim_ids(sha, given)
    for given_one, kept_one in zip(given, kept.values(), strict=True):
        assert given_one.as_json().items() <= kept_one.items()
        assert kept_one["state"] == "read"


def test_held_back_records_keep_everything_and_every_reason(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    record = claim(high=-3).as_json()
    broken = {"document": "zq.pdf", "page": "three", "part_code": None, "low": True, "values": "x", "bbox": [1, 2]}
    held = validate_records([record, broken]).held_back
    assert len(held) == 2
    keep(held=tuple(held))
    kept = list(told(store).values())
    assert [k["state"] for k in kept] == ["held_back", "held_back"]
    assert record.items() <= kept[0].items()
    assert broken.items() <= kept[1].items()
    assert {r["reason"] for r in kept[0]["reasons"]} == {str(o.reason) for o in held[0].objections}
    assert all(r["advice"] for k in kept for r in k["reasons"])
    assert tuple(list_limits(store)) == ()


def test_ids_of_valid_claims_do_not_depend_on_what_is_held_back(
    store: FolderStore, keep: Keep, claim: MakeClaim
) -> None:
    keep(claim(high=37))
    before = set(told(store))
    keep(claim(high=37), held=(HeldBack(claim(high=37).as_json(), (Objection(Reason.UNSURE_PART, "part_code", "?"),)),))
    after = told(store)
    assert before < set(after)
    assert sorted(k["state"] for k in after.values()) == ["held_back", "read"]


def test_reading_again_replaces_what_was_read_before(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37), claim(limit="largest_cog", low=28, high=32))
    keep(claim("QQ900", high=41), name="other.pdf")
    keep(claim(high=39), reader="r2")
    assert sorted((k["document"], k["high"]) for k in told(store).values()) == [("other.pdf", 41), ("zq.pdf", 39)]
    (part,) = StoreParts(store).find_parts("ZQ500")
    assert list(part.limits) == ["total_capacity"]
    assert part.limits["total_capacity"][0].value.high == 39


def test_a_reading_that_fails_half_way_leaves_the_former_one(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37))
    before = told(store)
    with pytest.raises(ValueError, match="enum"), store.writing() as connection:
        connection.execute("delete from kept.claims")
        raise ValueError("enum")
    assert told(store) == before


def test_a_persons_word_survives_reading_again(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37), claim(limit="front_difference", high=61), claim(limit="smallest_cog", low=11))
    ids = {k["limit"]: i for i, k in told(store).items()}
    confirm_claim(store, ids["total_capacity"], by="Ada", note="page 1")
    correct_claim(store, ids["front_difference"], Correction(high=16), by="Ada")
    reject_claim(store, ids["smallest_cog"], by="Ada")
    keep(claim(high=87), claim(limit="front_difference", high=61), claim(limit="smallest_cog", low=11), reader="r2")
    kept = told(store)
    assert kept[ids["total_capacity"]]["state"] == "confirmed"
    assert (kept[ids["total_capacity"]]["judged_by"], kept[ids["total_capacity"]]["note"]) == ("Ada", "page 1")
    corrected = kept[ids["front_difference"]]
    assert (corrected["state"], corrected["high"], corrected["read_as"]["high"]) == ("corrected", 16, 61)
    assert kept[ids["smallest_cog"]]["state"] == "rejected"
    (part,) = StoreParts(store).find_parts("ZQ500")
    assert part.limits["total_capacity"][0].value.high == 37
    assert part.limits["total_capacity"][0].conflicts == (), "another reading of the very same words is no conflict"
    assert part.limits["front_difference"][0].value.high == 16
    assert "smallest_cog" not in part.limits


def test_the_newest_word_holds_and_all_are_kept(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37))
    (claim_id,) = told(store)
    reject_claim(store, claim_id)
    assert StoreParts(store).find_parts("ZQ500") == ()
    assert confirm_claim(store, claim_id).state is State.CONFIRMED
    assert StoreParts(store).find_parts("ZQ500")[0].limits["total_capacity"][0].value.high == 37
    with store.reading() as connection:
        verdicts = [r["verdict"] for r in rows_of(connection, "from kept.judgements order by judged_at")]
    assert verdicts == ["rejected", "confirmed"]


def test_confirming_a_corrected_claim_keeps_the_correction(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37))
    (claim_id,) = told(store)
    correct_claim(store, claim_id, Correction(high=33))
    assert confirm_claim(store, claim_id).record["high"] == 33


def test_a_correction_must_be_valid(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37), claim(limit="largest_cog", low=28, high=32))
    first, second = told(store)
    with pytest.raises(CallError, match="wrong form"):
        correct_claim(store, first, Correction(text="many"))
    with pytest.raises(CallError, match="--as-printed"):
        correct_claim(store, first, Correction(high=99))
    with pytest.raises(CallError, match="bounds reversed"):
        correct_claim(store, second, Correction(high=25), as_printed=True)
    with pytest.raises(CallError, match="already says so"):
        correct_claim(store, first, Correction(high=37))
    with pytest.raises(CallError, match="needs a value"):
        correct_claim(store, first, Correction())
    assert [k["state"] for k in told(store).values()] == ["read", "read"]
    assert correct_claim(store, first, Correction(high=99), as_printed=True).record["high"] == 99


def test_one_number_corrects_an_exact_value(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(limit="cage_pulley_spacing", low=56.5, high=56.5))
    (claim_id,) = told(store)
    record = correct_claim(store, claim_id, Correction(high=65.5)).record
    assert (record["low"], record["high"], record["unit"]) == (65.5, 65.5, "mm")


def test_correcting_the_code_moves_the_claim_to_the_other_part(
    store: FolderStore, keep: Keep, claim: MakeClaim
) -> None:
    keep(claim("ZQ5O0", high=37))
    (claim_id,) = told(store)
    correct_claim(store, claim_id, Correction(code="ZQ500", variant="M"))
    parts = StoreParts(store)
    assert parts.find_parts("ZQ5O0") == ()
    assert [p.label() for p in parts.find_parts("ZQ500")] == ["ZQ500 M"]
    keep(claim("ZQ5O0", high=37), reader="r2")
    assert [p.label() for p in StoreParts(store).find_parts("ZQ500")] == ["ZQ500 M"]


def test_a_person_can_confirm_what_is_merely_unusual_but_not_what_is_malformed(
    store: FolderStore, keep: Keep, claim: MakeClaim
) -> None:
    odd = validate_records([claim(high=70).as_json()]).held_back
    unsure = HeldBack(claim(high=40, variant="L").as_json(), (Objection(Reason.UNSURE_PART, "part_code", "ZQ500"),))
    wrong = validate_records([claim(limit="largest_cog").as_json() | {"unit": "mm", "high": 30}]).held_back
    keep(held=(*odd, unsure, *wrong))
    odd_id, unsure_id, wrong_id = told(store)
    assert confirm_claim(store, odd_id).state is State.CONFIRMED
    assert confirm_claim(store, unsure_id).state is State.CONFIRMED
    with pytest.raises(CallError, match="wrong unit"):
        confirm_claim(store, wrong_id)
    assert {p.label() for p in StoreParts(store).find_parts("ZQ500")} == {"ZQ500 L", "ZQ500"}


def test_an_unknown_id_names_the_nearest(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37))
    (claim_id,) = told(store)
    typed = claim_id[:-1] + ("0" if claim_id[-1] != "0" else "1")
    with store.reading() as connection:
        assert find_claim(connection, claim_id[:8].upper()).claim_id == claim_id
        with pytest.raises(CallError, match=f"did you mean {claim_id}") as caught:
            find_claim(connection, typed)
        assert caught.value.fault.reason is Reason.UNKNOWN_CLAIM
        assert caught.value.exit_code == 2


def test_the_views_show_what_the_calls_show(store: FolderStore, keep: Keep, claim: MakeClaim) -> None:
    keep(claim(high=37, variant="M"), held=tuple(validate_records([claim(high=-1).as_json()]).held_back))
    keep(claim(high=39, variant="M", confidence=0.5), name="b.pdf", read_at=datetime(2020, 1, 1))
    with store.reading() as connection:
        claims = rows_of(connection, "from claims order by document, state")
        limits = rows_of(connection, "from limits")
        documents = rows_of(connection, "from documents order by document")
        parts = rows_of(connection, "from parts")
    assert [(c["document"], c["high"], c["state"]) for c in claims] == [
        ("b.pdf", 39, "read"), ("zq.pdf", -1, "held_back"), ("zq.pdf", 37, "read"),
    ]  # fmt: skip
    assert claims[2]["bbox"] == [100, 200, 130, 212]
    assert [(r["part_code"], r["variant"], r["limit"], r["high"], r["document"], r["page"]) for r in limits] == [
        ("ZQ500", "M", "total_capacity", 37, "zq.pdf", 1)
    ]
    assert [d["document"] for d in documents] == ["b.pdf", "zq.pdf"]
    assert [(p["part_code"], p["variant"], p["limits"]) for p in parts] == [("ZQ500", "M", 1)]


def test_every_limit_key_of_the_vocabulary_survives_the_way_to_a_part(
    store: FolderStore, keep: Keep, claim: MakeClaim
) -> None:
    values = {
        Form.HIGH: {"high": 1}, Form.LOW: {"low": 1}, Form.RANGE: {"low": 1, "high": 2},
        Form.EXACT: {"low": 1, "high": 1}, Form.EXACT_OR_RANGE: {"low": 1.5, "high": 2.5},
        Form.VALUES: {"values": (2, 1)}, Form.ORDERED: {"values": (3, 2)}, Form.TEXT: {"text": "words"},
    }  # fmt: skip
    given = {key: claim(limit=key, **values[row.form]) for key, row in LIMITS.items()}
    keep(*given.values())
    parts = StoreParts(store).find_parts("ZQ500")
    found = {key: limits for part in parts for key, limits in part.limits.items()}
    assert set(found) == set(LIMITS)
    for key, one in given.items():
        (resolved,) = found[key]
        value = resolved.value
        assert (value.low, value.high, value.values, value.text, value.unit) == (
            one.low, one.high, one.values, one.text, one.unit,
        ), key  # fmt: skip
