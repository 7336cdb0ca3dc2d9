"""The claim record: what one place in one document states about one limit of one part."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from .parts import code_key, variant_key

_spell = json.JSONEncoder(ensure_ascii=False).encode

ConditionValue = float | int | str
Condition = Mapping[str, ConditionValue]


class State(StrEnum):
    """What is known of a claim beyond its reading."""

    READ = "read"
    CONFIRMED = "confirmed"
    CORRECTED = "corrected"
    REJECTED = "rejected"
    HELD_BACK = "held_back"


@dataclass(frozen=True)
class Box:
    """A rectangle on a page as it is shown, in points from its top left corner (pixels for an image)."""

    x0: float
    top: float
    x1: float
    bottom: float

    def __post_init__(self) -> None:
        if self.x1 < self.x0 or self.bottom < self.top:
            raise ValueError(f"box turned inside out: {self}")

    def as_list(self) -> list[float]:
        """``[x0, top, x1, bottom]``, rounded to a tenth of a point."""
        return [round(v, 1) for v in (self.x0, self.top, self.x1, self.bottom)]


@dataclass(frozen=True)
class Claim:
    """One claim; the fields are those of docs/vocabulary.md, and nothing here checks them (see validation)."""

    document: str
    page: int
    bbox: Box | None
    maker: str | None
    part_code: str
    variant: str | None
    part_kind: str
    limit: str
    low: float | None = None
    high: float | None = None
    values: tuple[float, ...] | None = None
    text: str | None = None
    unit: str | None = None
    condition: Condition | None = None
    snippet: str = ""
    method: str = ""
    confidence: float = 0.0

    def as_json(self) -> dict[str, Any]:
        """The claim as one JSON object, whole numbers without a decimal point."""
        record: dict[str, Any] = {name: getattr(self, name) for name in self.__dataclass_fields__}
        record["bbox"] = self.bbox.as_list() if self.bbox else None
        record["low"], record["high"] = plain(self.low), plain(self.high)
        record["values"] = [plain(v) for v in self.values] if self.values is not None else None
        record["condition"] = dict(self.condition) if self.condition else None
        record["confidence"] = round(self.confidence, 4)
        return record

    def value_key(self) -> str:
        """The value, unit apart, as a string that is equal for equal values."""
        parts = [_norm(self.low), _norm(self.high), [_norm(v) for v in self.values or ()], (self.text or "").strip()]
        return _spell(parts)

    def condition_key(self) -> str:
        """The condition as a string that is equal for equal conditions; ``""`` where there is none."""
        if not self.condition:
            return ""
        return _spell({k: _norm(v) for k, v in sorted(self.condition.items())})

    def place_key(self) -> tuple[int, str, str, str, str, str]:
        """Page, part, variant, kind, limit and condition: what a claim speaks of, without what it says."""
        return (self.page, code_key(self.part_code), variant_key(self.variant), self.part_kind, self.limit,
                self.condition_key())  # fmt: skip


def plain(number: float | None) -> float | int | None:
    """A number as JSON shows it: ``37.0`` → ``37``."""
    return int(number) if number is not None and float(number).is_integer() else number


def _norm(value: object) -> object:
    if isinstance(value, bool) or value is None:
        return value
    return round(float(value), 3) if isinstance(value, (int, float)) else str(value)


def claim_ids(document_sha256: str, claims: list[Claim]) -> list[str]:
    """A stable id for each claim of one document: 16 hexadecimal digits.

    The id depends on the document's contents, the page, the part, the limit, the value and the condition, and not on
    the box or the method, so that it survives a better reader. The same statement made twice on one page is numbered
    in reading order.
    """
    seen: dict[str, int] = {}
    ids = []
    for claim in claims:
        stem = claim_stem(document_sha256, claim)
        nth = seen[stem] = seen.get(stem, -1) + 1
        ids.append(numbered_id(stem, nth))
    return ids


def claim_stem(document_sha256: str, claim: Claim) -> str:
    """What the ids of a document's claims that state the same are made from."""
    return _spell([document_sha256, *claim.place_key(), claim.value_key()])


def numbered_id(stem: str, nth: int) -> str:
    """The id of the ``nth`` claim, from 0, with this stem."""
    return hashlib.sha256(f"{stem}#{nth}".encode()).hexdigest()[:16]


def claim_from_json(record: Mapping[str, Any]) -> Claim:
    """A claim from its JSON object; unknown keys are ignored, types are taken on trust (see validation)."""
    known = {name: record[name] for name in Claim.__dataclass_fields__ if name in record}
    box = known.get("bbox")
    known["bbox"] = Box(*box) if box else None
    if known.get("values") is not None:
        known["values"] = tuple(known["values"])
    return Claim(**known)
