"""What is known of a reading → the probability that it is right.

A logistic model whose weights are in ``confidence.toml``, fitted by ``benchmarks/calibrate.py`` on drawn documents. All
weights are at or above zero and doubts count against, so that more evidence never makes a reading less sure.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

_WEIGHTS = Path(__file__).with_name("confidence.toml")
_FIRST_TENTH = 0.1
_DOUBTED_WORDS = 0.3
"""Words this far from certain are in full doubt about what stands where no unit confirms it."""


@dataclass(frozen=True)
class Evidence:
    """What speaks for and against one reading; every share lies between 0 and 1.

    ``scanned``: its words come from a picture; ``label``: how well the label matches the lexicon; ``layout``: how sure
    label, value and part belong together; ``value``: how clear the notation; ``words``: the least confidence of its
    words; ``unit_due``: the limit has a unit that print usually shows, and ``unit_read`` whether it stood there.

    ``agrees`` and ``disagrees``: a relation between limits of the part holds or fails (smallest cog and largest cog,
    number of cogs and list of cogs, …); ``company``: other limits of the same part on the page; ``column`` and
    ``page``: the share of the same label's and the same reader's places that could be understood; ``disputed``: the
    share of the part's readings that contradict each other; ``marked``: a note's mark whose note is not known;
    ``repeated``: another kind of place on the page states the same; ``doubled``: the same kind does, as if it spoke of
    versions that were not told apart; ``labels``: how well the labels of the page match on average.
    """

    reader: str
    label: float
    layout: float
    value: float
    words: float
    unit_read: bool
    unit_due: bool
    plausible: bool
    scanned: bool = False
    agrees: bool = False
    disagrees: bool = False
    company: float = 0.0
    column: float = 1.0
    page: float = 1.0
    disputed: float = 0.0
    marked: bool = False
    repeated: bool = False
    doubled: bool = False
    labels: float = 1.0


@dataclass(frozen=True)
class Model:
    """The weights: ``base`` for readers by name (the least of them for others), doubts and supports by name."""

    base: Mapping[str, float]
    doubts: Mapping[str, float]
    supports: Mapping[str, float]
    least: float
    most: float


def doubts_of(evidence: Evidence) -> dict[str, float]:
    """What speaks against a reading, each from 0 (nothing) to 1."""
    missing = evidence.unit_due and not evidence.unit_read
    unsure_words = 1 - evidence.words
    return {
        "label": 1 - evidence.label,
        "label_first_tenth": _ramp(1 - evidence.label),
        "label_beyond_half": _beyond_half(1 - evidence.label),
        "layout": 1 - evidence.layout,
        "layout_first_tenth": _ramp(1 - evidence.layout),
        "layout_beyond_half": _beyond_half(1 - evidence.layout),
        "value": 1 - evidence.value,
        "value_first_tenth": _ramp(1 - evidence.value),
        "value_beyond_half": _beyond_half(1 - evidence.value),
        "words": unsure_words,
        "words_first_tenth": _ramp(unsure_words),
        "words_beyond_half": _beyond_half(unsure_words),
        "scanned": float(evidence.scanned),
        "unit_missing": float(missing),
        "unit_missing_in_unsure_words": missing * min(1.0, unsure_words / _DOUBTED_WORDS),
        "implausible": float(not evidence.plausible),
        "disagrees": float(evidence.disagrees),
        "column": 1 - evidence.column,
        "page": 1 - evidence.page,
        "disputed": evidence.disputed,
        "marked": float(evidence.marked),
        "doubled": float(evidence.doubled),
        "labels": 1 - evidence.labels,
    }


def supports_of(evidence: Evidence) -> dict[str, float]:
    """What speaks for a reading beyond its own words, each from 0 (nothing) to 1."""
    return {
        "agrees": float(evidence.agrees and not evidence.disagrees),
        "company": evidence.company,
        "repeated": float(evidence.repeated),
    }


def estimate(evidence: Evidence, model: Model | None = None) -> float:
    """The probability that a reading is right, within the model's bounds."""
    model = model or read_model()
    odds = model.base.get(evidence.reader, min(model.base.values()))
    odds -= sum(model.doubts[name] * size for name, size in doubts_of(evidence).items())
    odds += sum(model.supports[name] * size for name, size in supports_of(evidence).items())
    return min(model.most, max(model.least, 1 / (1 + math.exp(-odds))))


@cache
def read_model(path: Path = _WEIGHTS) -> Model:
    """The weights of the shipped file, or another."""
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    return Model(told["base"], told["doubts"], told["supports"], told["least"], told["most"])


def _ramp(doubt: float) -> float:
    """1 from the first tenth of doubt on, in proportion below it."""
    return min(1.0, doubt / _FIRST_TENTH)


def _beyond_half(doubt: float) -> float:
    """0 up to a half of doubt, then in proportion up to 1."""
    return max(0.0, 2 * doubt - 1)
