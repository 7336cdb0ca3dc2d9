"""Builds → printed answers and the exit code that says how they came out."""

from __future__ import annotations

from collections.abc import Sequence

from ..schema.answers import FitAnswer, Verdict
from ..schema.errors import CogledgerError
from ..warehouse import Ledger
from ..warehouse.asking import AnyBuild, BatchLine
from .fit_text import print_fit
from .output import Shape, complain, put_json, put_line, say

_UNUSABLE, _NOT_FITTING = 2, 3


def answer_one(ledger: Ledger, build: AnyBuild | BatchLine, shape: Shape, store: str | None = None) -> int:
    """One build: its answer is the whole output, its error the error of the call."""
    outcome = next(iter(ledger.fit_many([build])))
    if isinstance(outcome, CogledgerError):
        raise outcome
    if shape is Shape.JSON:
        put_json(outcome.as_json())
    else:
        print_fit(outcome, store)
    return 0 if outcome.verdict is Verdict.FITS else _NOT_FITTING


def answer_all(ledger: Ledger, builds: Sequence[AnyBuild | BatchLine], shape: Shape, store: str | None = None) -> int:
    """Several builds: each answer, or the error object in its place, in the order given."""
    gathered: list[object] = []
    codes: set[int] = set()
    for outcome in ledger.fit_many(builds):
        codes.add(_code_of(outcome))
        record = error_as_json(outcome) if isinstance(outcome, CogledgerError) else outcome.as_json()
        if shape is Shape.JSONL:
            put_line(record)
        elif shape is Shape.JSON:
            gathered.append(record)
        elif isinstance(outcome, FitAnswer):
            print_fit(outcome, store)
            say()
        if isinstance(outcome, CogledgerError):
            complain(str(outcome))
    if shape is Shape.JSON:
        put_json({"answers": gathered})
    return next((code for code in (_UNUSABLE, 1, _NOT_FITTING) if code in codes), 0)


def _code_of(outcome: FitAnswer | CogledgerError) -> int:
    if isinstance(outcome, CogledgerError):
        return outcome.exit_code
    return 0 if outcome.verdict is Verdict.FITS else _NOT_FITTING


def error_as_json(error: CogledgerError) -> dict[str, object]:
    """The shape that every error has in JSON."""
    return {"error": error.fault.as_json()}
