"""Tables for people: whatever the width, no word, number or code is ever cut or lost."""

from __future__ import annotations

import doctest

from cogledger.desk import arguments
from cogledger.desk.tables import lay_out, wrap
from hypothesis import given, settings
from hypothesis import strategies as st

WORD = st.text(alphabet="ABZ019-/.", min_size=1, max_size=14)
CELL = st.lists(WORD, max_size=5).map(" ".join)
ROWS = st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=5)
HEADS = ("part", "limit", "source")


@given(ROWS, st.integers(5, 120))
@settings(max_examples=150, deadline=None)
def test_every_word_stands_whole_in_the_table(rows: list[tuple[str, ...]], width: int) -> None:
    lines = lay_out(HEADS, rows, width)
    shown = sorted(word for line in lines for word in line.split() if set(word) != {"-"})
    for row in rows:
        for cell in row:
            for word in cell.split():
                assert word in shown or set(word) == {"-"}
    words = [word for row in rows for cell in row for word in cell.split()]
    longest = max((len(word) for word in words), default=0)
    assert all(len(line) <= max(width, longest + len("source: ")) for line in lines)


def test_columns_stand_beside_each_other_where_they_fit_and_under_each_other_where_not() -> None:
    rows = [("ZQ500 M", "at most 37 T", "zq.pdf p.2"), ("ZQ510", "at most 41 T", "zq.pdf p.3")]
    assert lay_out(HEADS, rows, 60) == [
        "part     limit         source",
        "-------  ------------  ----------",
        "ZQ500 M  at most 37 T  zq.pdf p.2",
        "ZQ510    at most 41 T  zq.pdf p.3",
    ]
    assert lay_out(HEADS, rows[:1], 24) == [
        "part    limit    source",
        "------  -------  -------",
        "ZQ500   at most  zq.pdf",
        "M       37 T     p.2",
    ]
    one_field_a_line = "part: ZQ500|    M|limit: at|    most|    37 T|source:|    zq.pdf|    p.2"
    assert lay_out(HEADS, rows[:1], 12) == one_field_a_line.split("|")
    assert lay_out(HEADS, [], 60) == []


def test_lines_break_between_words_only() -> None:
    assert wrap("at most 37 T or 56.5 mm", 9) == ["at most", "37 T or", "56.5 mm"]
    assert wrap("pulley-spacing 56.5 mm", 10) == ["pulley-spacing", "56.5 mm"]


def test_the_examples_in_docstrings_hold() -> None:
    assert doctest.testmod(arguments).failed == 0
