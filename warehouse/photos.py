"""Photos of parts → the codes stamped on them, weighed against the codes that the store knows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..schema.claims import Box
from ..schema.errors import CallError, DocumentError, Fault
from ..schema.reasons import Reason
from .lookup import StoreParts
from .store import Store

if TYPE_CHECKING:
    from ..extract.records import StampReading

SURE_ENOUGH = 0.9
"""Least confidence at which a photo stands for a part in a build without asking back."""


@dataclass(frozen=True)
class StampReport:
    """What the photos say, and which of them could not be used."""

    photos: tuple[StampReading, ...]
    failures: tuple[Fault, ...]

    def as_json(self) -> dict[str, Any]:
        """The JSON answer of ``stamp``."""
        report: dict[str, Any] = {"photos": [stamp_as_json(reading) for reading in self.photos]}
        if self.failures:
            report["failures"] = [fault.as_json() for fault in self.failures]
        return report


def read_stamps(
    store: Store, photos: Sequence[Path], codes: Path | None = None, same_part: bool = False
) -> StampReport:
    """What is stamped on the parts in the photos; a photo that cannot be used does not stop the others.

    :param codes: a file of further known codes, one a line
    :param same_part: all photos show one part and give one answer
    """
    from ..extract.stamps import read_photos

    if not photos:
        raise CallError(Reason.BAD_CALL, "no photo was named", advice="name one or more photos")
    known = [*StoreParts(store).codes(), *(read_codes(codes) if codes else ())]
    failures: list[Fault] = []
    readings: list[StampReading] = []
    usable: list[Path] = []
    for photo in photos:
        try:
            readings.extend(read_photos([photo], known))
            usable.append(photo)
        except DocumentError as error:
            failures.append(error.fault)
    if same_part and len(usable) > 1:
        readings = list(read_photos(usable, known, same_part=True))
    return StampReport(tuple(readings), tuple(failures))


def read_codes(path: Path) -> tuple[str, ...]:
    """The codes in a text file, one a line; blank lines and lines that begin with # are passed over.

    :raises CallError: the file cannot be read as text
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except OSError as error:
        raise CallError(
            Reason.NOT_READABLE, f"the list of codes cannot be read ({error.strerror})", file=str(path)
        ) from None
    except UnicodeDecodeError:
        raise CallError(
            Reason.WRONG_TYPE, "the list of codes is no text in UTF-8", file=str(path), advice="save it as UTF-8"
        ) from None
    return tuple(line.strip() for line in lines if line.strip() and not line.lstrip().startswith("#"))


def name_part(store: Store, photo: Path) -> str:
    """The code, with its variant, that a photo shows beyond reasonable doubt.

    :raises DocumentError: nothing legible, or too unsure to build on
    """
    reading = next(iter(read_stamps(store, [photo]).photos), None)
    if reading is None or reading.code is None:
        advice = reading.advice if reading else None
        raise DocumentError(Reason.NOT_READABLE, "no model code can be read from it", file=str(photo), advice=advice)
    label = f"{reading.code} {reading.variant}" if reading.variant else reading.code
    if reading.confidence < SURE_ENOUGH:
        message = f"it may say {label}, but only {reading.confidence:.0%} sure"
        raise DocumentError(
            Reason.NOT_READABLE, message, file=str(photo), advice="look at the part and write the code into the build"
        )
    return label


def stamp_as_json(reading: StampReading) -> dict[str, Any]:
    """One photo's object in the JSON answer of ``stamp``; the box is in pixels."""
    return {
        "file": reading.file, "code": reading.code, "variant": reading.variant, "teeth": list(reading.teeth),
        "confidence": round(reading.confidence, 4),
        "candidates": [
            {"code": c.code, "variant": c.variant, "confidence": round(c.confidence, 4), "known": c.known}
            for c in reading.candidates
        ],
        "bbox": _pixels(reading.bbox), "advice": reading.advice,
    }  # fmt: skip


def _pixels(box: Box | None) -> list[int] | None:
    return [round(v) for v in (box.x0, box.top, box.x1, box.bottom)] if box else None
