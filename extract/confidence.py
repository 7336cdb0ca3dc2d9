"""What is known of a reading → the probability that it is right."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Evidence:
    """What speaks for and against one reading; every share lies between 0 and 1.

    ``label``: how well the label matches the lexicon; ``layout``: how sure label, value and part belong together;
    ``value``: how clear the notation; ``words``: the least confidence of its words; ``unit_due``: the limit has a
    unit that print usually shows, and ``unit_read`` whether it stood there.
    """

    reader: str
    label: float
    layout: float
    value: float
    words: float
    unit_read: bool
    unit_due: bool
    plausible: bool


_BASE = {"table:ruled": 4.6, "table:aligned": 4.0, "pairs": 4.4, "prose": 3.6}


def estimate(evidence: Evidence) -> float:
    """The probability that a reading is right, between 0.01 and 0.995."""
    odds = _BASE.get(evidence.reader, 3.0)
    odds -= 8.0 * (1 - evidence.label)
    odds -= 7.0 * (1 - evidence.layout)
    odds -= 6.0 * (1 - evidence.value)
    odds -= 4.0 * (1 - evidence.words)
    odds -= (0.8 if evidence.words == 1 else 5.0) * (evidence.unit_due and not evidence.unit_read)
    odds -= 3.0 * (not evidence.plausible)
    return min(0.995, max(0.01, 1 / (1 + math.exp(-odds))))
