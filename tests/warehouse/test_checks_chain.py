"""Chain length against worked examples, a handbook approximation, and geometry computed another way."""

from __future__ import annotations

from math import pi, sin

import numpy as np
import pytest
from cogledger.schema.builds import build_from_mapping
from cogledger.warehouse.checks.chain import PITCH_MM, exact_links, links_needed, pitch_diameter_mm
from cogledger.warehouse.fit import fit_build
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

# Chainstay mm, ring, cog, exact links, links by the handbook approximation. Worked by the formula for chain drives
# that machine-element handbooks print, X = 2C/p + (N + n)/2 + (N - n)²/(4π²C/p); rows with a third reading below.
WORKED = [
    (410, 50, 28, 103.947, 103.947),
    (410, 50, 32, 105.821, 105.821),
    (412, 52, 28, 105.332, 105.332),
    (435, 42, 36, 107.531, 107.531),
    (415, 53, 11, 98.727, 98.722),
]


class NoParts:
    def find_parts(self, written, kind=None):
        return ()

    def near_codes(self, written, limit=3):
        return ()


def length_check(links, chainstay=410.0, rings=(50, 34), cogs="11-32", **more):
    now = {"chain": {"link_count": links}, "rings": list(rings), "cassette": cogs, **more}
    answer = fit_build(build_from_mapping({"bike": {"chainstay_mm": chainstay}, "now": now}), NoParts())
    return next(result for result in answer.checks if result.check == "chain_length"), answer


def polygon(teeth: int, turn: float, at: float) -> np.ndarray:
    """Centres of the pins on a sprocket of ISO 606: a regular polygon whose side is one pitch."""
    radius = PITCH_MM / (2 * sin(pi / teeth))
    angles = turn + 2 * np.pi * np.arange(teeth) / teeth
    return np.column_stack((at + radius * np.cos(angles), radius * np.sin(angles)))


def hull_links(chainstay: float, ring: int, cog: int, positions: int = 400) -> float:
    """The mean perimeter in pitches of a band round two tooth polygons, over random positions of both."""
    rng = np.random.default_rng(606)
    perimeters = []
    for _ in range(positions):
        points = np.vstack(
            (polygon(ring, rng.uniform(0, 2 * pi), 0.0), polygon(cog, rng.uniform(0, 2 * pi), chainstay))
        )
        perimeters.append(ConvexHull(points).area)
    return float(np.mean(perimeters)) / PITCH_MM


@pytest.mark.parametrize(("chainstay", "ring", "cog", "exact", "approximate"), WORKED)
def test_worked_examples(chainstay, ring, cog, exact, approximate):
    assert exact_links(chainstay, ring, cog) == pytest.approx(exact, abs=0.0006)
    centre = chainstay / PITCH_MM
    handbook = 2 * centre + (ring + cog) / 2 + (ring - cog) ** 2 / (4 * pi**2 * centre)
    assert handbook == pytest.approx(approximate, abs=0.0006)


@pytest.mark.parametrize(("chainstay", "ring", "cog"), [(410, 50, 32), (435, 42, 36), (415, 53, 11), (390, 34, 11)])
def test_a_band_round_two_tooth_polygons_is_as_long(chainstay, ring, cog):
    """Independent geometry: ISO 606's pitch polygon, scipy's convex hull; no formula of chain length enters."""
    assert exact_links(chainstay, ring, cog) == pytest.approx(hull_links(chainstay, ring, cog), abs=0.01)


@pytest.mark.parametrize(("teeth", "diameter"), [(11, 45.08), (16, 65.10), (28, 113.43), (50, 202.26), (53, 214.38)])
def test_pitch_circles_of_iso_606(teeth, diameter):
    assert pitch_diameter_mm(teeth) == pytest.approx(diameter, abs=0.005)


