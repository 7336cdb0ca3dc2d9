"""``Label: value`` in running lines and on cards → entries."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from ..context import PageContext
from ..labels import LabelHit, find_label_hits
from ..lines import Line, Segment, union
from ..marks import is_nothing
from ..records import Entry, Word
from ..subjects import Subject, parse_variant
from .columns import Column, reads
from .grids import Cell
from .rowparts import known_kind
from .tables import cell_entries

_MOST_LABEL_WORDS = 8
_BULLET = re.compile(r"^[•·▪◦‣●○*–-]$")


def read_pairs(lines: Sequence[Line], context: PageContext) -> tuple[list[Entry], set[Word]]:
    """Entries of label–value lines, and the words that they used."""
    entries: list[Entry] = []
    used: set[Word] = set()
    segments = sorted((s for line in lines for s in line.segments), key=lambda s: s.box.top)
    for segment in segments:
        if used.intersection(segment.words):
            continue
        for label, words in _pieces(segment):
            hits = _hits(label, context)
            if not hits:
                continue
            words = [*words, *_continuation(words, label, hits, segment, segments, used, context)]
            found = list(_pair_entries(label, hits, words, segment, context))
            entries.extend(found)
            if found:
                used.update(segment.words)
                used.update(words)
    return entries, used


def _hits(label: str, context: PageContext) -> tuple[LabelHit, ...]:
    if len(label.split()) > _MOST_LABEL_WORDS:
        return ()
    return tuple(h for h in find_label_hits(label, None, context.languages) if h.score >= 0.7)


def _pieces(segment: Segment) -> Iterator[tuple[str, list[Word]]]:
    """Labels and value words of a segment: one pair for each colon, or one parted at the first number."""
    words = [w for n, w in enumerate(segment.words) if not (n == 0 and _BULLET.match(w.text))]
    colons = [n for n, w in enumerate(words) if w.text.endswith((":", "：")) or w.text in (":", "=")]
    if not colons:
        yield from _uncoloned(words)
        return
    start = 0
    for n, at in enumerate(colons):
        end = colons[n + 1] if n + 1 < len(colons) else len(words)
        if n + 1 < len(colons):
            end = _label_start(words, at + 1, end)
        label = " ".join(w.text for w in words[start : at + 1]).rstrip(":：= ").lstrip(",;|·• ")
        values = [_without_joint(w) for w in words[at + 1 : end]]
        if values and n + 1 < len(colons):
            values[-1] = replace(values[-1], text=values[-1].text.rstrip(",") or ",")
        yield label, values
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


def _uncoloned(words: list[Word]) -> Iterator[tuple[str, list[Word]]]:
    """``Total capacity 37T``: a short line whose first number parts label and value."""
    if len(words) > 9:
        return
    for n, word in enumerate(words):
        if n and any(c.isdigit() for c in word.text):
            yield " ".join(w.text for w in words[:n]), words[n:]
            return


def _continuation(
    words: list[Word], label: str, hits: Sequence[LabelHit], segment: Segment, segments: Iterable[Segment],
    used: set[Word], context: PageContext,
) -> list[Word]:  # fmt: skip
    """Words of the lines right below that go on with the value: no label of their own, and the whole still reads."""
    more: list[Word] = []
    last = segment
    for other in segments:
        gap = other.box.top - last.box.bottom
        if other.box.top <= last.box.top or gap > 0.6 * segment.size or used.intersection(other.words):
            continue
        if abs(other.box.x0 - segment.box.x0) > 3 and not segment.box.x0 < other.box.x0 < segment.box.x1:
            continue
        if ":" in other.text or _hits(other.text, context) or any(h.box == other.box for h in context.headings):
            break
        joined = Segment(tuple([*words, *more, *other.words])).words
        text = " ".join(w.text for w in joined)
        if not reads(text, hits, context.languages) or len(other.words) > 14:
            break
        more.extend(other.words)
        last = other
    return more


def _pair_entries(
    label: str, hits: tuple[LabelHit, ...], words: list[Word], segment: Segment, context: PageContext
) -> Iterator[Entry]:
    if not words:
        return
    box = union(w.box for w in words)
    cell = Cell(0, 0, 1, 1, tuple(words), box)
    if is_nothing(cell.text):
        return
    subject = known_kind(context.subject_above(segment.box), context)
    variant = _leading_variant(label, context)
    if variant:
        subject = Subject(subject.kind, subject.code, variant)
    column = Column(label, None, hits)
    for entry in cell_entries(column, cell, subject, context, "pairs", 1.0):
        if reads(entry.value, entry.hits, context.languages):
            yield entry


def _leading_variant(label: str, context: PageContext) -> str | None:
    """``Capacity (long cage)``: a variant in brackets in the label."""
    found = re.search(r"\(([^()]+)\)", label)
    return parse_variant(found.group(1), context.languages) if found else None
