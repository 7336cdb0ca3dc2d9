"""Words → lines and segments."""

import pytest
from cogledger.extract.lines import Segment, cell_text, find_lines, join_words, union
from cogledger.extract.records import Word
from cogledger.schema.claims import Box
from hypothesis import given, settings
from hypothesis import strategies as st


def word(text, x, bottom, size=10.0, width=None):
    return Word(text, Box(x, bottom - size, x + (width or 0.5 * size * len(text)), bottom), size=size)


def test_a_wide_gap_parts_segments_and_a_blank_does_not():
    (line,) = find_lines([word("Total", 50, 100), word("capacity", 78, 100), word("37T", 200, 100)])
    assert [s.text for s in line.segments] == ["Total capacity", "37T"] and line.text == "Total capacity  37T"


def test_lines_come_from_top_to_bottom_and_words_from_left_to_right():
    words = [word("d", 90, 140), word("b", 90, 100), word("c", 50, 140), word("a", 50, 100)]
    assert [line.text for line in find_lines(words)] == ["a  b", "c  d"]


def test_small_type_beside_large_stays_on_its_line():
    lines = find_lines([word("Heading", 50, 100, 18), word("2024", 140, 99, 9)])
    assert len(lines) == 1


def test_leader_dots_part_segments_and_vanish():
    (line,) = find_lines(
        [word("Weight", 50, 100), word("........", 82, 100), word("231", 125, 100), word("g", 143, 100)]
    )
    assert [s.text for s in line.segments] == ["Weight", "231 g"]


def test_a_raised_word_is_written_as_a_mark():
    number, mark = word("37T", 50, 100), word("2", 65, 95, 6)
    assert join_words([number, mark]) == "37T^{2}"
    assert join_words([word("37T", 50, 100), word("2", 68, 100)]) == "37T 2"


def test_words_that_touch_are_joined():
    assert join_words([word("37", 50, 100), word("T", 60.2, 100)]) == "37T"


@pytest.mark.parametrize(
    ("first", "second", "whole"),
    [("Gesamt-", "kapazität", "Gesamtkapazität"), ("Front-", "Rear", "Front-Rear"), ("28-", "32", "28-32"),
     ("max.", "cog", "max. cog")],
)  # fmt: skip
def test_hyphens_at_a_line_end(first, second, whole):
    assert cell_text([word(first, 50, 100), word(second, 50, 112)]) == whole


def test_union_is_the_smallest_box_around_all():
    assert union([Box(5, 5, 10, 10), Box(0, 7, 3, 20)]) == Box(0, 5, 10, 20)


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 30)), min_size=1, max_size=25, unique=True))
@settings(max_examples=80, deadline=None)
def test_no_word_is_lost_and_none_doubled(places):
    words = [word(f"w{n}", 12.0 * x, 14.0 * y, width=9) for n, (x, y) in enumerate(places)]
    lines = find_lines(words)
    assert sorted(w.text for line in lines for s in line.segments for w in s.words) == sorted(w.text for w in words)
    assert [line.box.top for line in lines] == sorted(line.box.top for line in lines)
    assert all(line.segments == tuple(sorted(line.segments, key=lambda s: s.box.x0)) for line in lines)


def test_a_segment_is_bold_when_most_of_it_is():
    bold = Word("a", Box(0, 0, 5, 10), bold=True)
    plain = Word("b", Box(6, 0, 9, 10))
    assert Segment((bold, bold, plain)).bold and not Segment((bold, plain)).bold
