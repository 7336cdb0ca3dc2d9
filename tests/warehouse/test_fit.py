"""Whole decisions on parts of documents: variants, conditions, conflicts, doubtful readings, unknown codes.

Makers, codes and documents are invented. The rules are those of docs/interface.md; arithmetic is worked by hand.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from cogledger.schema.answers import FitAnswer, Verdict
from cogledger.schema.builds import CodeRef, build_from_mapping, with_photos
from cogledger.schema.claims import State
from cogledger.schema.errors import CallError
from cogledger.schema.limits import LIMITS, PartKind
from cogledger.schema.reasons import Reason
from cogledger.schema.resolved import LimitValue, Part, ResolvedLimit, SourceRef
from cogledger.warehouse.checks import CheckSettings
from cogledger.warehouse.fit import FitSettings, fit_build

ELEVEN = [11, 12, 13, 14, 15, 17, 19, 21, 23, 25, 28]


@dataclass(frozen=True)
class Shelf:
    """Parts as a store would hand them out."""

    parts: tuple[Part, ...]

    def find_parts(self, written: str, kind: PartKind | None = None) -> tuple[Part, ...]:
        return tuple(
            part for part in self.parts if written in (part.code, part.label()) and (kind is None or part.kind == kind)
        )

    def near_codes(self, written: str, limit: int = 3) -> tuple[str, ...]:
        return tuple(dict.fromkeys(part.code for part in self.parts if part.code[:2] == written[:2]))[:limit]


def stated(key: str, *, confidence=0.98, page=2, document="hexel.pdf", state=State.READ, conflicts=(), **value):
    unit = str(LIMITS[key].unit) if LIMITS[key].unit else None
    source = SourceRef(f"{document}-{page}-{key}", document, page, f"{key} {value}", state)
    return ResolvedLimit(LimitValue(key, unit=unit, **value), confidence, (source,), tuple(conflicts))


def part(kind: PartKind, code: str, *limits: ResolvedLimit, variant: str | None = None) -> Part:
    grouped: dict[str, tuple[ResolvedLimit, ...]] = {}
    for limit in limits:
        grouped[limit.value.limit] = (*grouped.get(limit.value.limit, ()), limit)
    return Part(kind, code, variant, "Hexel", grouped)


def cage(variant: str, low: int, high: int, capacity: int) -> Part:
    return part(PartKind.REAR_DERAILLEUR, "HX7", stated("largest_cog", low=low, high=high),
                stated("total_capacity", high=capacity), variant=variant)  # fmt: skip


FRONT = part(PartKind.FRONT_DERAILLEUR, "HF7", stated("big_ring", low=46, high=53), stated("front_difference", high=16))
SHELF = Shelf((cage("S", 25, 28, 33), cage("M", 28, 32, 37), cage("L", 30, 34, 40), FRONT))


def fit(now: dict, wish: dict | None = None, shelf: Shelf = SHELF, bike: dict | None = None, **settings) -> FitAnswer:
    build = build_from_mapping({"name": "lane", "bike": bike or {}, "now": now, "wish": wish or {}})
    answer = fit_build(build, shelf, FitSettings(**settings))
    assert json.loads(json.dumps(answer.as_json()))["verdict"] == str(answer.verdict)
    return answer


def on_the_bike(rear: str = "HX7", **more) -> dict:
    return {"rear_derailleur": rear, "front_derailleur": "HF7", "cassette": ELEVEN, "rings": [50, 34],
            "chain": {"link_count": 108}} | more  # fmt: skip


BIKE = {"chainstay_mm": 410, "wheel": "28-622"}


def margins(answer: FitAnswer) -> dict[tuple[str, str], float | None]:
    return {(result.check, result.parts[0]): result.margin for result in answer.checks}


def by_variant(answer: FitAnswer) -> dict[str, str]:
    return {one.parts["rear_derailleur"]: str(one.verdict) for one in answer.variants}


def test_a_whole_decision_as_the_bike_is():
    """(50 - 34) + (28 - 11) = 33 T; largest cog 28; X = 103.947, so 106 links are needed and 108 fitted."""
    answer = fit(on_the_bike(), bike=BIKE)
    found = margins(answer)
    assert [found["total_capacity", f"HX7 {size}"] for size in "SML"] == [0, 4, 7]
    assert [found["largest_cog", f"HX7 {size}"] for size in "SML"] == [0, 0, -2]
    assert found["chain_length", "chain as written"] == 2
    assert by_variant(answer) == {"HX7 S": "fits", "HX7 M": "fits", "HX7 L": "does_not_fit"}
    assert answer.verdict is Verdict.CANNOT_TELL


def test_a_wish_that_no_cage_takes():
    """11-36: capacity 16 + 25 = 41 T; X = 107.721, so 110 links. The unknown cage does not matter."""
    answer = fit(on_the_bike(), {"cassette": "11-36"}, bike=BIKE)
    found = margins(answer)
    assert [found["largest_cog", f"HX7 {size}"] for size in "SML"] == [-8, -4, -2]
    assert [found["total_capacity", f"HX7 {size}"] for size in "SML"] == [-8, -4, -1]
    assert found["chain_length", "chain as written"] == -2
    assert answer.verdict is Verdict.DOES_NOT_FIT
    extended = {"cassette": "11-36", "hanger_extender": {"largest_cog_gain": 4, "capacity_change": 0}}
    answer = fit(on_the_bike("HX7 M"), extended, bike=BIKE)
    assert margins(answer)["largest_cog", "HX7 M"] == 0
    assert margins(answer)["total_capacity", "HX7 M"] == -4
    assert answer.verdict is Verdict.DOES_NOT_FIT


def test_a_wish_that_the_cage_decides():
    """11-32: 37 T of capacity and 32 T; exactly at the limit of the medium cage."""
    answer = fit(on_the_bike(), {"cassette": "11-32"}, bike=BIKE)
    found = margins(answer)
    assert [found["largest_cog", f"HX7 {size}"] for size in "SML"] == [-4, 0, 2]
    assert [found["total_capacity", f"HX7 {size}"] for size in "SML"] == [-4, 0, 3]
    assert (found["big_ring", "HF7"], found["front_difference", "HF7"]) == (3, 0)
    assert by_variant(answer) == {"HX7 S": "does_not_fit", "HX7 M": "fits", "HX7 L": "fits"}
    assert answer.verdict is Verdict.CANNOT_TELL
    assert "which rear derailleur is it: HX7 S, HX7 M, HX7 L?" in answer.questions[0]
    named = fit(on_the_bike("HX7 M"), {"cassette": "11-32"}, bike=BIKE)
    assert named.verdict is Verdict.FITS
    assert [dict(one.parts) for one in named.variants] == [{"rear_derailleur": "HX7 M", "front_derailleur": "HF7"}]
    assert any("no link beyond" in words for words in named.cautions)
    lowest = [named.as_json()["gears"][state]["lowest_development_m"] for state in ("now", "wish")]
    assert lowest == [pytest.approx(2.586, abs=1e-3), pytest.approx(2.263, abs=1e-3)]


def test_each_result_is_listed_once_and_the_answer_is_json():
    answer = fit(on_the_bike(), {"cassette": "11-32"}, bike=BIKE)
    shown = json.loads(json.dumps(answer.as_json()))
    assert [check["check"] for check in shown["checks"]].count("big_ring") == 1
    assert [check["check"] for check in shown["checks"]].count("total_capacity") == 3
    short = next(check for check in shown["checks"] if check["parts"][0] == "HX7 S" and check["unit"] == "T")
    assert short["sources"][0]["claim_id"] == "hexel.pdf-2-largest_cog"
    assert (short["confidence"], short["allowed"]) == (0.98, [25, 28])


REAR = PartKind.REAR_DERAILLEUR


def rear(*limits: ResolvedLimit) -> Shelf:
    always = {"largest_cog": stated("largest_cog", high=34), "total_capacity": stated("total_capacity", high=40)}
    for limit in limits:
        always.pop(limit.value.limit, None)
    return Shelf((part(REAR, "HX8", *always.values(), *limits),))


def verdict_of(answer: FitAnswer, name: str) -> str:
    (result,) = (result for result in answer.checks if result.check == name)
    return str(result.verdict)


DOUBLE = {"rear_derailleur": "HX8", "cassette": "11-32", "rings": [50, 34]}


@pytest.mark.parametrize(
    ("limits", "verdict"),
    [
        ([stated("total_capacity", high=37, condition={"ring_count": 2})], "fits"),
        ([stated("total_capacity", high=41, condition={"ring_count": 1})], "cannot_tell"),
        ([stated("total_capacity", high=40), stated("total_capacity", high=33, condition={"ring_count": 2})],
         "does_not_fit"),
        ([stated("total_capacity", high=33), stated("total_capacity", high=40, condition={"ring_count": 2})], "fits"),
        ([stated("total_capacity", high=40, condition={"ring_count": 2}),
          stated("total_capacity", high=33, condition={"ring_count": 2, "largest_cog": 32})], "does_not_fit"),
        ([stated("total_capacity", high=40, condition={"ring_count": 2}),
          stated("total_capacity", high=33, condition={"largest_cog": 32})], "cannot_tell"),
        ([stated("total_capacity", high=40, condition={"ring_count": 2}),
          stated("total_capacity", high=38, condition={"largest_cog": 32})], "fits"),
        ([stated("total_capacity", high=40, condition={"rear_speeds": 11})], "cannot_tell"),
        ([stated("total_capacity", high=40, condition={"largest_cog": "<=32"})], "fits"),
        ([stated("total_capacity", high=40, condition={"largest_cog": "28-30"})], "cannot_tell"),
        ([stated("total_capacity", high=40, condition={"ring_count": "1/2"})], "fits"),
        ([stated("total_capacity", high=40, condition={"weight": 250})], "cannot_tell"),
        ([stated("total_capacity", high=40, condition={"ring_count": "double"})], "cannot_tell"),
    ],
)  # fmt: skip
def test_conditions(limits, verdict):
    """Used only where they hold; where the build does not tell, nobody can; the most specific wins."""
    assert verdict_of(fit(DOUBLE, shelf=rear(*limits)), "total_capacity") == verdict


CAPACITY = "total_capacity"


@pytest.mark.parametrize(
    ("condition", "more", "bike", "verdict"),
    [
        ({"actuation": "Cable"}, {"shifter": {"actuation": "cable"}}, {}, "fits"),
        ({"actuation": "electronic"}, {"shifter": {"actuation": "cable"}}, {}, "cannot_tell"),
        ({"shift_family": "Fell 2"}, {"shifter": {"shift_family": "fell  2"}}, {}, "fits"),
        ({"actuation": "cable"}, {}, {}, "cannot_tell"),
        ({"mount": "hanger"}, {}, {"rear_mount": "hanger"}, "fits"),
        ({"mount": "direct"}, {}, {"rear_mount": "hanger", "front_mount": "direct"}, "cannot_tell"),
        ({"clamp_diameter": 31.8}, {}, {"seat_tube_mm": 31.8}, "fits"),
        ({"clamp_diameter": 31.8}, {}, {"seat_tube_mm": 34.9}, "cannot_tell"),
        ({"chainline": "43-46"}, {"crankset": {"chainline": 44.5}}, {}, "fits"),
        ({"chainline": "43-46"}, {"crankset": {"chainline": "44-47"}}, {}, "cannot_tell"),
        ({"ring_step": 11}, {"rings": [53, 42, 34]}, {}, "fits"),
        ({"ring_step": 10}, {"rings": [53, 42, 34]}, {}, "cannot_tell"),
        ({"big_ring": ">=50"}, {}, {}, "fits"),
        ({"big_ring": ">=51"}, {}, {}, "cannot_tell"),
        ({"small_ring": 34, "front_difference": 16}, {}, {}, "fits"),
        ({"smallest_cog": "11-12"}, {}, {}, "fits"),
        ({"rear_speeds": 11}, {"cassette": [*ELEVEN[:-1], 32]}, {}, "fits"),
        ({"rear_speeds": 10}, {"cassette": [*ELEVEN[:-1], 32]}, {}, "cannot_tell"),
    ],
)
def test_conditions_of_every_kind(condition, more, bike, verdict):
    """A condition that does not hold leaves no limit at all, and that is a doubt too."""
    answer = fit({**DOUBLE, **more}, shelf=rear(stated(CAPACITY, high=45, condition=condition)), bike=bike)
    assert verdict_of(answer, CAPACITY) == verdict


def test_an_untold_condition_as_specific_as_one_that_holds_is_a_doubt():
    told, untold = {"ring_count": 2}, {"rear_speeds": 11}
    pair = (stated(CAPACITY, high=40, condition=told), stated(CAPACITY, high=33, condition=untold))
    assert verdict_of(fit(DOUBLE, shelf=rear(*pair)), CAPACITY) == "cannot_tell"
    double = stated(CAPACITY, high=40, condition={"ring_count": 2, "largest_cog": 32})
    assert verdict_of(fit(DOUBLE, shelf=rear(double, pair[1])), CAPACITY) == "fits"


def test_rings_that_depend_on_a_condition_settle_no_other_condition():
    crank = part(PartKind.CRANKSET, "HK2", stated("rings", values=(50.0, 34.0)),
                 stated("rings", values=(42.0,), condition={"rear_speeds": 12}))  # fmt: skip
    shelf = Shelf((*rear(stated("largest_cog", high=34, condition={"ring_count": 2})).parts, crank))
    now = {"rear_derailleur": "HX8", "cassette": "11-32", "crankset": "HK2"}
    assert verdict_of(fit(now, shelf=shelf), "largest_cog") == "cannot_tell"


@pytest.mark.parametrize(
    "rival",
    [
        stated(CAPACITY, high=33, condition={"ring_count": 3}),
        stated(CAPACITY, low=33),
        stated(CAPACITY, high=33, state=State.REJECTED),
    ],
)
def test_a_rival_that_does_not_speak_of_this_bike_does_not_matter(rival):
    assert verdict_of(fit(DOUBLE, shelf=rear(stated(CAPACITY, high=37, conflicts=[rival]))), CAPACITY) == "fits"


def test_ranges_that_contradict_each_other_are_not_joined():
    rival = stated("largest_cog", low=25, high=30, document="fold.pdf")
    limit = stated("largest_cog", low=28, high=34, conflicts=[rival])
    answer = fit(DOUBLE, shelf=rear(limit))
    (result,) = (result for result in answer.checks if result.check == "largest_cog")
    assert result.verdict is Verdict.CANNOT_TELL
    assert result.ask.count("sources disagree") == 1
    assert "hexel.pdf, page 2 states 28 to 34 T, fold.pdf, page 2 states 25 to 30 T" in result.ask


def test_a_result_names_the_parts_of_documents_that_it_looks_at():
    shifter = part(PartKind.SHIFTER, "HS1", stated("shift_family", text="Fell 2"))
    shelf = Shelf((*rear(stated("shift_family", text="Fell 3")).parts, shifter))
    answer = fit({**DOUBLE, "shifter": "HS1"}, shelf=shelf)
    (result,) = (result for result in answer.checks if result.check == "shift_family")
    assert (result.parts, result.verdict) == (("HX8", "HS1"), Verdict.DOES_NOT_FIT)
    assert {source.claim_id for source in result.sources} == {"hexel.pdf-2-shift_family"}
    (result,) = (result for result in answer.checks if result.check == "largest_cog")
    assert result.parts == ("HX8",)


def test_an_extender_that_is_silent_on_capacity_is_noted():
    now = {**DOUBLE, "hanger_extender": {"largest_cog_gain": 4}}
    assert any("capacity_change" in note for note in fit(now, shelf=rear()).notes)
    now["hanger_extender"]["capacity_change"] = 0
    assert not any("capacity_change" in note for note in fit(now, shelf=rear()).notes)


def test_the_spacing_of_the_pulleys_is_asked_for_where_documents_tell_it():
    cages = tuple(
        replace(one, limits={**one.limits, "cage_pulley_spacing": (stated("cage_pulley_spacing", low=mm, high=mm),)})
        for one, mm in zip(SHELF.parts[:3], (51.0, 62.5, 78.0), strict=True)
    )
    answer = fit(on_the_bike(), {"cassette": "11-32"}, Shelf((*cages, FRONT)), BIKE)
    assert "HX7 S 51 mm, HX7 M 62.5 mm, HX7 L 78 mm" in answer.questions[0]


def test_a_condition_that_the_build_does_not_tell_makes_a_stated_check_a_doubt():
    shelf = rear(stated("smallest_cog", low=11, condition={"ring_count": 2}))
    answer = fit({"rear_derailleur": "HX8", "cassette": "11-32"}, shelf=shelf)
    assert verdict_of(answer, "smallest_cog") == "cannot_tell"
    assert verdict_of(fit(DOUBLE, shelf=shelf), "smallest_cog") == "fits"


@pytest.mark.parametrize(("other", "verdict"), [(33, "cannot_tell"), (38, "fits"), (45, "fits")])
def test_conflicting_documents_count_where_they_would_change_the_verdict(other, verdict):
    rival = stated("total_capacity", high=other, document="fold.pdf", page=5)
    answer = fit(DOUBLE, shelf=rear(stated("total_capacity", high=37, conflicts=[rival])))
    (result,) = (result for result in answer.checks if result.check == "total_capacity")
    assert str(result.verdict) == verdict
    words = result.ask if verdict == "cannot_tell" else result.notes[0]
    assert "fold.pdf, page 5" in words
    if verdict == "cannot_tell":
        assert "hexel.pdf, page 2 states at most 37 T" in words and answer.verdict is Verdict.CANNOT_TELL
    assert {source.document for source in result.sources} >= {"hexel.pdf", "fold.pdf"}


def test_a_conflict_on_the_other_side_counts_too():
    rival = stated("cogs", values=(11.0, 13.0, 15.0, 17.0, 36.0), document="fold.pdf")
    cogs = stated("cogs", values=(11.0, 13.0, 15.0, 17.0, 32.0), conflicts=[rival])
    shelf = Shelf((*rear().parts, part(PartKind.CASSETTE, "HC5", cogs)))
    answer = fit({**DOUBLE, "cassette": "HC5"}, shelf=shelf)
    assert verdict_of(answer, "largest_cog") == "cannot_tell"
    assert answer.gears["wish"] is None


@pytest.mark.parametrize("high", [37, 33])
def test_a_reading_that_is_not_sure_enough_decides_nothing(high):
    weak = stated("total_capacity", high=high, confidence=0.6, page=7)
    (result,) = (r for r in fit(DOUBLE, shelf=rear(weak)).checks if r.check == "total_capacity")
    assert result.verdict is Verdict.CANNOT_TELL
    assert "hexel.pdf, page 7" in (result.ask or "")
    lenient = fit(DOUBLE, shelf=rear(weak), checks=CheckSettings(act_at=0.5))
    assert verdict_of(lenient, "total_capacity") == ("fits" if high == 37 else "does_not_fit")


def test_the_grounds_of_a_condition_must_be_sure_too():
    crank = part(PartKind.CRANKSET, "HK2", stated("ring_count", values=(2.0,), confidence=0.5))
    limit = stated("largest_cog", high=34, condition={"ring_count": 2})
    shelf = Shelf((*rear(limit).parts, crank))
    assert verdict_of(fit({"rear_derailleur": "HX8", "cassette": "11-32", "crankset": "HK2"}, shelf=shelf),
                      "largest_cog") == "cannot_tell"  # fmt: skip


def test_rejected_claims_are_not_used():
    gone = stated("total_capacity", high=60, state=State.REJECTED)
    assert verdict_of(fit(DOUBLE, shelf=rear(gone)), "total_capacity") == "cannot_tell"


@pytest.mark.parametrize("value", [{"low": 40}, {}, {"values": (40.0,)}, {"text": "40"}])
def test_a_value_in_the_wrong_form_is_no_limit(value):
    assert verdict_of(fit(DOUBLE, shelf=rear(stated("total_capacity", **value))), "total_capacity") == "cannot_tell"


def test_bounds_that_documents_state_apart_are_one_range():
    halves = stated("largest_cog", low=28, conflicts=[stated("largest_cog", high=30, document="fold.pdf")])
    assert verdict_of(fit(DOUBLE, shelf=rear(halves)), "largest_cog") == "does_not_fit"


def test_a_document_of_which_only_the_lower_bound_was_read_proves_no_fit():
    shelf = rear(stated("largest_cog", low=28))
    (result,) = (r for r in fit(DOUBLE, shelf=shelf).checks if r.check == "largest_cog")
    assert result.verdict is Verdict.CANNOT_TELL and "upper bound" in (result.ask or "")
    assert verdict_of(fit({**DOUBLE, "cassette": "11-25"}, shelf=shelf), "largest_cog") == "does_not_fit"


@pytest.mark.parametrize(("confidence", "verdict"), [(0.75, "fits"), (0.7499, "cannot_tell")])
def test_the_least_sureness_is_enough(confidence, verdict):
    weak = stated("total_capacity", high=37, confidence=confidence)
    assert verdict_of(fit(DOUBLE, shelf=rear(weak)), "total_capacity") == verdict


def test_variants_are_asked_for_only_where_they_disagree():
    unsure = fit({"rear_derailleur": "HX7", "cassette": "11-31"})
    assert unsure.verdict is Verdict.CANNOT_TELL
    assert any(words.startswith("which rear derailleur") for words in unsure.questions)
    same = fit({"rear_derailleur": "HX7", "cassette": "11-28", "hanger_extender": {"weight": 20}})
    assert set(by_variant(same).values()) == {"cannot_tell"}
    assert not any(words.startswith("which") for words in same.questions)


@pytest.mark.parametrize(("first", "second"), [((53.0, 42.0, 34.0), (50.0, 34.0)), ((50.0, 34.0), (53.0, 42.0, 34.0))])
def test_a_check_that_only_one_of_two_documents_calls_for_is_a_doubt_where_it_fails(first, second):
    """53 - 42 = 11 T against a least step of 12 T; with two rings the step is no matter."""
    rings = stated("rings", values=first, conflicts=[stated("rings", values=second, document="fold.pdf")])
    front = part(PartKind.FRONT_DERAILLEUR, "HF3", stated("ring_step", low=12))
    answer = fit({"front_derailleur": "HF3", "crankset": "HK3"},
                 shelf=Shelf((front, part(PartKind.CRANKSET, "HK3", rings))))  # fmt: skip
    assert verdict_of(answer, "ring_step") == "cannot_tell"


def test_the_cautions_of_every_variant_are_given():
    """Only the short cage hangs slack with 11-32; which cage it is, the build does not tell."""
    assert any("hangs slack it can drop" in words for words in fit(on_the_bike(), {"cassette": "11-32"}).cautions)


def test_slack_pairs_count_what_an_extender_changes():
    cogs = [*ELEVEN[:-1], 32]
    now = {"rear_derailleur": "HX7 S", "cassette": cogs, "rings": [50, 34]}
    assert [pair["cog"] for pair in fit(now).gears["wish"]["slack"]] == [11, 12, 13, 14]
    now["hanger_extender"] = {"largest_cog_gain": 4, "capacity_change": 2}
    assert [pair["cog"] for pair in fit(now).gears["wish"]["slack"]] == [11, 12]


def test_two_open_parts_make_every_combination():
    cassettes = tuple(
        part(
            PartKind.CASSETTE, "HC9", stated("cogs", values=tuple(map(float, [*ELEVEN[:-1], top]))), variant=f"11-{top}"
        )
        for top in (28, 32)
    )
    answer = fit(on_the_bike(cassette="HC9"), shelf=Shelf(SHELF.parts + cassettes), bike=BIKE)
    found = {(v.parts["rear_derailleur"], v.parts["cassette"]): str(v.verdict) for v in answer.variants}
    assert found == {
        ("HX7 S", "HC9 11-28"): "fits", ("HX7 S", "HC9 11-32"): "does_not_fit",
        ("HX7 M", "HC9 11-28"): "fits", ("HX7 M", "HC9 11-32"): "fits",
        ("HX7 L", "HC9 11-28"): "does_not_fit", ("HX7 L", "HC9 11-32"): "fits",
    }  # fmt: skip
    assert answer.verdict is Verdict.CANNOT_TELL and answer.gears["now"] is None
    few = fit(
        on_the_bike("HX7 M", cassette="HC9"), shelf=Shelf(SHELF.parts + cassettes), bike=BIKE, most_combinations=1
    )
    assert few.verdict is Verdict.CANNOT_TELL
    assert any("1 of 2 combinations" in note for note in few.notes)


def test_one_chainring_by_its_code_is_not_taken_for_the_only_one():
    ring = part(PartKind.CHAINRING, "HR50", stated("rings", values=(50.0,)))
    crank = part(PartKind.CRANKSET, "HK2", stated("rings", values=(52.0, 36.0)))
    shelf = Shelf((*rear().parts, ring, crank))
    answer = fit({**DOUBLE, "rings": "HR50", "crankset": "HK2"}, shelf=shelf)
    assert verdict_of(answer, "total_capacity") == "cannot_tell"
    assert answer.verdict is not Verdict.FITS
    single = part(PartKind.CRANKSET, "HK1", stated("ring_count", values=(1.0,)))
    answer = fit({**DOUBLE, "rings": "HR50", "crankset": "HK1"}, shelf=Shelf((*shelf.parts, single)))
    assert verdict_of(answer, "total_capacity") == "fits"


def test_rings_may_be_named_by_a_crankset():
    crank = part(PartKind.CRANKSET, "HK2", stated("rings", values=(52.0, 36.0)))
    answer = fit({**DOUBLE, "rings": "HK2"}, shelf=Shelf((*rear().parts, crank)))
    assert verdict_of(answer, "total_capacity") == "fits"
    assert answer.gears["wish"]["rings"] == [52, 36]


def test_rings_beside_a_crankset_replace_its_rings():
    crank = part(PartKind.CRANKSET, "HK2", stated("rings", values=(52.0, 36.0)), stated("ring_count", values=(2.0,)))
    answer = fit({**DOUBLE, "crankset": "HK2", "rings": [53, 39, 30]}, shelf=Shelf((*rear().parts, crank)))
    assert answer.gears["wish"]["rings"] == [53, 39, 30]
    assert verdict_of(answer, "ring_count") == "does_not_fit"


def test_unknown_codes_name_their_place_and_the_nearest():
    with pytest.raises(CallError) as caught:
        fit(on_the_bike("HX9"), {"shifter": "QQ1"})
    fault = caught.value.fault
    assert (fault.reason, fault.where) == (Reason.UNKNOWN_CODE, "now.rear_derailleur")
    assert "HX7" in (fault.advice or "") and "QQ1" in fault.message
    with pytest.raises(CallError, match="front derailleur"):
        fit(on_the_bike("HF7"))


def test_an_unknown_part_that_the_wish_replaces_does_not_stop_the_answer():
    answer = fit(on_the_bike("HX7 M", cassette="OLD1"), {"cassette": "11-32"}, bike=BIKE)
    assert answer.verdict is Verdict.FITS
    assert answer.gears["now"] is None and answer.now_verdict is None
    assert any("OLD1" in note for note in answer.notes)


def test_photos_are_read_before_the_answer():
    build = build_from_mapping({"now": on_the_bike("photo:rear.jpg")}, Path("bikes/lane.toml"))
    with pytest.raises(CallError, match="photo"):
        fit_build(build, SHELF)
    assert fit_build(with_photos(build, lambda slot, photo, where: CodeRef("HX7 M")), SHELF).verdict is Verdict.FITS


def test_a_misfit_of_the_bike_as_it_is_does_not_count():
    answer = fit(on_the_bike("HX7 M", cassette="11-36"), {"cassette": "11-32"}, bike=BIKE)
    assert (answer.now_verdict, answer.verdict) == (Verdict.DOES_NOT_FIT, Verdict.FITS)


def test_a_chain_by_its_code_is_counted_as_sold():
    chain = part(PartKind.CHAIN, "HN1", stated("link_count", values=(116.0,)))
    answer = fit(on_the_bike("HX7 M", chain="HN1"), shelf=Shelf((*SHELF.parts, chain)), bike=BIKE)
    assert verdict_of(answer, "chain_length") == "fits"
    assert any("as it is sold" in words for words in answer.cautions)
    assert not any("as it is sold" in words for words in fit(on_the_bike("HX7 M"), bike=BIKE).cautions)


@pytest.mark.parametrize(
    ("cogs", "check"),
    [((11.0, 32.0), None), ((11.0, 18.0, 25.0, 32.0), None), ((11.0, 13.0, 17.0, 23.0, 32.0), "does_not_fit"),
     ((18.0,), "does_not_fit")],
)  # fmt: skip
def test_a_short_list_in_a_document_may_be_the_ends_of_a_longer_one(cogs, check):
    """Nothing between one cog and five is sold as a cassette; common practice, no source."""
    shelf = Shelf((part(PartKind.CASSETTE, "HC4", stated("cogs", values=cogs)),))
    answer = fit({"cassette": "HC4", "shifter": {"rear_speeds": 11}}, shelf=shelf)
    found = [str(result.verdict) for result in answer.checks if result.check == "rear_speeds"]
    assert found == ([check] if check else [])
    assert ("rear_speeds" in {item.check for item in answer.not_checked}) == (check is None)


def test_slack_is_warned_of_where_the_capacity_is_exceeded():
    short = fit(on_the_bike("HX7 S"), {"cassette": "11-32"}).cautions
    assert any("hangs slack it can drop" in words for words in short)
    assert not any("hangs slack it can drop" in words for words in fit(on_the_bike("HX7 M")).cautions)


def test_cautions_come_with_their_condition():
    tight = fit(on_the_bike("HX7 M"), {"cassette": "11-32"}, bike=BIKE).cautions
    roomy = fit(on_the_bike("HX7 S"), bike=BIKE | {"chainstay_mm": 410}).cautions
    assert any("spokes" in words for words in tight)
    assert any("limit screw" in words for words in roomy)  # the short cage is at its limit with a 28 too
    for words in ("qualified mechanic", "manual", "EN 15194", "ISO 4210"):
        assert any(words in caution for caution in tight)
    assert any("worn chain" in words.lower() for words in tight)
    assert not any("worn chain" in words.lower() for words in roomy)


def test_an_answer_does_not_depend_on_the_order_of_variants():
    turned = replace(SHELF, parts=tuple(reversed(SHELF.parts)))
    for wish in ("11-28", "11-32", "11-36"):
        one, other = fit(on_the_bike(), {"cassette": wish}), fit(on_the_bike(), {"cassette": wish}, turned)
        assert one.verdict == other.verdict
        assert by_variant(one) == by_variant(other)


def test_the_only_version_that_is_known_is_judged_but_not_taken_silently():
    """A store that knows one cage only cannot know that it is the one on the bike."""
    only = Shelf((cage("M", 28, 32, 37), FRONT))
    answer = fit(on_the_bike(), bike=BIKE, shelf=only)
    assert answer.verdict is Verdict.FITS
    assert any("now.rear_derailleur" in note and "HX7 M" in note for note in answer.notes)
    named = fit(on_the_bike("HX7 M"), bike=BIKE, shelf=only)
    assert not any("only version" in note for note in named.notes)
