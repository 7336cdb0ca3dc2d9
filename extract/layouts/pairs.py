"""``Label: value`` in running lines and on cards → entries."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from ..context import PageContext
from ..lines import Line, Segment, union
from ..marks import is_nothing
from ..records import Entry, Word
from ..subjects import Subject, parse_variant
from .columns import Column, reads
from .grids import Cell
from .items import Asker, Item, find_item, has_bullet, parted_items, without_bullet
from .lists import find_groups, find_runs, segments_of
from .rowparts import known_kind
from .tables import cell_entries


def read_pairs(lines: Sequence[Line], context: PageContext) -> tuple[list[Entry], set[Word]]:
    """Entries of label–value lines, and the words that they used."""
    entries: list[Entry] = []
    used: set[Word] = set()
    segments = segments_of(lines)
    groups = find_groups(segments, context.languages)
    for run in find_runs(segments, context.headings, context.languages):
        found = _run_entries(run, context)
        entries.extend(found)
        if found:
            used.update(w for segment in run for w in segment.words)
    for segment in segments:
        if id(segment) in groups.names or used.intersection(segment.words):
            continue
        asker = groups.askers.get(id(segment)) or Asker(context.languages)
        for item in _pieces(segment, asker):
            words = [*item.words, *_continuation(item, segment, segments, used, asker, context)]
            found = list(_pair_entries(item, words, segment, context))
            entries.extend(found)
            if found:
                used.update(segment.words)
                used.update(words)
    return entries, used


def _run_entries(run: Sequence[Segment], context: PageContext) -> list[Entry]:
    """Entries of items that are run in over one line or several."""
    asker = Asker(context.languages)
    found: list[Entry] = []
    for piece in parted_items([w for segment in run for w in segment.words]):
        item = find_item(without_bullet(piece), asker)
        if item is not None:
            found.extend(_pair_entries(item, [_without_comma(w) for w in item.words], run[0], context))
    return found


def _without_comma(word: Word) -> Word:
    return replace(word, text=word.text.rstrip(",;")) if len(word.text) > 1 else word


def _pieces(segment: Segment, asker: Asker) -> Iterator[Item]:
    """Items of a segment: one for each colon, or those parted by bars, or one parted at a dash or its first number."""
    words = without_bullet(segment.words)
    colons = [n for n, w in enumerate(words) if w.text.endswith((":", "：")) or w.text in (":", "=")]
    if len(colons) < 2:
        for piece in parted_items(words):
            item = find_item(piece, asker)
            if item is not None:
                yield item
        return
    start = 0
    for n, at in enumerate(colons):
        end = colons[n + 1] if n + 1 < len(colons) else len(words)
        if n + 1 < len(colons):
            end = _label_start(words, at + 1, end)
        label = " ".join(w.text for w in words[start : at + 1]).rstrip(":：= ").lstrip(",;|·• ")
        values = [_without_joint(w) for w in words[at + 1 : end]]
        while len(values) > 1 and values[-1].text in ("|", "·", "•", ";"):
            values.pop()
        if values and n + 1 < len(colons):
            values[-1] = replace(values[-1], text=values[-1].text.rstrip(",") or ",")
        hits = asker.hits(label)
        if hits and values:
            yield Item(label, hits, tuple(values))
        start = end


def _label_start(words: Sequence[Word], start: int, colon: int) -> int:
    """Where the next label begins: behind the last word before its colon that ends a value."""
    for n in range(colon - 1, start - 1, -1):
        if words[n].text.endswith((",", ";", "|")) or words[n].text in ("|", "·", "•", "/", "–", "-"):
            return n + 1
    for n in range(colon - 1, start - 1, -1):
        if any(c.isdigit() for c in words[n].text):
            return n + 1
    return colon


def _without_joint(word: Word) -> Word:
    return replace(word, text=word.text.rstrip(";|")) if len(word.text) > 1 else word


def _continuation(
    item: Item, segment: Segment, segments: Iterable[Segment], used: set[Word], asker: Asker, context: PageContext
) -> list[Word]:
    """Words of the lines right below that go on with the value: no label of their own, and the whole still reads."""
    more: list[Word] = []
    last = segment
    for other in segments:
        gap = other.box.top - last.box.bottom
        if other.box.top <= last.box.top or gap > 0.6 * segment.size or used.intersection(other.words):
            continue
        if abs(other.box.x0 - segment.box.x0) > 3 and not segment.box.x0 < other.box.x0 < segment.box.x1:
            continue
        begins_anew = ":" in other.text or has_bullet(other) or asker.hits(other.text) or find_item(other.words, asker)
        if begins_anew or any(h.box == other.box for h in context.headings):
            break
        joined = (*item.words, *more, *other.words)
        text = " ".join(w.text for w in joined)
        opened = " ".join(w.text for w in (*item.words, *more))
        goes_on = opened.count("(") > opened.count(")")
        if not (goes_on or reads(text, item.hits, context.languages)) or len(other.words) > 14:
            break
        more.extend(other.words)
        last = other
    return more


def _pair_entries(item: Item, words: list[Word], segment: Segment, context: PageContext) -> Iterator[Entry]:
    if not words:
        return
    box = union(w.box for w in words)
    cell = Cell(0, 0, 1, 1, tuple(words), box)
    if is_nothing(cell.text):
        return
    subject = known_kind(context.subject_above(segment.box), context)
    variant = _leading_variant(item.label, context)
    if variant:
        subject = Subject(subject.kind, subject.code, variant)
    column = Column(item.label, None, item.hits)
    for entry in cell_entries(column, cell, subject, context, "pairs", 1.0):
        if reads(entry.value, entry.hits, context.languages):
            yield entry


def _leading_variant(label: str, context: PageContext) -> str | None:
    """``Capacity (long cage)``: a variant in brackets in the label."""
    found = re.search(r"\(([^()]+)\)", label)
    return parse_variant(found.group(1), context.languages) if found else None
