"""Headings, footnotes, and what holds over pages."""

import pytest
from cogledger.extract.context import DocumentMemory, PageContext, find_headings, find_notes
from cogledger.extract.lines import find_lines
from cogledger.extract.records import Heading
from cogledger.extract.subjects import Subject
from cogledger.schema.claims import Box
from cogledger.schema.limits import PartKind

LANGUAGES = ("en",)
REAR = PartKind.REAR_DERAILLEUR


def lines_of(pen, contents, *rows):
    drawn = pen()
    for n, (text, size, bold) in enumerate(rows):
        drawn.text(60, 80 + 30 * n, text, size, bold)
    (page,) = contents(drawn.save())
    return find_lines(page.words)


@pytest.mark.parametrize(
    ("text", "bold", "subject"),
    [
        ("Rear derailleur KX710", True, Subject(REAR, "KX710", None)),
        ("Rear derailleurs", True, Subject(REAR, None, None)),
        ("KX710", True, Subject(None, "KX710", None)),
        ("KX710", False, None),
        ("Weight: 200 g", True, None),
        ("The rear derailleur takes the chain up in every gear that the rider may choose.", False, None),
        ("Technical data", True, None),
    ],
)
def test_what_stands_as_a_heading(pen, contents, text, bold, subject):
    lines = lines_of(pen, contents, (text, 9, bold), ("Other words of the page in plain type stand here", 9, False))
    found = find_headings(lines, LANGUAGES, 9.0)
    assert [h.subject for h in found] == ([subject] if subject else [])


def context_of(*headings, memory=None):
    found = tuple(Heading("", Box(50, top, 300, top + 12), subject) for top, subject in headings)
    return PageContext(LANGUAGES, found, {}, memory or DocumentMemory())


PLACE = Box(60, 400, 100, 410)


def test_the_nearest_heading_counts_first_and_farther_ones_fill_up():
    context = context_of((100, Subject(REAR)), (300, Subject(None, "KX710")))
    assert context.subject_above(PLACE) == Subject(REAR, "KX710")


def test_a_farther_code_never_replaces_a_nearer_one():
    context = context_of((100, Subject(PartKind.CHAIN, "CN9")), (300, Subject(None, "KX710")))
    assert context.subject_above(PLACE).code == "KX710"


def test_a_new_kind_ends_the_reach_of_a_code_above_it():
    """Under "Cassettes" nothing belongs to the derailleur whose heading stands farther up."""
    context = context_of((100, Subject(REAR, "KX710")), (300, Subject(PartKind.CASSETTE)))
    assert context.subject_above(PLACE) == Subject(PartKind.CASSETTE, None, None)


def test_headings_below_or_beside_do_not_count():
    beside = Heading("", Box(400, 300, 500, 312), Subject(REAR, "KX710"))
    context = PageContext(LANGUAGES, (beside,), {}, DocumentMemory())
    assert context.subject_above(PLACE) == Subject()
    assert context_of((500, Subject(REAR, "KX710"))).subject_above(PLACE) == Subject()


def test_without_a_heading_the_page_before_counts():
    memory = DocumentMemory(heading=Subject(REAR, "KX710"))
    assert context_of(memory=memory).subject_above(PLACE) == Subject(REAR, "KX710")


def test_footnotes_and_their_conditions(pen, contents):
    lines = lines_of(pen, contents, ("* only with double chainring", 8, False), ("2) 11-speed only", 8, False),
                     ("† see the fitting manual", 8, False), ("Rear derailleur", 9, False))  # fmt: skip
    notes = find_notes(lines, LANGUAGES)
    assert notes["*"].condition == (("ring_count", 2.0),) and notes["2"].condition == (("rear_speeds", 11.0),)
    assert notes["†"].condition == () and set(notes) == {"*", "2", "†"}


def test_one_mark_with_two_conditions_is_left_out(pen, contents):
    lines = lines_of(pen, contents, ("* only with 2 chainrings", 8, False), ("* only with 3 chainrings", 8, False))
    assert find_notes(lines, LANGUAGES) == {}
