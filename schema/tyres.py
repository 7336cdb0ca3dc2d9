"""The tyre size as ISO 5775 writes it (width-bead seat, ``28-622``) → the wheel's diameter."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import pi

_SIZE = re.compile(r"^\s*(\d{2,3}(?:[.,]\d)?)\s*[-\u2010-\u2013x×]\s*(\d{3})\s*(?:mm)?\s*$", re.IGNORECASE)
_WIDTHS_MM = (15.0, 130.0)
_BEAD_SEATS_MM = (190.0, 700.0)


@dataclass(frozen=True)
class Tyre:
    """Section width and bead seat diameter in millimetres."""

    width_mm: float
    bead_seat_mm: float

    @property
    def diameter_mm(self) -> float:
        """Nominal outside diameter: bead seat + 2 × width, taken for every width (ISO 5775 with height = width)."""
        return self.bead_seat_mm + 2 * self.width_mm

    @property
    def circumference_m(self) -> float:
        """Circumference of the unloaded tyre in metres; under load a tyre rolls one or two per cent less."""
        return pi * self.diameter_mm / 1000


def parse_tyre(written: str) -> Tyre:
    """A tyre from its ISO 5775 size; ``ValueError`` with one plain sentence where ``written`` is none."""
    match = _SIZE.match(written)
    if not match:
        raise ValueError(f'"{written}" is no tyre size like "28-622" (width-bead seat, ISO 5775)')
    width, bead_seat = float(match[1].replace(",", ".")), float(match[2])
    if not (_WIDTHS_MM[0] <= width <= _WIDTHS_MM[1] and _BEAD_SEATS_MM[0] <= bead_seat <= _BEAD_SEATS_MM[1]):
        raise ValueError(f'"{written}" is no tyre of any cycle; the width comes first, then the bead seat, in mm')
    return Tyre(width, bead_seat)
