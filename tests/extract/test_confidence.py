"""How sure a reading is: a probability that no evidence against it can raise, with weights that a script fitted."""

import subprocess
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from cogledger.extract.confidence import Evidence, doubts_of, estimate, read_model, supports_of
from hypothesis import given
from hypothesis import strategies as st

ROOT = Path(__file__).resolve().parent.parent.parent
READERS = ["table:ruled", "table:aligned", "pairs", "prose", "something new"]
SHARES = st.floats(0, 1)
YES_NO = st.booleans()
EVIDENCE = st.builds(
    Evidence, reader=st.sampled_from(READERS), label=SHARES, layout=SHARES, value=SHARES, words=SHARES,
    unit_read=YES_NO, unit_due=YES_NO, plausible=YES_NO, scanned=YES_NO, agrees=YES_NO, disagrees=YES_NO,
    company=SHARES, column=SHARES, page=SHARES, disputed=SHARES, marked=YES_NO, repeated=YES_NO,
    doubled=YES_NO, labels=SHARES,
)  # fmt: skip
BEST = Evidence("table:ruled", 1.0, 1.0, 1.0, 1.0, True, True, True, agrees=True, company=1.0)
MORE = ["label", "layout", "value", "words", "company", "column", "page", "labels"]
BETTER_TRUE = ["unit_read", "plausible", "agrees", "repeated"]
BETTER_FALSE = ["unit_due", "scanned", "disagrees", "marked", "doubled"]


@given(EVIDENCE)
def test_it_is_a_probability_and_never_certain(evidence):
    assert 0.0 < estimate(evidence) < 1.0


@given(EVIDENCE, st.sampled_from([*MORE, "disputed"]), SHARES)
def test_less_evidence_never_makes_it_surer(evidence, name, other):
    low, high = sorted((getattr(evidence, name), other), reverse=name == "disputed")
    assert estimate(replace(evidence, **{name: low})) <= estimate(replace(evidence, **{name: high}))


@given(EVIDENCE, st.sampled_from(BETTER_TRUE + BETTER_FALSE))
def test_no_yes_or_no_tells_the_wrong_way(evidence, name):
    good = name in BETTER_TRUE
    assert estimate(replace(evidence, **{name: not good})) <= estimate(replace(evidence, **{name: good}))


@pytest.mark.parametrize("worse", [{"label": 0.7}, {"layout": 0.4}, {"value": 0.5}, {"words": 0.4},
                                   {"plausible": False}])  # fmt: skip
def test_each_single_doubt_tells(worse):
    """By a third of the odds at least: a doubt that the fit had no use for would show here."""
    sure, doubted = estimate(BEST), estimate(replace(BEST, **worse))
    assert sure > 0.97 and doubted / (1 - doubted) < 0.67 * sure / (1 - sure)


def test_a_reader_that_nobody_fitted_is_trusted_least():
    names = [*read_model().base, "something new"]
    assert min(names, key=lambda name: estimate(replace(BEST, reader=name, company=0.0))) in ("other", "something new")


def test_the_weights_name_every_doubt_and_none_is_below_zero():
    told = tomllib.loads((ROOT / "extract" / "confidence.toml").read_text(encoding="utf-8"))
    assert set(told["doubts"]) == set(doubts_of(BEST)) and set(told["supports"]) == set(supports_of(BEST))
    assert all(weight >= 0 for part in ("doubts", "supports") for weight in told[part].values())
    assert 0 < told["least"] < 0.5 < told["most"] <= 0.998


def test_the_odds_by_hand(tmp_path):
    """A logistic model: odds of e^2 without a doubt, of e^(2 - 0.5 * 3) with half of one (worked by hand)."""
    lines = ["least = 0.001", "most = 0.999", "[base]", "x = 2.0", "[doubts]"]
    lines += [f"{name} = {3.0 if name == 'label' else 0.0}" for name in doubts_of(BEST)]
    lines += ["[supports]", *(f"{name} = 0.0" for name in supports_of(BEST))]
    path = tmp_path / "weights.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    model = read_model(path)
    assert estimate(BEST, model) == pytest.approx(0.880797, abs=1e-6)
    assert estimate(replace(BEST, label=0.5), model) == pytest.approx(0.622459, abs=1e-6)


@pytest.mark.slow
def test_the_script_fits_the_same_weights_twice(tmp_path):
    made = []
    for name in ("a.toml", "b.toml"):
        call = [sys.executable, str(ROOT / "benchmarks" / "calibrate.py"), "--sheets", "1", "--scans", "0", "--seed",
                "5", "--family", "boxed_rows", "--family", "prose", "--fit", str(tmp_path / name)]  # fmt: skip
        done = subprocess.run(call, check=True, capture_output=True, text=True)
        assert "documents apart" in done.stdout
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]
