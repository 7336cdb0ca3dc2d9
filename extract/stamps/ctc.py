"""Grids of signs → exact likelihoods of whole strings, and the likeliest strings.

Connectionist temporal classification (Graves, Fernández, Gomez and Schmidhuber, 2006): a string's likelihood is the sum
over all paths that give it once equal neighbours are joined and blanks left out. Everything here works on *folded*
shares: probabilities per step of the blank (column 0) and of the 36 letters and digits, punctuation counted as blank,
since codes are compared without it. Sums run in ordinary numbers relative to the likeliest path, so that nothing
that matters falls below the smallest number.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .grids import ALPHABET, BLANK, SignGrid

SIGNS = ALPHABET[:36]
"""Letters and digits, the signs that codes are compared by."""
SEPARATOR = "-"
"""What stands between two tooth counts: hyphen, full stop or stroke; only ``fold_teeth`` tells it from a blank."""
_NUMBER_OF = {sign: number for number, sign in enumerate(SIGNS + SEPARATOR, 1)}
_PUNCTUATION = [ALPHABET.index(sign) + 1 for sign in "-./"]
_SPACE = ALPHABET.index(" ") + 1
_MARK = ALPHABET.index("*") + 1
_TINY = 1e-300
_BEAM_WIDTH = 8
_BEAM_LEAST_SHARE = 3e-3
_BEAM_KEEPS = 1e-5


def fold(grid: SignGrid, space_counts: float = 0.005, mark_counts: float = 0.01) -> np.ndarray:
    """The folded shares of a grid, ``steps × 37``, float64.

    A code seldom holds a blank space and hardly ever a mark: only these parts of their shares count as blank.
    """
    shares = np.exp(grid.shares.astype(np.float64))
    folded = shares[:, :37].copy()
    folded[:, BLANK] += shares[:, _PUNCTUATION].sum(axis=1)
    folded[:, BLANK] += space_counts * shares[:, _SPACE] + mark_counts * shares[:, _MARK]
    return folded


def fold_teeth(grid: SignGrid, space_counts: float = 0.03) -> np.ndarray:
    """The shares of a grid for tooth notations, ``steps × 38``: the last column is the separator's."""
    shares = np.exp(grid.shares.astype(np.float64))
    folded = shares[:, :38].copy()
    folded[:, BLANK] += space_counts * shares[:, _SPACE]
    folded[:, 37] = shares[:, _PUNCTUATION].sum(axis=1)
    return folded


