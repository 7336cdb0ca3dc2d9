"""Words of notes and brackets → the condition that they name; what is not clear gives none."""

import pytest
from cogledger.extract.conditions import find_condition, split_condition


@pytest.mark.parametrize(
    ("text", "condition"),
    [
        ("only with double", {"ring_count": 2}), ("double only", {"ring_count": 2}),
        ("with 2 chainrings", {"ring_count": 2}), ("mit 2 Kettenblättern", {"ring_count": 2}),
        ("nur dreifach", {"ring_count": 3}), ("avec 2 plateaux", {"ring_count": 2}),
        ("per 3 corone", {"ring_count": 3}), ("con 2 platos", {"ring_count": 2}),
        ("met 1 kettingblad", {"ring_count": 1}),
        ("1x only", {"ring_count": 1}), ("with 11-speed", {"rear_speeds": 11}), ("11-fach", {"rear_speeds": 11}),
        ("avec cassettes 8 vitesses", {"rear_speeds": 8}), ("con 10 velocità", {"rear_speeds": 10}),
        ("2x11", {"ring_count": 2, "rear_speeds": 11}),
    ],
)  # fmt: skip
def test_conditions_in_six_languages(text, condition):
    assert find_condition(text) == condition


@pytest.mark.parametrize("text", ["2x11 or 3x10", "see page 12", "with tool",
                                  "28T", "max. 5 Nm", "", "from 2024", "frame size 54", "two year warranty",
                                  "one size fits all"])  # fmt: skip
def test_what_names_no_one_condition_gives_none(text):
    assert find_condition(text) is None


@pytest.mark.parametrize("text", ["2 or 3 chainrings", "10- or 11-speed"])
def test_two_counts_joined_by_or_are_no_one_condition(text):
    assert find_condition(text) is None


def test_rings_by_cogs_with_blanks_before_a_word():
    assert find_condition("for 2 x 10 only") == {"ring_count": 2, "rear_speeds": 10}


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("28-32T (30-34T with single ring)", [("28-32T", None), ("30-34T", {"ring_count": 1})]),
        ("37T (double only)", [("37T", {"ring_count": 2})]),
        ("23 – 27 T (21 – 25 T pour 3 plateaux)", [("23 – 27 T", None), ("21 – 25 T", {"ring_count": 3})]),
        ("37T (approx.)", [("37T (approx.)", None)]),
        ("37T", [("37T", None)]),
        ("36T (38T mit 11-fach)", [("36T", None), ("38T", {"rear_speeds": 11})]),
    ],
)
def test_values_and_their_conditions_are_parted(text, pieces):
    assert split_condition(text) == pieces


def test_a_bracket_with_a_number_of_its_own_never_restricts_the_one_before():
    pieces = split_condition("up to 36 tooth (up to 32 tooth for 2 chainrings)")
    assert pieces == [("up to 36 tooth", None), ("up to 32 tooth", {"ring_count": 2.0})]
    unread = "30T (unless it were 34 teeth with 2 rings)"
    assert all(condition is None or "30T" not in words for words, condition in split_condition(unread))
