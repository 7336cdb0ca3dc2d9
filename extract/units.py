"""Words and signs of units, folded, in the languages of the lexicon."""

from __future__ import annotations

from ..schema.limits import Unit
from .labels.words import unit_words

_SIGNS = {"mm": Unit.MILLIMETRE, "g": Unit.GRAM, "°": Unit.DEGREE, "º": Unit.DEGREE}
"""What every language writes."""
UNIT_WORDS: dict[str, Unit] = {word: unit for unit in Unit for word in unit_words(unit)} | _SIGNS
SPEED_WORDS = unit_words("speed")