def encode(keys: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """Strings of letters and digits → class numbers, one row each, filled up with blanks, and their lengths.

    Raises ``ValueError`` for a sign that is no capital letter, digit or hyphen.
    """
    lengths = np.array([len(key) for key in keys], dtype=np.int64)
    numbers = np.zeros((len(keys), int(lengths.max(initial=0))), dtype=np.int64)
    for row, key in zip(numbers, keys, strict=True):
        for place, sign in enumerate(key):
            if sign not in _NUMBER_OF:
                raise ValueError(f"{key!r} holds {sign!r}, which is no sign of a code")
            row[place] = _NUMBER_OF[sign]
    return numbers, lengths


def find_likelihoods(folded: np.ndarray, keys: Sequence[str]) -> np.ndarray:
    """The log-likelihood of each string as the reading of all steps, ``-inf`` where no path gives it."""
    steps = len(folded)
    doors = np.full((2, steps + 1), -np.inf)
    doors[0, 0] = doors[1, steps] = 0.0
    return find_placed(folded, keys, doors[0], doors[1])[0]


def find_placed(
    folded: np.ndarray, keys: Sequence[str], entry: np.ndarray, leave: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Strings as the reading of a part of the steps: log of the sum over all parts, and where the best part ends.

    ``entry[t]`` is added where the part begins with step ``t``, ``leave[t]`` where it ends before step ``t`` (both
    ``steps + 1`` long, logarithms, ``-inf`` where it may not); the other steps count nothing.
    """
    if not len(keys):
        return np.zeros(0), np.zeros(0, dtype=np.int64)
    numbers, lengths = encode(keys)
    top = folded.max(axis=1)
    passed = np.concatenate(([0.0], np.cumsum(np.log(np.maximum(top, _TINY)))))
    doors_in = np.exp(np.clip(entry - passed[: len(entry)], -690, 600))
    doors_in[~np.isfinite(entry)] = 0.0
    weights_out = leave + passed
    states = _States(numbers, lengths)
    scaled = folded / top[:, None]
    totals = np.full(len(keys), -np.inf)
    best, ends = np.full(len(keys), -np.inf), np.zeros(len(keys), dtype=np.int64)
    for step, shares in enumerate(scaled, 1):
        ended = states.advance(shares, doors_in[step - 1])
        if np.isfinite(weights_out[step]):
            with np.errstate(divide="ignore"):
                here = np.log(ended) + weights_out[step]
            better = here > best
            best[better], ends[better] = here[better], step
            totals = np.logaddexp(totals, here)
    return totals, ends


class _States:
    """The forward recursion for many strings at once: blanks and signs in turn, one row a string."""

    def __init__(self, numbers: np.ndarray, lengths: np.ndarray):
        count, longest = numbers.shape
        self.numbers, self.rows, self.lengths = numbers, np.arange(count), lengths
        self.blanks = np.zeros((count, longest + 1))
        self.signs = np.zeros((count, longest))
        differs = numbers[:, 1:] != numbers[:, :-1]
        self.leaps = np.concatenate((np.ones((count, min(1, longest)), dtype=bool), differs), axis=1)

    def advance(self, shares: np.ndarray, entered: float) -> np.ndarray:
        """One step on, with ``entered`` newly begun; the weight of each string's having ended with this step."""
        before = self.blanks[:, :-1].copy()
        before[:, :1] += entered
        from_signs = self.signs[:, :-1] * self.leaps[:, 1:]
        blanks = self.blanks.copy()
        blanks[:, 0] += entered
        blanks[:, 1:] += self.signs
        signs = self.signs + before
        signs[:, 1:] += from_signs
        self.signs = signs * shares[self.numbers]
        self.blanks = blanks * shares[BLANK]
        last = self.signs[self.rows, self.lengths - 1]
        return last + self.blanks[self.rows, self.lengths]


def find_strings(folded: np.ndarray, most: int = 8) -> list[tuple[str, float]]:
    """The likeliest strings with their log-likelihoods by prefix beam search, best first.

    The search drops paths of hardly any weight, so that the likelihoods are a little low; ``find_likelihoods`` gives
    them exactly.
    """
    beam: dict[tuple[int, ...], tuple[float, float]] = {(): (1.0, 0.0)}
    scale = 0.0
    for shares in folded:
        after: dict[tuple[int, ...], list[float]] = {}
        numbers = np.flatnonzero(shares[1:] > _BEAM_LEAST_SHARE) + 1
        blank = float(shares[BLANK])
        offered = [(int(number), float(shares[number])) for number in numbers]
        for prefix, (in_blank, in_sign) in beam.items():
            _extend(after, prefix, in_blank, in_sign, blank, offered)
        ranked = sorted(after.items(), key=lambda item: -(item[1][0] + item[1][1]))[:_BEAM_WIDTH]
        peak = sum(ranked[0][1]) if ranked else 0.0
        if peak <= 0:
            return []
        scale += float(np.log(peak))
        beam = {p: (b / peak, s / peak) for p, (b, s) in ranked if b + s > _BEAM_KEEPS * peak}
    found = [("".join(SIGNS[n - 1] for n in p), float(np.log(b + s)) + scale) for p, (b, s) in beam.items()]
    return sorted(found, key=lambda item: -item[1])[:most]


def _extend(
    after: dict[tuple[int, ...], list[float]],
    prefix: tuple[int, ...],
    in_blank: float,
    in_sign: float,
    blank: float,
    offered: Sequence[tuple[int, float]],
) -> None:
    """What one prefix becomes by one step: itself after a blank or a repeated sign, or longer by one sign."""
    same = after.setdefault(prefix, [0.0, 0.0])
    same[0] += (in_blank + in_sign) * blank
    last = prefix[-1] if prefix else 0
    for number, share in offered:
        if number == last:
            same[1] += in_sign * share
            grown = in_blank * share
        else:
            grown = (in_blank + in_sign) * share
        if grown > 0:
            longer = after.setdefault((*prefix, number), [0.0, 0.0])
            longer[1] += grown
