"""Lines that name a part over a list: ``Rear derailleur: AB 12 H``; and lone words over its versions' own lines."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from ...schema.claims import Box
from ...schema.limits import PartKind
from ...schema.parts import code_key
from ..labels import LANGUAGES, analyse, find_label_hits, fold
from ..lines import Line, Segment
from ..records import Heading
from ..subjects import Subject, find_kinds, parse_model_cell, parse_variant
from ..values import parse_value
from .items import part_of_list, takes_list_place

_MOST_WORDS = 8
_MOST_CODE_WORDS = 3
_MOST_CODE_LETTERS = 18
_EDGE = " \t:–—-,;·|•()"
_MEASURED = ("largest_cog", "cogs", "rings", "weight", "chainline", "link_count")
_YEAR = re.compile(r"^(?:19|20)\d\d$")
_CLEAR_LABEL = 0.9
_MOST_VERSION_WORDS = 3
_MOST_SHORT_LETTERS = 3
_MOST_VERSION_LETTERS = 16


@lru_cache(maxsize=5_000)
def parse_part_line(text: str, languages: tuple[str, ...] = LANGUAGES) -> Subject | None:
    """The part that a line names and nothing else: its kind, and all the rest of the line as its code.

    ``None`` where words are left that are no code: a code is never cut out of words that may belong to it.
    """
    tokens = text.split()
    if not 2 <= len(tokens) <= _MOST_WORDS or not any(c.isdigit() for c in text):
        return None
    for own in (languages, LANGUAGES):
        for kind, rest in _without_kind(tokens, own):
            subject = _with_rest(kind, rest.strip(_EDGE), own)
            if subject is not None:
                return subject
    return None


def _without_kind(tokens: Sequence[str], languages: tuple[str, ...]) -> Iterator[tuple[PartKind, str]]:
    """Part kinds at the start or end of the words, the longest first, with the words left."""
    for length in range(min(5, len(tokens) - 1), 0, -1):
        for piece, rest in ((tokens[:length], tokens[length:]), (tokens[-length:], tokens[:-length])):
            words = " ".join(piece)
            if any(c.isdigit() for c in words):
                continue
            kinds = find_kinds(words, languages)
            terms = analyse(words, languages).terms
            known = all(t.names("part") or t.names("concept") or t.names("language") for t in terms)
            if len({kind for kind, _ in kinds}) == 1 and known and kinds[0][1].quality > 0.9:
                yield kinds[0][0], " ".join(rest)


def _with_rest(kind: PartKind, rest: str, languages: tuple[str, ...]) -> Subject | None:
    variant = None
    bracket = re.search(r"\s*\(([^()]+)\)?$", rest)
    if bracket:
        variant = parse_variant(bracket.group(1), languages)
        if variant is None:
            return None
        rest = rest[: bracket.start()].strip(_EDGE)
    if len(rest.split()) > _MOST_CODE_WORDS or len(rest) > _MOST_CODE_LETTERS or _YEAR.match(rest):
        return None
    if any(len(w) > 2 and w.isalpha() and w.islower() for w in rest.split()):
        return None
    if any((value := parse_value(rest, limit)) and value.unit for limit in _MEASURED):
        return None
    named = parse_model_cell(rest, languages)
    if len(named) != 1 or named[0].code is None or named[0].kind is not None:
        return None
    if code_key(named[0].code + (named[0].variant or "")) != code_key(rest):
        return None
    return Subject(kind, named[0].code, named[0].variant or variant)


@dataclass(frozen=True)
class _Place:
    segment: Segment
    above: Segment | None
    below: Segment | None


def find_list_heads(
    lines: Sequence[Line], headings: Sequence[Heading], languages: tuple[str, ...]
) -> tuple[Heading, ...]:
    """``headings`` with those that name the parts of lists, without those that are groups or versions inside one.

    A part's line counts where the line under it is an item of a list, or a group of some.
    """
    places = list(_places(lines))
    found = {h.box: h for h in headings}
    for place in places:
        subject = parse_part_line(place.segment.text, languages)
        old = found.get(place.segment.box)
        if subject is None or (old and old.subject.code and not _is_cut(old.subject, subject)):
            continue
        below = place.below
        if old is None and not (below and takes_list_place(below, languages)):
            continue
        if old is None and _stands_among_parts(place, languages):
            continue
        found[place.segment.box] = Heading(place.segment.text, place.segment.box, subject)
    named = sorted((h for h in found.values() if h.subject.code), key=lambda h: h.box.top)
    coded = [h for n, h in enumerate(named) if not _is_short_below(h, named[:n])]
    for heading in _versions(places, coded, found, languages):
        found[heading.box] = heading
    return tuple(sorted(found.values(), key=lambda h: h.box.top))


def _is_cut(old: Subject, whole: Subject) -> bool:
    """Whether a heading gave only a piece of the code that its whole line names, or left its kind open."""
    shorter, longer = code_key(old.code), code_key((whole.code or "") + (whole.variant or ""))
    return (shorter != longer and shorter in longer) or (old.kind is None and shorter == longer)


def _is_short_below(heading: Heading, above: Sequence[Heading]) -> bool:
    """Whether a short code alone, as ``C50``, stands below a part's line with a code of another make."""
    code, owner = heading.subject.code or "", next((h for h in reversed(above) if h.subject.kind), None)
    if heading.subject.kind or len(code) > _MOST_SHORT_LETTERS or owner is None:
        return False
    return (owner.subject.code or "")[:1] != code[:1] and len(owner.subject.code or "") > len(code)