@pytest.mark.parametrize(
    ("chainstay", "ring", "cog", "needed"),
    [(410, 50, 32, 108), (410, 50, 28, 106), (425, 44, 42, 112), (412, 50, 32, 110), (410, 50, 36, 110)],
)
def test_links_needed_are_even_and_two_more_than_the_exact_length(chainstay, ring, cog, needed):
    """Big-big plus two, joined in pairs: common workshop practice, no source."""
    assert links_needed(chainstay, ring, cog) == needed


@given(st.floats(380, 460), st.integers(30, 56), st.integers(20, 52))
def test_the_next_smaller_pair_of_links_would_be_too_short(chainstay, ring, cog):
    needed, exact = links_needed(chainstay, ring, cog), exact_links(chainstay, ring, cog)
    assert needed % 2 == 0
    assert needed >= exact + 2 - 1e-6
    assert needed - 2 < exact + 2
    assert exact == pytest.approx(exact_links(chainstay, cog, ring))


@given(st.floats(380, 460), st.integers(30, 56), st.integers(20, 52))
def test_bigger_sprockets_and_longer_stays_never_need_fewer_links(chainstay, ring, cog):
    needed = links_needed(chainstay, ring, cog)
    assert links_needed(chainstay + 5, ring, cog) >= needed
    assert links_needed(chainstay, ring + 1, cog) >= needed
    assert links_needed(chainstay, ring, cog + 1) >= needed


@pytest.mark.parametrize(
    ("links", "verdict", "margin"),
    [(108, "fits", 0), (110, "fits", 2), (106, "does_not_fit", -2), (107, "does_not_fit", -1)],
)
def test_chain_length(links, verdict, margin):
    result, answer = length_check(links)
    assert (str(result.verdict), result.margin, result.needed) == (verdict, margin, 108)
    assert "105.821" in result.working and f"reserve {links - 105.8213:.3f}" in result.working
    longer = any("longer than needed" in words for words in answer.cautions)
    assert longer == (margin > 0)
    too_short = any("too short" in words for words in answer.cautions)
    assert too_short == (margin < 0)


def test_only_the_ends_of_the_set_count_and_triples_use_the_biggest_ring():
    assert length_check(108, rings=(50, 39, 30))[0].needed == 108
    assert length_check(108, cogs=[11, 13, 32])[0].needed == 108


def test_several_lengths_on_offer_must_agree():
    assert length_check([108, 114])[0].verdict == "fits"
    assert length_check([100, 106])[0].verdict == "does_not_fit"
    assert length_check([106, 114])[0].verdict == "cannot_tell"


@pytest.mark.parametrize("missing", ["chainstay_mm", "link_count"])
def test_a_missing_side_is_asked_for(missing):
    chain = {"weight": 250} if missing == "link_count" else {"link_count": 108}
    bike = {} if missing == "chainstay_mm" else {"chainstay_mm": 410}
    now = {"chain": chain, "rings": "50/34", "cassette": "11-32"}
    answer = fit_build(build_from_mapping({"bike": bike, "now": now}), NoParts())
    assert [item.check for item in answer.not_checked if item.check == "chain_length"] == ["chain_length"]
    assert not [result for result in answer.checks if result.check == "chain_length"]


def test_a_chain_longer_than_the_cage_can_take_up_says_which_pairs_go_slack():
    """used(34, 11) = 16 + 21 = 37 T; two links more make it 41 T against 40 T. Derived: one tooth is half a link."""
    derailleur = {"largest_cog": 34, "total_capacity": 40}
    cogs = [11, 12, 14, 16, 18, 20, 22, 25, 28, 30, 32]
    _, answer = length_check(110, cogs=cogs, rear_derailleur=derailleur)
    assert answer.verdict == "fits"
    assert any("with the 34, cog 11 hang slack" in words for words in answer.cautions)


def test_two_equal_sprockets():
    """One sprocket twice: no angle, and the length is two stays and the teeth of one."""
    assert exact_links(400, 40, 40) == pytest.approx(2 * 400 / PITCH_MM + 40)
