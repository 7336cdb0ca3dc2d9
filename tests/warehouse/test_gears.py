"""Gears against worked examples; tyres by ISO 5775 with the height taken as the width."""

from __future__ import annotations

from math import pi

import pytest
from cogledger.schema.tyres import Tyre, parse_tyre
from cogledger.warehouse.gears import Gear, gearing, slack_pairs, slack_sentence
from hypothesis import given
from hypothesis import strategies as st

COGS = [11, 12, 13, 14, 16, 18, 20, 22, 25, 28, 32]

# ISO 5775 designation → diameter = bead seat + 2 × width in mm, circumference in m, worked by hand
TYRES = [
    ("28-622", 678, 2.1300), ("32-622", 686, 2.1551), ("40-622", 702, 2.2054), ("47-584", 678, 2.1300),
    ("57-559", 673, 2.1143), ("35-590", 660, 2.0735), ("40-406", 486, 1.5268), ("25-622", 672, 2.1112),
]  # fmt: skip


@pytest.mark.parametrize(("written", "diameter", "circumference"), TYRES)
def test_tyre_sizes(written, diameter, circumference):
    tyre = parse_tyre(written)
    assert tyre.diameter_mm == diameter
    assert tyre.circumference_m == pytest.approx(circumference, abs=5e-5)


@pytest.mark.parametrize("written", ["28 - 622", "28–622", "28x622"])
def test_tyres_are_written_with_any_dash(written):
    assert parse_tyre(written) == Tyre(28, 622)


@pytest.mark.parametrize("written", ["", "700c", "622-28", "28", "28-62", "5-622", "28-999"])
def test_what_is_no_tyre_is_refused(written):
    with pytest.raises(ValueError, match="tyre"):
        parse_tyre(written)


@pytest.mark.parametrize(
    ("ring", "cog", "ratio", "development", "inches", "at_60", "at_90"),
    [
        (34, 32, 1.0625, 2.263, 28.36, 8.15, 12.22),
        (34, 28, 1.2143, 2.586, 32.41, 9.31, 13.97),
        (36, 28, 1.2857, 2.739, 34.32, 9.86, 14.79),
        (50, 11, 4.5455, 9.682, 121.33, 34.85, 52.28),
    ],
)
def test_a_gear_on_28_622(ring, cog, ratio, development, inches, at_60, at_90):
    """Definitions: ratio = ring/cog, metres per turn = ratio × circumference, inches = ratio × D/25.4."""
    gear, tyre = Gear(ring, cog), Tyre(28, 622)
    assert gear.ratio == pytest.approx(ratio, abs=5e-5)
    assert gear.development_m(tyre) == pytest.approx(development, abs=5e-4)
    assert gear.inches(tyre) == pytest.approx(inches, abs=5e-3)
    assert gear.speed_kmh(tyre, 60) == pytest.approx(at_60, abs=5e-3)
    assert gear.speed_kmh(tyre, 90) == pytest.approx(at_90, abs=6e-3)


def test_the_whole_of_a_double():
    shown = gearing([34, 50], COGS[::-1], tyre=Tyre(28, 622), capacity=33).as_json()
    assert (shown["lowest"], shown["highest"], shown["range"]) == (1.0625, 4.5455, 4.2781)
    assert [round(step["percent"], 1) for step in shown["steps"]] == [
        9.1, 8.3, 7.7, 14.3, 12.5, 11.1, 10.0, 13.6, 12.0, 14.3]  # fmt: skip
    assert not any(step["coarse"] for step in shown["steps"])
    assert len(shown["table"]) == 22
    twins = {
        (pair["gears"][0]["cog"], pair["gears"][1]["cog"]): round(pair["percent"], 1) for pair in shown["duplicates"]
    }
    assert {key: twins[key] for key in [(22, 32), (14, 20), (12, 18), (11, 16)]} == {
        (22, 32): 1.1, (14, 20): 2.9, (12, 18): 2.0, (11, 16): 1.1}  # fmt: skip
    slanted = [(row["ring"], row["cog"]) for row in shown["table"] if row["cross_chained"]]
    assert slanted == [(50, 28), (50, 32), (34, 11), (34, 12)]
    assert shown["slack"] == [{"ring": 34, "cog": cog} for cog in (11, 12, 13, 14)]


@pytest.mark.parametrize(
    ("cogs", "capacity", "extra", "sentence"),
    [
        (COGS, 33, 0, "with the 34, cogs 11 to 14"),
        ([11, 13, 15, 17, 19, 21, 23, 25, 28, 32, 36], 37, 0, "with the 34, cogs 11 to 13"),
        (COGS, 37, 0, ""),
        (COGS, 40, 2, "with the 34, cog 11"),
    ],
)
def test_slack_pairs(cogs, capacity, extra, sentence):
    """used = (B - r) + (L - k) + 2e against the capacity; exactly the capacity is held. Derived, see the docstring."""
    assert slack_sentence(slack_pairs([50, 34], cogs, capacity, extra)) == sentence


def test_only_the_ends_are_known():
    shown = gearing([50, 34], [11, 32], complete=False, capacity=20).as_json()
    assert (shown["lowest"], shown["complete"], shown["steps"], shown["slack"]) == (1.0625, False, [], None)
    assert "lowest_development_m" not in shown


@pytest.mark.parametrize(("rings", "cogs"), [([], [11]), ([50], []), ([50, 0], [11]), ([50], [-11])])
def test_gears_need_teeth(rings, cogs):
    with pytest.raises(ValueError, match="ring"):
        gearing(rings, cogs)


TEETH = st.lists(st.integers(9, 60), min_size=1, max_size=12, unique=True)


@given(st.lists(st.integers(20, 60), min_size=1, max_size=3, unique=True), TEETH, st.integers(0, 60))
def test_what_holds_for_every_bike(rings, cogs, capacity):
    bike = gearing(rings, cogs, tyre=Tyre(28, 622), capacity=capacity)
    ratios = [gear.ratio for gear in bike.gears]
    assert bike.lowest.ratio == min(ratios) and bike.highest.ratio == max(ratios)
    assert bike.lowest.development_m(Tyre(28, 622)) == pytest.approx(bike.lowest.ratio * pi * 0.678)
    needed = (max(rings) - min(rings)) + (max(cogs) - min(cogs))
    assert bool(slack_pairs(rings, cogs, capacity)) == (needed > capacity)
