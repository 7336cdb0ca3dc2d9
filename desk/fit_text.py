"""The answer to "does it fit?" → text for people: the verdict first, then why, then what to find out and to mind."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from ..schema.answers import CheckResult, FitAnswer, Verdict
from ..schema.claims import plain
from ..warehouse.wording import sure_words
from .output import for_store, say, say_all, screen_width
from .tables import lay_out, wrap

_WORDS = {Verdict.FITS: "fits", Verdict.DOES_NOT_FIT: "does not fit", Verdict.CANNOT_TELL: "cannot tell"}
_SENTENCES = {
    Verdict.FITS: "by what the sources say, it fits.",
    Verdict.DOES_NOT_FIT: "it does not fit.",
    Verdict.CANNOT_TELL: "it cannot be told from what is known.",
}
_STYLES = {Verdict.FITS: "bold green", Verdict.DOES_NOT_FIT: "bold red", Verdict.CANNOT_TELL: "bold yellow"}
_WORST_FIRST = (Verdict.DOES_NOT_FIT, Verdict.CANNOT_TELL, Verdict.FITS)
_LEFT = "  "
_DEEP = "      "


def print_fit(answer: FitAnswer, store: str | None = None) -> None:
    """One answer, whole; commands that it names are for ``store``."""
    say(f"{answer.name}: {_SENTENCES[answer.verdict]}", _STYLES[answer.verdict])
    if answer.now_verdict:
        say(f"{_LEFT}The bike as it is now, by the same checks: {_WORDS[answer.now_verdict]}.")
    _print_variants(answer)
    if answer.checks:
        _head("Checks")
        for result in sorted(answer.checks, key=lambda result: _WORST_FIRST.index(result.verdict)):
            say_all(_check_lines(result))
        _print_way_to_page(answer, store)
    _print_list("Still open, the verdict does not hang on it", [item.ask for item in answer.not_checked])
    _print_list("To find out", answer.questions)
    say_all(_gear_lines(answer.gears))
    _print_list("Taken for granted", answer.notes)
    _print_list("Mind", answer.cautions)


def _head(text: str) -> None:
    say()
    say(text, "bold")


def _print_variants(answer: FitAnswer) -> None:
    named = [variant for variant in answer.variants if variant.parts]
    if not named:
        return
    _head("Variants")
    rows = [(", ".join(v.parts.values()), _WORDS[v.verdict]) for v in named]
    say_all(f"{_LEFT}{line}" for line in lay_out(("with", "verdict"), rows, screen_width() - len(_LEFT)))


def _print_way_to_page(answer: FitAnswer, store: str | None) -> None:
    """How to see the place in the document that the worst check rests on, and the photos that name parts."""
    for result in sorted(answer.checks, key=lambda result: _WORST_FIRST.index(result.verdict)):
        claim_id = next((source.claim_id for source in result.sources if source.claim_id), None)
        if claim_id:
            say(f"{_LEFT}to see the page behind the {result.check.replace('_', ' ')}:")
            say(f"{_LEFT}  cogledger evidence{for_store(store)} {claim_id} --out page.png")
            break
    photos = {s.reading_id: s.document for result in answer.checks for s in result.sources if s.reading_id}
    for reading_id, name in photos.items():
        say(f"{_LEFT}to see the stamp on {name}:")
        say(f"{_LEFT}  cogledger evidence{for_store(store)} {reading_id} --out stamp.png")


def _print_list(head: str, items: list[str] | tuple[str, ...]) -> None:
    if not items:
        return
    _head(head)
    for item in dict.fromkeys(items):
        say_all(wrap(f"{_LEFT}- {item}", screen_width(), "    "))


def _check_lines(result: CheckResult) -> Iterator[str]:
    width = screen_width()
    head = f"{_LEFT}{_WORDS[result.verdict]:<12}  {result.check.replace('_', ' ')}: {', '.join(result.parts)}"
    if result.margin is not None:
        head += f", margin {plain(round(result.margin, 3))}{f' {result.unit}' if result.unit else ''}"
    yield from wrap(head, width, _DEEP)
    if result.working:
        yield from wrap(_DEEP + result.working, width, _DEEP)
    for source in result.sources:
        page = f" p.{source.page}" if source.page else ""
        claim = f" [claim {source.claim_id}, {source.state}]" if source.claim_id else ""
        if source.photo:
            claim = f" [photo, {sure_words(source.confidence or 0.0)}]"
        snippet = f': "{source.snippet}"' if source.snippet else ""
        yield from wrap(f"{_DEEP}source: {source.document}{page}{snippet}{claim}", width, _DEEP + "  ")
    if result.sources and result.confidence is not None:
        yield f"{_DEEP}sure: {min(0.99, result.confidence):.0%}"
    for line in (result.consequence, result.ask, *result.notes):
        if line:
            yield from wrap(_DEEP + line, width, _DEEP)


def _gear_lines(gears: Mapping[str, Any]) -> list[str]:
    """Lowest and highest gear before and after, where both are known."""
    now, wish = (gears.get(when) or {} for when in ("now", "wish"))
    lines = []
    for key in ("lowest", "highest"):
        before, after = now.get(key), wish.get(key)
        if isinstance(after, (int, float)):
            was = f", now {before:.3f}" if isinstance(before, (int, float)) else ""
            lines.append(f"{_LEFT}{key} gear {after:.3f} wheel turns per crank turn{was}")
    return ["", "Gears", *lines] if lines else []
