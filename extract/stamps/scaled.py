"""Readings of photos that were made smaller to be read → the same in the photos' own pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from ...schema.claims import Box
from ..photos import MOST_DETAIL, read_size
from ..records import StampReading
from . import reader


def read_photos(
    paths: Sequence[Path], known_codes: Sequence[str] = (), same_part: bool = False, **how: Any
) -> list[StampReading]:
    """What is stamped on the parts in photos; see :func:`cogledger.extract.stamps.reader.read_photos`.

    Boxes and places are in the photos' own pixels after EXIF rotation, however large the photos are.
    """
    readings = reader.read_photos(paths, known_codes, same_part, **how)
    if not same_part:
        return [in_own_pixels(reading, path) for reading, path in zip(readings, paths, strict=True)]
    by_name = {path.name: path for path in reversed(paths)}
    return [in_own_pixels(each, by_name[each.file]) if each.file in by_name else each for each in readings]


def in_own_pixels(reading: StampReading, path: Path) -> StampReading:
    """A reading of the photo as :func:`cogledger.extract.photos.read_photo` gives it → in the photo's own pixels."""
    if reading.bbox is None and reading.place is None:
        return reading
    width, height = read_size(path)
    if width * height <= MOST_DETAIL:
        return reading
    grow = (width * height / MOST_DETAIL) ** 0.5
    box, place = reading.bbox, reading.place
    if box:
        right, bottom = min(width, box.x1 * grow), min(height, box.bottom * grow)
        box = Box(min(box.x0 * grow, right), min(box.top * grow, bottom), right, bottom)
    if place:
        place = replace(
            place, x=place.x * grow, y=place.y * grow, length=place.length * grow, height=place.height * grow,
            bend=place.bend * grow,
        )  # fmt: skip
    return replace(reading, bbox=box, place=place)
