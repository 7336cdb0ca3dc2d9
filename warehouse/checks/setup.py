"""A bike put together: the parts in their places, and what frame and wheels offer, as values with their sources."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ...schema.builds import Bike, Slot
from ...schema.claims import plain
from ...schema.resolved import LimitValue, Part, ResolvedLimit, SourceRef
from .registry import value_words

THREADED = "threaded"
FREEHUB = "freehub"
_THREAD_WORDS = ("thread", "screw", "schraub", "gewinde", "filet", "viss", "roscad", "1.375", "1,375")


@dataclass(frozen=True)
class Setup:
    """One bike with one variant chosen for each part.

    ``written`` are the slots whose part the build writes out itself. ``hub`` is ``THREADED`` or ``FREEHUB`` where
    the build tells what the rear wheel takes. ``trouble`` says, by need, why a value cannot be used though stated.
    """

    parts: Mapping[Slot, Part]
    bike: Bike = field(default_factory=Bike)
    document: str = "build"
    hub: str | None = None
    written: frozenset[Slot] = frozenset()
    trouble: Mapping[str, str] = field(default_factory=dict)

    def part(self, slot: Slot) -> Part | None:
        """The part in a slot."""
        return self.parts.get(slot)

    @property
    def sprockets(self) -> Part | None:
        """The cassette or the freewheel."""
        return self.part(Slot.CASSETTE) or self.part(Slot.FREEWHEEL)

    @property
    def ringed(self) -> Part | None:
        """The part whose rings are turned: rings of their own before those of the crankset."""
        return self.part(Slot.RINGS) or self.part(Slot.CRANKSET)

    def bike_value(self, name: str) -> tuple[ResolvedLimit, ...]:
        """What the build says of frame and wheels, in the form of a limit; empty where it does not."""
        raw = self.hub if name == "hub" else getattr(self.bike, name)
        if raw is None:
            return ()
        key = _LIMIT_OF_BIKE.get(name, name)
        value = LimitValue(key, text=raw) if isinstance(raw, str) else LimitValue(key, low=raw, high=raw, unit="mm")
        snippet = f"{name} = {raw if isinstance(raw, str) else plain(raw)}"
        if name == "hub":
            snippet = f"freehub = {self.bike.freehub}" if self.bike.freehub else f"by what turns on it now: {raw}"
        return (said_by_build(value, snippet, self.document),)


_LIMIT_OF_BIKE = {
    "freehub": "freehub_fit",
    "firmware": "firmware_min",
    "rear_mount": "mount",
    "front_mount": "mount",
    "seat_tube_mm": "clamp_diameter",
}


def said_by_build(value: LimitValue, snippet: str, document: str) -> ResolvedLimit:
    """A value that the build itself states: certain, and without a claim."""
    return ResolvedLimit(value, 1.0, (SourceRef(None, document, None, snippet),))


def part_as_written(slot: Slot, written: str, limits: tuple[LimitValue, ...], document: str) -> Part:
    """A part that the build writes out, as a part of the store would be."""

    def snippet(value: LimitValue) -> str:
        return f"{slot} = {written}" if len(limits) == 1 else f"{slot}: {value.limit} {value_words(value)}"

    resolved = {value.limit: (said_by_build(value, snippet(value), document),) for value in limits}
    return Part(slot.kind, f"{slot.words} as written", limits=resolved)


def part_as_seen(part: Part, slot: Slot, seen: SourceRef) -> Part:
    """A part as written, of which a photo says what is written: as sure as the photo, which is the source."""
    limits = {
        key: tuple(replace(limit, confidence=seen.confidence or 0.0, sources=(seen,)) for limit in stated)
        for key, stated in part.limits.items()
    }
    return replace(part, code=f"{slot.words} on {seen.document}", limits=limits)


def named_by(part: Part, seen: SourceRef) -> Part:
    """A part of the store that a photo names: no limit is surer than the photo, which stands among the sources.

    What documents state against a limit stays as sure as it was, so that no doubt is lost.
    """
    sure = seen.confidence or 0.0
    limits = {
        key: tuple(
            replace(limit, confidence=min(limit.confidence, sure), sources=(*limit.sources, seen)) for limit in stated
        )
        for key, stated in part.limits.items()
    }
    return replace(part, limits=limits)


def hub_of(bike: Bike, now: Mapping[Slot, object]) -> str | None:
    """What the rear wheel takes, by the build's words for it or else by what turns on it now."""
    if bike.freehub:
        words = bike.freehub.casefold()
        threaded = any(word in words for word in _THREAD_WORDS) or ("freewheel" in words and "body" not in words)
        return THREADED if threaded else FREEHUB
    if Slot.FREEWHEEL in now:
        return THREADED
    return FREEHUB if Slot.CASSETTE in now else None
