"""Answers: the JSON that the contract promises, and the rules by which verdicts are put together."""

from __future__ import annotations

import json

import pytest
from cogledger.schema.answers import CheckResult, FitAnswer, NotChecked, VariantAnswer, Verdict, agreed, worst
from cogledger.schema.resolved import SourceRef
from hypothesis import given
from hypothesis import strategies as st

F, N, C = Verdict.FITS, Verdict.DOES_NOT_FIT, Verdict.CANNOT_TELL


def test_the_json_has_the_shape_of_the_contract():
    source = SourceRef("0f", "spec.pdf", 2, "capacity 33T")
    result = CheckResult("total_capacity", ("HX55 S",), N, 37.0, (None, 33.0), "range", -4.0, "T",
                         "(50 - 34) + (32 - 11) = 37 T > 33 T", 0.99, (source,), "slack")  # fmt: skip
    answer = FitAnswer("lane", C, (VariantAnswer({"rear_derailleur": "HX55 S"}, N),), (result,),
                       (NotChecked("chainline", "measure it"),), {"now": {"lowest": 1.2857}, "wish": None},
                       ("care",))  # fmt: skip
    shown = json.loads(json.dumps(answer.as_json()))
    assert {key: shown[key] for key in ("name", "verdict", "variants", "cautions")} == {
        "name": "lane",
        "verdict": "cannot_tell",
        "variants": [{"parts": {"rear_derailleur": "HX55 S"}, "verdict": "does_not_fit"}],
        "cautions": ["care"],
    }
    check = shown["checks"][0]
    assert (check["needed"], check["allowed"], check["margin"], check["unit"]) == (37, [None, 33], -4, "T")
    assert check["sources"] == [
        {"claim_id": "0f", "document": "spec.pdf", "page": 2, "snippet": "capacity 33T", "state": "read"}
    ]
    assert shown["not_checked"][0]["ask"] == "measure it"
    assert shown["gears"]["now"]["lowest"] == 1.2857


@pytest.mark.parametrize(
    ("verdicts", "whole"),
    [([F, F], F), ([F, C], C), ([F, N], N), ([C, N], N), ([], C)],
)
def test_a_misfit_decides_then_a_doubt(verdicts, whole):
    assert worst(verdicts) is whole


@pytest.mark.parametrize(
    ("verdicts", "whole"), [([N, N], N), ([F, N], C), ([F, F], F), ([N, C], C), ([F, C], C), ([C], C)]
)
def test_variants_must_agree(verdicts, whole):
    assert agreed(verdicts) is whole


@given(st.lists(st.sampled_from(list(Verdict)), min_size=1))
def test_fits_needs_every_one(verdicts):
    assert (worst(verdicts) is F) == all(verdict is F for verdict in verdicts)
    assert (agreed(verdicts) is F) == all(verdict is F for verdict in verdicts)
