"""Upright pixels → where lines of signs may stand, at any angle: a rotated box per line, the likeliest first.

Signs show as places where the brightness changes strongly in two directions within the size of a letter, and more so
than around them, whichever is brighter. That holds for printed, engraved, dotted and moulded letters alike, while
straight edges change in one direction only. The measure is the smaller eigenvalue of the structure tensor (Förstner and
Gülch, 1987; Shi and Tomasi, 1994), taken on several levels of a pyramid, so that letters of any size are met on one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from .linebox import LineBox


@dataclass(frozen=True)
class LocateSettings:
    """Tolerances of the search. Lengths are in pixels of a pyramid level, where letters are about ``letter`` high."""

    longest_side: int = 2048
    levels: int = 3
    letter: float = 13.0
    surround: float = 8.0
    stands_out: float = 1.5
    joins: float = 0.35
    shortest: float = 1.6
    longest: float = 40.0
    highest: float = 8.0
    most: int = 16


DEFAULTS = LocateSettings()

_QUIET = 0.25
"""Changes of brightness that no camera shows, in grey levels per pixel."""


def find_lines(pixels: np.ndarray, settings: LocateSettings = DEFAULTS) -> list[LineBox]:
    """RGB pixels → boxes of possible lines, at most ``settings.most``, in pixels of ``pixels``."""
    shrink = min(1.0, settings.longest_side / max(pixels.shape[:2]))
    level = _resized(pixels, shrink)
    found: list[LineBox] = []
    for _ in range(settings.levels):
        if min(level.shape[:2]) < 4 * settings.letter:
            break
        found += [_scaled(line, 1 / shrink) for line in _lines_of_level(level, settings)]
        level, shrink = _resized(level, 0.5), shrink * 0.5
    return _distinct(found, settings.most)


def _resized(pixels: np.ndarray, factor: float) -> np.ndarray:
    if factor == 1.0:
        return pixels
    return cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)


def _scaled(line: LineBox, by: float) -> LineBox:
    return LineBox(line.x * by, line.y * by, line.length * by, line.height * by, line.angle, line.score)


def find_texture(pixels: np.ndarray, letter: float) -> tuple[np.ndarray, np.ndarray]:
    """How strongly colours change around each pixel, in grey levels per pixel: in two directions, and in any.

    The first is smoothed over about half a letter and finds letters; the second is sharp and parts one line from the
    next. The tensors of the channels are added up (Di Zenzo, 1986).
    """
    sums = [np.zeros(pixels.shape[:2], np.float32) for _ in range(3)]
    for channel in _channels(pixels):
        smooth = cv2.GaussianBlur(channel, (0, 0), 1.0)
        dx, dy = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125)
        for whole, product in zip(sums, (dx * dx, dy * dy, dx * dy), strict=True):
            whole += product
    sharp = np.sqrt(sums[0] + sums[1])
    xx, yy, xy = (cv2.GaussianBlur(each, (0, 0), letter * 0.45) for each in sums)
    smaller = (xx + yy) / 2 - np.sqrt(((xx - yy) / 2) ** 2 + xy * xy)
    return np.sqrt(np.maximum(smaller, 0)), sharp


def _channels(pixels: np.ndarray) -> list[np.ndarray]:
    """Brightness and the two colour differences, the latter halved since they carry more noise."""
    lab = cv2.cvtColor(pixels, cv2.COLOR_RGB2LAB).astype(np.float32)
    return [lab[:, :, 0], lab[:, :, 1] * 0.7, lab[:, :, 2] * 0.7]


def _lines_of_level(level: np.ndarray, settings: LocateSettings) -> Iterator[LineBox]:
    texture, sharp = find_texture(level, settings.letter)
    logs = np.log(texture + _QUIET)
    around = np.exp(cv2.blur(logs, (int(settings.letter * settings.surround),) * 2))
    closed = _closed(texture + _QUIET > settings.stands_out * around, round(settings.letter * settings.joins))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(closed, connectivity=8)
    margin = round(1.5 * settings.letter)
    for index in range(1, count):
        x, y, width, height, area = (int(v) for v in stats[index])
        if not _is_block(width, height, area, settings):
            continue
        x0, y0 = max(0, x - margin), max(0, y - margin)
        window = slice(y0, y + height + margin), slice(x0, x + width + margin)
        own = labels[window] == index
        contrast = _contrast(texture[window], own, margin)
        strength = np.where(own, sharp[window], 0).astype(np.float32)
        for line in _split(strength, settings.letter):
            yield LineBox(line.x + x0, line.y + y0, line.length, line.height, line.angle, line.score * contrast)


def _closed(mask: np.ndarray, radius: int) -> np.ndarray:
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1,) * 2)
    return cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, kernel)


def _contrast(texture: np.ndarray, own: np.ndarray, margin: int) -> float:
    """How much stronger the texture is within a patch than right around it."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (margin, margin))
    around = cv2.dilate(own.astype(np.uint8), kernel) == 0
    outside = float(texture[around].mean()) if around.any() else float(texture.mean())
    return float(texture[own].mean()) / (outside + _QUIET)


