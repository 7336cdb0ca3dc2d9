"""What a search found → the shape that was asked for."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ..schema.resolved import Part
from ..warehouse import FoundClaims, FoundParts, Ledger
from ..warehouse.settled import part_as_json
from .flat import CLAIM_COLUMNS, claim_types, flat_claim, flat_part, limit_columns, limit_types
from .output import Shape, put_csv, put_json, put_line, put_parquet
from .printing import print_claims, print_limits, print_nothing_found, tell_corrected, tell_more, tell_successors


def put_parts(found: FoundParts, words: Sequence[str], ledger: Ledger, shape: Shape, parquet: Path | None) -> None:
    """The parts found; that there are none, what was taken for another word, and what was left out is told too.

    In JSON that stands beside the parts; otherwise it goes to standard error, so that tables hold parts only.
    """
    near = ledger.near_codes(" ".join(words)) if words and not found else ()
    if not found:
        print_nothing_found(words, near)
    tell_corrected(found.corrected)
    if shape is Shape.JSON:
        told = {"parts": [_part_told(found, part) for part in found], "did_you_mean": list(near)}
        put_json(told | {"corrected": dict(found.corrected), "more": found.more})
    elif shape is Shape.JSONL:
        for part in found:
            put_line(_part_told(found, part))
    elif shape is Shape.CSV:
        put_csv([flat_part(part) for part in found], limit_columns(found.parts))
    elif parquet:
        put_parquet([flat_part(part) for part in found], limit_types(found.parts), parquet)
    elif found:
        print_limits(found.parts)
        tell_successors(found)
    tell_more(found.more, "parts and variants")


def _part_told(found: FoundParts, part: Part) -> dict[str, Any]:
    return part_as_json(part) | {"replaced_by": list(found.successors_of(part))}


def put_claims(found: FoundClaims, shape: Shape, parquet: Path | None) -> None:
    """The claims found; how many were left out goes to standard error, and in JSON beside them."""
    if shape is Shape.JSON:
        put_json({"claims": [told.as_json() for told in found], "more": found.more})
    elif shape is Shape.JSONL:
        for told in found:
            put_line(told.as_json())
    elif shape is Shape.CSV:
        put_csv([flat_claim(told) for told in found], CLAIM_COLUMNS)
    elif parquet:
        put_parquet([flat_claim(told) for told in found], claim_types(), parquet)
    else:
        print_claims(found)
    tell_more(found.more, "claims")
