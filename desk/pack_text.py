"""What was shared or merged → text for people."""

from __future__ import annotations

from ..warehouse.merge import MergeReport
from ..warehouse.share import ShareReport
from .output import for_store, say


def print_shared(report: ShareReport) -> None:
    """What a pack holds, and what could not go into it."""
    pictures = f", {_count(report.pictures, 'picture')}" if report.pictures else ""
    say(f"{report.file}: {_count(report.documents, 'document')}, {_count(report.claims, 'claim')}, "
        f"{_count(report.words, 'word')} of people{pictures}")  # fmt: skip
    if report.left_out:
        say(f"{report.left_out} left out, because their texts hold what no pack may")
    if report.without_picture:
        say(f"{report.without_picture} claims without a picture: the store has no copy of their documents")


def print_merged(report: MergeReport, store: str | None) -> None:
    """What came of a pack, and where to look."""
    say(f"{report.file}, shared by {report.shared_by} ({report.licence})")
    say(f"documents: {report.documents_new} new, {report.documents_replaced} replaced, "
        f"{report.documents_left} left as they are here")  # fmt: skip
    say(f"{_count(report.claims, 'claim')}; {report.words_new} words of people new, {report.words_known} known")
    if report.held_back:
        say(f"{report.held_back} held back: cogledger claims{for_store(store)} --state held_back")
    say(f"to see where documents disagree: cogledger limits{for_store(store)} --conflicts")


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
