"""How sure a reading is: a probability that no evidence against it can raise."""

from dataclasses import replace

import pytest
from cogledger.extract.confidence import Evidence, estimate
from hypothesis import given
from hypothesis import strategies as st

READERS = ["table:ruled", "table:aligned", "pairs", "prose", "something new"]
SHARES = st.floats(0, 1)
EVIDENCE = st.builds(Evidence, reader=st.sampled_from(READERS), label=SHARES, layout=SHARES, value=SHARES, words=SHARES,
                     unit_read=st.booleans(), unit_due=st.booleans(), plausible=st.booleans())  # fmt: skip
BEST = Evidence("table:ruled", 1.0, 1.0, 1.0, 1.0, True, True, True)


@given(EVIDENCE)
def test_it_is_a_probability_and_never_certain(evidence):
    assert 0.0 < estimate(evidence) < 1.0


@given(EVIDENCE, st.sampled_from(["label", "layout", "value"]), SHARES)
def test_less_evidence_never_makes_it_surer(evidence, name, other):
    low, high = sorted((getattr(evidence, name), other))
    assert estimate(replace(evidence, **{name: low})) <= estimate(replace(evidence, **{name: high}))


@given(EVIDENCE, SHARES)
def test_less_sure_words_never_make_it_surer(evidence, other):
    low, high = sorted((evidence.words, other))
    assert estimate(replace(evidence, words=low)) <= estimate(replace(evidence, words=high))


@given(EVIDENCE)
def test_an_implausible_number_is_less_sure(evidence):
    assert estimate(replace(evidence, plausible=False)) <= estimate(replace(evidence, plausible=True))


@given(EVIDENCE)
def test_a_unit_that_is_due_and_missing_is_less_sure(evidence):
    assert estimate(replace(evidence, unit_due=True, unit_read=False)) <= estimate(replace(evidence, unit_read=True))


@pytest.mark.parametrize(("worse", "under"), [({"label": 0.7}, 0.95), ({"layout": 0.4}, 0.7), ({"words": 0.4}, 0.95),
                                              ({"plausible": False}, 0.95)])  # fmt: skip
def test_each_single_doubt_tells(worse, under):
    assert estimate(BEST) > 0.97 and estimate(replace(BEST, **worse)) < under


def test_sentences_are_trusted_less_than_ruled_tables():
    assert estimate(replace(BEST, reader="prose")) < estimate(BEST)
