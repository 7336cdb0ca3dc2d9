"""A map of where signs may stand → lines: what hangs together is a heap, heaps of one row are one line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from .linebox import CAPITALS_SHARE, LineBox


@dataclass(frozen=True)
class HeapSettings:
    """Tolerances of what makes a line; lengths in heights of a line unless they say otherwise."""

    least_share: float = 0.3
    surest_share: float = 0.5
    least_cells: int = 6
    kernel_share: float = 0.54
    kernel_more_px: float = 2.3
    """The model marks the kernel of a line only: that much of the height of its capitals, and these pixels more."""
    short_by: float = 0.48
    """How much short of the outer edge of its last sign a heap ends, in heights of capitals."""
    margin: float = 0.4
    """What a box shows beyond the last sign, in heights of capitals."""
    joins: float = 1.0
    level: float = 0.35
    turned_deg: float = 24.0
    bends_from: float = 3.0
    most_bent: float = 0.35
    """The most a line bends, as a part of its length."""


@dataclass(frozen=True)
class Found:
    """A line in pixels of the map it was found on.

    ``full`` is near 1 for an even band, straight or bent, and less for anything ragged; ``long`` is the length of the
    heap in heights of the line.
    """

    line: LineBox
    full: float
    long: float

    @property
    def capitals_px(self) -> float:
        """About how high its capitals are on the map."""
        return self.line.height * CAPITALS_SHARE


@dataclass(frozen=True, eq=False)
class _Heap:
    """Places of one line with their weights, the direction along it (of length 1), how thick the heap is, and the
    height of the line."""

    points: np.ndarray
    weights: np.ndarray
    axis: np.ndarray
    thick: float
    height: float

    @classmethod
    def of(cls, cells: np.ndarray, weights: np.ndarray, settings: HeapSettings) -> _Heap:
        """The direction is that of the smallest rectangle around."""
        points = cells.astype(np.float64)
        _, (wide, high), angle = cv2.minAreaRect(points.astype(np.float32))
        turn = math.radians(angle if wide >= high else angle + 90)
        thick = len(points) / (max(wide, high) + 1)
        capitals = max(thick, (thick - settings.kernel_more_px) / settings.kernel_share)
        axis = np.array([math.cos(turn), math.sin(turn)])
        return cls(points, weights, axis, thick, capitals / CAPITALS_SHARE)

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

    def found(self, settings: HeapSettings) -> Found:
        """The box: straight where it is short, else along a parabola."""
        along, across = self.along_across()
        reach = self.reach
        degree = 2 if reach >= settings.bends_from * self.height else 1 if reach >= 1.2 * self.height else 0
        fit = np.zeros(3)
        fit[: degree + 1] = np.polynomial.polynomial.polyfit(along, across, degree, w=np.sqrt(self.weights))
        if abs(fit[2]) * reach / 4 > settings.most_bent:
            fit = np.array([*np.polynomial.polynomial.polyfit(along, across, 1, w=np.sqrt(self.weights)), 0.0])
        centre = (float(along.min()) + float(along.max())) / 2
        middle_across, slope, curve = float(np.polyval(fit[::-1], centre)), fit[1] + 2 * fit[2] * centre, float(fit[2])
        x, y = self.middle + self.axis * centre + np.array([-self.axis[1], self.axis[0]]) * middle_across
        angle = math.degrees(math.atan2(self.axis[1], self.axis[0]) + math.atan(slope))
        left = across - np.polyval(fit[::-1], along)
        full = min(1.0, self.thick / (math.sqrt(12) * max(0.3, float(left.std()))))
        length = reach + 2 * (settings.short_by + settings.margin) * CAPITALS_SHARE * self.height
        long = reach / self.height
        score = float(self.weights.mean()) * full * min(1.0, long / 2)
        line = LineBox(float(x), float(y), length, self.height, angle, score, curve * (length / 2) ** 2)
        return Found(line, full, long)


def find_rows(share: np.ndarray, settings: HeapSettings) -> list[Found]:
    """A map, rows × columns of 0 to 1 → its lines, the ragged ones too, in pixels of the map."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats((share > settings.least_share).astype(np.uint8))
    heaps = []
    for index in range(1, count):
        x, y, width, height, area = (int(v) for v in stats[index])
        inside = labels[y : y + height, x : x + width] == index
        weights = share[y : y + height, x : x + width][inside]
        if area < settings.least_cells or float(weights.max()) < settings.surest_share:
            continue
        heaps.append(_Heap.of(np.argwhere(inside)[:, ::-1] + (x, y), weights, settings))
    return [heap.found(settings) for heap in _joined(heaps, settings)]


def _joined(heaps: Sequence[_Heap], settings: HeapSettings) -> list[_Heap]:
    """Heaps that stand in one row and have one size, made one."""
    left = sorted(heaps, key=lambda heap: -heap.reach)
    joined: list[_Heap] = []
    while left:
        heap = left.pop(0)
        while (other := next((each for each in left if _in_row(heap, each, settings)), None)) is not None:
            left.remove(other)
            heap = _both(heap, other)
        joined.append(heap)
    return joined


def _both(heap: _Heap, other: _Heap) -> _Heap:
    part = heap.reach / (heap.reach + other.reach)
    both = _Heap(
        np.concatenate((heap.points, other.points)),
        np.concatenate((heap.weights, other.weights)),
        heap.axis,
        part * heap.thick + (1 - part) * other.thick,
        part * heap.height + (1 - part) * other.height,
    )
    return replace(both, axis=_main_axis(both))


def _main_axis(heap: _Heap) -> np.ndarray:
    """The direction along which the places spread most, the heap's own way round."""
    gone = heap.points - heap.middle
    _, axes = np.linalg.eigh(gone.T @ gone)
    return axes[:, -1] if axes[:, -1] @ heap.axis >= 0 else -axes[:, -1]


def _in_row(heap: _Heap, other: _Heap, settings: HeapSettings) -> bool:
    """The other's direction is asked for only where it is long enough to have one."""
    turned = math.degrees(math.acos(min(1.0, float(abs(heap.axis @ other.axis)))))
    longish = other.reach > 1.2 * other.height
    if not 0.6 < other.height / heap.height < 1.6 or (longish and turned > settings.turned_deg):
        return False
    gone = other.middle - heap.middle
    along, across = float(gone @ heap.axis), float(gone @ np.array([-heap.axis[1], heap.axis[0]]))
    others = other.points @ heap.axis
    gap = abs(along) - (heap.reach + float(others.max() - others.min()) + 1) / 2
    return -0.5 * heap.height < gap < settings.joins * heap.height and abs(across) < settings.level * heap.height
