"""Photos of one or several parts → what is stamped on them: the order of the stages."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from ...schema.errors import DocumentError
from ..photos import read_photo
from ..records import SignPlace, StampCandidate, StampReading
from .advise import ONLY_TEETH, advise
from .decode import Line, Verdict, decode, printed_form, teeth_of, variant_of
from .grids import SignReader
from .known import KnownCodes, index_codes
from .linebox import LineBox
from .locate import find_lines
from .ppocr_reader import PpocrSignReader
from .recognise import Pose, as_lines, glance_at, study, worth_study
from .sign_model import SignModel
from .tuning import Tuning, read_tuning

LEAST_SURE = 0.35
"""Below this probability no code is named."""
_LEAST_SHOWN = 0.01
_SUREST_TEETH, _SUREST_BARE_TEETH = 0.97, 0.85
"""Tooth counts are no surer than this: dates and lots may look like them. The second is for two bare counts, without
a T and without a code near by; too little to build on."""
_CANDIDATES = 5
_BLOCK_REACH = 5.0
_BLOCK_TURN_DEG = 12.0
_RETAKE = "try again, or scale the photo down"


@dataclass(frozen=True, eq=False)
class SeenPhoto:
    """What one photo showed, before it is decoded."""

    file: str
    lines: tuple[Line, ...]
    find_advice: Callable[[], str]
    """Looks at the photo once more and says how to take it anew; only worth while where no code is legible."""


def usual_readers() -> tuple[SignReader, ...]:
    """The readers of signs that photos go through unless others are named."""
    return (SignModel(), PpocrSignReader())


def read_photos(
    paths: Sequence[Path],
    known_codes: Sequence[str] | KnownCodes = (),
    same_part: bool = False,
    readers: Sequence[SignReader] | None = None,
) -> list[StampReading]:
    """Photos → model code, variant and tooth counts of each, with candidates and their probabilities.

    With ``same_part`` all photos show one part, and one reading is returned, under the name of the photo that shows the
    code best; its box is on that photo. Of a long list of codes make an index once, with ``known.index_codes``, and
    hand that over each time. Raises ``DocumentError`` for a file that is no usable picture and ``InstallationError``
    where a reader is missing; to go on with the other photos of a batch, call it with one photo at a time.
    """
    known, tuning = index_codes(known_codes), read_tuning()
    through = usual_readers() if readers is None else readers
    if same_part and paths:
        return [answer([look_at(path, through) for path in paths], known, tuning)]
    return [answer([look_at(path, through)], known, tuning) for path in paths]


def look_at(path: Path, readers: Sequence[SignReader]) -> SeenPhoto:
    """One photo → its promising lines with all looks at them."""
    pixels = read_photo(path)
    boxes = find_lines(pixels)
    try:
        first = glance_at(pixels, boxes, readers)
        chosen = worth_study(first)
        more = study(pixels, chosen, readers)
    except DocumentError as error:
        raise DocumentError(error.fault.reason, error.fault.message, file=path.name, advice=_RETAKE) from error
    lines = tuple(as_lines(first, more))
    return SeenPhoto(path.name, lines, partial(_look_again, path, boxes[0] if boxes else None))


def _look_again(path: Path, line: LineBox | None) -> str:
    """How to take a photo anew."""
    return advise(read_photo(path), line)


def answer(seen: Sequence[SeenPhoto], known: KnownCodes, tuning: Tuning) -> StampReading:
    """What the photos of one part say together; those without any line have no say."""
    files = tuple(photo.file for photo in seen) if len(seen) > 1 else ()
    seen = [photo for photo in seen if photo.lines] or seen
    decoded = decode([photo.lines for photo in seen], known, tuning)
    top = [verdict for verdict in decoded.verdicts[:_CANDIDATES] if verdict.chance >= _LEAST_SHOWN]
    named = bool(top) and top[0].chance >= LEAST_SURE
    teeth = _teeth(seen, top[0] if named else None, tuning)
    photo = seen[top[0].photo if named else teeth.photo if teeth else 0]
    candidates = tuple(_candidate(seen, verdict, known, tuning) for verdict in top)
    pose = top[0].pose if named else teeth.pose if teeth else None
    line = pose.line if isinstance(pose, Pose) else None
    reading = StampReading(
        photo.file, None, None, teeth.counts if teeth else (), 0.0, candidates,
        bbox=line.upright() if line else None, place=_place(pose) if isinstance(pose, Pose) else None,
        teeth_confidence=teeth.chance if teeth else None, files=files,
    )  # fmt: skip
    if not named:
        return replace(reading, bbox=None, advice=ONLY_TEETH if teeth else photo.find_advice())
    best = candidates[0]
    return replace(reading, code=best.code, variant=best.variant, confidence=best.confidence)


def _place(pose: Pose) -> SignPlace:
    line = pose.line
    bend = -line.bend if pose.flipped else line.bend
    return SignPlace(line.x, line.y, line.length, line.height, _direction(pose), bend)


def _candidate(seen: Sequence[SeenPhoto], verdict: Verdict, known: KnownCodes, tuning: Tuning) -> StampCandidate:
    lines = seen[verdict.photo].lines
    own = next(line for line in lines if line.pose == verdict.pose)
    wider = [line for line in lines if line is not own and _shows_more(line.pose, own.pose)]
    variants = (variant_of(line, verdict.key, known, tuning.decode) for line in (own, *wider))
    variant = next((name for name in variants if name), None)
    return StampCandidate(printed_form(own, verdict.key, known), variant, verdict.chance, verdict.known)


def _shows_more(pose: object, other: object) -> bool:
    """Whether a box holds the same line of signs as another, and more of it."""
    if not (isinstance(pose, Pose) and isinstance(other, Pose)):
        return False
    gap = math.hypot(pose.line.x - other.line.x, pose.line.y - other.line.y)
    like = 0.6 < pose.line.height / other.line.height < 1.6
    return _same_block(pose, other) and like and pose.line.length > other.line.length and gap < pose.line.length / 2


@dataclass(frozen=True)
class _Teeth:
    """Tooth counts with their probability, and where they were read."""

    counts: tuple[int, ...]
    chance: float
    photo: int
    pose: object


def _teeth(seen: Sequence[SeenPhoto], code: Verdict | None, tuning: Tuning) -> _Teeth | None:
    """The surest tooth counts on the code's own line or lines beside it; on any line where there is no code.

    Where several photos show one part, those in which the code's place is not known are looked over whole.
    """
    best: _Teeth | None = None
    for number, photo in enumerate(seen):
        at = code.pose if code and code.photo == number else None
        for line in photo.lines:
            found = teeth_of(line, tuning.decode)
            if not found or found.odds <= 0 or (at is not None and not _same_block(line.pose, at)):
                continue
            most = _SUREST_TEETH if found.marked or code else _SUREST_BARE_TEETH
            chance = min(most, 1 / (1 + math.exp(-min(50.0, found.odds))))
            if best is None or chance > best.chance:
                best = _Teeth(found.teeth, chance, number, line.pose)
    return best


def _same_block(pose: object, other: object) -> bool:
    """Whether two lines stand side by side, level with each other and the same way up."""
    if not (isinstance(pose, Pose) and isinstance(other, Pose)):
        return pose == other
    if pose == other:
        return True
    turned = abs((_direction(pose) - _direction(other) + 180) % 360 - 180)
    gap = math.hypot(pose.line.x - other.line.x, pose.line.y - other.line.y)
    near = gap < _BLOCK_REACH * max(pose.line.height, other.line.height)
    return turned < _BLOCK_TURN_DEG and near


def _direction(pose: Pose) -> float:
    """The direction of reading in degrees, 0 to below 360; boxes of one line may be turned either way."""
    return (pose.line.angle + (180.0 if pose.flipped else 0.0)) % 360
