"""Each check by a table of cases: fits, exactly at the limit, one over, missing, not known.

The arithmetic is that of the definitions in docs/vocabulary.md, worked by hand beside each case; what a misfit leads to
is common practice, no source. Bikes are written out, so that no store takes part.
"""

from __future__ import annotations

from typing import Any

import pytest
from cogledger.schema.answers import CheckResult, FitAnswer
from cogledger.schema.builds import build_from_mapping
from cogledger.warehouse.checks import CHECK_NAMES, CHECKS
from cogledger.warehouse.checks.shifting import is_at_least
from cogledger.warehouse.fit import fit_build

ELEVEN = [11, 12, 13, 14, 15, 17, 19, 21, 23, 25, 28]


class NoParts:
    def find_parts(self, written, kind=None):
        return ()

    def near_codes(self, written, limit=3):
        return ()


def fit(now: dict[str, Any], bike: dict[str, Any] | None = None, wish: dict[str, Any] | None = None) -> FitAnswer:
    answer = fit_build(build_from_mapping({"bike": bike or {}, "now": now, "wish": wish or {}}), NoParts())
    assert len(answer.as_json()["checks"]) == len(answer.checks)
    return answer


def results(answer: FitAnswer, name: str) -> list[CheckResult]:
    return [result for result in answer.checks if result.check == name]


def asked(answer: FitAnswer) -> set[str]:
    return {item.check for item in answer.not_checked}


def only(answer: FitAnswer, name: str) -> tuple[str, float | None]:
    (result,) = results(answer, name)
    return str(result.verdict), result.margin


def test_every_name_of_the_contract_has_a_check():
    assert {check.name for check in CHECKS} == set(CHECK_NAMES)


@pytest.mark.parametrize(
    ("limit", "cogs", "gain", "verdict", "margin"),
    [
        ("28-32", "11-32", None, "fits", 0),
        ("28-32", "11-34", None, "does_not_fit", -2),
        ("28-32", "12-25", None, "does_not_fit", -3),
        ("28-32", "11-36", 4, "fits", 0),
        ("28-32", "11-37", 4, "does_not_fit", -1),
        ("28-32", "11-27", 4, "does_not_fit", -1),  # the gain leaves the lower bound where it is
        ("<=32", "11-32", None, "fits", 0),
        (">=28", "11-46", None, "fits", 18),
        (32, [32, 11, 17], None, "fits", 0),
    ],
)
def test_largest_cog(limit, cogs, gain, verdict, margin):
    now = {"rear_derailleur": {"largest_cog": limit}, "cassette": cogs}
    if gain is not None:
        now["hanger_extender"] = {"largest_cog_gain": gain}
    assert only(fit(now), "largest_cog") == (verdict, margin)


def test_an_extender_has_limits_of_its_own_and_must_state_its_gain():
    now = {"rear_derailleur": {"largest_cog": "28-32"}, "cassette": "11-36"}
    own = {"largest_cog_gain": 8, "largest_cog": "<=34"}
    both = results(fit({**now, "hanger_extender": own}), "largest_cog")
    assert [str(result.verdict) for result in both] == ["fits", "does_not_fit"]
    assert both[1].margin == -2
    assert only(fit({**now, "hanger_extender": {"weight": 20}}), "largest_cog")[0] == "cannot_tell"


@pytest.mark.parametrize(
    ("limit", "cogs", "verdict", "margin"),
    [("11-12", "11-28", "fits", 0), ("11-14", "13-28", "fits", 1), ("12-14", "11-28", "does_not_fit", -1),
     (12, "11-28", "does_not_fit", -1), ("<=12", "13-28", "does_not_fit", -1)],
)  # fmt: skip
def test_smallest_cog(limit, cogs, verdict, margin):
    answer = fit({"rear_derailleur": {"smallest_cog": limit}, "cassette": cogs})
    assert only(answer, "smallest_cog") == (verdict, margin)


