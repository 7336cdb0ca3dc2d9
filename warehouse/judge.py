"""A person's word on a claim: confirm, correct, reject. Kept for good, and never overridden by reading again."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from ..schema.claims import State
from ..schema.errors import CallError
from ..schema.limits import LIMITS, Form
from ..schema.reasons import Reason
from .claim_rows import dump
from .register import ToldClaim, find_claim, restore_judged
from .resolve import MOST_CONFIDENCE
from .settled import settle
from .store import Connection, Store
from .who import login_name

if TYPE_CHECKING:
    from ..schema.validation import Objection

_STANDS_AS_PRINTED = frozenset({Reason.NOT_PLAUSIBLE, Reason.TOO_MANY_VALUES, Reason.NOT_IN_ORDER})
"""Objections to a number that may nevertheless be printed so: a person can say that it is."""


@dataclass(frozen=True)
class Correction:
    """What a person says a claim should say; ``None`` leaves a field as it was read."""

    low: float | None = None
    high: float | None = None
    values: tuple[float, ...] | None = None
    text: str | None = None
    code: str | None = None
    variant: str | None = None


def confirm_claim(store: Store, claim_id: str, by: str | None = None, note: str | None = None) -> ToldClaim:
    """A person has looked at the page and the claim is right; the claim as it stands then."""
    with store.writing() as connection:
        told = find_claim(connection, claim_id)
        _refuse(
            told,
            [o for o in _objections(told.record) if o.reason not in _STANDS_AS_PRINTED],
            "it cannot be confirmed as it stands",
        )
        kept = told.record if told.state is State.CORRECTED else None
        verdict = State.CORRECTED if kept else State.CONFIRMED
        return _judge(connection, told, verdict, kept, by, note)


def reject_claim(store: Store, claim_id: str, by: str | None = None, note: str | None = None) -> ToldClaim:
    """A person has looked at the page and it does not say so: never use the claim; the claim as it stands then."""
    with store.writing() as connection:
        return _judge(connection, find_claim(connection, claim_id), State.REJECTED, None, by, note)


def correct_claim(
    store: Store,
    claim_id: str,
    correction: Correction,
    by: str | None = None,
    note: str | None = None,
    as_printed: bool = False,
) -> ToldClaim:
    """A person has looked at the page and it says something else; the claim as it stands then.

    :param as_printed: take a number outside the plausible bounds, because it is printed so
    :raises CallError: the corrected claim would be no valid claim, or says what it said before
    """
    with store.writing() as connection:
        told = find_claim(connection, claim_id)
        record = _corrected(told, correction)
        if record == told.record | {"confidence": record["confidence"]}:
            message = f"claim {told.claim_id} already says so"
            raise CallError(Reason.BAD_CALL, message, advice=f"if it is right: cogledger confirm {told.claim_id}")
        open_ones = [o for o in _objections(record) if not (as_printed and o.reason in _STANDS_AS_PRINTED)]
        advice = None
        if open_ones and all(o.reason in _STANDS_AS_PRINTED for o in open_ones):
            advice = "if the page does say so, repeat the call with --as-printed"
        _refuse(told, open_ones, "the correction is not valid", advice)
        return _judge(connection, told, State.CORRECTED, record, by, note)


def _objections(record: dict[str, Any]) -> list[Objection]:
    from ..schema.validation import validate_records

    return [objection for held in validate_records([record]).held_back for objection in held.objections]


def _corrected(told: ToldClaim, correction: Correction) -> dict[str, Any]:
    record = dict(told.record)
    low, high = correction.low, correction.high
    row = LIMITS.get(str(record.get("limit")))
    if row and row.form is Form.EXACT:
        low, high = (low if low is not None else high), (high if high is not None else low)
    given = {
        "low": low, "high": high, "text": correction.text, "part_code": correction.code,
        "variant": correction.variant, "values": list(correction.values) if correction.values else None,
    }  # fmt: skip
    changes = {name: value for name, value in given.items() if value is not None}
    if not changes:
        raise CallError(Reason.BAD_CALL, "a correction needs a value", advice="give --low, --high, --values or --text")
    record |= changes
    record["variant"] = record.get("variant") or None
    record["unit"] = str(row.unit) if row and row.unit else None
    record["confidence"] = MOST_CONFIDENCE
    return record


def _refuse(told: ToldClaim, objections: Sequence[Objection], head: str, advice: str | None = None) -> None:
    if not objections:
        return
    what = "; ".join(f"{o.field} {o.value!r} is {o.reason.replace('_', ' ')}" for o in objections)
    advice = advice or f"look at the page (cogledger evidence {told.claim_id} --out page.png) and correct the claim"
    raise CallError(Reason.BAD_CALL, f"{head}: {what}", where=f"claim {told.claim_id}", advice=advice)


def _judge(
    connection: Connection,
    told: ToldClaim,
    verdict: State,
    correction: dict[str, Any] | None,
    by: str | None,
    note: str | None,
) -> ToldClaim:
    judgement = {
        "judgement_id": uuid.uuid4().hex, "claim_id": told.claim_id, "sha256": told.document_sha256,
        "verdict": str(verdict), "snapshot": dump(told.reading),
        "correction": dump(correction) if correction else None, "judged_by": by or login_name(),
        "judged_at": datetime.now(UTC).replace(tzinfo=None), "note": note, "origin": None,
    }  # fmt: skip
    columns, marks = ", ".join(judgement), ", ".join("?" * len(judgement))
    connection.execute(f"insert into kept.judgements ({columns}) values ({marks})", list(judgement.values()))
    touched = restore_judged(connection, [told.document_sha256])
    settle(connection, touched)
    return find_claim(connection, told.claim_id)
