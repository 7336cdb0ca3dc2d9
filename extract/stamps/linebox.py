"""Where a line of signs stands on a photo, which way it reads, and how it bends."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from ...schema.claims import Box

CAPITALS_SHARE = 0.6
"""The height of capitals as a part of a line's height; the rest is margin above and below."""


@dataclass(frozen=True)
class LineBox:
    """A line of signs: middle, length along it and height across it in pixels.

    ``angle`` is the direction of reading in degrees, clockwise from the picture's right since y runs down: 180 is
    upside down. ``bend`` says how far, in pixels, the ends lie further down than the middle, seen along the line; the
    middle line is a parabola. ``score`` orders the boxes of one photo and means nothing across photos; ``way`` says how
    sure the direction of reading is against its opposite, 0 to 1.
    """

    x: float
    y: float
    length: float
    height: float
    angle: float
    score: float
    bend: float = 0.0
    way: float = 0.0

    def corners(self) -> np.ndarray:
        """Its four corners, 4 × 2, the bend left out of account."""
        return cv2.boxPoints(((self.x, self.y), (self.length, self.height), self.angle))

    def outline(self) -> np.ndarray:
        """Points around it, n × 2, which follow its bend."""
        along = np.linspace(-0.5, 0.5, 9) * self.length
        across = self.bend * (2 * along / max(1e-6, self.length)) ** 2
        upper, lower = across - self.height / 2, across + self.height / 2
        u, v = np.concatenate((along, along[::-1])), np.concatenate((upper, lower[::-1]))
        turn = math.radians(self.angle)
        x = self.x + u * math.cos(turn) - v * math.sin(turn)
        y = self.y + u * math.sin(turn) + v * math.cos(turn)
        return np.stack((x, y), axis=1)

    def upright(self) -> Box:
        """The smallest box with sides along the picture's that holds it, cut at zero."""
        outline = self.outline()
        (x0, y0), (x1, y1) = outline.min(axis=0), outline.max(axis=0)
        return Box(max(0.0, float(x0)), max(0.0, float(y0)), max(0.0, float(x1)), max(0.0, float(y1)))
