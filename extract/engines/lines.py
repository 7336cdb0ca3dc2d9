"""Pictures of single lines → the signs of each, through the best of the readers that are installed.

To add one: a module of this folder, and its row in ``LINE_READERS`` where it belongs among the others.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..records import Word
from . import ppocr, tesseract
from .signs import Sign

Cuts = Sequence[np.ndarray]


@dataclass(frozen=True)
class LineReader:
    """One way to read pictures of lines: its name in a claim's method, whether it is installed, and what reads.

    ``read`` takes pictures of lines, dark on white, their dots per inch, and the seconds that all may take together.
    """

    name: str
    is_there: Callable[[], bool]
    read: Callable[[Cuts, int, float], list[list[Sign]]]


def _through_ppocr(cuts: Cuts, dpi: int, timeout_s: float) -> list[list[Sign]]:
    return ppocr.find_signs_each(cuts, timeout_s)


def _through_tesseract(cuts: Cuts, dpi: int, timeout_s: float) -> list[list[Sign]]:
    lines = tesseract.find_words_each(cuts, psm=tesseract.ONE_LINE, dpi=dpi, timeout_s=timeout_s)
    return [_as_signs(words) for words in lines]


LINE_READERS: tuple[LineReader, ...] = (
    LineReader(ppocr.NAME, ppocr.is_there, _through_ppocr),
    LineReader("tesseract", lambda: True, _through_tesseract),
)
"""Best first, by what ``benchmarks/engines.py`` measures. The last one is tried even where nothing is installed, and
then says what to install."""


def line_reader() -> LineReader:
    """The reader that is used here: the first that is installed."""
    return next(reader for reader in LINE_READERS if reader.is_there())


def engine_name() -> str:
    """The name of the engine that reads lines here."""
    return line_reader().name


def find_signs_each(cuts: Cuts, dpi: int, timeout_s: float) -> list[list[Sign]]:
    """The signs of each picture of a line, dark on white.

    Raises ``DocumentError`` (``ENGINE_FAILED``) where the engine fails or takes longer than ``timeout_s``, and
    ``InstallationError`` where no engine is installed.
    """
    return line_reader().read(cuts, dpi, timeout_s)


def _as_signs(words: Sequence[Word]) -> list[Sign]:
    """Words in boxes as signs at even steps, with blanks between."""
    signs: list[Sign] = []
    for word in sorted(words, key=lambda w: w.box.x0):
        if signs:
            signs.append(Sign(" ", 1.0, word.box.x0))
        step = (word.box.x1 - word.box.x0) / len(word.text)
        signs.extend(Sign(c, word.confidence, word.box.x0 + (n + 0.5) * step) for n, c in enumerate(word.text))
    return signs
