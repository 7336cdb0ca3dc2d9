"""Likelihoods of strings under grids: against enumeration of all paths, and against an independent implementation."""

import itertools

import numpy as np
import pytest
from cogledger.extract.stamps import ctc
from cogledger.extract.stamps.grids import ALPHABET, BLANK, CLASSES, as_grid, class_of
from hypothesis import given, settings
from hypothesis import strategies as st


def grid_of(*steps: dict[str, float]) -> np.ndarray:
    """Folded shares by sign; "" is the blank, what is missing to 1 goes to it."""
    shares = np.zeros((len(steps), CLASSES))
    for row, step in zip(shares, steps, strict=True):
        for sign, share in step.items():
            row[class_of(sign) if sign else BLANK] = share
        row[BLANK] += 1 - row.sum()
    return ctc.fold(as_grid(shares))


def enumerate_paths(folded: np.ndarray, signs: str) -> dict[str, float]:
    """The likelihood of each string over the given signs, by going through every path."""
    numbers = [0, *(ctc.SIGNS.index(sign) + 1 for sign in signs)]
    totals: dict[str, float] = {}
    for path in itertools.product(numbers, repeat=len(folded)):
        text = "".join(ctc.SIGNS[n - 1] for n, _ in itertools.groupby(path) if n)
        totals[text] = totals.get(text, 0.0) + float(np.prod([folded[t, n] for t, n in enumerate(path)]))
    return totals


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 6))
def test_likelihoods_are_the_sums_over_all_paths(seed, steps):
    rng = np.random.default_rng(seed)
    folded = np.full((steps, 37), 1e-9)
    folded[:, [0, 1, 2]] = rng.dirichlet(np.ones(3) * 0.5, steps) + 1e-6
    wanted = enumerate_paths(folded, "AB")
    keys = [text for text in wanted if text]
    found = np.exp(ctc.find_likelihoods(folded, keys))
    assert np.allclose(found, [wanted[key] for key in keys], rtol=1e-9, atol=1e-300)


LOGITS = [(0.9, -0.3, 0.1, 1.2), (1.7, 0.4, -1.1, 0.2), (-0.6, 2.1, 0.3, -0.2), (0.5, 1.1, 0.0, 0.7),
          (-0.1, 0.2, 1.9, -1.3), (1.3, -0.7, 0.8, 0.6), (0.2, 0.3, 0.9, 1.4)]  # fmt: skip


@pytest.mark.parametrize(
    ("key", "loss"),
    [("A", 6.354691), ("ABC", 2.836274), ("AAB", 4.84438), ("CAC", 4.008047), ("CCC", 7.350911), ("BACAB", 6.751574),
     ("ABCABC", 9.05182), ("ABAABC", 11.517194)],
)  # fmt: skip
def test_likelihoods_agree_with_an_independent_implementation(key, loss):
    """The losses are what torch.nn.CTCLoss (torch 2.13.0, blank=0, reduction="none", float64) gives for ``LOGITS``."""
    raw = np.exp(np.array(LOGITS))
    folded = np.zeros((len(LOGITS), 37))
    folded[:, :4] = raw / raw.sum(axis=1, keepdims=True)
    assert -ctc.find_likelihoods(folded, [key])[0] == pytest.approx(loss, abs=1e-6)


def test_a_string_longer_than_the_steps_allow_is_impossible():
    folded = grid_of({"A": 0.6, "B": 0.3}, {"A": 0.3, "B": 0.6})
    found = ctc.find_likelihoods(folded, ["AB", "AA", "ABA"])
    assert np.isfinite(found[0]) and np.isneginf(found[1]) and np.isneginf(found[2])


def test_punctuation_counts_as_blank_and_spaces_only_a_little():
    hyphen = grid_of({"A": 1}, {"-": 1}, {"1": 1})
    space = grid_of({"A": 1}, {" ": 1}, {"1": 1})
    small = grid_of({"a": 1}, {"-": 1}, {"1": 1})
    assert ctc.find_likelihoods(hyphen, ["A1"])[0] == pytest.approx(0, abs=0.01)
    assert ctc.find_likelihoods(small, ["A1"])[0] == pytest.approx(0, abs=0.01)
    assert ctc.find_likelihoods(space, ["A1"])[0] == pytest.approx(np.log(0.005), abs=0.01)


def test_a_part_of_the_steps_is_weighed_by_its_doors():
    folded = grid_of({"X": 1}, {}, {"A": 0.9, "B": 0.1}, {"1": 1}, {}, {"Y": 1})
    entry, leave = np.full(7, -np.inf), np.full(7, -np.inf)
    entry[[0, 2]] = 0.0, -1.0
    leave[4] = -0.5
    found, ends = ctc.find_placed(folded, ["A1", "B1", "XA1"], entry, leave)
    assert found == pytest.approx([np.log(0.9) - 1.5, np.log(0.1) - 1.5, np.log(0.9) - 0.5], abs=1e-3)
    assert ends.tolist() == [4, 4, 4]


def test_strings_found_freely_come_best_first_with_their_likelihoods():
    folded = grid_of({"Q": 0.95}, {}, {"8": 0.6, "B": 0.4}, {}, {"7": 0.9, "1": 0.1})
    found = ctc.find_strings(folded)
    assert [text for text, _ in found[:3]] == ["Q87", "QB7", "Q81"]
    exact = ctc.find_likelihoods(folded, [text for text, _ in found])
    assert np.allclose([chance for _, chance in found], exact, atol=0.02)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6))
def test_no_string_is_likelier_than_the_best_one_found(seed):
    rng = np.random.default_rng(seed)
    folded = np.full((6, 37), 1e-9)
    folded[:, [0, 1, 2, 30]] = rng.dirichlet(np.ones(4) * 0.3, 6) + 1e-9
    totals = enumerate_paths(folded, "AB" + ctc.SIGNS[29])
    best = max(totals, key=lambda text: totals[text])
    text, chance = ctc.find_strings(folded)[0]
    assert totals[text] >= 0.5 * totals[best]
    assert chance == pytest.approx(np.log(totals[text]), abs=0.3)


def test_a_long_unlikely_line_loses_no_numbers():
    folded = np.full((400, 37), 1 / 37)
    found = ctc.find_likelihoods(folded, ["QVX417", "A"])
    assert np.isfinite(found).all() and (found < -1000).all()


def test_signs_outside_codes_are_refused():
    with pytest.raises(ValueError, match="no sign"):
        ctc.encode(["QV 417"])
    assert class_of("q") == class_of("Q") and class_of("é") == class_of("*")
    assert len(ALPHABET) + 1 == CLASSES and len(set(ALPHABET)) == len(ALPHABET)
