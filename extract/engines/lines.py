"""Pictures of single lines → the signs of each, through the engine that reads them best of those installed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..records import Word
from . import ppocr, tesseract
from .signs import Sign


def engine_name() -> str:
    """The name of the engine that reads lines here: ``ppocr``, or ``tesseract`` where its model is not installed."""
    return ppocr.NAME if ppocr.is_there() else "tesseract"


def find_signs_each(cuts: Sequence[np.ndarray], dpi: int, timeout_s: float) -> list[list[Sign]]:
    """The signs of each picture of a line, dark on white.

    Raises ``DocumentError`` (``ENGINE_FAILED``) where the engine fails or takes longer than ``timeout_s``, and
    ``InstallationError`` where no engine is installed.
    """
    if ppocr.is_there():
        return ppocr.find_signs_each(cuts, timeout_s)
    lines = tesseract.find_words_each(cuts, psm=tesseract.ONE_LINE, dpi=dpi, timeout_s=timeout_s)
    return [_as_signs(words) for words in lines]


def _as_signs(words: Sequence[Word]) -> list[Sign]:
    """Words in boxes as signs at even steps, with blanks between."""
    signs: list[Sign] = []
    for word in sorted(words, key=lambda w: w.box.x0):
        if signs:
            signs.append(Sign(" ", 1.0, word.box.x0))
        step = (word.box.x1 - word.box.x0) / len(word.text)
        signs.extend(Sign(c, word.confidence, word.box.x0 + (n + 0.5) * step) for n, c in enumerate(word.text))
    return signs
