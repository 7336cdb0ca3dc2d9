"""Footnote marks on labels and values, raised or not. The forms are common practice, without a source."""

import pytest
from cogledger.extract.marks import split_marked


@pytest.mark.parametrize(
    ("text", "bare", "marks"),
    [
        ("Total capacity (1)", "Total capacity", ("1",)),
        ("Total capacity ¹", "Total capacity", ("1",)),
        ("Chain wrap (total) (2)", "Chain wrap (total)", ("2",)),
        ("Weight (g)*", "Weight (g)", ("*",)),
        ("20T(3)", "20T", ("3",)),
        ("48 Z. ²", "48 Z.", ("2",)),
        ("2 (3)", "2 (3)", ()),
        ("39 (35)", "39 (35)", ()),
    ],
)
def test_marks_behind_words(text, bare, marks):
    assert [(p.text, p.marks) for p in split_marked(text)] == [(bare, marks)]


@pytest.mark.parametrize("mark", ["(1)", "¹", "*", "†"])
@pytest.mark.parametrize(
    ("note", "wanted"),
    [("only with 2 chainrings", {(35, (("ring_count", 2),)), (39, (("ring_count", 2),))}),
     ("only for frames of the long kind", set())],
)  # fmt: skip
def test_a_mark_on_a_label_holds_for_its_column(pen, read, mark, note, wanted):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([["Model", f"Total capacity {mark}", "Weight"], ["KX10", "35T", "231 g"], ["KX20", "39T", "240 g"]])
    drawn.text(50, 220, f"{mark} {note}", 8)
    claims = read(drawn.save()).claims
    assert {c.high for c in claims if c.limit == "weight"} == {231, 240}
    assert {(c.high, tuple((c.condition or {}).items())) for c in claims if c.limit == "total_capacity"} == wanted


def test_two_footnotes_in_one_line(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([["Model", "Total capacity"], ["KX10", "35T*"], ["KX20", "39T**"]])
    drawn.text(50, 220, "* with 2 chainrings ** with 1 chainring", 8)
    found = {(c.part_code, tuple((c.condition or {}).items())) for c in read(drawn.save()).claims}
    assert found == {("KX10", (("ring_count", 2),)), ("KX20", (("ring_count", 1),))}
