"""Lists: words that stand over items and complete their labels, and items run in over several lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from ...schema.limits import LIMITS, PartKind
from ..lines import Line, Segment
from ..records import Heading, Word
from ..subjects import find_kinds
from .items import Asker, asker_below, find_item, has_bullet, is_group_name, parted_items, without_bullet

_CONTACT_KINDS = frozenset({PartKind.CASSETTE, PartKind.FREEWHEEL, PartKind.CRANKSET, PartKind.CHAINRING})
"""Kinds of parts that a derailleur or shifter has limits for."""
_OWN_OF_ANY = frozenset({"weight", "replaces", "actuation", "shift_family", "firmware_min", "mount"})
"""Limits that, below the name of another part, may be that part's own."""
_INDENT = 0.4
_DEEPEST = 6.0
_CLOSE = 1.3
_RUN_CLOSE = 0.6
_LEAST_SEPARATORS = 2
_MOST_ITEM_WORDS = 16


@dataclass
class Groups:
    """Segments that are names of groups, and how the labels of the items below them are understood."""

    names: set[int] = field(default_factory=set)
    askers: dict[int, Asker] = field(default_factory=dict)
    own_sections: set[int] = field(default_factory=set)
    """Names of parts under which limits stand that only such a part has: no groups of another part's list."""


def find_groups(segments: Sequence[Segment], languages: tuple[str, ...]) -> Groups:
    """The groups of lists among ``segments``, which come from top to bottom."""
    groups = Groups()
    for n, segment in enumerate(segments):
        if not is_group_name(segment.text, languages):
            continue
        members = list(_members(segment, segments[n + 1 : n + 40], languages))
        if not members:
            continue
        kinds = {kind for kind, _ in find_kinds(segment.text.strip(" :"), languages)}
        asker = asker_below(segment.text, _OWN_OF_ANY if kinds else frozenset(), languages)
        read = [item for m in members for p in parted_items(without_bullet(m.words)) if (item := find_item(p, asker))]
        if not read:
            continue
        if kinds and any(_is_own(m, kinds, languages) for m in members):
            groups.own_sections.add(id(segment))
            continue
        groups.names.add(id(segment))
        groups.askers.update((id(m), asker) for m in members)
    return groups


def _members(name: Segment, below: Sequence[Segment], languages: tuple[str, ...]) -> Iterator[Segment]:
    """The items below a group's name: indented, or with bullets, or, behind a colon, all up to the next such name."""
    last, how = name, ""
    for segment in below:
        offset = segment.box.x0 - name.box.x0
        if not -2 < offset < _DEEPEST * name.size or segment.box.top <= last.box.top + 0.3 * last.size:
            continue
        if segment.box.top - last.box.bottom > _CLOSE * name.size:
            return
        own = _how(name, segment, offset)
        if not how:
            how = own
            if not how:
                return
        elif (own != how and how != "colon") or is_group_name(segment.text, languages):
            return
        if segment.text.endswith(":") and how == "colon":
            return
        last = segment
        yield segment


def _how(name: Segment, segment: Segment, offset: float) -> str:
    if offset > _INDENT * name.size:
        return "indent"
    if has_bullet(segment) and not has_bullet(name):
        return "bullet"
    return "colon" if name.text.endswith(":") else ""


def _is_own(segment: Segment, kinds: set[PartKind], languages: tuple[str, ...]) -> bool:
    """Whether an item states a limit that parts of ``kinds`` have, and derailleurs and shifters do not."""
    plain = Asker(languages)
    for piece in parted_items(without_bullet(segment.words)):
        item = find_item(piece, plain)
        if item and item.hits[0].score >= 0.9:
            of = set(LIMITS[item.hits[0].limit].kinds)
            if of & kinds and not of & {PartKind.REAR_DERAILLEUR, PartKind.FRONT_DERAILLEUR, PartKind.SHIFTER}:
                return True
    return False


def without_groups(
    headings: Sequence[Heading], lines: Sequence[Line], languages: tuple[str, ...]
) -> tuple[Heading, ...]:
    """``headings`` without those that are names of groups in the list of a part named above them."""
    lone = [h for h in headings if h.subject.code is None and h.subject.kind in _CONTACT_KINDS]
    if not lone:
        return tuple(headings)
    segments = segments_of(lines)
    groups = find_groups(segments, languages)
    names = {s.box for s in segments if id(s) in groups.names}
    kept: list[Heading] = []
    for heading in headings:
        above = [h for h in kept if h.subject.code and abs(h.box.x0 - heading.box.x0) < 4 * (h.box.bottom - h.box.top)]
        of_other = bool(above) and above[-1].subject.kind not in (None, heading.subject.kind)
        if heading in lone and heading.box in names and of_other:
            continue
        kept.append(heading)
    return tuple(kept)


def segments_of(lines: Sequence[Line]) -> list[Segment]:
    """The segments of lines from top to bottom."""
    return sorted((s for line in lines for s in line.segments), key=lambda s: s.box.top)


def find_runs(segments: Sequence[Segment], heads: Sequence[Heading], languages: tuple[str, ...]) -> list[list[Segment]]:
    """Stacks of lines that hold items one behind the other, parted by ``|`` or ``;``, over the lines' ends."""
    boxes = {h.box for h in heads}
    taken: set[int] = set()
    runs: list[list[Segment]] = []
    for n, segment in enumerate(segments):
        if id(segment) in taken or segment.box in boxes or not _separators(segment):
            continue
        run = [segment]
        for other in segments[n + 1 : n + 30]:
            if other.box in boxes:
                break
            if abs(other.box.x0 - segment.box.x0) < 2 and other.box.top > run[-1].box.top + 0.5 * segment.size:
                alike = abs(other.size - segment.size) < 0.05 * segment.size and other.bold == segment.bold
                if not alike or other.box.top - run[-1].box.bottom > _RUN_CLOSE * segment.size:
                    break
                run.append(other)
        words = [w for s in run for w in s.words]
        if sum(map(_separators, run)) >= _LEAST_SEPARATORS and _are_items(words, languages):
            runs.append(run)
            taken.update(map(id, run))
    return runs


def _separators(segment: Segment) -> int:
    return max(1, len(parted_items(segment.words))) - 1 + segment.words[-1].text.endswith((";", "|"))


def _are_items(words: Sequence[Word], languages: tuple[str, ...]) -> bool:
    pieces = parted_items(words)
    asker = Asker(languages)
    read = [piece for piece in pieces if len(piece) <= _MOST_ITEM_WORDS and find_item(piece, asker)]
    return 2 * len(read) >= len(pieces) > 1