def _stands_among_parts(place: _Place, languages: tuple[str, ...]) -> bool:
    near = [s for s in (place.above, place.below) if s is not None]
    return any(parse_part_line(s.text, languages) for s in near)


def _places(lines: Sequence[Line]) -> Iterator[_Place]:
    """Each segment with those right above and below it at nearly the same left edge."""
    segments = [s for line in lines for s in line.segments]
    for n, segment in enumerate(segments):
        room = 2.2 * segment.size
        above = next((s for s in reversed(segments[max(0, n - 12) : n]) if _shares_edge(s, segment)
                      and 0 <= segment.box.top - s.box.bottom + 0.3 * segment.size < room), None)  # fmt: skip
        below = next((s for s in segments[n + 1 : n + 13] if _shares_edge(s, segment)
                      and 0 <= s.box.top - segment.box.bottom + 0.3 * segment.size < room), None)  # fmt: skip
        yield _Place(segment, above, below)


def _shares_edge(one: Segment, other: Segment) -> bool:
    return abs(one.box.x0 - other.box.x0) < 3 * other.size


def _versions(
    places: Sequence[_Place], coded: Sequence[Heading], found: Mapping[Box, Heading], languages: tuple[str, ...]
) -> Iterator[Heading]:
    """Lone short words under a part's line, two or more, over lines with the same labels: its versions' names."""
    for n, head in enumerate(coded):
        end = next((h.box.top for h in coded[n + 1 :] if _over(h.box.x0, head.box.x0)), 1e9)
        own = [p for p in places if head.box.bottom - 1 < p.segment.box.top < end and _under(head, p)]
        names = [p for p in own if _may_be_version(p, languages)]
        if len(names) < 2 or len({fold(p.segment.text) for p in names}) < len(names):
            continue
        tops = [p.segment.box.top for p in names]
        labels: list[frozenset[str]] = []
        for top, after in zip(tops, [*tops[1:], end], strict=True):
            inside = [p.segment for p in own if top < p.segment.box.top < after]
            labels.append(frozenset(label for s in inside if (label := part_of_list(s, languages))))
        if not all(labels) or not frozenset.intersection(*labels):
            continue
        shared = _shared_words([p.segment.text.strip(" :").split() for p in names])
        for place in names:
            text = place.segment.text.strip(" :")
            known = found.get(place.segment.box)
            if known is not None and (known.subject.variant or known in coded):
                continue
            if code_key(text).startswith(code_key(head.subject.code)):
                yield Heading(text, place.segment.box, Subject(head.subject.kind, text))
                continue
            variant = parse_variant(text, languages) or " ".join(text.split()[shared:])
            yield Heading(text, place.segment.box, Subject(variant=variant))


def _over(one: float, other: float) -> bool:
    return abs(one - other) < 40


def _under(head: Heading, place: _Place) -> bool:
    return -10 < place.segment.box.x0 - head.box.x0 < 40


def _may_be_version(place: _Place, languages: tuple[str, ...]) -> bool:
    segment, below = place.segment, place.below
    text = segment.text.strip(" :")
    if below is None or len(text.split()) > _MOST_VERSION_WORDS or len(text) > _MOST_VERSION_LETTERS:
        return False
    if not text[:1].isalnum() or text.isdigit() or part_of_list(below, languages) is None:
        return False
    if parse_variant(text, languages):
        return True
    analysis = analyse(text, languages)
    if analysis.names("part") or any("distractor" in t.names("concept") for t in analysis.terms):
        return False
    hits = find_label_hits(text, None, languages)
    return segment.bold and not below.bold and not (hits and hits[0].score >= _CLEAR_LABEL)


def _shared_words(names: Sequence[Sequence[str]]) -> int:
    """How many words all names begin with, as in ``Version KC`` and ``Version LC``, if no more is left."""
    count = 0
    while all(len(n) > count + 1 for n in names) and len({fold(n[count]) for n in names}) == 1:
        count += 1
    return count if all(len(" ".join(n[count:])) <= _MOST_SHORT_LETTERS for n in names) else 0
