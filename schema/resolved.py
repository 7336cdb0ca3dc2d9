"""Resolved limits: for each part, variant, limit and condition the value to go by, with the claims behind it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from .claims import Condition, State, plain
from .limits import PartKind


@dataclass(frozen=True)
class SourceRef:
    """Where a value comes from: one claim in one document, the build file that writes it out, or a photo of the part.

    The latter two have no ``claim_id``. A photo has the ``confidence`` of its reading, and ``reading_id`` where a store
    keeps it.
    """

    claim_id: str | None
    document: str
    page: int | None
    snippet: str
    state: State = State.READ
    photo: bool = False
    reading_id: str | None = None
    confidence: float | None = None

    def as_json(self) -> dict[str, Any]:
        """The object that stands in an answer's ``sources``; a photo has ``reading_id`` and ``confidence`` besides."""
        told = {"claim_id": self.claim_id, "document": self.document, "page": self.page, "snippet": self.snippet,
                "state": str(self.state)}  # fmt: skip
        if not self.photo:
            return told
        return told | {"reading_id": self.reading_id, "confidence": round(self.confidence or 0.0, 4)}


@dataclass(frozen=True)
class LimitValue:
    """One value of one limit; the same fields and forms as in a claim."""

    limit: str
    low: float | None = None
    high: float | None = None
    values: tuple[float, ...] | None = None
    text: str | None = None
    unit: str | None = None
    condition: Condition | None = None

    def as_json(self) -> dict[str, Any]:
        """The value as JSON shows it."""
        return {
            "limit": self.limit, "low": plain(self.low), "high": plain(self.high),
            "values": [plain(v) for v in self.values] if self.values is not None else None,
            "text": self.text, "unit": self.unit, "condition": dict(self.condition) if self.condition else None,
        }  # fmt: skip


@dataclass(frozen=True)
class ResolvedLimit:
    """The value to go by, how sure it is, which claims it rests on, and which other values documents state."""

    value: LimitValue
    confidence: float
    sources: tuple[SourceRef, ...]
    conflicts: tuple[ResolvedLimit, ...] = ()


@dataclass(frozen=True)
class Part:
    """One variant of one part with its resolved limits.

    A key holds several limits where documents state different values under different conditions. ``variant`` is
    ``None`` for a part that comes in one version only or whose version is not known.
    """

    kind: PartKind
    code: str
    variant: str | None = None
    maker: str | None = None
    limits: Mapping[str, tuple[ResolvedLimit, ...]] = field(default_factory=dict)

    def label(self) -> str:
        """Code and variant as shown to people."""
        return f"{self.code} {self.variant}" if self.variant else self.code


class PartsSource(Protocol):
    """What answers need from a store."""

    def find_parts(self, written: str, kind: PartKind | None = None) -> tuple[Part, ...]:
        """Every variant that ``written`` (a code, or a code and a variant) can mean; empty where nothing is known."""
        ...

    def near_codes(self, written: str, limit: int = 3) -> tuple[str, ...]:
        """Known codes that look like ``written``, nearest first."""
        ...
