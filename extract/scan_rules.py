"""The rules drawn on a straightened picture, solid and dashed, and the picture without them."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from .records import Rule

_MOST_LEFT_TILT = 0.007
"""How far a rule may still climb along its length once the page is straightened."""
_SHORT_UPRIGHT_IN = 0.3
"""A shorter upright run is a rule only where it meets a rule across."""
_MEETING_IN = 0.02
_RULE_REACH_PX = 9
_RULE_PIECE_PX = 160
_RULE_CONTRAST = 18
_LONGEST_DASH_IN = 0.09
_LONGEST_BREAK_IN = 0.06
_SHORTEST_DASHED_IN = 0.35
_SHORTEST_PIECE_IN = 0.17
_LEAST_DASHES = 3
_MOST_WIDER = 0.25
"""Of a dashed rule hardly any dash is wider than the rule; signs that stand over each other are."""
_DASH_SHAPE = 1.4
"""Dashes are at least this many times as long as thick; rounder ones are the dots of a leader."""


def find_drawn_rules(grey: np.ndarray, dpi: float) -> list[Rule]:
    """Long thin dark runs, across and upright, in pixels."""
    ink = cv2.threshold(grey, 222, 255, cv2.THRESH_BINARY_INV)[1]
    runs = {horizontal: _long_runs(ink, horizontal, dpi) for horizontal in (True, False)}
    rules: list[Rule] = []
    thick = max(6, dpi / 28)
    for horizontal in (True, False):
        crossed = cv2.bitwise_and(ink, cv2.bitwise_not(cv2.dilate(runs[not horizontal], np.ones((5, 5), np.uint8))))
        _, _, stats, _ = cv2.connectedComponentsWithStats(runs[horizontal], connectivity=8)
        for x, y, w, h, _ in stats[1:]:
            across, along = (h, w) if horizontal else (w, h)
            if across > thick + _MOST_LEFT_TILT * along or along < 6 * across:
                continue
            if not _stands_alone(ink, crossed, (x, y, w, h), horizontal, dpi):
                continue
            if not horizontal and h < _SHORT_UPRIGHT_IN * dpi and not _meets_rule(rules, x + w / 2, (y, y + h), dpi):
                continue
            middle = (y + h / 2) if horizontal else (x + w / 2)
            rules.append(Rule(x, middle, x + w, middle) if horizontal else Rule(middle, y, middle, y + h))
    return rules


def _meets_rule(rules: Sequence[Rule], x: float, ends: tuple[float, float], dpi: float) -> bool:
    """Whether an upright run starts or ends at a rule across, unlike the stem of a tall letter."""
    near = _MEETING_IN * dpi
    return any(
        r.horizontal and r.x0 - near <= x <= r.x1 + near and any(abs(r.y0 - end) <= near for end in ends) for r in rules
    )


def _long_runs(ink: np.ndarray, horizontal: bool, dpi: float) -> np.ndarray:
    """The ink that lies in runs as long as a rule, along one direction; small gaps in it are bridged."""
    least = round(dpi * (0.35 if horizontal else 0.14))
    kernel = np.ones((1, least), np.uint8) if horizontal else np.ones((least, 1), np.uint8)
    bridged = cv2.morphologyEx(ink, cv2.MORPH_CLOSE, np.ones((1, 5) if horizontal else (5, 1), np.uint8))
    bridged = cv2.dilate(bridged, np.ones((3, 1) if horizontal else (1, 3), np.uint8))
    return cv2.morphologyEx(bridged, cv2.MORPH_OPEN, kernel)


def _stands_alone(
    ink: np.ndarray, crossed: np.ndarray, box: tuple[int, int, int, int], horizontal: bool, dpi: float
) -> bool:  # fmt: skip
    """Whether a run is filled and the strips on both sides of it are mostly paper, unlike a run through signs.

    ``crossed`` is the ink without the rules of the other direction, which cross the strips.
    """
    x, y, w, h = box
    away = max(2, round(dpi / 100))
    if horizontal:
        above, below = crossed[max(0, y - away - 1) : max(1, y - 1), x : x + w], crossed[y + h + 1 : y + h + away + 1]
        strips = [above, below[:, x : x + w]]
        filled = ink[y : y + h, x : x + w].max(axis=0).mean() / 255
    else:
        strips = [crossed[y : y + h, max(0, x - away - 1) : max(1, x - 1)],
                  crossed[y : y + h, x + w + 1 : x + w + away + 1]]  # fmt: skip
        filled = ink[y : y + h, x : x + w].max(axis=1).mean() / 255
    return filled > 0.85 and all(strip.size == 0 or strip.mean() / 255 < 0.15 for strip in strips)


def find_dashed_rules(grey: np.ndarray, dpi: float, solid: Sequence[Rule] = ()) -> list[Rule]:
    """Rules of short dashes at even steps, in pixels, on a picture without its ``solid`` rules.

    One that stands between two rules across may be as short as a row of a table.
    """
    ink = cv2.threshold(grey, 200, 255, cv2.THRESH_BINARY_INV)[1]
    found: list[Rule] = []
    for horizontal in (True, False):
        along = ink if horizontal else np.ascontiguousarray(ink.T)
        for x, y, w, h in _dashed_runs(along, dpi):
            middle = y + h / 2
            if w < _SHORTEST_DASHED_IN * dpi and (
                horizontal or not _meets_rule((*solid, *found), middle, (x, x + w), dpi)
            ):
                continue
            found.append(Rule(x, middle, x + w, middle) if horizontal else Rule(middle, x, middle, x + w))
    return found


def _dashed_runs(ink: np.ndarray, dpi: float) -> list[tuple[int, int, int, int]]:
    """Boxes of dashed runs along the rows of ``ink``: thin, alone, and of even dashes."""
    bridge = round(_LONGEST_BREAK_IN * dpi)
    least = round(_SHORTEST_PIECE_IN * dpi)
    closed = cv2.morphologyEx(ink, cv2.MORPH_CLOSE, np.ones((1, bridge), np.uint8))
    runs = cv2.morphologyEx(closed, cv2.MORPH_OPEN, np.ones((1, least), np.uint8))
    runs = cv2.dilate(runs, np.ones((3, 1), np.uint8))
    away = max(2, round(dpi / 100))
    found = []
    _, _, stats, _ = cv2.connectedComponentsWithStats(runs, connectivity=8)
    for x, y, w, h, _ in stats[1:]:
        if h > dpi / 28 + _MOST_LEFT_TILT * w:
            continue
        above, below = ink[max(0, y - away) : max(1, y), x : x + w], ink[y + h : y + h + away, x : x + w]
        if any(strip.size and strip.mean() / 255 > 0.2 for strip in (above, below)):
            continue
        dark = ink[y : y + h, x : x + w].max(axis=0) > 0
        wider = [strip.max(axis=0) > 0 for strip in (above, below) if strip.size]
        if any((dark & side).sum() > _MOST_WIDER * dark.sum() for side in wider):
            continue
        if _is_dashed(ink[y : y + h, x : x + w], dpi):
            found.append((int(x), int(y), int(w), int(h)))
    return found


def _is_dashed(ink: np.ndarray, dpi: float) -> bool:
    """Whether dark stretches along a run are short, many, longer than thick, and mostly at one step."""
    turns = np.flatnonzero(np.diff(np.concatenate(([0], (ink.max(axis=0) > 0).astype(np.int8), [0]))))
    starts, ends = turns[::2], turns[1::2]
    if len(starts) < _LEAST_DASHES:
        return False
    lengths, steps = ends - starts, np.diff(starts)
    length, step = float(np.median(lengths)), float(np.median(steps))
    thick = float(np.median((ink > 0).sum(axis=0)[ink.max(axis=0) > 0]))
    even = float(np.mean(np.abs(steps - step) <= 0.25 * step + 1))
    return _DASH_SHAPE * thick <= length <= _LONGEST_DASH_IN * dpi and even > 0.6


def without_rules(grey: np.ndarray, rules: Sequence[Rule], dashed: bool = False) -> np.ndarray:
    """The picture with its rules painted over, as thick as they are, so that no sign is taken for one."""
    bare = grey.copy()
    share = 25 if dashed else 50
    for rule in rules:
        if rule.horizontal:
            _paint(grey, bare, rule.y0, (rule.x0, rule.x1), share)
        else:
            _paint(grey.T, bare.T, rule.x0, (rule.y0, rule.y1), share)
    return bare


def _paint(grey: np.ndarray, bare: np.ndarray, middle: float, ends: tuple[float, float], share: int) -> None:
    """Paint the rule along the rows of ``grey`` at ``middle``, piece by piece: it may drift a little.

    A row of pixels belongs to it if ``share`` hundredths of its pixels are dark.
    """
    start, end = ends
    top, bottom = max(0, round(middle) - _RULE_REACH_PX), round(middle) + _RULE_REACH_PX + 1
    for x in range(max(0, round(start) - 1), round(end) + 2, _RULE_PIECE_PX):
        piece = grey[top:bottom, x : min(x + _RULE_PIECE_PX, round(end) + 2)]
        if not piece.size:
            continue
        levels = np.percentile(piece, share, axis=1)
        ground = max(float(np.max(levels)), 1.0)
        dark = levels < ground - _RULE_CONTRAST
        core = min(len(levels) - 1, round(middle) - top)
        dark[max(0, core - 2) : core + 3] = True
        first = last = core
        while first > 0 and dark[first - 1]:
            first -= 1
        while last + 1 < len(dark) and dark[last + 1]:
            last += 1
        first, last = max(0, first - 1), min(len(dark) - 1, last + 1)
        bare[top + first : top + last + 1, x : x + piece.shape[1]] = round(ground)