@pytest.mark.parametrize(
    ("rings", "cogs", "capacity", "verdict", "margin", "working"),
    [
        ([50, 34], "11-32", 37, "fits", 0, "(50 - 34) + (32 - 11) = 37 T <= 37 T"),
        ([50, 34], "11-32", 33, "does_not_fit", -4, "(50 - 34) + (32 - 11) = 37 T > 33 T"),
        ([52, 42, 30], "11-32", 43, "fits", 0, "(52 - 30) + (32 - 11) = 43 T <= 43 T"),
        ([38], [10, 12, 14, 51], 41, "fits", 0, "(38 - 38) + (51 - 10) = 41 T <= 41 T"),
        ([34, 50], [32, 11], 36, "does_not_fit", -1, "(50 - 34) + (32 - 11) = 37 T > 36 T"),
    ],
)
def test_total_capacity(rings, cogs, capacity, verdict, margin, working):
    answer = fit({"rear_derailleur": {"total_capacity": capacity}, "cassette": cogs, "rings": rings})
    assert only(answer, "total_capacity") == (verdict, margin)
    assert results(answer, "total_capacity")[0].working == working


def test_an_extender_adds_no_capacity_but_what_it_states():
    now = {"rear_derailleur": {"total_capacity": 37}, "cassette": "11-33", "rings": [50, 34]}
    assert only(fit({**now, "hanger_extender": {"largest_cog_gain": 8}}), "total_capacity") == ("does_not_fit", -1)
    stated = {"largest_cog_gain": 8, "capacity_change": 2}
    assert only(fit({**now, "hanger_extender": stated}), "total_capacity") == ("fits", 1)
    less = {**now, "cassette": "11-32", "hanger_extender": {"largest_cog_gain": 8, "capacity_change": -1}}
    assert only(fit(less), "total_capacity") == ("does_not_fit", -1)


def test_a_misfit_of_capacity_names_the_slack_pairs_and_never_advises_a_shorter_chain():
    cogs = [11, 12, 13, 14, 16, 18, 20, 22, 25, 28, 32]
    answer = fit({"rear_derailleur": {"total_capacity": 33}, "cassette": cogs, "rings": [50, 34]})
    words = results(answer, "total_capacity")[0].consequence
    assert "with the 34, cogs 11 to 14" in words
    assert "a shorter chain is no cure" in words


@pytest.mark.parametrize(
    ("rings", "most", "verdict", "margin"),
    [([50, 34], 16, "fits", 0), ([50, 34], 14, "does_not_fit", -2), ([48, 36, 26], 22, "fits", 0),
     ([46, 30], 16, "fits", 0), ([42], 16, "fits", 16)],
)  # fmt: skip
def test_front_difference(rings, most, verdict, margin):
    answer = fit({"front_derailleur": {"front_difference": most}, "rings": rings})
    assert only(answer, "front_difference") == (verdict, margin)
    sum_shown = f"{rings[0]} - {rings[-1]} = {rings[0] - rings[-1]} T"
    assert results(answer, "front_difference")[0].working.startswith(sum_shown)


def test_front_difference_is_made_of_both_derailleurs_and_the_worse_counts():
    now = {
        "front_derailleur": {"front_difference": 16, "big_ring": "46-53"},
        "rear_derailleur": {"front_difference": 14, "largest_cog": 34, "total_capacity": 45},
        "rings": [50, 34],
        "cassette": "11-34",
    }
    answer = fit(now)
    assert [(r.parts[0], str(r.verdict)) for r in results(answer, "front_difference")] == [
        ("front derailleur as written", "fits"),
        ("rear derailleur as written", "does_not_fit"),
    ]
    assert answer.verdict == "does_not_fit"


@pytest.mark.parametrize(
    ("big", "verdict", "margin"), [(50, "fits", 3), (53, "fits", 0), (54, "does_not_fit", -1), (44, "does_not_fit", -2)]
)
def test_big_ring(big, verdict, margin):
    assert only(fit({"front_derailleur": {"big_ring": "46-53"}, "rings": [big, 36]}), "big_ring") == (verdict, margin)