def _is_block(width: int, height: int, area: int, settings: LocateSettings) -> bool:
    """Whether a patch has the size of at least a few letters and at most a few lines."""
    long_side, unit = max(width, height), settings.letter
    return (
        settings.shortest * unit <= long_side <= settings.longest * unit
        and area >= 1.2 * unit * unit
        and min(width, height) <= 3 * settings.highest * unit
    )


def _split(strength: np.ndarray, letter: float) -> Iterator[LineBox]:
    """One patch → its lines: turned so that lines and gaps differ most, then cut at the gaps."""
    rows, columns = strength.shape
    side = math.ceil(math.hypot(rows, columns)) + 4
    shrink = min(1.0, 160 / side)
    angle = _line_angle(strength, side, shrink)
    turned = _turned(strength, angle, side, 1.0)
    profile = turned.sum(axis=1)
    for top, bottom in _bands(profile, letter):
        along = turned[top:bottom].sum(axis=0)
        for left, right in _runs(along > 0.15 * along.max(), 2.2 * letter):
            length, height = right - left, bottom - top
            if length < 1.6 * letter:
                continue
            x, y = _back((left + right) / 2, (top + bottom) / 2, angle, side, (columns, rows))
            score = min(3.0, length / height)
            yield LineBox(x, y, length + 0.5 * letter, height + 0.3 * letter, angle, score)


def _line_angle(strength: np.ndarray, side: int, shrink: float) -> float:
    """The angle at which the rows' sums differ most from each other."""
    best, best_angle = -1.0, 0.0
    size = round(side * shrink)
    for step in range(0, 180, 4):
        angle = step - 88.0
        profile = _turned(strength, angle, size, shrink).sum(axis=1)
        spread = float((profile * profile).sum())
        if spread > best:
            best, best_angle = spread, angle
    return best_angle


def _turned(strength: np.ndarray, angle: float, side: int, shrink: float) -> np.ndarray:
    """The patch turned by -``angle`` about its middle, in a square of ``side``."""
    rows, columns = strength.shape
    matrix = cv2.getRotationMatrix2D((columns / 2, rows / 2), angle, shrink)
    matrix[:, 2] += (side / 2 - columns / 2, side / 2 - rows / 2)
    return cv2.warpAffine(strength, matrix, (side, side), flags=cv2.INTER_LINEAR)


def _back(u: float, v: float, angle: float, side: int, size: tuple[int, int]) -> tuple[float, float]:
    """A place in the turned square → the same in the patch."""
    turn = math.radians(angle)
    du, dv = u - side / 2, v - side / 2
    return (
        size[0] / 2 + du * math.cos(turn) - dv * math.sin(turn),
        size[1] / 2 + du * math.sin(turn) + dv * math.cos(turn),
    )


def _bands(profile: np.ndarray, letter: float) -> list[tuple[int, int]]:
    """Rows that belong to lines: runs above half of the nearby peak, at least half a letter high."""
    window = max(3, round(3 * letter))
    peak = cv2.dilate(profile.reshape(-1, 1), np.ones((window, 1), np.uint8)).ravel()
    inside = (profile > 0.45 * peak) & (profile > 0.15 * profile.max())
    return [run for run in _runs(inside, 0) if run[1] - run[0] >= 0.5 * letter]


def _runs(inside: np.ndarray, join: float) -> list[tuple[int, int]]:
    """Runs of true values as (start, end), those nearer than ``join`` made one."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], inside.astype(np.int8), [0]))))
    runs: list[tuple[int, int]] = []
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if runs and start - runs[-1][1] < join:
            runs[-1] = (runs[-1][0], end)
        else:
            runs.append((start, end))
    return runs


def _distinct(lines: list[LineBox], most: int) -> list[LineBox]:
    """The best lines, without those that mostly repeat a better one."""
    kept: list[LineBox] = []
    for line in sorted(lines, key=lambda item: -item.score):
        if all(_overlap(line, other) < 0.6 for other in kept):
            kept.append(line)
        if len(kept) == most:
            break
    return kept


def _overlap(a: LineBox, b: LineBox) -> float:
    """Shared area as a part of their union."""
    if math.hypot(a.x - b.x, a.y - b.y) > (a.length + b.length) / 2:
        return 0.0
    shape_a, shape_b = (((s.x, s.y), (s.length, s.height), s.angle) for s in (a, b))
    kind, points = cv2.rotatedRectangleIntersection(shape_a, shape_b)
    shared = 0.0 if kind == cv2.INTERSECT_NONE or points is None else float(cv2.contourArea(cv2.convexHull(points)))
    return shared / (a.length * a.height + b.length * b.height - shared)
