"""The picture of a page made ready for reading: even light, straight lines; drawn rules and leader dots taken out."""

from __future__ import annotations

import cv2
import numpy as np

from ..schema.claims import Box
from .records import Affine, Rule

_MOST_SKEW_DEG = 6.0
_MOST_LEFT_TILT = 0.007
"""How far a rule may still climb along its length once the page is straightened."""
_TINT = 7
_RULE_REACH_PX = 9
_RULE_PIECE_PX = 160
_RULE_CONTRAST = 18


def flatten(grey: np.ndarray) -> np.ndarray:
    """Grey pixels with uneven light and paper colour taken out: paper near 255."""
    small = cv2.resize(grey, None, fx=1 / 16, fy=1 / 16, interpolation=cv2.INTER_AREA)
    paper = cv2.medianBlur(cv2.dilate(small, np.ones((7, 7), np.uint8)), 25)
    paper = cv2.resize(paper, (grey.shape[1], grey.shape[0]), interpolation=cv2.INTER_LINEAR)
    return cv2.divide(grey, np.maximum(paper, 60), scale=255)


def find_skew(grey: np.ndarray) -> float:
    """The angle in degrees by which lines of text climb, found where their row profile is sharpest."""
    scale = min(1.0, 1000 / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    ink = (small < 160).astype(np.uint8)
    if ink.sum() < 50:
        return 0.0

    def sharpness(angle: float) -> float:
        profile = _turned(ink, angle).sum(axis=1).astype(float)
        return float(np.square(np.diff(profile)).sum())

    best = max(np.arange(-_MOST_SKEW_DEG, _MOST_SKEW_DEG + 0.01, 0.5), key=sharpness)
    return float(max(np.arange(best - 0.5, best + 0.51, 0.05), key=sharpness))


def _turned(image: np.ndarray, angle: float) -> np.ndarray:
    height, width = image.shape
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), angle, 1.0)
    return cv2.warpAffine(image, matrix, (width, height), flags=cv2.INTER_NEAREST)


def straightened(grey: np.ndarray, angle: float) -> tuple[np.ndarray, Affine]:
    """The picture turned by ``angle``, and the matrix that leads its pixels back."""
    height, width = grey.shape
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), angle, 1.0)
    straight = grey if abs(angle) < 0.04 else cv2.warpAffine(grey, matrix, (width, height), flags=cv2.INTER_CUBIC,
                                                             borderValue=255)  # fmt: skip
    inverse = cv2.invertAffineTransform(matrix)
    a, b, c, d, e, f = (float(v) for v in inverse.ravel())
    return straight, (a, b, c, d, e, f)


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
            middle = (y + h / 2) if horizontal else (x + w / 2)
            rules.append(Rule(x, middle, x + w, middle) if horizontal else Rule(middle, y, middle, y + h))
    return rules


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


def without_rules(grey: np.ndarray, rules: list[Rule]) -> np.ndarray:
    """The picture with its rules painted over, as thick as they are, so that no sign is taken for one."""
    bare = grey.copy()
    for rule in rules:
        if rule.horizontal:
            _paint(grey, bare, rule.y0, rule.x0, rule.x1)
        else:
            _paint(grey.T, bare.T, rule.x0, rule.y0, rule.y1)
    return bare


def _paint(grey: np.ndarray, bare: np.ndarray, middle: float, start: float, end: float) -> None:
    """Paint the rule that runs along the rows of ``grey`` at ``middle``, piece by piece: it may drift a little."""
    top, bottom = max(0, round(middle) - _RULE_REACH_PX), round(middle) + _RULE_REACH_PX + 1
    for x in range(max(0, round(start) - 1), round(end) + 2, _RULE_PIECE_PX):
        piece = grey[top:bottom, x : min(x + _RULE_PIECE_PX, round(end) + 2)]
        if not piece.size:
            continue
        levels = np.median(piece, axis=1)
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


def find_fills(grey: np.ndarray, dpi: float) -> list[Box]:
    """Tinted areas with straight sides, in pixels: cells and rows with a ground of their own."""
    scale = 0.25
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    ground = cv2.medianBlur(cv2.dilate(small, np.ones((5, 5), np.uint8)), 9)
    tinted = (ground < float(np.median(ground)) - _TINT).astype(np.uint8)
    least = np.ones((round(dpi * scale / 14), round(dpi * scale / 10)), np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(cv2.morphologyEx(tinted, cv2.MORPH_OPEN, least), connectivity=4)
    return [
        Box((x - 2) / scale, (y - 2) / scale, (x + w + 2) / scale, (y + h + 2) / scale)
        for x, y, w, h, area in stats[1:]
        if area > 0.85 * w * h
    ]


def without_leaders(grey: np.ndarray, dpi: float) -> np.ndarray:
    """The picture without rows of leader dots, which OCR takes for letters: small marks at even distances."""
    ink = cv2.threshold(grey, 160, 255, cv2.THRESH_BINARY_INV)[1]
    _, _, stats, centres = cv2.connectedComponentsWithStats(ink, connectivity=8)
    most = max(4, dpi / 32)
    dots = [n for n, (_, _, w, h, _) in enumerate(stats) if n and w <= most and h <= most]
    dots.sort(key=lambda n: (round(centres[n][1] / (dpi / 50)), centres[n][0]))
    bare = grey.copy()
    run: list[int] = []
    for n in [*dots, -1]:
        if run and (n < 0 or not _goes_on(centres[run[-1]], centres[n], dpi)):
            if _is_leader([centres[k][0] for k in run]):
                for k in run:
                    x, y, w, h, _ = stats[k]
                    bare[max(0, y - 1) : y + h + 1, max(0, x - 1) : x + w + 1] = 255
            run = []
        run.append(n)
    return bare


def _goes_on(last: np.ndarray, dot: np.ndarray, dpi: float) -> bool:
    return abs(dot[1] - last[1]) < dpi / 75 and 0 < dot[0] - last[0] < dpi / 9


def _is_leader(places: list[float]) -> bool:
    if len(places) < 6:
        return False
    steps = np.diff(places)
    return float(steps.std()) < 0.35 * float(steps.mean())