@pytest.mark.parametrize(
    ("limit", "verdict", "margin"), [(34, "fits", 0), (36, "does_not_fit", -2), ("30-33", "does_not_fit", -1)]
)
def test_small_ring(limit, verdict, margin):
    assert only(fit({"front_derailleur": {"small_ring": limit}, "rings": [50, 34]}), "small_ring") == (verdict, margin)


@pytest.mark.parametrize(
    ("rings", "least", "verdict", "margin"),
    [([52, 42, 30], 10, "fits", 0), ([48, 38, 28], 12, "does_not_fit", -2), ([30, 42, 53], 10, "fits", 1)],
)
def test_ring_step(rings, least, verdict, margin):
    assert only(fit({"front_derailleur": {"ring_step": least}, "rings": rings}), "ring_step") == (verdict, margin)


def test_ring_step_does_not_apply_to_two_rings():
    answer = fit({"front_derailleur": {"ring_step": 20}, "rings": [50, 42]})
    assert not results(answer, "ring_step") and "ring_step" not in asked(answer)


@pytest.mark.parametrize(
    ("slot", "rings", "stated", "verdict"),
    [
        ("front_derailleur", [50, 34], 2, "fits"),
        ("front_derailleur", [50, 34], "2/3", "fits"),
        ("front_derailleur", [50, 42, 30], 2, "does_not_fit"),
        ("front_derailleur", [42], 2, "does_not_fit"),
        ("shifter", [42], 2, "fits"),
        ("shifter", [50, 34], 3, "fits"),
        ("shifter", [50, 42, 30], 2, "does_not_fit"),
        ("rear_derailleur", [50, 34], 1, "does_not_fit"),
        ("crankset", [50, 34], 1, "does_not_fit"),
    ],
)
def test_ring_count(slot, rings, stated, verdict):
    assert only(fit({slot: {"ring_count": stated}, "rings": rings}), "ring_count") == (verdict, None)


def test_an_unused_position_is_a_caution():
    answer = fit({"shifter": {"ring_count": 2}, "rings": [42]})
    assert any("more positions than there are rings" in words for words in answer.cautions)
    assert not any(
        "more positions" in words for words in fit({"shifter": {"ring_count": 2}, "rings": [50, 34]}).cautions
    )


@pytest.mark.parametrize(
    ("slot", "stated", "verdict"),
    [("rear_derailleur", "10/11", "fits"), ("shifter", 11, "fits"), ("shifter", 10, "does_not_fit"),
     ("front_derailleur", 11, "fits"), ("crankset", 10, "does_not_fit")],
)  # fmt: skip
def test_rear_speeds(slot, stated, verdict):
    assert only(fit({slot: {"rear_speeds": stated}, "cassette": ELEVEN}), "rear_speeds") == (verdict, None)


def test_ten_cogs_on_an_eleven_speed_shifter_do_not_fit():
    assert only(fit({"shifter": {"rear_speeds": 11}, "cassette": ELEVEN[:10]}), "rear_speeds")[0] == "does_not_fit"


def test_the_ends_of_a_cassette_do_not_tell_the_number_of_cogs():
    answer = fit({"shifter": {"rear_speeds": 11}, "chain": {"rear_speeds": 10}, "cassette": "11-28"})
    assert {"rear_speeds", "chain_width"} <= asked(answer)
    assert not results(answer, "rear_speeds")
    told = {"cassette": {"cogs": "11-28", "rear_speeds": 11}, "shifter": {"rear_speeds": 11}}
    assert only(fit(told), "rear_speeds")[0] == "fits"


def test_a_cassette_that_contradicts_itself_is_a_doubt():
    now = {"cassette": {"cogs": ELEVEN, "rear_speeds": 10}, "shifter": {"rear_speeds": 11}}
    assert only(fit(now), "rear_speeds")[0] == "cannot_tell"
    now["shifter"] = {"rear_speeds": "10/11"}
    assert only(fit(now), "rear_speeds")[0] == "fits"


