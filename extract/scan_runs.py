"""A straightened picture of a page → its runs of print: stretches of one line without a wide gap, in pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from .records import Rule

_CONTRAST = 60
"""How much darker than the ground around it ink is, of 255."""
_LEAST_SIDE_IN = 0.013
_LEAST_HEIGHT_IN = 0.036
_MOST_HEIGHT_IN = 0.75
_JOINING_GAP = 0.95
"""Blobs of one line nearer than this share of their height make one run."""
_USUAL_HEIGHT_IN = 0.085


@dataclass(frozen=True)
class Run:
    """The ink of a run, and ``height``: how tall its signs stand, or those around it where it holds only small ones."""

    x0: int
    top: int
    x1: int
    bottom: int
    height: float


def find_runs(bare: np.ndarray, rules: Sequence[Rule], dpi: float) -> list[Run]:
    """The runs of a picture without rules; no run crosses an upright rule. From top to bottom."""
    ink = find_ink(bare)
    blobs = _blobs(ink, rules, dpi)
    if not len(blobs):
        return []
    tall = blobs[blobs[:, 3] - blobs[:, 1] >= _LEAST_HEIGHT_IN * dpi]
    usual = float(np.median(tall[:, 3] - tall[:, 1])) if len(tall) else _USUAL_HEIGHT_IN * dpi
    blobs = _parted(ink, blobs, usual)
    runs = [_run(blobs[group], usual) for group in _joined(blobs, rules, usual)]
    runs = [run for run in runs if _is_print(run, dpi)]
    return sorted(runs, key=lambda run: (run.top, run.x0))


def is_dash(run: Run) -> bool:
    """Whether a run is one flat stroke: a dash on its own, which an engine may take for another sign."""
    width, height = run.x1 - run.x0, run.bottom - run.top
    return height < 0.3 * run.height and 1.6 * height < width < 3 * run.height


def find_ink(grey: np.ndarray) -> np.ndarray:
    """1 where a pixel is clearly darker than the ground around it, which may be a tinted cell; else 0."""
    small = cv2.resize(grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    ground = cv2.medianBlur(cv2.dilate(small, np.ones((5, 5), np.uint8)), 9)
    ground = cv2.resize(ground, (grey.shape[1], grey.shape[0]), interpolation=cv2.INTER_LINEAR)
    smooth = cv2.GaussianBlur(grey, (3, 3), 0)
    return (cv2.subtract(ground, smooth) > _CONTRAST).astype(np.uint8)


def cut_out(grey: np.ndarray, run: Run) -> tuple[np.ndarray, int]:
    """The picture of a run with a margin, dark on white, and where on the page its left edge lies."""
    middle, height = (run.top + run.bottom) / 2, max(run.bottom - run.top, run.height)
    margin = 0.18 * height
    top, bottom = int(middle - height / 2 - margin), int(middle + height / 2 + margin) + 1
    side = int(0.3 * height)
    x0, x1 = run.x0 - side, run.x1 + side
    page_height, page_width = grey.shape
    cut = grey[max(0, top) : min(page_height, bottom), max(0, x0) : min(page_width, x1)]
    ground = max(float(np.percentile(cut, 80)), 1.0)
    cut = cv2.convertScaleAbs(cut, alpha=255.0 / ground)
    cut = cv2.copyMakeBorder(cut, max(0, -top), max(0, bottom - page_height), max(0, -x0), max(0, x1 - page_width),
                             cv2.BORDER_CONSTANT, value=255)  # fmt: skip
    return cut, x0


def turned_dark_on_light(grey: np.ndarray, dpi: float) -> np.ndarray:
    """The picture with light signs on dark fills turned to dark signs on light."""
    side = max(8, round(dpi / 11))
    dark = (grey < 128).astype(np.uint8)
    solid = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((side // 3, side), np.uint8))
    if not solid.any():
        return grey
    turned = grey.copy()
    filled = cv2.morphologyEx(solid, cv2.MORPH_CLOSE, np.ones((side, 3 * side), np.uint8))
    _, _, stats, _ = cv2.connectedComponentsWithStats(filled, connectivity=4)
    for x, y, w, h, area in stats[1:]:
        if h < 0.1 * dpi or w < 0.2 * dpi or area < 0.7 * w * h:
            continue
        patch = grey[y : y + h, x : x + w]
        if np.median(patch) < 128:
            turned[y : y + h, x : x + w] = np.clip(255 - (patch.astype(np.int16) - np.percentile(patch, 20)), 0, 255)
    return turned


def _blobs(ink: np.ndarray, rules: Sequence[Rule], dpi: float) -> np.ndarray:
    """Boxes (x0, top, x1, bottom) of words or parts of them: ink closed over the gaps between letters."""
    reach = max(3, round(dpi / 40))
    closed = cv2.morphologyEx(ink, cv2.MORPH_CLOSE, np.ones((1, reach), np.uint8))
    for rule in rules:
        if not rule.horizontal:
            x = round(rule.x0)
            closed[max(0, round(rule.y0)) : round(rule.y1) + 1, max(0, x - 1) : x + 2] = 0
    _, _, stats, _ = cv2.connectedComponentsWithStats(closed, connectivity=8)
    boxes = stats[1:, :4].copy()
    sides = boxes[:, 2:].max(axis=1)
    boxes = boxes[(sides >= _LEAST_SIDE_IN * dpi) & (boxes[:, 3] <= _MOST_HEIGHT_IN * dpi)]
    boxes[:, 2:] += boxes[:, :2]
    return boxes


def _parted(ink: np.ndarray, blobs: np.ndarray, usual: float) -> np.ndarray:
    """Blobs with those of two lines that touch cut where their rows are emptiest."""
    parts: list[np.ndarray] = []
    for x0, top, x1, bottom in blobs:
        height = bottom - top
        if height < 1.9 * usual or x1 - x0 < 1.5 * usual:
            parts.append(np.array((x0, top, x1, bottom)))
            continue
        rows = ink[top:bottom, x0:x1].sum(axis=1)
        inner = rows[int(0.3 * height) : int(0.7 * height) + 1]
        at = top + int(0.3 * height) + int(inner.argmin())
        if inner.min() > 0.12 * rows.max():
            parts.append(np.array((x0, top, x1, bottom)))
            continue
        parts.extend((np.array((x0, top, x1, at)), np.array((x0, at + 1, x1, bottom))))
    return np.array(parts)


def _joined(blobs: np.ndarray, rules: Sequence[Rule], usual: float) -> list[list[int]]:
    """Indices of blobs that stand on one line with no wide gap and no upright rule between."""
    x0, top, x1, bottom = (blobs[:, n].astype(float) for n in range(4))
    height = bottom - top
    overlap = np.minimum(bottom[:, None], bottom) - np.maximum(top[:, None], top)
    small = np.minimum(height[:, None], height)
    gap = np.maximum(x0[:, None], x0) - np.minimum(x1[:, None], x1)
    reach = _JOINING_GAP * np.clip(np.maximum(height[:, None], height), 0.6 * usual, 2.5 * usual)
    same_size = np.maximum(height[:, None], height) < 3.5 * np.maximum(small, 0.6 * usual)
    beside = (overlap > 0.5 * small) & (gap < reach) & same_size
    width = x1 - x0
    over = (gap < -0.6 * np.minimum(width[:, None], width)) & (overlap > -0.3 * usual) & (small < 0.45 * usual)
    near = np.argwhere(np.triu(beside | over, 1))
    upright = [(r.x0, min(r.y0, r.y1), max(r.y0, r.y1)) for r in rules if not r.horizontal]
    parent = list(range(len(blobs)))

    def root(n: int) -> int:
        while parent[n] != n:
            parent[n] = parent[parent[n]]
            n = parent[n]
        return n

    for a, b in near:
        left, right = (a, b) if x0[a] <= x0[b] else (b, a)
        middle = (max(top[a], top[b]) + min(bottom[a], bottom[b])) / 2
        if any(x1[left] - 2 <= x <= x0[right] + 2 and y0 <= middle <= y1 for x, y0, y1 in upright):
            continue
        parent[root(a)] = root(b)
    groups: dict[int, list[int]] = {}
    for n in range(len(blobs)):
        groups.setdefault(root(n), []).append(n)
    return list(groups.values())


def _run(blobs: np.ndarray, usual: float) -> Run:
    height = float((blobs[:, 3] - blobs[:, 1]).max())
    return Run(int(blobs[:, 0].min()), int(blobs[:, 1].min()), int(blobs[:, 2].max()), int(blobs[:, 3].max()),
               height if height > 0.62 * usual else usual)  # fmt: skip


def _is_print(run: Run, dpi: float) -> bool:
    width, height = run.x1 - run.x0, run.bottom - run.top
    return height >= _LEAST_HEIGHT_IN * dpi or width >= 0.02 * dpi
