"""Photos of one or several parts → what is stamped on them: the order of the stages."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ...schema.errors import DocumentError
from ..photos import read_photo
from ..records import StampCandidate, StampReading
from .advise import ONLY_TEETH, advise
from .linebox import LineBox
from .locate import find_lines
from .recognise import Look, Pose, Recogniser, TesseractRecogniser
from .spell import Spelling, find_probabilities, find_spellings
from .teeth import find_teeth, find_variant, parse_teeth

LEAST_SURE = 0.35
"""Below this probability no code is named."""
_STUDIED = 4
_CANDIDATES = 5
_BLOCK_REACH = 5.0
_RETAKE = "try again, or scale the photo down"


@dataclass(frozen=True)
class _Seen:
    """What one photo showed, before the photos of one part are brought together."""

    file: str
    looks: dict[Pose, tuple[Look, ...]]
    spellings: tuple[Spelling, ...]
    teeth: tuple[int, ...]
    advice: str


def read_photos(
    paths: Sequence[Path],
    known_codes: Sequence[str] = (),
    same_part: bool = False,
    recogniser: Recogniser | None = None,
) -> list[StampReading]:
    """Photos → model code, variant and tooth counts of each, with candidates and their probabilities.

    With ``same_part`` all photos show one part, and one reading is returned, under the name of the clearest photo; its
    box is on that photo. Raises ``DocumentError`` for a file that is no usable picture and ``InstallationError`` where
    the recogniser is missing; to go on with the other photos of a batch, call it with one photo at a time.
    """
    reader = recogniser or TesseractRecogniser()
    seen = [_look_at(path, known_codes, reader) for path in paths]
    if same_part and seen:
        return [_answer(_fused(seen))]
    return [_answer(each) for each in seen]


def _look_at(path: Path, known_codes: Sequence[str], reader: Recogniser) -> _Seen:
    pixels = read_photo(path)
    lines = find_lines(pixels)
    try:
        looks = _read_lines(pixels, lines, known_codes, reader)
    except DocumentError as error:
        raise DocumentError(error.fault.reason, error.fault.message, file=path.name, advice=_RETAKE) from error
    spellings = tuple(find_spellings(looks, known_codes))
    advice = advise(pixels, lines[0] if lines else None)
    return _Seen(path.name, looks, spellings, _teeth(looks, spellings), advice)


def _read_lines(
    pixels: np.ndarray, lines: Sequence[LineBox], known_codes: Sequence[str], reader: Recogniser
) -> dict[Pose, tuple[Look, ...]]:
    """Every line glanced at both ways up, then the promising ones studied: all looks of those."""
    poses = [Pose(line, flipped) for line in lines for flipped in (False, True)]
    first = dict(zip(poses, reader.glance(pixels, poses), strict=True)) if poses else {}
    chosen = _worth_study(first, known_codes)
    studied = dict(zip(chosen, reader.study(pixels, chosen), strict=True)) if chosen else {}
    return {pose: (*first[pose], *more) for pose, more in studied.items()}


def _worth_study(first: dict[Pose, tuple[Look, ...]], known_codes: Sequence[str]) -> list[Pose]:
    """The poses where a code or a tooth notation seems to stand, and the lines right beside the best of them."""
    merit = {pose: _merit(looks) for pose, looks in first.items()}
    for spelling in find_spellings(first, known_codes)[:6]:
        merit[spelling.pose] += max(0.0, spelling.evidence + 8)
    ranked = sorted(merit, key=lambda pose: -merit[pose])
    ranked = [pose for pose in ranked if merit[pose] > 0][:_STUDIED]
    beside = [pose for pose in merit if ranked and pose not in ranked and _same_block(pose, ranked[0])]
    return ranked + beside[:2]


def _merit(looks: Sequence[Look]) -> float:
    """How promising quick looks are: letters read with confidence, tooth notations most."""
    value = 0.0
    for look in looks:
        value += look.confidence * min(8, sum(len(word) for word in look.words)) / 4
        value += 2.0 if any(parse_teeth(word) for word in look.words) else 0.0
    return value


def _same_block(pose: Pose, other: Pose) -> bool:
    """Whether two lines stand side by side, level with each other and the same way up."""
    turned = abs((pose.line.angle - other.line.angle + 90) % 180 - 90)
    gap = math.hypot(pose.line.x - other.line.x, pose.line.y - other.line.y)
    near = gap < _BLOCK_REACH * max(pose.line.height, other.line.height)
    return pose.flipped == other.flipped and turned < 12 and near


def _teeth(looks: dict[Pose, tuple[Look, ...]], spellings: Sequence[Spelling]) -> tuple[int, ...]:
    """Tooth counts from the code's own line or the lines beside it; from any line where there is no code."""
    code_pose = spellings[0].pose if spellings and find_probabilities(spellings)[0] >= LEAST_SURE else None
    for pose, seen in sorted(looks.items(), key=lambda item: item[0] != code_pose):
        if code_pose is None or pose == code_pose or _same_block(pose, code_pose):
            teeth = find_teeth(seen)
            if teeth:
                return teeth
    return ()


def _fused(seen: Sequence[_Seen]) -> _Seen:
    """Several photos of one part as one: evidence adds up, and a code that a photo does not show counts against it."""
    whole: dict[str, Spelling] = {}
    for photo in seen:
        for spelling in photo.spellings:
            if spelling.code not in whole or spelling.evidence > whole[spelling.code].evidence:
                whole[spelling.code] = spelling
    totals = {code: sum(_evidence_in(photo, code) for photo in seen) for code in whole}
    spellings = sorted((replace(s, evidence=totals[s.code]) for s in whole.values()), key=lambda s: -s.evidence)
    best = max(seen, key=lambda photo: photo.spellings[0].evidence if photo.spellings else -math.inf)
    looks = {pose: each for photo in seen for pose, each in photo.looks.items()}
    teeth = best.teeth or next((photo.teeth for photo in seen if photo.teeth), ())
    return _Seen(best.file, looks, tuple(spellings), teeth, best.advice)


def _evidence_in(photo: _Seen, code: str) -> float:
    """What one photo says for a code; a photo in which it was not weighed says a little against it."""
    floor = -2.0
    return max(floor, next((s.evidence for s in photo.spellings if s.code == code), floor))


def _answer(seen: _Seen) -> StampReading:
    chances = find_probabilities(seen.spellings)
    candidates = tuple(
        StampCandidate(spelling.code, find_variant(seen.looks[spelling.pose], spelling.code), chance, spelling.known)
        for spelling, chance in list(zip(seen.spellings, chances, strict=True))[:_CANDIDATES]
        if chance >= 0.01
    )
    if not candidates or candidates[0].confidence < LEAST_SURE:
        advice = ONLY_TEETH if seen.teeth else seen.advice
        return StampReading(seen.file, None, None, seen.teeth, 0.0, candidates, None, advice)
    best = candidates[0]
    line: LineBox = seen.spellings[0].pose.line
    return StampReading(
        seen.file, best.code, best.variant, seen.teeth, best.confidence, candidates, line.upright(), None
    )