@pytest.mark.parametrize(
    ("own", "shifter", "verdict"),
    [("Fell 2", "FELL  2", "fits"), ("Fell 2", "Fell 3", "does_not_fit"), ("Fell2", "fell 2", "fits")],
)
def test_shift_family(own, shifter, verdict):
    now = {"rear_derailleur": {"shift_family": own}, "shifter": {"shift_family": shifter}}
    assert only(fit(now), "shift_family") == (verdict, None)


@pytest.mark.parametrize(
    ("own", "shifter", "verdict"),
    [("cable", "cable", "fits"), ("electronic", "cable", "does_not_fit"), ("cable", "hydraulic", "does_not_fit")],
)
def test_actuation(own, shifter, verdict):
    now = {"front_derailleur": {"actuation": own}, "shifter": {"actuation": shifter}}
    answer = fit(now)
    assert only(answer, "actuation") == (verdict, None)
    assert any("may shift by themselves" in words for words in answer.cautions) == (verdict == "does_not_fit")


@pytest.mark.parametrize("key", ["shift_family", "actuation"])
def test_one_side_alone_is_asked_for_and_leaves_the_verdict_alone(key):
    word = {"shift_family": "Fell 2", "actuation": "cable"}[key]
    sound = {"rear_derailleur": {"largest_cog": 34, "total_capacity": 45}, "cassette": "11-32", "rings": [50, 34]}
    sound["rear_derailleur"][key] = word
    answer = fit(sound)
    assert key in asked(answer) and not results(answer, key)
    assert answer.verdict == "fits"


@pytest.mark.parametrize(
    ("own", "crank", "verdict", "margin"),
    [
        (43.5, 43.5, "fits", 1),
        (43.5, 44.5, "fits", 0),
        (43.5, 44.6, "does_not_fit", -0.1),
        ("47-50", 43.5, "does_not_fit", -3.5),
        ("43.5-45", 44.5, "fits", 0.5),
        ("43.5-45", "45-47", "fits", 0),
        ("43.5-45", "46-47", "does_not_fit", -1),
        (45, "44-46", "fits", 1),
        (">=47", 43.5, "does_not_fit", -3.5),
    ],
)
def test_chainline(own, crank, verdict, margin):
    answer = fit({"front_derailleur": {"chainline": own}, "crankset": {"chainline": crank}})
    found = only(answer, "chainline")
    assert found[0] == verdict and found[1] == pytest.approx(margin)
    assert results(answer, "chainline")[0].working


def test_open_ranges_of_chainlines():
    answer = fit({"front_derailleur": {"chainline": ">=47"}, "crankset": {"chainline": "44-46"}})
    assert results(answer, "chainline")[0].working == "44 to 46 mm and 47 to ... mm do not meet"


@pytest.mark.parametrize(
    ("now", "bike", "verdict"),
    [
        ({"rear_derailleur": {"mount": "hanger"}}, {"rear_mount": "hanger"}, "fits"),
        ({"rear_derailleur": {"mount": "direct"}}, {"rear_mount": "hanger"}, "does_not_fit"),
        ({"front_derailleur": {"mount": "braze-on"}}, {"front_mount": "clamp"}, "does_not_fit"),
        ({"front_derailleur": {"clamp_diameter": 31.8}}, {"seat_tube_mm": 31.8}, "fits"),
        ({"front_derailleur": {"clamp_diameter": 31.8}}, {"seat_tube_mm": 34.9}, "does_not_fit"),
        ({"front_derailleur": {"clamp_diameter": 34.9}}, {"seat_tube_mm": 31.8}, "does_not_fit"),
        ({"front_derailleur": {"clamp_diameter": [31.8, 34.9]}}, {"seat_tube_mm": 34.9}, "fits"),
    ],
)
def test_mount(now, bike, verdict):
    assert only(fit(now, bike), "mount") == (verdict, None)


