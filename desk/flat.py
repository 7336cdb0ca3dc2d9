"""Parts and claims → flat rows for CSV and Parquet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..schema.limits import LIMITS
from ..schema.resolved import Part, ResolvedLimit
from ..warehouse.register import ToldClaim
from ..warehouse.wording import bare_value

PART_COLUMNS = ("part_kind", "part_code", "variant", "maker")
CLAIM_COLUMNS = (
    "claim_id", "state", "document", "page", "bbox", "maker", "part_code", "variant", "part_kind", "limit", "low",
    "high", "values", "text", "unit", "condition", "snippet", "method", "confidence", "reasons", "judged_by",
    "judged_at", "note", "document_sha256",
)  # fmt: skip


def limit_columns(parts: Sequence[Part]) -> list[str]:
    """The columns of the flat limits table: for every limit that occurs its value, confidence and source."""
    occurring = {key for part in parts for key in part.limits}
    return [*PART_COLUMNS] + [
        name for key in LIMITS if key in occurring for name in (key, f"{key}_confidence", f"{key}_source")
    ]


def flat_part(part: Part) -> dict[str, Any]:
    """One row of the limits table; where a limit has several values, each under a condition, they are set apart by ;"""
    row: dict[str, Any] = {
        "part_kind": str(part.kind), "part_code": part.code, "variant": part.variant, "maker": part.maker,
    }  # fmt: skip
    for key, limits in part.limits.items():
        row[key] = "; ".join(_flat_value(limit) for limit in limits)
        row[f"{key}_confidence"] = round(min(limit.confidence for limit in limits), 4)
        row[f"{key}_source"] = "; ".join(source_words(limit) for limit in limits)
    return row


def _flat_value(limit: ResolvedLimit) -> str:
    condition = " and ".join(f"{k}={v:g}" if isinstance(v, (int, float)) else f"{k}={v}"
                             for k, v in sorted((limit.value.condition or {}).items()))  # fmt: skip
    return bare_value(limit.value) + (f" if {condition}" if condition else "")


def source_words(limit: ResolvedLimit) -> str:
    """Where a limit comes from: ``spec.pdf p.2``, and how many further claims say the same."""
    first = limit.sources[0]
    page = f" p.{first.page}" if first.page else ""
    more = f" +{len(limit.sources) - 1}" if len(limit.sources) > 1 else ""
    return f"{first.document}{page}{more}"


def flat_claim(told: ToldClaim) -> dict[str, Any]:
    """One claim as a flat row; reasons as words."""
    row = told.as_json()
    row["reasons"] = " ".join(reason["reason"] for reason in told.reasons) or None
    return row


def limit_types(parts: Sequence[Part]) -> dict[str, Any]:
    """The polars type of each column of the flat limits table."""
    import polars as pl

    return {name: pl.Float64 if name.endswith("_confidence") else pl.String for name in limit_columns(parts)}


def claim_types() -> dict[str, Any]:
    """The polars type of each column of the flat claims table."""
    import polars as pl

    numbers = {"page": pl.Int64, "low": pl.Float64, "high": pl.Float64, "confidence": pl.Float64,
               "values": pl.List(pl.Float64), "bbox": pl.List(pl.Float64)}  # fmt: skip
    return {name: numbers.get(name, pl.String) for name in CLAIM_COLUMNS}
