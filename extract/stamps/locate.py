"""Upright pixels → the lines of signs on them, at any angle.

The text detection model of PP-OCR (a file of the package ``rapidocr``, which is not imported) marks where signs may
stand; what hangs together becomes a line, straight or bent, and what stands in one row becomes one line. Which way up a
line reads stays open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from . import networks
from .linebox import LineBox


@dataclass(frozen=True)
class LocateSettings:
    """Tolerances of the search; lengths in heights of a line unless they say pixels."""

    longest_side_px: int = 960
    least_share: float = 0.3
    surest_share: float = 0.5
    grown: float = 1.9
    shortest: float = 0.7
    margin: float = 0.25
    joins: float = 1.0
    level: float = 0.35
    turned_deg: float = 12.0
    bends_from: float = 3.0
    most: int = 14


DEFAULTS = LocateSettings()
_MULTIPLE = 32
_MEAN, _SPREAD = np.array((0.485, 0.456, 0.406), np.float32), np.array((0.229, 0.224, 0.225), np.float32)
"""The means and spreads of channels that the model was made with."""


def find_lines(pixels: np.ndarray, settings: LocateSettings = DEFAULTS) -> list[LineBox]:
    """RGB pixels → lines, the clearest first, at most ``settings.most``, in pixels of ``pixels``.

    Raises ``InstallationError`` where the model is missing, ``DocumentError`` where it fails.
    """
    shrink = min(1.0, settings.longest_side_px / max(pixels.shape[:2]))
    small = cv2.resize(pixels, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 1 else pixels
    grow = pixels.shape[1] / small.shape[1]
    return _distinct([_grown(line, grow) for line in _lines_of_map(find_map(small), settings)], settings.most)


def find_map(pixels: np.ndarray) -> np.ndarray:
    """RGB pixels → rows × columns: how likely the middle of a line of signs is there, 0 to 1."""
    rows, columns = pixels.shape[:2]
    whole = cv2.copyMakeBorder(pixels, 0, -rows % _MULTIPLE, 0, -columns % _MULTIPLE, cv2.BORDER_REPLICATE)
    values = (whole[:, :, ::-1].astype(np.float32) / 255 - _MEAN) / _SPREAD
    return networks.run(networks.FINDER, np.ascontiguousarray(values.transpose(2, 0, 1)[None]))[0, 0, :rows, :columns]


def _lines_of_map(share: np.ndarray, settings: LocateSettings) -> list[LineBox]:
    """Places that hang together, each heap as a line, those of one row joined."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats((share > settings.least_share).astype(np.uint8))
    heaps = []
    for index in range(1, count):
        x, y, width, height, area = (int(v) for v in stats[index])
        inside = labels[y : y + height, x : x + width] == index
        weights = share[y : y + height, x : x + width][inside]
        if area < 6 or float(weights.max()) < settings.surest_share:
            continue
        heaps.append(_Heap.of(np.argwhere(inside)[:, ::-1] + (x, y), weights, settings))
    return [heap.line(settings) for heap in _joined(heaps, settings) if heap.reach >= settings.shortest * heap.height]