def test_a_clamp_needs_its_mount_and_its_diameter():
    own = {"mount": "clamp", "clamp_diameter": 31.8}
    answer = fit({"front_derailleur": own}, {"front_mount": "clamp", "seat_tube_mm": 34.9})
    assert [str(result.verdict) for result in results(answer, "mount")] == ["fits", "does_not_fit"]
    answer = fit({"front_derailleur": {**own, "mount": "braze-on"}}, {"front_mount": "braze-on", "seat_tube_mm": 34.9})
    assert only(answer, "mount")[0] == "fits"
    assert "mount" in asked(fit({"front_derailleur": own}, {"front_mount": "clamp"}))


@pytest.mark.parametrize(
    ("now", "wish", "freehub", "verdict"),
    [
        ({"cassette": {"cogs": "11-28", "freehub_fit": "body R2"}}, {}, "Body  r2", "fits"),
        ({"cassette": {"cogs": "11-28", "freehub_fit": "body R2"}}, {}, "body V4", "does_not_fit"),
        ({"cassette": "11-28"}, {}, "threaded, 1.375 in", "does_not_fit"),
        ({"freewheel": "14-28"}, {}, "body R2", "does_not_fit"),
        ({"freewheel": "14-28"}, {}, "threaded hub", "fits"),
        ({"freewheel": "14-28"}, {"cassette": "11-28"}, None, "does_not_fit"),
        ({"cassette": "11-28"}, {"freewheel": "14-28"}, None, "does_not_fit"),
        ({"freewheel": "14-28"}, {"cassette": {"cogs": "11-28", "freehub_fit": "body R2"}}, "body R2", "fits"),
    ],
)
def test_freehub_fit(now, wish, freehub, verdict):
    answer = fit(now, {"freehub": freehub} if freehub else {}, wish)
    assert only(answer, "freehub_fit") == (verdict, None)


@pytest.mark.parametrize(
    ("rings", "crank", "verdict"),
    [
        ({"bolt_circle": 110}, {"bolt_circle": 110}, "fits"),
        ({"bolt_circle": 110}, {"bolt_circle": 130}, "does_not_fit"),
        ({"bolt_circle": 110, "bolt_count": 4}, {"bolt_circle": 110, "bolt_count": 5}, "does_not_fit"),
        ({"bolt_circle": 110, "bolt_count": 5}, {"bolt_circle": 110}, "fits"),
    ],
)
def test_bolt_circle(rings, crank, verdict):
    assert only(fit({"rings": {"rings": [50, 34], **rings}, "crankset": crank}), "bolt_circle") == (verdict, None)


@pytest.mark.parametrize(
    ("chain", "verdict"), [(11, "fits"), (10, "does_not_fit"), ("10/11", "fits"), (12, "does_not_fit")]
)
def test_chain_width(chain, verdict):
    assert only(fit({"chain": {"rear_speeds": chain}, "cassette": ELEVEN}), "chain_width") == (verdict, None)


@pytest.mark.parametrize(
    ("installed", "least", "verdict"),
    [("4.1", "4.1.0", "fits"), ("4.10", "4.9", "fits"), ("4.8", "4.9.2", "does_not_fit"), ("5", "4.9.2", "fits"),
     ("v4.1", "4.1", "fits"), ("4.1b", "4.1", "cannot_tell")],
)  # fmt: skip
def test_firmware(installed, least, verdict):
    answer = fit({"rear_derailleur": {"firmware_min": least}}, {"firmware": installed})
    assert only(answer, "firmware") == (verdict, None)


def test_versions_compare_number_by_number():
    assert is_at_least("1.2.10", "1.2.9") and not is_at_least("1.2", "1.2.1") and is_at_least("x", "1") is None


