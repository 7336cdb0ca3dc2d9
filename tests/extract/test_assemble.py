"""Entries → claims, or held-back records with the reason; nothing is guessed."""

import pytest
from cogledger.extract.assemble import assemble
from cogledger.extract.context import DocumentMemory
from cogledger.extract.labels import find_label_hits
from cogledger.extract.records import Entry, PageContent
from cogledger.extract.subjects import Subject
from cogledger.schema.claims import Box
from cogledger.schema.limits import PartKind
from cogledger.schema.reasons import Reason
from cogledger.schema.validation import validate_claims

REAR = PartKind.REAR_DERAILLEUR
PART = Subject(REAR, "KX710", None)
PAGE = PageContent(3, 600, 800, (), origin="text")


def entry(label, value, subject=PART, **more):
    return Entry(subject, label, find_label_hits(label, subject.kind), value, more.pop("box", Box(100, 200, 130, 210)),
                 more.pop("reader", "table:ruled"), **more)  # fmt: skip


def assembled(*entries, memory=None):
    return assemble(entries, PAGE, "a.pdf", "Brambel", memory or DocumentMemory())


def reasons(result):
    return [o.reason for held in result.held_back for o in held.objections]


def test_a_clear_entry_becomes_a_whole_valid_claim():
    result = assembled(entry("Total capacity", "37T", condition=(("ring_count", 2.0),)))
    (claim,) = result.claims
    assert (claim.document, claim.page, claim.maker, claim.part_code) == ("a.pdf", 3, "Brambel", "KX710")
    assert (claim.limit, claim.low, claim.high, claim.unit) == ("total_capacity", None, 37, "T")
    assert claim.condition == {"ring_count": 2.0} and claim.bbox == Box(100, 200, 130, 210)
    assert "37T" in claim.snippet and claim.method == "text/table:ruled" and claim.confidence > 0.9
    assert validate_claims([claim]).valid


def test_a_value_that_is_not_understood_is_held_back_with_its_words():
    result = assembled(entry("Total capacity", "see chart 4"))
    assert not result.claims and reasons(result) == [Reason.UNREAD_VALUE]
    record = result.held_back[0].record
    assert record["limit"] == "total_capacity" and "see chart 4" in record["snippet"] and record["bbox"]


def test_without_a_part_nothing_is_claimed():
    for subject in (Subject(REAR, None, None), Subject(None, "KX710", None)):
        result = assembled(entry("Total capacity", "37T", subject))
        assert not result.claims and reasons(result) == [Reason.UNSURE_PART]


def test_a_foreign_unit_is_never_taken():
    result = assembled(entry("Total capacity", "37 mm"))
    assert not result.claims and reasons(result) == [Reason.UNREAD_VALUE]


def test_the_unit_of_the_label_decides_too():
    result = assembled(entry("Chain length (mm)", "114", Subject(PartKind.CHAIN, "CN9", None)))
    assert not [c for c in result.claims if c.limit == "link_count"]


def test_a_minimum_and_a_maximum_apart_are_one_range_with_both_places():
    low = entry("Largest cog min.", "28T", box=Box(100, 200, 130, 210))
    high = entry("Largest cog max.", "34T", box=Box(160, 200, 190, 210))
    for pair in ((low, high), (high, low)):
        (claim,) = assembled(*pair).claims
        assert (claim.low, claim.high, claim.bbox) == (28, 34, Box(100, 200, 190, 210))
        assert "28T" in claim.snippet and "34T" in claim.snippet


def test_a_minimum_above_the_maximum_is_not_joined():
    result = assembled(entry("Largest cog min.", "34T"), entry("Largest cog max.", "28T"))
    assert result.claims == () and set(reasons(result)) == {Reason.CONTRADICTS}
    assert {(h.record["low"], h.record["high"]) for h in result.held_back} == {(34, None), (None, 28)}


def test_bounds_of_two_variants_are_not_joined():
    low = entry("Largest cog min.", "28T", Subject(REAR, "KX710", "S"))
    high = entry("Largest cog max.", "34T", Subject(REAR, "KX710", "L"))
    assert {(c.variant, c.low, c.high) for c in assembled(low, high).claims} == {("S", 28, None), ("L", None, 34)}


def test_rings_by_cogs_state_two_limits():
    label = "Number of chainrings"
    claims = assembled(entry(label, "2x11")).claims
    assert {(c.limit, c.values) for c in claims} == {("ring_count", (2.0,)), ("rear_speeds", (11.0,))}


def test_what_the_part_cannot_have_is_not_claimed():
    result = assembled(entry("Bolt circle diameter", "110 mm", Subject(PartKind.CHAIN, "CN9", None)))
    assert not result.claims


def test_doubtful_layout_is_held_back_as_unsure():
    result = assembled(entry("Total capacity", "37", certain=0.1))
    assert not result.claims and reasons(result) == [Reason.UNSURE_LABEL]
    assert result.held_back[0].record["high"] == 37


def test_kinds_of_codes_are_remembered_for_later_pages():
    memory = DocumentMemory()
    assembled(entry("Total capacity", "37T"), memory=memory)
    assert memory.kinds == {"KX710": REAR}


@pytest.mark.parametrize(("code", "origin", "sure"), [("KX71-1", "ppocr", False), ("KX71.l", "ppocr", False),
                                                      ("KX71-1", "text", True), ("KX711", "ppocr", True),
                                                      ("KX71-M", "ppocr", True)])  # fmt: skip
def test_a_code_read_from_a_picture_that_ends_in_letter_or_digit_is_never_sure(code, origin, sure):
    page = PageContent(3, 600, 800, (), origin=origin)
    found = assemble([entry("Total capacity", "37T", Subject(REAR, code, None))], page, "a.pdf", None, DocumentMemory())
    (claim,) = found.claims
    assert (claim.confidence >= 0.9) == sure


@pytest.mark.parametrize("code", ["1x/2x", "2x11", "1 x 12", "2×"])
def test_chainrings_by_cogs_are_no_part(code):
    result = assembled(entry("Total capacity", "37T", Subject(REAR, code, None)))
    assert not result.claims and reasons(result) == [Reason.UNSURE_PART]
