"""Answers → text for people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

from ..schema.resolved import Part, ResolvedLimit
from ..warehouse.ingest import IngestReport
from ..warehouse.photos import stamp_as_json
from ..warehouse.register import ToldClaim
from ..warehouse.search import FoundParts
from ..warehouse.wording import NOT_READ, show_condition, show_value
from .flat import source_words
from .output import complain, for_store, say, say_all, screen_width
from .stamp_text import print_brief_stamps
from .tables import lay_out

_HEAD = "bold"
_NAMED = 8
"""So many names are listed where many may have been meant."""


def print_report(report: IngestReport, store: str | None = None) -> None:
    """The summary of a call of reading; failures one by one on standard error. Commands named are for ``store``."""
    complain_of(report)
    new = len(report.documents)
    files = "1 file" if report.files == 1 else f"{report.files} files"
    say(f"{files}: {new} read, {report.unchanged} unchanged, {len(report.failures)} not usable", _HEAD)
    say(f"{report.total('pages')} pages, {report.total('claims')} claims, {report.total('held_back')} held back")
    if report.photos:
        say(f"{len(report.photos)} {'photo' if len(report.photos) == 1 else 'photos'} of parts:")
        print_brief_stamps([stamp_as_json(reading) for reading in report.photos])
        say(f"to see them again, with their ids: cogledger photos{for_store(store)}")
    if report.failed_pages:
        say(f"{len(report.failed_pages)} pages could not be read; they are named above")
    if report.interrupted:
        say("interrupted: the documents counted here are kept; repeat the call to read the rest")
    if report.total("held_back"):
        say(f"to see what was held back and why: cogledger claims{for_store(store)} --state held_back")
    if report.total("claims"):
        say(f"to see the limits: cogledger limits{for_store(store)}")


def complain_of(report: IngestReport) -> None:
    """Every file and page that could not be used, with its reason, on standard error."""
    for fault in (*report.failures, *report.failed_pages):
        complain(fault.sentence())


def print_limits(parts: Sequence[Part]) -> None:
    """The limits table, one block for each kind of part."""
    for kind, of_kind in groupby(parts, key=lambda part: part.kind):
        say(str(kind).replace("_", " ").upper(), _HEAD)
        say_all(lay_out(("part", "limit", "value", "sure", "source"), _limit_rows(list(of_kind)), screen_width()))
        say()
    variants = "part or variant" if len(parts) == 1 else "parts and variants"
    say(f"{len(parts)} {variants}")


def _limit_rows(parts: Sequence[Part]) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for part in parts:
        name = " ".join(word for word in (part.code, part.variant) if word)
        name += f" ({part.maker})" if part.maker else ""
        for key, limits in part.limits.items():
            for limit in limits:
                rows.append((name, key.replace("_", " "), *_limit_cells(limit)))
                name = ""
                for conflict in limit.conflicts:
                    value, sure, source = _limit_cells(conflict)
                    rows.append(("", "", f"elsewhere: {value}", sure, source))
    return rows


def _limit_cells(limit: ResolvedLimit) -> tuple[str, str, str]:
    return show_value(limit.value) + show_condition(limit.value), f"{limit.confidence:.0%}", source_words(limit)


def print_nothing_found(words: Sequence[str], near: Sequence[str]) -> None:
    """That a search found nothing, and what may have been meant, on standard error."""
    complain(f"nothing in the store fits {' '.join(words)!r}" if words else "the store holds no such limits yet")
    if near:
        complain(f"did you mean {', '.join(near)}?")


def tell_corrected(corrected: Mapping[str, Sequence[str]]) -> None:
    """Which words nothing is called, and what was shown instead, on standard error."""
    for word, names in corrected.items():
        shown = (
            f"{', '.join(names[:_NAMED])} and {len(names) - _NAMED} more" if len(names) > _NAMED else " or ".join(names)
        )
        complain(f"nothing is called {word}; shown for {shown}")


def tell_successors(found: FoundParts) -> None:
    """Which of the parts shown are replaced by others, one line for each code."""
    told = {(part.code, found.successors_of(part)): None for part in found if found.successors_of(part)}
    for code, by in told:
        say(f"{code} is replaced by {', '.join(by)}")


def tell_more(more: int, what: str) -> None:
    """How many rows were left out, on standard error."""
    if more:
        complain(f"{more} more {what} not shown; narrow the search, or ask for more with --most")


def print_claims(claims: Sequence[ToldClaim]) -> None:
    """Claims as a table; what is held back with its reasons."""
    rows = []
    for told in claims:
        claim = told.claim
        part = " ".join(word for word in (claim.part_code, claim.variant) if word)
        reasons = ", ".join(reason["reason"].replace("_", " ") for reason in told.reasons)
        state = str(told.state).replace("_", " ") + (f": {reasons}" if reasons else "")
        value = show_value(claim) + show_condition(claim)
        if value == NOT_READ and claim.snippet:
            value = f'not read from "{claim.snippet}"'
        where = f"{claim.document} p.{claim.page}"
        rows.append(
            (told.claim_id, part, claim.limit.replace("_", " "), value, state, f"{claim.confidence:.0%}", where)
        )
    say_all(lay_out(("claim", "part", "limit", "value", "state", "sure", "source"), rows, screen_width()))
    say(f"{len(claims)} {'claim' if len(claims) == 1 else 'claims'}")


def print_judged(told: ToldClaim) -> None:
    """What a claim says after a person's word on it."""
    claim = told.claim
    part = " ".join(word for word in (claim.part_code, claim.variant) if word)
    value = f"{part}: {claim.limit.replace('_', ' ')} {show_value(claim)}{show_condition(claim)}"
    say(f"{told.state}: {value} ({claim.document} p.{claim.page}, claim {told.claim_id})")