@pytest.mark.parametrize(
    ("now", "doubtful"),
    [
        ({"rear_derailleur": {"total_capacity": 37}, "cassette": "11-32", "rings": [50, 34]}, {"largest_cog"}),
        ({"rear_derailleur": {"largest_cog": 32}, "cassette": "11-32", "rings": [50, 34]}, {"total_capacity"}),
        ({"rear_derailleur": {"largest_cog": 32, "total_capacity": 37}, "cassette": "11-32"}, {"total_capacity"}),
        ({"rear_derailleur": {"largest_cog": 32, "total_capacity": 37}, "rings": [50, 34]},
         {"largest_cog", "total_capacity"}),
        ({"front_derailleur": {"weight": 90}, "rings": [50, 34]}, {"big_ring", "front_difference"}),
        ({"front_derailleur": {"big_ring": "46-53", "front_difference": 16}}, {"big_ring", "front_difference"}),
        ({"front_derailleur": {"big_ring": "46-53"}, "rings": [42]}, {"front_difference"}),
    ],
)  # fmt: skip
def test_a_limit_that_nobody_states_is_a_doubt_and_is_asked_for(now, doubtful):
    answer = fit(now)
    unsure = [result for result in answer.checks if result.verdict == "cannot_tell"]
    assert {result.check for result in unsure} == doubtful
    assert all(result.ask for result in unsure)
    assert answer.verdict != "fits"


def test_a_doubt_says_what_the_bike_needs():
    """What to look for in a part whose limit nobody states: (50 - 34) + (32 - 11) = 37 T."""
    now = {"rear_derailleur": {"largest_cog": 32}, "cassette": "11-32", "rings": [50, 34]}
    (result,) = results(fit(now), "total_capacity")
    assert (result.needed, result.allowed, result.margin) == (37, None, None)
    assert result.working == "(50 - 34) + (32 - 11) = 37 T"
    (result,) = results(fit({"rear_derailleur": {"total_capacity": 37}, "cassette": "11-32"}), "largest_cog")
    assert (result.needed, result.working) == (32, "32 T")
    (result,) = results(fit({"rear_derailleur": {"total_capacity": 37}}), "largest_cog")
    assert result.needed is None


def test_what_the_build_says_is_named_as_its_source():
    answer = fit({"freewheel": "14-28"}, wish={"cassette": "11-28"})
    (result,) = results(answer, "freehub_fit")
    assert [(s.claim_id, s.document, s.snippet) for s in result.sources] == [
        (None, "build", "by what turns on it now: threaded")
    ]
    (result,) = results(fit({"freewheel": "14-28"}, {"freehub": "body R2"}), "freehub_fit")
    assert result.sources[0].snippet == "freehub = body R2"
    build = build_from_mapping(
        {"now": {"rear_derailleur": {"largest_cog": 32}, "cassette": "11-32"}}, "hills/lane.toml"
    )
    result = fit_build(build, NoParts()).checks[0]
    assert {source.document for source in result.sources} == {"lane.toml"}
    assert result.confidence == 1


def test_only_what_is_worth_finding_out_is_asked_for():
    """Limits that documents rarely state are not asked for; those of the other side of a stated one are."""
    rear = {"largest_cog": 34, "total_capacity": 45}
    now = {"rear_derailleur": rear, "shifter": {"weight": 200}, "cassette": "11-32", "rings": [50, 34]}
    assert asked(fit(now)) == {"smallest_cog"}
    now["front_derailleur"] = {"big_ring": "46-53", "front_difference": 16, "clamp_diameter": 31.8, "firmware_min": "2"}
    assert asked(fit(now)) == {"smallest_cog", "small_ring", "mount", "firmware"}
    assert asked(fit(now, {"firmware": "2.1", "seat_tube_mm": 31.8, "rear_mount": "hanger"})) == {
        "smallest_cog", "small_ring", "mount"}  # fmt: skip
    assert "ring_step" in asked(fit({**now, "rings": [50, 42, 34]}))


def test_a_bike_without_any_check_is_a_doubt():
    assert fit({"cassette": "11-28"}).verdict == "cannot_tell"
