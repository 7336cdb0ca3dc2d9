"""What photos of parts say → text for people: the code first, how sure, what else it may be, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from ..schema.errors import CogledgerError
from ..schema.parts import part_label
from ..warehouse.photos import StampReport, stamp_as_json
from ..warehouse.stamps import StampRow
from ..warehouse.wording import SURE_ENOUGH, sure_words
from .output import complain, for_store, say, say_all, screen_width
from .tables import lay_out, wrap

if TYPE_CHECKING:
    from ..warehouse import Ledger

_HEAD = "bold"
_LEFT = "    "
_COMPARE = (
    "Compare it with the part, sign by sign, before you rely on it: one sign misread can mean another part, or a cage "
    "that is too short."
)


def print_stamps(report: StampReport, ledger: Ledger | None = None, store: str | None = None) -> None:
    """What each photo says; what ``ledger`` knows of it; commands that are named are for ``store``."""
    for fault in report.failures:
        complain(fault.sentence())
    for photo in report.photos:
        told = stamp_as_json(photo)
        say(f"{', '.join(photo.files) or photo.file}: {_title(told)}", _HEAD)
        for line in _lines(told, ledger, store):
            say_all(wrap(_LEFT + line, screen_width(), _LEFT))
    if ledger is not None and report.photos and not ledger.exists():
        say("Nothing was kept: there is no store here yet. Make one with: cogledger read FOLDER")


def print_brief_stamps(told: Sequence[dict[str, Any]]) -> None:
    """A line for each photo."""
    for photo in told:
        sure = f", {sure_words(photo['confidence'])}" if photo["code"] else f". {photo['advice'] or ''}"
        say_all(wrap(f"  {photo['file']}: {_title(photo)}{sure}", screen_width(), _LEFT))


def print_kept(rows: Sequence[StampRow]) -> None:
    """The readings of photos that a store keeps, as a table."""
    cells = [
        (row.reading_id, _title(row.record), sure_words(row.record["confidence"]) if row.record["code"] else "",
         ", ".join(name for name, _ in row.photos))
        for row in rows
    ]  # fmt: skip
    say_all(lay_out(("reading", "shows", "sure", "photo"), cells, screen_width()))
    say(f"{len(rows)} {'photo' if len(rows) == 1 else 'photos'}")


def _title(told: dict[str, Any]) -> str:
    """Code, variant and teeth, as large as a line allows."""
    label = part_label(told["code"], told["variant"]) if told["code"] else "no code read"
    teeth = f", {'-'.join(str(count) for count in told['teeth'])} T" if told["teeth"] else ""
    return label + teeth


def _lines(told: dict[str, Any], ledger: Ledger | None, store: str | None) -> Iterator[str]:
    if len(told.get("files", ())) > 1:
        clearest = f"; the clearest is {told['file']}" if told["code"] or told["teeth"] else ""
        yield f"read from {len(told['files'])} photos together{clearest}"
    if told["code"]:
        yield sure_words(told["confidence"]) + "; " + _known(told, ledger)
    others = [c for c in told["candidates"] if (c["code"], c["variant"]) != (told["code"], told["variant"])]
    for other in others:
        known = "a known code" if other["known"] else "not a known code"
        word = "or" if told["code"] else "perhaps"
        yield f"{word} {part_label(other['code'], other['variant'])}, {other['confidence']:.0%} ({known})"
    if others and told["confidence"] < SURE_ENOUGH:
        yield _COMPARE
    if told["advice"]:
        yield told["advice"]
    if told["reading_id"] and told["bbox"]:
        yield f"to see the place: cogledger evidence{for_store(store)} {told['reading_id']} --out stamp.png"


def _known(told: dict[str, Any], ledger: Ledger | None) -> str:
    """What the store knows of the code."""
    label = part_label(told["code"], told["variant"])
    parts = ()
    if ledger is not None:
        try:
            parts = ledger.parts(label) or ledger.parts(told["code"])
        except CogledgerError:  # without a store nothing is known, and nothing is wrong
            parts = ()
    if parts:
        part = parts[0]
        return f"in the store: {str(part.kind).replace('_', ' ')}" + (f", {part.maker}" if part.maker else "")
    known = any(c["known"] for c in told["candidates"] if c["code"] == told["code"])
    return "a code you named" if known else "no document that was read speaks of it"
