"""A part that a build names by a photo → its model code, or the tooth counts stamped on it, with the photo as source.

A photo stands for a part only where it is sure enough; otherwise the build is not guessed at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from ..schema.builds import CodeRef, Entry, PhotoRef, Slot, WrittenPart
from ..schema.claims import plain
from ..schema.errors import DocumentError, Fault
from ..schema.parts import code_key, part_label
from ..schema.reasons import Reason
from ..schema.resolved import LimitValue, Part, SourceRef
from .lookup import StoreParts
from .photos import PhotoReader
from .store import Store
from .wording import SURE_ENOUGH

if TYPE_CHECKING:
    from ..extract.records import StampReading

_SPROCKETS = (Slot.CASSETTE, Slot.FREEWHEEL)
_RINGED = (Slot.RINGS, Slot.CRANKSET)


@dataclass
class PhotoNamer:
    """Names parts by photos for one store; a photo that several builds name is read once."""

    store: Store
    parts: StoreParts
    _read: dict[Path, StampReading | Fault] = field(default_factory=dict, repr=False)

    def name_part(self, slot: Slot, photo: PhotoRef, where: str) -> Entry:
        """What the part in ``slot`` is, by its photo.

        :raises DocumentError: the photo cannot be used, nothing legible is on it, or it is too unsure to build on
        """
        reading = self._reading(photo.path, where)
        named = sure_name(reading)
        teeth = sure_teeth(slot, reading)
        if named and (self._knows(named[0]) or not teeth):
            entry = CodeRef(named[0], _source(photo.path, named[0], named[1], reading))
            self._object_to_teeth(slot, photo.path, reading, named[0], where)
            return entry
        if teeth and teeth.limits:
            words = f"{_teeth_words(reading)} T"
            seen = _source(photo.path, words, reading.teeth_confidence or 0.0, reading)
            return WrittenPart(f"{photo.written} ({words})", teeth.limits, seen)
        raise _unsure(photo.path, reading, teeth, where)

    def _reading(self, path: Path, where: str) -> StampReading:
        """The photo's reading; one that is kept, unchanged and by the same codes, is not read again."""
        key = path.resolve()
        if key not in self._read:
            reader = PhotoReader(self.store, self.parts.codes())
            found = reader.read_each([path], reuse=True)
            self._read[key] = found[0] if found else reader.failures[0]
        told = self._read[key]
        if isinstance(told, Fault):
            raise DocumentError(told.reason, told.message, file=str(path), where=where, advice=told.advice)
        return told

    def _knows(self, label: str) -> bool:
        return self.store.exists() and bool(self.parts.find_parts(label))

    def _object_to_teeth(self, slot: Slot, path: Path, reading: StampReading, label: str, where: str) -> None:
        """A code whose documents state other teeth than are stamped beside it is misread, or the part is not whole."""
        if (reading.teeth_confidence or 0.0) < SURE_ENOUGH or slot not in (*_SPROCKETS, *_RINGED):
            return
        if not self.store.exists():
            return
        stated = [teeth for part in self.parts.find_parts(label) for teeth in _stated_teeth(slot, part)]
        if not stated or any(_agree(slot, reading.teeth, teeth) for teeth in stated):
            return
        says = ", ".join("-".join(str(plain(count)) for count in (teeth[0], teeth[-1])) for teeth in stated)
        message = f"it shows the code {label} and {_teeth_words(reading)} T, but the documents give {label} {says} T"
        advice = "one of the two may be misread: look at the part and write it into the build"
        raise DocumentError(Reason.UNSURE_STAMP, message, file=str(path), where=where, advice=advice)


@dataclass(frozen=True)
class StampedTeeth:
    """What tooth counts on a photo say of the part in a slot; ``trouble`` says why they do not name it."""

    limits: tuple[LimitValue, ...] = ()
    trouble: str | None = None


