"""Rings, cogs and wheel → gears: ratios, lengths, speeds, steps, twins, pairs in which the chain goes slack."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor
from typing import Any

from ..schema.claims import plain
from ..schema.tyres import Tyre, parse_tyre

__all__ = ["Gear", "GearSettings", "Gearing", "gearing", "parse_tyre", "slack_pairs", "slack_sentence"]

_INCH_MM = 25.4


@dataclass(frozen=True)
class GearSettings:
    """What counts as the same gear, as a coarse step, as too slanted a chain; common practice, no source."""

    same_within: float = 0.03
    coarse_step: float = 0.15
    slanted_cogs: int = 2
    cadences: tuple[int, ...] = (60, 90)


@dataclass(frozen=True)
class Gear:
    """One pair of ring and cog. ``ratio`` is wheel turns per crank turn."""

    ring: float
    cog: float

    @property
    def ratio(self) -> float:
        """Ring over cog, by definition."""
        return self.ring / self.cog

    def development_m(self, tyre: Tyre) -> float:
        """Metres per crank turn: ratio × π × D."""
        return self.ratio * tyre.circumference_m

    def inches(self, tyre: Tyre) -> float:
        """Gear inches: ratio × D in inches."""
        return self.ratio * tyre.diameter_mm / _INCH_MM

    def speed_kmh(self, tyre: Tyre, cadence: float) -> float:
        """Kilometres per hour at ``cadence`` crank turns a minute."""
        return self.development_m(tyre) * cadence * 60 / 1000


@dataclass(frozen=True)
class Gearing:
    """Every gear of a bike. ``complete`` is false where only the end cogs are known."""

    rings: tuple[float, ...]
    cogs: tuple[float, ...]
    tyre: Tyre | None = None
    complete: bool = True
    capacity: float | None = None
    settings: GearSettings = GearSettings()

    @property
    def gears(self) -> tuple[Gear, ...]:
        """Every pair, biggest ring first, smallest cog first."""
        return tuple(Gear(ring, cog) for ring in self.rings for cog in self.cogs)

    @property
    def lowest(self) -> Gear:
        """Smallest ring with the largest cog."""
        return Gear(self.rings[-1], self.cogs[-1])

    @property
    def highest(self) -> Gear:
        """Biggest ring with the smallest cog."""
        return Gear(self.rings[0], self.cogs[0])

    def steps(self) -> list[tuple[float, float, float]]:
        """Smaller cog, larger cog and larger/smaller - 1 for all neighbours; none where cogs are missing."""
        if not self.complete:
            return []
        return [(a, b, b / a - 1) for a, b in zip(self.cogs, self.cogs[1:], strict=False)]

    def duplicates(self) -> list[tuple[Gear, Gear, float]]:
        """For every gear of a ring the nearest gear of each smaller ring, where they are within ``same_within``."""
        found = []
        if not self.complete:
            return found
        for n, big in enumerate(self.rings):
            for small in self.rings[n + 1 :]:
                for cog in self.cogs:
                    gear = Gear(small, cog)
                    twin = min((Gear(big, other) for other in self.cogs), key=lambda g: _apart(g, gear))
                    if _apart(twin, gear) <= self.settings.same_within:
                        found.append((gear, twin, _apart(twin, gear)))
        return found

    def is_slanted(self, gear: Gear) -> bool:
        """Big ring with the largest cogs or small ring with the smallest: the chain runs aslant. Common practice."""
        if len(self.rings) < 2 or not self.complete:
            return False
        count = self.settings.slanted_cogs
        return (gear.ring == self.rings[0] and gear.cog in self.cogs[-count:]) or (
            gear.ring == self.rings[-1] and gear.cog in self.cogs[:count]
        )

    def as_json(self) -> dict[str, Any]:
        """The gears as an answer shows them; lengths only where the wheel is known, four decimals, rounded half up."""
        known = self.capacity is not None and self.complete
        slack = slack_pairs(self.rings, self.cogs, self.capacity or 0) if known else None
        shown: dict[str, Any] = {
            "lowest": _rounded(self.lowest.ratio),
            "highest": _rounded(self.highest.ratio),
            "range": _rounded(self.highest.ratio / self.lowest.ratio),
            "rings": [plain(ring) for ring in self.rings],
            "cogs": [plain(cog) for cog in self.cogs],
            "complete": self.complete,
        }
        if self.tyre:
            shown |= self._lengths(self.tyre)
        shown["table"] = [self._row(gear, slack) for gear in self.gears]
        shown["steps"] = [
            {"from": plain(a), "to": plain(b), "percent": _rounded(100 * step),
             "coarse": step > self.settings.coarse_step}
            for a, b, step in self.steps()
        ]  # fmt: skip
        shown["duplicates"] = [
            {"gears": [_pair(first), _pair(second)], "percent": _rounded(100 * apart)}
            for first, second, apart in self.duplicates()
        ]
        shown["slack"] = None if slack is None else [_pair(gear) for gear in slack]
        return shown

    def _lengths(self, tyre: Tyre) -> dict[str, Any]:
        return {
            "tyre": {
                "diameter_mm": _rounded(tyre.diameter_mm),
                "circumference_m": _rounded(tyre.circumference_m),
                "note": "bead seat + 2 x width; a loaded tyre rolls 1 to 2 % less",
            },
            "lowest_development_m": _rounded(self.lowest.development_m(tyre)),
            "highest_development_m": _rounded(self.highest.development_m(tyre)),
            "lowest_gear_inches": _rounded(self.lowest.inches(tyre)),
            "highest_gear_inches": _rounded(self.highest.inches(tyre)),
        }

    def _row(self, gear: Gear, slack: Sequence[Gear] | None) -> dict[str, Any]:
        row: dict[str, Any] = {**_pair(gear), "ratio": _rounded(gear.ratio)}
        if self.tyre:
            row["development_m"] = _rounded(gear.development_m(self.tyre))
            row["gear_inches"] = _rounded(gear.inches(self.tyre))
            row["speed_kmh"] = {
                str(cadence): _rounded(gear.speed_kmh(self.tyre, cadence)) for cadence in self.settings.cadences
            }
        if self.complete:
            row["cross_chained"] = self.is_slanted(gear)
        if slack is not None:
            row["slack"] = gear in slack
        return row


def gearing(
    rings: Sequence[float],
    cogs: Sequence[float],
    *,
    tyre: Tyre | None = None,
    complete: bool = True,
    capacity: float | None = None,
) -> Gearing:
    """The gears of rings and cogs in any order; ``ValueError`` where either is empty or not above zero."""
    if not rings or not cogs or min(*rings, *cogs) <= 0:
        raise ValueError("gears need at least one ring and one cog, all above zero")
    return Gearing(tuple(sorted(rings, reverse=True)), tuple(sorted(cogs)), tyre, complete, capacity)


def slack_pairs(
    rings: Sequence[float], cogs: Sequence[float], capacity: float, extra_links: float = 0
) -> tuple[Gear, ...]:
    """The pairs in which the chain hangs slack: used(r, k) = (B - r) + (L - k) + 2 × extra links > capacity.

    For a chain cut to biggest pair plus two, ``extra_links`` more than that. Derived from the chain length formula
    without its last term, in which one tooth is half a link.
    """
    big, largest = max(rings), max(cogs)
    return tuple(
        Gear(ring, cog)
        for ring in sorted(rings, reverse=True)
        for cog in sorted(cogs)
        if (big - ring) + (largest - cog) + 2 * extra_links > capacity
    )


def slack_sentence(pairs: Sequence[Gear]) -> str:
    """The slack pairs in words: ``with the 34, cogs 11 to 14``; empty where none is slack."""
    by_ring: dict[float, list[float]] = {}
    for gear in pairs:
        by_ring.setdefault(gear.ring, []).append(gear.cog)
    spans = (f"with the {plain(ring)}, {_cogs(sorted(cogs))}" for ring, cogs in by_ring.items())
    return "; ".join(spans)


def _cogs(cogs: list[float]) -> str:
    first, last = plain(cogs[0]), plain(cogs[-1])
    return f"cog {first}" if first == last else f"cogs {first} to {last}"


def _apart(one: Gear, other: Gear) -> float:
    return max(one.ratio, other.ratio) / min(one.ratio, other.ratio) - 1


def _pair(gear: Gear) -> dict[str, Any]:
    return {"ring": plain(gear.ring), "cog": plain(gear.cog)}


def _rounded(number: float) -> float:
    """Four decimals, half up."""
    return floor(number * 10_000 + 0.5 + 1e-9) / 10_000
