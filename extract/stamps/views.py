"""Cut-outs of a photo at any place, turn and scale, and the way back from them to the photo."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from .linebox import LineBox


@dataclass(frozen=True)
class View:
    """A cut-out: its middle on the photo, its turn in degrees (as of ``LineBox``), its scale, and its size in pixels
    of its own."""

    x: float
    y: float
    turn: float
    scale: float
    width: int
    height: int

    def to_photo(self, line: LineBox) -> LineBox:
        """A line in pixels of the view → the same line in pixels of the photo."""
        ((x, y),) = self.places(np.array([[line.x, line.y]]))
        return replace(
            line, x=float(x), y=float(y), length=line.length / self.scale, height=line.height / self.scale,
            angle=line.angle + self.turn, bend=line.bend / self.scale,
        )  # fmt: skip

    def places(self, points: np.ndarray) -> np.ndarray:
        """Points n × 2 of the view → points of the photo."""
        turn = math.radians(self.turn)
        u, v = ((points - ((self.width - 1) / 2, (self.height - 1) / 2)) / self.scale).T
        return np.stack(
            (self.x + u * math.cos(turn) - v * math.sin(turn), self.y + u * math.sin(turn) + v * math.cos(turn)), axis=1
        )


class Photo:
    """A photo with smaller copies of it, made when they are first needed."""

    def __init__(self, pixels: np.ndarray) -> None:
        self._copies = [pixels]

    @property
    def pixels(self) -> np.ndarray:
        """The photo itself."""
        return self._copies[0]

    def whole(self, longest_px: int) -> tuple[View, np.ndarray]:
        """All of it, at most ``longest_px`` long."""
        rows, columns = self.pixels.shape[:2]
        shrink = min(1.0, longest_px / max(rows, columns))
        wide, high = max(1, round(columns * shrink)), max(1, round(rows * shrink))
        small = cv2.resize(self.pixels, (wide, high), interpolation=cv2.INTER_AREA) if shrink < 1 else self.pixels
        return View((columns - 1) / 2, (rows - 1) / 2, 0.0, wide / columns, wide, high), small

    def cut(self, view: View) -> np.ndarray:
        """The pixels of a view; places outside the photo repeat its edge."""
        level = max(0, math.floor(math.log2(1 / view.scale)))
        while len(self._copies) <= level:
            last = self._copies[-1]
            size = max(1, last.shape[1] // 2), max(1, last.shape[0] // 2)
            self._copies.append(cv2.resize(last, size, interpolation=cv2.INTER_AREA))
        source = self._copies[level]
        shrunk = np.array((source.shape[1] / self.pixels.shape[1], source.shape[0] / self.pixels.shape[0]))
        corners = np.array(((0, 0), (view.width - 1, 0), (0, view.height - 1)), np.float64)
        there = (view.places(corners) + 0.5) * shrunk - 0.5
        matrix = cv2.getAffineTransform(corners.astype(np.float32), there.astype(np.float32))
        how = (cv2.INTER_CUBIC if view.scale > 1 else cv2.INTER_LINEAR) | cv2.WARP_INVERSE_MAP
        return cv2.warpAffine(source, matrix, (view.width, view.height), flags=how, borderMode=cv2.BORDER_REPLICATE)
