"""What the whole page says about each place on it: languages, headings, footnotes, and what earlier pages left over."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from ..schema.claims import Box
from ..schema.limits import PartKind
from ..schema.parts import code_key
from .conditions import find_condition
from .labels import LANGUAGES, analyse, find_label_hits
from .lines import Line, Segment
from .records import Entry, Heading
from .subjects import Subject, find_codes, parse_heading, parse_variant

_NOTE = re.compile(
    r"^(?:\^\{(?P<raised>[^}]{1,3})\}|(?P<star>\*{1,3}|[†‡§¹²³⁴⁵⁶⁷⁸⁹])|\(?(?P<plain>[1-9a-d])\s?\))\s*(?P<text>\S.{3,})"
)
_PLAIN = str.maketrans("¹²³⁴⁵⁶⁷⁸⁹", "123456789")
_MOST_HEADING_WORDS = 9
_MOST_SEGMENTS = 4
_CLEAR_LABEL = 0.9
_LARGER = 1.12


@dataclass(frozen=True)
class Note:
    """A footnote: its mark, its words, and the condition that they name, if any."""

    mark: str
    text: str
    condition: tuple[tuple[str, float | str], ...]
    restricts: bool = False
    """Whether the words say when something holds (only, with, if): without a condition the note was not understood."""


@dataclass
class DocumentMemory:
    """What pages hand to later pages: the last heading, the last table's columns, and kinds of known codes."""

    heading: Subject = field(default_factory=Subject)
    columns: object | None = None
    kinds: dict[str, PartKind] = field(default_factory=dict)
    languages: tuple[str, ...] = LANGUAGES

    def forget(self) -> None:
        """Drop what only the next page may use, since pages have been passed over."""
        self.heading, self.columns = Subject(), None


@dataclass(frozen=True)
class PageContext:
    """The page's languages, headings from top to bottom, and notes by mark."""

    languages: tuple[str, ...] = LANGUAGES
    headings: tuple[Heading, ...] = ()
    notes: dict[str, Note] = field(default_factory=dict)
    memory: DocumentMemory = field(default_factory=DocumentMemory)
    legend: Mapping[str, bool | None] = field(default_factory=dict)
    """What marks in cells mean, where the page says so."""

    def subject_above(self, box: Box) -> Subject:
        """What the headings over ``box`` say: the nearest one first, farther ones for what it leaves open.

        A farther heading may add a kind or a code, but never once another code has been met.
        """
        subject = Subject()
        over = [h for h in self.headings if h.box.top < box.top + 1 and _shares_column(h.box, box)]
        for heading in sorted(over, key=lambda h: -h.box.bottom):
            if heading.subject.code and subject.code:
                if code_key(subject.code).startswith(code_key(heading.subject.code)):
                    subject = Subject(subject.kind or heading.subject.kind, subject.code, subject.variant)
                break
            if heading.subject.kind and subject.kind and heading.subject.kind != subject.kind:
                break
            if heading.subject.variant and not heading.subject.code and subject != Subject():
                continue
            subject = subject.filled_from(heading.subject)
            if subject.kind and subject.code:
                break
        if not over:
            subject = subject.filled_from(self.memory.heading)
        return subject


def _shares_column(heading: Box, box: Box) -> bool:
    return min(heading.x1, box.x1) - max(heading.x0, box.x0) > 0


def find_headings(
    lines: Sequence[Line], languages: tuple[str, ...], body_size: float, weights_known: bool = True
) -> tuple[Heading, ...]:
    """Segments that stand as headings and name a part, from top to bottom.

    Where the weight of the type is not known (OCR), a variant alone on its line counts as well.
    """
    found = []
    for n, line in enumerate(lines):
        if len(line.segments) > _MOST_SEGMENTS or _NOTE.match(line.segments[0].text):
            continue
        plain = not weights_known and len(line.segments) == 1
        headings = [
            _heading(segment, languages, body_size, plain)
            or _broken_heading(segment, lines[n + 1 :], languages, body_size)
            for segment in line.segments
        ]
        first = headings[0]
        smaller = all(s.size < 0.88 * line.segments[0].size for s in line.segments[1:])
        if not all(headings) and not (first and smaller):
            found.extend(_standing_out(line.segments, headings))
            continue
        if first and first.subject.code and not first.subject.kind and not _stands_free(lines, n):
            continue
        found.extend(
            h
            for s, h in zip(line.segments, headings, strict=True)
            if h and _is_whole(s, h, lines, body_size, languages)
        )
    return tuple(sorted(found, key=lambda h: h.box.top))


def _standing_out(segments: Sequence[Segment], headings: Sequence[Heading | None]) -> list[Heading]:
    """Headings that name kind and code in larger type than what stands at their height in other columns."""
    other = max((s.size for s, h in zip(segments, headings, strict=True) if h is None), default=0.0)
    pairs = zip(segments, headings, strict=True)
    return [h for s, h in pairs if h and h.subject.kind and h.subject.code and s.size > _LARGER * other]


def _broken_heading(
    segment: Segment, below: Sequence[Line], languages: tuple[str, ...], body_size: float
) -> Heading | None:
    """A heading that goes on in the next line, from its first line: ``AB12 – Rear`` over ``derailleur``."""
    rest = _next_line(segment, below)
    if rest is None or not (segment.bold or segment.size > 1.12 * body_size):
        return None
    whole = _heading(Segment((*segment.words, *rest.words)), languages, body_size, False)
    return whole if whole and whole.subject.kind and whole.subject.code else None


