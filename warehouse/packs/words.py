"""What people said, in a pack: snapshots are records of the claims named, corrections are sound claims."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pyarrow as pa

from ...schema.claims import Claim, State
from ...schema.reasons import Reason
from ...schema.validation import Objection, validate_records
from ..claim_rows import tidy_claim
from .descriptor import parse_strict_json
from .ids import is_id_of
from .rows import RowChecker
from .texts import object_to_text, texts_in

STANDS_AS_PRINTED = frozenset({Reason.NOT_PLAUSIBLE, Reason.TOO_MANY_VALUES, Reason.NOT_IN_ORDER})
"""Objections to a value that a person may overrule, having seen it printed so."""
_FORMAL = frozenset({Reason.WRONG_FIELD_TYPE, Reason.BAD_BOX, Reason.BAD_CONDITION})
_FIELDS = frozenset(Claim.__dataclass_fields__) | {"reader"}
_LONGEST_TEXT = 4000
_FARTHEST = 1e9


def check_words(batch: pa.RecordBatch, rows: RowChecker) -> None:
    """Check the records of a batch of words; ``rows`` is the checker of the table, before this batch is counted.

    :raises DocumentError: a snapshot or a correction is no record of a claim, or not of the claim that is named
    """
    if fault := find_bad_word(batch.to_pylist()):
        rows.refuse(*fault)


def find_bad_word(words: Sequence[Mapping[str, Any]]) -> tuple[int, str, str] | None:
    """The first of some words that cannot be taken: its number, the field, and what is wrong with it."""
    snapshots, corrections, faults = [], [], []
    for at, word in enumerate(words):
        fault, snapshot, correction = _read_records(word)
        snapshots.append(snapshot)
        corrections.append(correction)
        if fault:
            faults.append((at, *fault))
    verdicts = [State(word["verdict"]) for word in words]
    objections = _objections(snapshots)
    of_corrections = _objections(corrections)
    for at, verdict in enumerate(verdicts):
        found = [o for o in objections.get(at, ()) if o.reason in _FORMAL]
        if verdict is State.CONFIRMED:
            found = [o for o in objections.get(at, ()) if o.reason not in STANDS_AS_PRINTED]
        if found:
            faults.append((at, "snapshot", _told(found[0])))
        if corrections[at] is not None:
            found = [o for o in of_corrections.get(at, ()) if o.reason not in STANDS_AS_PRINTED]
            if found:
                faults.append((at, "correction", _told(found[0])))
    return min(faults, key=lambda fault: fault[0], default=None)


def _read_records(
    word: Mapping[str, Any],
) -> tuple[tuple[str, str] | None, dict[str, Any] | None, dict[str, Any] | None]:
    """Snapshot and correction of a word; or the field that cannot be read, and why."""
    fault, snapshot = _parse_record(word["snapshot"])
    if fault or snapshot is None:
        return ("snapshot", fault or "it is missing"), None, None
    if not is_id_of(word["claim_id"], word["sha256"], tidy_claim(snapshot)):
        return ("claim_id", f"{word['claim_id']} is not the id of what the snapshot says"), snapshot, None
    if (word["correction"] is not None) != (word["verdict"] == State.CORRECTED):
        return ("correction", "only a claim that was corrected has one, and it must have one"), snapshot, None
    if word["correction"] is None:
        return None, snapshot, None
    fault, correction = _parse_record(word["correction"])
    return (("correction", fault) if fault else None), snapshot, correction


def _parse_record(text: str) -> tuple[str | None, dict[str, Any] | None]:
    try:
        told = parse_strict_json(text)
    except (ValueError, RecursionError):
        return "it is no JSON", None
    if not isinstance(told, dict) or not told.keys() <= _FIELDS:
        return "it is no record of a claim", None
    for name, value in told.items():
        wrong = _object_to_value(name, value)
        if wrong:
            return wrong, None
    return None, told


def _object_to_value(name: str, value: object) -> str | None:
    flat = value if isinstance(value, list) else list(value.values()) if isinstance(value, dict) else [value]
    if any(isinstance(inner, (list, dict)) for inner in flat) or len(flat) > 64:
        return f"its {name} is nested or too long"
    if any(isinstance(inner, (int, float)) and abs(inner) > _FARTHEST for inner in flat):
        return f"its {name} is too large"
    for text in texts_in(value):
        wrong = object_to_text(text) or ("is too long" if len(text) > _LONGEST_TEXT else None)
        if wrong:
            return f"its {name} {wrong}"
    return None


def _objections(records: Sequence[Mapping[str, Any] | None]) -> dict[int, tuple[Objection, ...]]:
    """What the schema objects to, by the number of the record."""
    numbered = [{**record, "document": str(at)} for at, record in enumerate(records) if record is not None]
    return {int(held.record["document"]): held.objections for held in validate_records(numbered).held_back}


def _told(objection: Objection) -> str:
    return f"it is no claim record: {objection.field} {objection.value!r} is {objection.reason.replace('_', ' ')}"
