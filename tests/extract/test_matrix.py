"""Tables of marks: models against values, with legends and footnotes, drawn on pages."""

import pytest
from cogledger.extract.labels import LabelHit
from cogledger.extract.layouts.matrix import find_choices, joined_choices
from cogledger.extract.marks import find_legend, says_yes

ENGLISH = ("en",)


@pytest.fixture
def told(pen, read):
    """What a ruled table of marks under a heading states: code, limit, values or bounds."""

    def of(rows, notes=(), head="Shifters", **look):
        drawn = pen()
        drawn.text(50, 90, head, 12, bold=True)
        drawn.table(rows, **look)
        for n, note in enumerate(notes):
            drawn.text(50, 330 + 14 * n, note, 8)
        found = read(drawn.save()).claims
        return {(c.part_code, c.limit, c.values or (c.low, c.high), tuple((c.condition or {}).items())) for c in found}

    return of


SPEEDS = {("AB101", "rear_speeds", (9, 10), ()), ("AB102", "rear_speeds", (11,), ())}


@pytest.mark.parametrize(("yes", "no"), [("x", ""), ("X", "-"), ("yes", "no"), ("•", "–"), ("X", "")])
@pytest.mark.parametrize("ruled", [True, False])
def test_marks_under_speeds(told, yes, no, ruled):
    rows = [["Model", "9-speed", "10-speed", "11-speed"], ["AB101", yes, yes, no], ["AB102", no, no, yes]]
    found = told(rows, ruled=ruled)
    assert found <= SPEEDS and (found == SPEEDS or not ruled)


def test_models_across_and_speeds_down(told):
    rows = [["Rear speeds", "AB101", "AB102"], ["9", "x", "-"], ["10", "x", "-"], ["11", "-", "x"]]
    assert told(rows) <= SPEEDS


def test_a_cross_is_a_no_beside_ticks(told):
    rows = [["Model", "9-speed", "10-speed", "11-speed"], ["AB101", "yes", "yes", "x"], ["AB102", "x", "x", "yes"]]
    assert told(rows) == SPEEDS


def test_a_legend_has_the_first_word(told):
    rows = [["Model", "9-speed", "10-speed", "11-speed"], ["AB101", "o", "o", "x"], ["AB102", "x", "x", "o"]]
    assert told(rows, ["o = compatible", "x = not compatible"]) == SPEEDS


def test_circles_and_crosses_without_a_legend_say_nothing(told):
    rows = [["Model", "9-speed", "10-speed", "11-speed"], ["AB101", "o", "o", "x"], ["AB102", "x", "x", "o"]]
    assert told(rows) == set()


def test_a_mark_with_a_footnote_is_its_own_claim(told):
    rows = [["Model", "9-speed", "10-speed", "11-speed"], ["AB101", "x", "x*", "-"], ["AB102", "-", "-", "x"]]
    found = told(rows, ["* only with double chainring"])
    assert ("AB101", "rear_speeds", (9, 10), ()) not in found
    assert ("AB101", "rear_speeds", (9,), ()) in found


def test_parts_against_parts_state_no_limit(told):
    rows = [["Shifter", "CD200", "CD210", "CD220"], ["AB101", "x", "x", "-"], ["AB102", "-", "-", "x"]]
    assert told(rows) == set()


def test_marked_sizes_make_a_range_only_without_a_gap():
    hit = LabelHit("largest_cog", 1.0, None, None, 2)
    sizes = ["28", "30", "32", "34"]
    assert joined_choices(["28", "30", "32"], sizes, hit) == "28 – 32"
    assert joined_choices(["28", "32"], sizes, hit) is None
    assert joined_choices(["30"], sizes, hit) == "30 – 30"


def test_a_label_may_stand_over_any_column_or_in_its_cell():
    bodies = [["AB101"], ["x"], ["-"]]
    for headers in ([["Model"], ["Rear speeds", "9"], ["10"]], [["Model"], ["Rear 9"], ["speeds 10"]],
                    [["Model / rear speeds"], ["9"], ["10"]]):  # fmt: skip
        found = find_choices(headers, bodies, ENGLISH)
        assert {n: (c.hit.limit, c.value) for n, c in found.items()} == {
            1: ("rear_speeds", "9"), 2: ("rear_speeds", "10")}, headers  # fmt: skip


def test_columns_of_marks_under_words_are_no_values():
    assert not find_choices([["Model"], ["Colour", "black"], ["silver"]], [["AB101"], ["x"], ["x"]], ENGLISH)


@pytest.mark.parametrize(
    ("line", "meaning"),
    [
        ("x = ok", {"x": True}), ("● = compatible   – = not compatible", {"●": True, "–": False}),
        ("o = optional", {"o": None}), ("x = incompatible", {"x": None}), ("x = not compatible", {"x": False}),
        ("Total capacity = 37T", {}),
    ],
)  # fmt: skip
def test_legends(line, meaning):
    assert find_legend([line], ENGLISH) == meaning


def test_marks_alone():
    assert says_yes("x", ["x", "-"]) is True and says_yes("x", ["x", "✓"]) is False
    assert says_yes("○", ["○"]) is None and says_yes("x", ["x", "○"]) is None
    assert says_yes("○", ["○"], {"○": True}) is True