def sure_name(reading: StampReading) -> tuple[str, float] | None:
    """Code and variant that a photo shows beyond reasonable doubt, with their confidence.

    Where the code is sure and its variant is not, the code alone: which variant it is then stays open.
    """
    if reading.code is None:
        return None
    if reading.confidence >= SURE_ENOUGH:
        return part_label(reading.code, reading.variant), reading.confidence
    key = code_key(reading.code)
    kin = [c for c in reading.candidates if code_key(c.code) == key]
    together = sum(c.confidence for c in kin)
    if len(kin) > 1 and together >= SURE_ENOUGH:
        return reading.code, min(1.0, together)
    return None


def sure_teeth(slot: Slot, reading: StampReading) -> StampedTeeth | None:
    """Cogs or rings by the counts stamped on a part, ``None`` where they are unsure or the slot has no teeth.

    Two counts name the ends of a cassette, or the rings of a double. One count alone is one cog or ring of a set that
    may have others, so that it names nothing.
    """
    if slot not in (*_SPROCKETS, *_RINGED) or not reading.teeth or (reading.teeth_confidence or 0.0) < SURE_ENOUGH:
        return None
    words, counts = _teeth_words(reading), tuple(float(count) for count in reading.teeth)
    if len(counts) == 1:
        key = "cassette" if slot in _SPROCKETS else "rings"
        example = "[11, 12, 13]" if slot in _SPROCKETS else f"[{words}] if it is the only one"
        return StampedTeeth(
            trouble=f"it shows only {words} T, one of a set that may have others; write {key} = {example}"
        )
    rising = all(a < b for a, b in pairwise(counts))
    falling = all(a > b for a, b in pairwise(counts))
    if slot in _SPROCKETS and rising and len(counts) == 2:
        return StampedTeeth((LimitValue("cogs", low=counts[0], high=counts[1], unit="T"),))
    if slot in _RINGED and falling:
        return StampedTeeth((LimitValue("rings", values=counts, unit="T"),))
    return StampedTeeth(trouble=f"it shows {words} T, which is no notation of {'rings' if slot in _RINGED else 'cogs'}")


def _teeth_words(reading: StampReading) -> str:
    return "-".join(str(count) for count in reading.teeth)


def _stated_teeth(slot: Slot, part: Part) -> list[tuple[float, ...]]:
    key = "cogs" if slot in _SPROCKETS else "rings"
    values = [limit.value for limit in part.limits.get(key, ())]
    return [value.values for value in values if value.values]


def _agree(slot: Slot, shown: Sequence[int], stated: Sequence[float]) -> bool:
    """Whether stamped counts can be those of a document: ends of the cogs, or rings of the set."""
    if slot in _SPROCKETS and len(shown) == 2:
        return (min(shown), max(shown)) == (min(stated), max(stated))
    return set(shown) <= {int(count) for count in stated}


def _source(path: Path, words: str, confidence: float, reading: StampReading) -> SourceRef:
    snippet = f"stamped: {words}"
    return SourceRef(None, path.name, None, snippet, photo=True, reading_id=reading.reading_id, confidence=confidence)


def _unsure(path: Path, reading: StampReading, teeth: StampedTeeth | None, where: str) -> DocumentError:
    """The error for a photo that does not name the part, with what it may say."""
    if teeth and teeth.trouble:
        return DocumentError(Reason.UNSURE_STAMP, teeth.trouble, file=str(path), where=where)
    likely = [c for c in reading.candidates if c.confidence >= 0.01]
    if likely:
        listed = " or ".join(f"{part_label(c.code, c.variant)} ({c.confidence:.0%})" for c in likely)
        message = f"it may say {listed}, which is too unsure to answer by"
        return DocumentError(Reason.UNSURE_STAMP, message, file=str(path), where=where)
    message = "no model code can be read from it"
    advice = reading.advice[0].lower() + reading.advice[1:].rstrip(".") if reading.advice else None
    return DocumentError(Reason.UNSURE_STAMP, message, file=str(path), where=where, advice=advice)
