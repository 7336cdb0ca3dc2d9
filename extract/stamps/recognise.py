"""Level cuts of possible lines → the words that a recogniser reads in them, several times under several lightings.

What reads is exchangeable: anything with the methods of ``Recogniser`` will do. The one here shows each cut to
tesseract under several lightings, in two sizes and with two sets of language data, and returns every single reading,
so that what follows can tell agreement from chance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from ..engines import tesseract
from .linebox import LineBox
from .rectify import LIGHTINGS, cut_level, find_contrast, upside_down

SIGNS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/. "


@dataclass(frozen=True)
class Pose:
    """A line's box together with which way up it is read."""

    line: LineBox
    flipped: bool


@dataclass(frozen=True)
class Look:
    """What one look at a pose gave: words from left to right, and how sure the recogniser was of them (0 to 1)."""

    words: tuple[str, ...]
    confidence: float


class Recogniser(Protocol):
    """Reads the lines of one photo."""

    def glance(self, pixels: np.ndarray, poses: Sequence[Pose]) -> list[tuple[Look, ...]]:
        """A quick look at each of many poses."""
        ...

    def study(self, pixels: np.ndarray, poses: Sequence[Pose]) -> list[tuple[Look, ...]]:
        """A thorough look at each of a few poses."""
        ...


@dataclass(frozen=True)
class TesseractRecogniser:
    """Reads cuts with tesseract; ``timeout_s`` is for all cuts of one call."""

    timeout_s: float = 60.0

    def glance(self, pixels: np.ndarray, poses: Sequence[Pose]) -> list[tuple[Look, ...]]:
        """Two lightings, one size, English data."""
        return self._read(pixels, poses, ("dark", "dark_dots"), (60,), ("eng",))

    def study(self, pixels: np.ndarray, poses: Sequence[Pose]) -> list[tuple[Look, ...]]:
        """Four lightings, two sizes, English and German data: sixteen looks at each."""
        return self._read(pixels, poses, ("dark", "light", "relief", "dark_dots"), (44, 76), ("eng", "deu"))

    def _read(
        self,
        pixels: np.ndarray,
        poses: Sequence[Pose],
        lightings: Sequence[str],
        heights: Sequence[int],
        languages: Sequence[str],
    ) -> list[tuple[Look, ...]]:
        images, owners = [], []
        for index, pose in enumerate(poses):
            for height in heights:
                cut = cut_level(pixels, pose.line, height)
                contrast = find_contrast(upside_down(cut) if pose.flipped else cut)
                for name in lightings:
                    images.append(LIGHTINGS[name](contrast))
                    owners.append(index)
        looks: list[list[Look]] = [[] for _ in poses]
        for language in languages:
            answers = tesseract.find_words_each(
                images,
                languages=[language],
                psm=tesseract.ONE_LINE,
                timeout_s=self.timeout_s,
                whitelist=SIGNS,
            )
            for owner, words in zip(owners, answers, strict=True):
                looks[owner].append(_as_look(words))
        return [tuple(each) for each in looks]


def _as_look(words: Sequence[tesseract.Word]) -> Look:
    texts = tuple(text for text in (word.text.upper().strip("-/. ") for word in words) if text)
    signs = sum(len(word.text) for word in words)
    sure = sum(len(word.text) * word.confidence for word in words) / signs if signs else 0.0
    return Look(texts, sure)