@dataclass(frozen=True, eq=False)
class _Heap:
    """Places of one line with their weights, the direction along it (of length 1) and the height of the line."""

    points: np.ndarray
    weights: np.ndarray
    axis: np.ndarray
    height: float

    @classmethod
    def of(cls, cells: np.ndarray, weights: np.ndarray, settings: LocateSettings) -> _Heap:
        """The direction is that of the smallest rectangle around; the marks are only the kernel of a line's height."""
        points = cells.astype(np.float64)
        _, (wide, high), angle = cv2.minAreaRect(points.astype(np.float32))
        turn = math.radians(angle if wide >= high else angle + 90)
        thick = len(points) / (max(wide, high) + 1)
        return cls(points, weights, np.array([math.cos(turn), math.sin(turn)]), settings.grown * thick)

    @property
    def middle(self) -> np.ndarray:
        """The weighted middle."""
        return np.average(self.points, axis=0, weights=self.weights)

    def along_across(self) -> tuple[np.ndarray, np.ndarray]:
        """Places along the direction and square to it, from the middle."""
        gone = self.points - self.middle
        return gone @ self.axis, gone @ np.array([-self.axis[1], self.axis[0]])

    @property
    def reach(self) -> float:
        """The length along the line."""
        along, _ = self.along_across()
        return float(along.max() - along.min()) + 1

    def line(self, settings: LocateSettings) -> LineBox:
        """The box: straight where it is short, else along a parabola."""
        along, across = self.along_across()
        axis = self.axis
        long = self.reach >= settings.bends_from * self.height
        fit = np.polynomial.polynomial.polyfit(along, across, 2 if long else 0, w=np.sqrt(self.weights))
        slope, curve = (float(fit[1]), float(fit[2])) if long else (0.0, 0.0)
        centre = (float(along.min()) + float(along.max())) / 2
        place = (
            self.middle
            + axis * centre
            + np.array([-axis[1], axis[0]]) * (float(fit[0]) + slope * centre + curve * centre * centre)
        )
        angle = math.degrees(math.atan2(axis[1], axis[0]) + math.atan(slope + 2 * curve * centre))
        length = self.reach + 2 * settings.margin * self.height
        score = float(self.weights.mean()) * min(1.0, self.reach / (2 * self.height))
        return LineBox(float(place[0]), float(place[1]), length, self.height, angle, score, curve * (length / 2) ** 2)


def _joined(heaps: Sequence[_Heap], settings: LocateSettings) -> list[_Heap]:
    """Heaps that stand in one row and have one size, made one."""
    left = sorted(heaps, key=lambda heap: -heap.reach)
    joined: list[_Heap] = []
    while left:
        heap = left.pop(0)
        while (other := next((each for each in left if _in_row(heap, each, settings)), None)) is not None:
            left.remove(other)
            heap = _Heap(
                np.concatenate((heap.points, other.points)),
                np.concatenate((heap.weights, other.weights)),
                heap.axis,
                (heap.height * heap.reach + other.height * other.reach) / (heap.reach + other.reach),
            )
            heap = replace(heap, axis=_main_axis(heap))
        joined.append(heap)
    return joined


def _main_axis(heap: _Heap) -> np.ndarray:
    """The direction along which the places spread most, the heap's own way round."""
    gone = heap.points - heap.middle
    _, axes = np.linalg.eigh(gone.T @ gone)
    return axes[:, -1] if axes[:, -1] @ heap.axis >= 0 else -axes[:, -1]


def _in_row(heap: _Heap, other: _Heap, settings: LocateSettings) -> bool:
    cosine = float(abs(heap.axis @ other.axis))
    alike = 0.72 < other.height / heap.height < 1.38
    if cosine < math.cos(math.radians(2 * settings.turned_deg)) or not alike:
        return False
    axis = heap.axis
    gone = other.middle - heap.middle
    along, across = float(gone @ axis), float(gone @ np.array([-axis[1], axis[0]]))
    gap = abs(along) - (heap.reach + other.reach) / 2
    return -0.5 * heap.height < gap < settings.joins * heap.height and abs(across) < settings.level * heap.height


def _grown(line: LineBox, by: float) -> LineBox:
    return LineBox(
        (line.x + 0.5) * by - 0.5, (line.y + 0.5) * by - 0.5, line.length * by, line.height * by, line.angle,
        line.score, line.bend * by, line.way,
    )  # fmt: skip


def _distinct(lines: Sequence[LineBox], most: int) -> list[LineBox]:
    """The best lines, without those that mostly repeat a better one."""
    kept: list[LineBox] = []
    for line in sorted(lines, key=lambda item: -item.score):
        if all(_overlap(line, other) < 0.4 for other in kept):
            kept.append(line)
        if len(kept) == most:
            break
    return kept


def _overlap(a: LineBox, b: LineBox) -> float:
    """Shared area as a part of the smaller one."""
    if math.hypot(a.x - b.x, a.y - b.y) > (a.length + b.length) / 2 + max(a.height, b.height):
        return 0.0
    shape_a, shape_b = (((s.x, s.y), (s.length, s.height), s.angle) for s in (a, b))
    kind, points = cv2.rotatedRectangleIntersection(shape_a, shape_b)
    shared = 0.0 if kind == cv2.INTERSECT_NONE or points is None else float(cv2.contourArea(cv2.convexHull(points)))
    return shared / max(1e-6, min(a.length * a.height, b.length * b.height))
