"""The figures that decoding rests on, from ``stamps.toml``; ``benchmarks/calibrate_stamps.py`` fits them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

FILE = Path(__file__).resolve().parent.parent / "stamps.toml"


@dataclass(frozen=True)
class DecodeTuning:
    """How evidence is weighed. Costs are in natural logarithms, shares and chances between 0 and 1."""

    sharpness: float
    """What the looks at one pose count together, in looks."""
    confident_counts: float
    """How much more sure looks count than unsure ones of their pose."""
    useless: float
    """The chance that a look shows nothing of a code that is there."""
    junk_sign: float
    """What a sign costs that is explained as anything but a code."""
    inner_door: float
    """The cost of beginning or ending a code inside a word."""
    known_share: float
    """The share of stamped codes that a full store knows."""
    full_list: float
    """How many codes a full store has at least."""
    series_share: float
    """The share of unknown codes, siblings left out, that continue a known series."""
    sibling_share: float
    """The share of unknown codes that differ from a known one in one sign."""
    nothing: float
    """The weight of there being no legible code."""
    oval: float
    """The chance that a sign looks like another of the same shape; see ``twins.py``."""
    twin: float
    """The same for signs of nearly the same shape."""
    cousin: float
    """The same for signs that differ in one stroke."""
    way_up: float
    """How much surer reading tells which way up a line stands."""
    shows: float
    """The chance that a photo of a part shows its code."""
    further_photo: float
    """What each photo of a part counts after the clearest."""


@dataclass(frozen=True)
class SureTuning:
    """The logistic curve that makes the winner's share honest."""

    slope: float
    """What its log odds count."""
    shift: float
    """What is added always."""
    clear: float
    """What it counts that the picture says all for the code that a picture can say."""
    surest: float
    """Log odds are cut at this, up and down."""


@dataclass(frozen=True)
class Tuning:
    """All figures of decoding."""

    decode: DecodeTuning
    sure: SureTuning


def as_tuning(figures: Mapping[str, Mapping[str, Any]]) -> Tuning:
    """The tables of the file → the figures; a missing or unknown name raises ``TypeError``."""
    return Tuning(DecodeTuning(**figures["decode"]), SureTuning(**figures["sure"]))


@lru_cache(maxsize=1)
def read_tuning() -> Tuning:
    """The shipped figures."""
    return as_tuning(tomllib.loads(FILE.read_text(encoding="utf-8")))
