"""Possible lines of a photo → cuts under several lightings → what the readers see in each, as looks.

All lines are glanced at first, both ways up; what seems to hold signs is then looked at again: cut wider, and with its
signs set off from their ground.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf, log

import numpy as np

from .decode import Line
from .grids import CUT_HEIGHT_PX, SignReader
from .linebox import LineBox
from .rectify import LIGHTINGS, cut_level, find_contrast, upside_down
from .spans import Glance

MOST_STUDIED = 6
FURTHER_LIGHTINGS = ("dark", "relief")
"""What a reader is shown besides colour, unless it names its own in ``lightings``."""
_LEAST_SURE_SIGN = 0.25
_SURE_WAY, _MOST_TRUSTED = 0.95, 0.98


@dataclass(frozen=True)
class Pose:
    """A line's box together with which way up it is read."""

    line: LineBox
    flipped: bool


def cut_colour(pixels: np.ndarray, pose: Pose, loose: float = 1.0) -> np.ndarray:
    """The line as it is, ``CUT_HEIGHT_PX`` high; ``loose`` above 1 shows more of what stands around it."""
    line = pose.line
    more = (loose - 1.0) * line.height
    shown = replace(line, height=line.height + more, length=line.length + more) if more else line
    cut = cut_level(pixels, shown, CUT_HEIGHT_PX)
    return upside_down(cut) if pose.flipped else cut


def cut_lit(cut: np.ndarray, lighting: str) -> np.ndarray:
    """A colour cut under one of ``LIGHTINGS``, RGB."""
    return np.repeat(LIGHTINGS[lighting](find_contrast(cut))[:, :, None], 3, axis=2)


def glance_at(pixels: np.ndarray, lines: Sequence[LineBox], readers: Sequence[SignReader]) -> dict[Pose, list[Glance]]:
    """One look by each reader at each line, both ways up unless its box tells which way it reads."""
    poses = [Pose(line, flipped) for line in lines for flipped in (False, True) if not flipped or line.way < _SURE_WAY]
    return _looks(poses, [[cut_colour(pixels, pose)] for pose in poses], readers)


def study(pixels: np.ndarray, poses: Sequence[Pose], readers: Sequence[SignReader]) -> dict[Pose, list[Glance]]:
    """Further looks by each reader at a few poses: cut wider, and under further lightings."""
    wide = [cut_colour(pixels, pose, 1.2) for pose in poses]
    looks: dict[Pose, list[Glance]] = {pose: [] for pose in poses}
    for reader in readers:
        names = getattr(reader, "lightings", FURTHER_LIGHTINGS)
        cuts = [[cut, *(cut_lit(cut, name) for name in names)] for cut in wide]
        for pose, glances in _looks(poses, cuts, (reader,)).items():
            looks[pose] += glances
    return looks


def _looks(
    poses: Sequence[Pose], cuts: Sequence[Sequence[np.ndarray]], readers: Sequence[SignReader]
) -> dict[Pose, list[Glance]]:
    looks: dict[Pose, list[Glance]] = {pose: [] for pose in poses}
    owners = [pose for pose, own in zip(poses, cuts, strict=True) for _ in own]
    flat = [cut for own in cuts for cut in own]
    for reader in readers:
        for owner, grid in zip(owners, reader.read(flat), strict=True):
            looks[owner].append(Glance(grid, reader.name))
    return looks


def worth_study(first: Mapping[Pose, Sequence[Glance]]) -> list[Pose]:
    """The poses at which signs were read most surely, those with digits before others; at most ``MOST_STUDIED``."""
    merit = {pose: max(map(_merit, glances), default=0.0) for pose, glances in first.items()}
    ranked = sorted((pose for pose in merit if merit[pose] > 0), key=lambda pose: -merit[pose])
    return ranked[:MOST_STUDIED]


def _merit(glance: Glance) -> float:
    best = 0.0
    for word in glance.words:
        sure = [sign for sign in word.signs if sign.text.isalnum() and sign.share > _LEAST_SURE_SIGN]
        digits = sum(sign.text.isdigit() for sign in sure)
        best = max(best, sum(sign.share for sign in sure) + min(2, digits))
    return best


def as_lines(first: Mapping[Pose, Sequence[Glance]], more: Mapping[Pose, Sequence[Glance]]) -> list[Line]:
    """The studied poses with all their looks, and what speaks for each way up."""
    sure = {pose: max((g.confidence for g in glances), default=-3.0) for pose, glances in first.items()}
    lines = []
    for pose, glances in more.items():
        other = Pose(pose.line, not pose.flipped)
        surer = sure[pose] - sure[other] if other in sure else 0.0
        odds = log((1 + trusted(pose.line)) / (1 - trusted(pose.line))) if other in sure else inf
        lines.append(Line(pose, (*first[pose], *glances), -odds if pose.flipped else odds, surer))
    return lines


def trusted(line: LineBox) -> float:
    """How far the box's own direction of reading is taken to be right, 0 to below 1."""
    return _MOST_TRUSTED * min(1.0, max(0.0, line.way))