def _next_line(segment: Segment, below: Sequence[Line]) -> Segment | None:
    """The segment right below that begins at the same place in the same type."""
    for line in below[:3]:
        for other in line.segments:
            gap = other.box.top - segment.box.bottom
            alike = abs(other.size - segment.size) < 0.03 * segment.size and other.bold == segment.bold
            if alike and abs(other.box.x0 - segment.box.x0) < 2 and gap < 0.5 * segment.size:
                return other
    return None


def _is_whole(
    segment: Segment, heading: Heading, lines: Sequence[Line], body_size: float, languages: tuple[str, ...]
) -> bool:
    """Whether words that name no code are not the first line of a longer label that goes on in the next one."""
    if heading.subject.code:
        return True
    rest = _next_line(segment, [k for k in lines if k.box.top > segment.box.top])
    if rest is not None:
        hits = find_label_hits(f"{segment.text} {rest.text}", None, languages)
        if hits and hits[0].score >= _CLEAR_LABEL:
            return False
    if segment.bold or segment.size > 1.12 * body_size:
        return True
    height = segment.box.bottom - segment.box.top
    below = [s for k in lines for s in k.segments if 0 < s.box.top - segment.box.top < 2 * height
             and min(s.box.x1, segment.box.x1) > max(s.box.x0, segment.box.x0)]  # fmt: skip
    return not any(s.text[:1].islower() for s in below)


def _stands_free(lines: Sequence[Line], at: int) -> bool:
    """Whether a line has room above it and touches none below, unlike a cell in the middle of others."""
    line = lines[at]
    height = line.box.bottom - line.box.top
    above = [k.box.bottom for k in lines[:at] if min(k.box.x1, line.box.x1) > max(k.box.x0, line.box.x0)]
    below = lines[at + 1].box.top if at + 1 < len(lines) else 1e9
    beside = at > 0 and lines[at - 1].box.bottom > line.box.top + 0.2 * height
    return (
        not beside and below > line.box.bottom - 0.1 * height and line.box.top - max(above, default=-1e9) > 0.2 * height
    )


def _heading(segment: Segment, languages: tuple[str, ...], body_size: float, plain: bool) -> Heading | None:
    text = segment.text
    words = text.split()
    stands_out = segment.bold or segment.size > 1.12 * body_size
    if len(words) > _MOST_HEADING_WORDS or (text.endswith((".", ";", ",")) and not stands_out):
        return None
    if ":" in text[:-1] and not (stands_out and _is_kind_and_code(text, languages)):
        return None
    subject = parse_heading(text.replace(":", " ").rstrip(), languages)
    if not subject.kind and not subject.code and (stands_out or plain) and len(words) <= 3:
        subject = Subject(variant=parse_variant(text.rstrip(":"), languages))
    if not subject.kind and not (subject.code and stands_out) and not subject.variant:
        return None
    if not stands_out and len(words) > 5:
        return None
    named = subject.code or subject.variant
    if text.count("(") != text.count(")") or not (text[0].isupper() or text[0].isdigit() or named):
        return None
    hits = find_label_hits(text, None, languages)
    if hits and hits[0].score >= 0.75 and not subject.code and not _is_kind_alone(text, languages):
        return None
    return Heading(text, segment.box, subject)


def _is_kind_and_code(text: str, languages: tuple[str, ...]) -> bool:
    """``Rear derailleur: AB12``: a part's kind on one side of a colon and nothing but its code on the other."""
    kind, _, code = text.partition(":")
    return _is_kind_alone(kind, languages) and bool(find_codes(code)) and len(code.split()) <= _MOST_CODE_WORDS


_MOST_CODE_WORDS = 2


def _is_kind_alone(text: str, languages: tuple[str, ...]) -> bool:
    terms = analyse(text, languages).terms
    return all(t.names("part") for t in terms)


def for_versions(entry: Entry, headings: Sequence[Heading]) -> list[Entry]:
    """An entry under a heading such as ``AB12``, over headings ``AB12-S`` and ``AB12-L``: one for each of these."""
    code = code_key(entry.subject.code)
    versions: list[str] = []
    for heading in headings if code else ():
        own = code_key(heading.subject.code)
        longer = own != code and own.startswith(code) and not any(c.isdigit() for c in own[len(code) :])
        if longer and heading.box.top > entry.box.top:
            versions.append(heading.subject.code or "")
    if len(versions) < 2 or entry.subject.variant:
        return [entry]
    return [replace(entry, subject=replace(entry.subject, code=own)) for own in dict.fromkeys(versions)]


_NEXT_NOTE = re.compile(r"\s(?=(?:\^\{[^}]{1,3}\}|\*{1,3}|[†‡§¹²³⁴⁵⁶⁷⁸⁹]|\([1-9]\))\s*[^\W\d_]{2,})")


def _apart_by_marks(text: str) -> list[str]:
    """A line that begins with a footnote, apart before every further one: ``* with 2x ** with 1x``."""
    return _NEXT_NOTE.split(text) if _NOTE.match(text) else [text]


def find_notes(lines: Sequence[Line], languages: tuple[str, ...]) -> dict[str, Note]:
    """Footnotes of a page by their mark; one mark with two different conditions is left out."""
    notes: dict[str, Note] = {}
    clashing: set[str] = set()
    for line in lines:
        for text in (piece for segment in line.segments for piece in _apart_by_marks(segment.text)):
            found = _NOTE.match(text)
            if not found:
                continue
            mark = (found["raised"] or found["star"] or found["plain"]).translate(_PLAIN).strip(" ).")
            condition = tuple(sorted((find_condition(found["text"], languages) or {}).items()))
            restricts = "only" in analyse(found["text"], languages).names("language")
            note = Note(mark, found["text"], condition, restricts)
            if mark in notes and notes[mark].condition != condition:
                clashing.add(mark)
            notes[mark] = note
    return {mark: note for mark, note in notes.items() if mark not in clashing}
