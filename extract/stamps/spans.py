"""A grid of signs → what it reads greedily: signs, words, and the steps at which a word may begin or end."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from statistics import median

import numpy as np

from .ctc import SIGNS, fold
from .grids import ALPHABET, BLANK, SignGrid

_WIDE_GAP = 1.8
"""A gap this many times the usual step from sign to sign parts two words even where no blank space was read."""

_LOT = re.compile(r"^(?:[A-Z]{1,3}[ .]\d{3,5}|\d{1,2}[ .][A-Z]{2,3})$")
_TEETH = re.compile(r"^(?:\d{2}[-/.]\d{2}T?|\d{2}T)$")
_LOT_COSTS = 0.75
"""What a sign of such words costs against a chance one: most lots have one of a few patterns."""


@dataclass(frozen=True)
class ReadSign:
    """One sign of the greedy path: its steps and the best share it had in them."""

    text: str
    start: int
    end: int
    share: float

    @property
    def middle(self) -> float:
        """The middle of its steps."""
        return (self.start + self.end) / 2


@dataclass(frozen=True)
class ReadWord:
    """Neighbouring signs without a gap, and the steps that belong to no other word."""

    signs: tuple[ReadSign, ...]
    start: int
    end: int

    @property
    def text(self) -> str:
        """Its signs, punctuation included."""
        return "".join(sign.text for sign in self.signs)


@dataclass(frozen=True, eq=False)
class Glance:
    """One look at a pose: the grid, which reader made it, and what counts it has among its pose's looks."""

    grid: SignGrid
    reader: str = ""
    counts: float = 1.0

    @cached_property
    def folded(self) -> np.ndarray:
        """The grid's folded shares."""
        return fold(self.grid)

    @cached_property
    def signs(self) -> tuple[ReadSign, ...]:
        """The greedy path's signs from left to right, blank spaces included."""
        shares = self.grid.shares
        if not len(shares):
            return ()
        best = shares.argmax(axis=1)
        edges = [0, *(np.flatnonzero(np.diff(best)) + 1).tolist(), len(best)]
        return tuple(
            ReadSign(ALPHABET[best[a] - 1], a, b, float(np.exp(shares[a:b, best[a]].max())))
            for a, b in pairwise(edges)
            if best[a] != BLANK
        )

    @cached_property
    def words(self) -> tuple[ReadWord, ...]:
        """The greedy path's words from left to right."""
        groups = _groups(self.signs)
        if not groups:
            return ()
        between = [round((a[-1].end + b[0].start) / 2) for a, b in pairwise(groups)]
        starts, ends = [0, *between], [*between, self.grid.steps]
        return tuple(ReadWord(tuple(g), a, b) for g, a, b in zip(groups, starts, ends, strict=True))

    @cached_property
    def confidence(self) -> float:
        """How sure the greedy path is: the mean logarithm of the shares of its letters and digits, -3 without any."""
        shares = [sign.share for sign in self.signs if sign.text in SIGNS]
        return float(np.mean(np.log(shares))) if shares else -3.0

    def junk_before(self, junk_sign: float, teeth_are_junk: bool = True) -> np.ndarray:
        """What the signs before each step cost as junk, ``steps + 1`` long, at ``junk_sign`` for each sure one.

        A sign that may as well be none costs less: the cost is that of the reader's own mixture of both. So do signs
        of words that commonly stand beside codes: lots and tooth counts are no chance strings.
        """
        costs = np.zeros(self.grid.steps + 1)
        for words in lots_and_others(self.words):
            common = is_lot(words) or (teeth_are_junk and is_teeth(words))
            cost = junk_sign * (_LOT_COSTS if common else 1.0)
            for sign in (sign for word in words for sign in word.signs if sign.text in SIGNS):
                none = float(self.folded[sign.start : sign.end, BLANK].min())
                costs[sign.start + 1 :] -= np.log(none + (1 - none) * np.exp(-cost))
        return costs

    def doors(self, inner_cost: float) -> np.ndarray:
        """The log-weight of a code's beginning or ending at each step: 0 between words, less between two signs."""
        doors = np.full(self.grid.steps + 1, -np.inf)
        visible = [sign for sign in self.signs if sign.text != " "]
        for a, b in pairwise(visible):
            doors[round((a.end + b.start) / 2)] = -inner_cost
        doors[[0, -1]] = 0.0
        for word in self.words[1:]:
            doors[word.start] = 0.0
        for a, b in pairwise(visible):
            spaces = [sign for sign in self.signs if sign.text == " " and a.middle < sign.middle < b.middle]
            if spaces:  # no code has to run through the steps of a blank space to reach a door
                doors[a.end : b.start + 1] = -np.inf
                doors[[spaces[0].start, spaces[-1].end]] = 0.0
        return doors


def lots_and_others(words: tuple[ReadWord, ...]) -> Iterator[tuple[ReadWord, ...]]:
    """Words from left to right, those that make a lot code together in one."""
    place = 0
    while place < len(words):
        pair = words[place : place + 2]
        taken = 2 if len(pair) == 2 and is_lot(pair) else 1
        yield pair[:taken]
        place += taken


def is_lot(words: tuple[ReadWord, ...]) -> bool:
    """Whether words look like the code of a lot: a few letters apart from a few digits, in either order."""
    return bool(_LOT.match(" ".join(word.text.strip(".") for word in words)))


def is_teeth(words: tuple[ReadWord, ...]) -> bool:
    """Whether a word looks like tooth counts."""
    return len(words) == 1 and bool(_TEETH.match(words[0].text))


def _groups(signs: tuple[ReadSign, ...]) -> list[list[ReadSign]]:
    visible = [sign for sign in signs if sign.text != " "]
    if not visible:
        return []
    spaces = [sign.middle for sign in signs if sign.text == " "]
    steps = [b.middle - a.middle for a, b in pairwise(visible)]
    widest = max(_WIDE_GAP * median(steps), median(steps) + 2) if steps else 0.0
    groups = [[visible[0]]]
    for before, sign in pairwise(visible):
        spaced = any(before.middle < space < sign.middle for space in spaces)
        if spaced or sign.middle - before.middle > widest:
            groups.append([])
        groups[-1].append(sign)
    return groups
