"""Answers to "does it fit?": frozen records and the JSON that programs read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from .claims import plain
from .resolved import SourceRef


class Verdict(StrEnum):
    """What can be said. Unsure is an answer."""

    FITS = "fits"
    DOES_NOT_FIT = "does_not_fit"
    CANNOT_TELL = "cannot_tell"


Bounds = tuple[float | None, float | None]
Quantity = float | str | None
Allowed = Bounds | tuple[float, ...] | str | None


@dataclass(frozen=True)
class CheckResult:
    """One check of one part against the rest of the bike.

    ``needed`` is what the bike asks for and ``allowed`` what the part's sources state: bounds (``allowed_form``
    ``range``), alternatives (``one_of``) or words (``text``). ``margin`` is in ``unit`` and negative by the amount
    that misses. ``sources`` are the claims that the result rests on and ``confidence`` that of the least sure of them.
    ``ask`` is what to find out where the verdict is ``cannot_tell``.
    """

    check: str
    parts: tuple[str, ...]
    verdict: Verdict
    needed: Quantity = None
    allowed: Allowed = None
    allowed_form: str | None = None
    margin: float | None = None
    unit: str | None = None
    working: str = ""
    confidence: float | None = None
    sources: tuple[SourceRef, ...] = ()
    consequence: str | None = None
    ask: str | None = None
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = field(default=(), repr=False)

    def as_json(self) -> dict[str, Any]:
        """The object that stands in an answer's ``checks``."""
        return {
            "check": self.check,
            "parts": list(self.parts),
            "verdict": str(self.verdict),
            "needed": _json_number(self.needed),
            "allowed": _json_allowed(self.allowed),
            "allowed_form": self.allowed_form,
            "margin": _json_number(self.margin),
            "unit": self.unit,
            "working": self.working,
            "confidence": None if self.confidence is None else round(self.confidence, 4),
            "sources": [source.as_json() for source in self.sources],
            "consequence": self.consequence,
            "ask": self.ask,
            "notes": list(self.notes),
        }


@dataclass(frozen=True)
class NotChecked:
    """A check that one side is not known for; it leaves the verdict alone."""

    check: str
    ask: str
    parts: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The object that stands in an answer's ``not_checked``."""
        return {"check": self.check, "ask": self.ask, "parts": list(self.parts)}


@dataclass(frozen=True)
class VariantAnswer:
    """The verdict for one combination of the variants that the build leaves open, by slot."""

    parts: Mapping[str, str]
    verdict: Verdict

    def as_json(self) -> dict[str, Any]:
        """The object that stands in an answer's ``variants``."""
        return {"parts": dict(self.parts), "verdict": str(self.verdict)}


@dataclass(frozen=True)
class FitAnswer:
    """The whole answer for one build: the bike after the wish.

    ``now_verdict`` judges the bike as it is by the same checks and counts for nothing; ``notes`` say what was taken
    for granted or left out; ``questions`` are what to find out, the ones that the verdict hangs on first.
    """

    name: str
    verdict: Verdict
    variants: tuple[VariantAnswer, ...]
    checks: tuple[CheckResult, ...]
    not_checked: tuple[NotChecked, ...]
    gears: Mapping[str, Any]
    cautions: tuple[str, ...]
    file: str | None = None
    now_verdict: Verdict | None = None
    notes: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The document that ``fit --json`` prints."""
        return {
            "name": self.name,
            "verdict": str(self.verdict),
            "variants": [variant.as_json() for variant in self.variants],
            "checks": [result.as_json() for result in self.checks],
            "not_checked": [item.as_json() for item in self.not_checked],
            "gears": dict(self.gears),
            "cautions": list(self.cautions),
            "file": self.file,
            "now_verdict": str(self.now_verdict) if self.now_verdict else None,
            "notes": list(self.notes),
            "questions": list(self.questions),
        }


def worst(verdicts: list[Verdict]) -> Verdict:
    """The verdict of one bike from those of its checks: a misfit decides, then a doubt; no check at all is a doubt."""
    if Verdict.DOES_NOT_FIT in verdicts:
        return Verdict.DOES_NOT_FIT
    if Verdict.CANNOT_TELL in verdicts or not verdicts:
        return Verdict.CANNOT_TELL
    return Verdict.FITS


def agreed(verdicts: list[Verdict]) -> Verdict:
    """The verdict over every bike that the build can mean: what all say, or a doubt."""
    return verdicts[0] if len(set(verdicts)) == 1 else Verdict.CANNOT_TELL


def _json_number(value: Quantity) -> float | int | str | None:
    return value if value is None or isinstance(value, str) else plain(round(value, 4))


def _json_allowed(allowed: Allowed) -> list[Any] | str | None:
    if allowed is None or isinstance(allowed, str):
        return allowed
    return [_json_number(value) for value in allowed]
