"""Ids of the claims in a pack, made anew from what the claims say: an id that differs was tampered with.

A statement that a document makes several times has ids numbered from 0. Which of these equal statements has which
number is not told by their order, since a claim that a person judged keeps its own when a document is read again.
"""

from __future__ import annotations

import json

import numpy as np
import pyarrow as pa

from ...schema.claims import Claim, claim_stem, numbered_id
from .rows import RowChecker

MOST_ALIKE = 1000
"""How often one page may make the same statement."""
_SPOKEN = ("claim_id", "sha256", "page", "part_code", "variant", "part_kind", "limit", "low", "high", "values", "text",
           "condition")  # fmt: skip


class IdChecker:
    """Checks the ids of claims batch by batch; at the end that none is there twice."""

    def __init__(self) -> None:
        self._numbers: list[np.ndarray] = []

    def check(self, batch: pa.RecordBatch, rows: RowChecker) -> None:
        """Check the ids of a batch; ``rows`` is the checker of the table, before this batch is counted.

        :raises DocumentError: an id is not that of its claim
        """
        columns = [batch.column(name).to_pylist() for name in _SPOKEN]
        for at, told in enumerate(zip(*columns, strict=True)):
            claim_id, sha256, page, code, variant, kind, limit, low, high, values, text, condition = told
            claim = Claim("", page, None, None, code, variant, kind, limit, low, high, values, text, None,
                          json.loads(condition) if condition else None)  # fmt: skip
            if not is_id_of(claim_id, sha256, claim):
                rows.refuse(at, "claim_id", f"{claim_id} is not the id of what this claim says")
        digits = "".join(columns[0])
        self._numbers.append(np.frombuffer(bytes.fromhex(digits), dtype=">u8").astype(np.uint64))

    def demand_unique(self, rows: RowChecker) -> None:
        """Refuse a pack in which two claims have one id."""
        if not self._numbers:
            return
        numbers = np.sort(np.concatenate(self._numbers))
        twice = numbers[1:][numbers[1:] == numbers[:-1]]
        if len(twice):
            rows.place.refuse(f"the claim_id {int(twice[0]):016x} is there twice")


def is_id_of(claim_id: str, sha256: str, claim: Claim) -> bool:
    """Whether ``claim_id`` is an id that this claim of the document can have."""
    stem = claim_stem(sha256, claim)
    return any(numbered_id(stem, nth) == claim_id for nth in range(MOST_ALIKE))
