"""A table on a grid → entries: each value with its label, its part and its condition."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from ...schema.limits import LIMITS, Form, PartKind
from ..conditions import find_condition, split_condition
from ..context import PageContext
from ..labels import LANGUAGES, LabelHit, Role, analyse, find_label_hits, find_role, split_unit
from ..lines import union
from ..marks import is_ditto, is_mark, is_nothing, says_yes, split_mark, split_marked
from ..records import Entry
from ..subjects import (
    Subject,
    names_several_variants,
    parse_variant,
)
from .bounds import is_unit
from .columns import Column, View, best_view, reads, under_columns, vote_kind
from .grids import Cell, Grid
from .matrix import joined_choices
from .mending import mended, with_joined_rows
from .rowparts import (
    has_blank_model,
    known_kind,
    model_owners,
    names_unknown_model,
    repeated_models,
    row_doubt,
    row_subjects,
    section_row,
)
from .versions import VersionValue, find_version_values, is_sure, names_met_twice

_LABELS_SHARE = 0.6
_MOST_CELL_WORDS = 8
_JOINS_ON = re.compile(r"(?:of|von|des|der|de|du|di|del|della|dei|delle|van)\s")
"""Small words that join a label to words before it and begin none."""
_TORN_HEADER = re.compile(r"(?:[,/&(]|\s[-–])\s*$")
"""The end of a header of which a part stands elsewhere: the header row is not in its columns then."""

_UNIT_FIRST = re.compile(r"\s*[(\[]([^()\[\]]{1,6})[)\]]\s+\w{3,}")


@dataclass(frozen=True)
class CarriedColumns:
    """A table's columns with their places, for a continuation of the table without its header."""

    columns: tuple[Column, ...]
    middles: tuple[float, ...]
    kind: PartKind | None
    subject: Subject


def read_grid(grid: Grid, context: PageContext) -> list[Entry]:
    """Entries of one table, and of every table that it turns out to hold side by side or one under the other."""
    entries: list[Entry] = []
    for part in split_grid(with_joined_rows(grid), context.languages):
        entries.extend(_read_part(part, context))
    return entries


def split_grid(grid: Grid, languages: tuple[str, ...]) -> list[Grid]:
    """The grid, parted before every later row or column that holds labels again."""
    turned = grid.turned()
    cols = [c for c in range(2, grid.cols) if _begins_anew(turned, c, languages)]
    if cols and _holds_labels([grid.at(r, 0) for r in range(grid.rows)], languages):
        return [part for piece in _cut_columns(grid, cols) for part in split_grid(piece, languages)]
    rows = [r for r in range(2, grid.rows) if _begins_anew(grid, r, languages)]
    first = _holds_labels([grid.at(0, c) for c in range(grid.cols)], languages)
    rows = [r for r in rows if r - 1 not in rows]
    if rows and first and grid.rows >= 4:
        return [piece.turned() for piece in _cut_columns(grid.turned(), rows)]
    return [grid]


def _begins_anew(grid: Grid, row: int, languages: tuple[str, ...]) -> bool:
    """Whether a row holds labels again, below a row with numbers and with no cell that the row above reaches into."""
    cells = [grid.at(row, c) for c in range(grid.cols)]
    if any(c.words and c.row < row for c in cells) or not _holds_labels(cells, languages):
        return False
    return any(_has_digit(split_unit(c.text)[0]) for c in grid.cells if c.row < row)


def _holds_labels(cells: Iterable[Cell], languages: tuple[str, ...]) -> bool:
    texts = [c.text for c in dict.fromkeys(cells) if c.words]
    if len(texts) < 2:
        return False
    labels = [t for t in texts if not _has_digit(t) and (find_label_hits(t, None, languages) or find_role(t, languages))
              and parse_variant(t, languages) is None]  # fmt: skip
    return len(labels) >= max(2, _LABELS_SHARE * len(texts))


def _has_digit(text: str) -> bool:
    return any(c.isdigit() for c in re.sub(r"\^\{[^}]*\}", "", text))


def _cut_columns(grid: Grid, starts: Sequence[int]) -> Iterator[Grid]:
    edges = [0, *starts, grid.cols]
    for start, end in itertools.pairwise(edges):
        cells = [
            Cell(c.row, max(c.col, start) - start, c.row_span,
                 min(c.col + c.col_span, end) - max(c.col, start), c.words if c.col >= start else (), c.area)
            for c in grid.cells if c.col < end and c.col + c.col_span > start
        ]  # fmt: skip
        if cells and end > start:
            yield Grid(grid.rows, end - start, tuple(cells), grid.reader)


def _read_part(grid: Grid, context: PageContext) -> list[Entry]:
    if grid.rows < 2 and grid.cols < 2:
        return []
    view = best_view(grid, context.languages)
    carried = context.memory.columns
    if isinstance(carried, CarriedColumns) and _continues(grid, carried):
        continued = under_columns(grid, carried.columns, context.languages)
        if continued is not None and (view is None or continued.score > view.score):
            return list(_rows(continued, context, carried.kind, carried.subject))
    if view is None:
        return []
    above = context.subject_above(grid.box)
    if _is_about_others(view, context):
        return []
    kind = _table_kind(view, above)
    upright = view.grid is grid
    if upright:
        context.memory.columns = CarriedColumns(view.columns, _middles(grid), kind, above)
    return list(_rows(view, context, kind, above))


def _continues(grid: Grid, carried: CarriedColumns) -> bool:
    if len(carried.columns) != grid.cols:
        return False
    return all(abs(a - b) < 25 for a, b in zip(_middles(grid), carried.middles, strict=True))


def _middles(grid: Grid) -> tuple[float, ...]:
    places: list[float] = []
    for col in range(grid.cols):
        own = [grid.at(r, col).area for r in range(grid.rows) if grid.at(r, col).col_span == 1]
        places.append(sum((a.x0 + a.x1) / 2 for a in own) / len(own) if own else 0.0)
    return tuple(places)


def _table_kind(view: View, above: Subject) -> PartKind | None:
    """The kind that heading and labels agree on; the labels win where the heading explains less than half of them."""
    votes = vote_kind(view.columns)
    limited = [c for c in view.columns if c.hits]
    if above.kind:
        explained = sum(any(h.suits(above.kind) for h in c.hits) for c in limited)
        if above.kind in votes or explained >= 0.5 * len(limited):
            return above.kind
    return votes[0] if len(votes) == 1 else None


def _is_about_others(view: View, context: PageContext) -> bool:
    """Whether the first column is headed by tools, bolts, boxes or the like: its codes are no parts then."""
    first = view.columns[0]
    names = analyse(first.header, context.languages).names("concept") if first.header else frozenset()
    return "distractor" in names or (not first.hits and first.role is None and "bolt" in names)


def _rows(view: View, context: PageContext, kind: PartKind | None, above: Subject) -> Iterator[Entry]:
    """The entries of every body row, with the subject that its cells, the rows above and the headings give."""
    view = mended(view, context.languages)
    grid, last = view.grid, Subject()
    owners = model_owners(view, context.languages)
    has_model = any(c.role is Role.MODEL for c in view.columns)
    section = Subject()
    unparted = repeated_models(view, context.languages)
    torn = 0.4 if any(_is_torn(c.header) for c in view.columns if not c.choice) else 1.0
    for row in range(view.header_rows, grid.rows):
        spanning = section_row(grid, row, context)
        if spanning is not None:
            section, last = spanning, Subject()
            continue
        subjects = row_subjects(view, row, last, context, owners)
        if subjects and subjects[0].code:
            last = subjects[0]
        elif names_unknown_model(view, row):
            last = Subject()
        if not subjects and has_model:
            continue
        doubt = row_doubt(view, row, context.languages)
        if has_model and owners is None and has_blank_model(view, row):
            doubt = min(doubt, 0.5 if grid.reader == "aligned" else 0.75)
        base = replace(section.filled_from(Subject(kind)), variant=section.variant)
        for subject in subjects or (Subject(),):
            whole = subject.filled_from(base)
            whole = whole.filled_from(replace(above, kind=None)) if not has_model else whole
            for entry in _row_entries(view, row, whole, context):
                yield replace(entry, certain=min(entry.certain, doubt, torn, 0.3 if whole.code in unparted else 1.0))


def _is_torn(header: str) -> bool:
    """Whether a header lacks words that stand in another, or begins with the unit of another: ``(T) Largest ring``."""
    unit = _UNIT_FIRST.match(header)
    return bool(_TORN_HEADER.search(header) or _JOINS_ON.match(header)) or (unit is not None and is_unit(unit[1]))


def _row_entries(view: View, row: int, subject: Subject, context: PageContext) -> Iterator[Entry]:
    yield from _choice_entries(view, row, subject, context)
    for col, column in enumerate(view.columns):
        if not column.hits or column.choice:
            continue
        cell = view.grid.at(row, col)
        text, source = cell.text, cell
        if is_ditto(text):
            source = next((view.grid.at(r, col) for r in range(row - 1, view.header_rows - 1, -1)
                           if not is_ditto(view.grid.at(r, col).text)), cell)  # fmt: skip
            text = source.text
        if is_nothing(text) or _is_heading(source, context):
            continue
        whole = column.subject.filled_from(subject) if column.subject != Subject() else subject
        whole = known_kind(whole, context)
        reader, sure = f"table:{view.grid.reader}", _spread(view, row, col)
        versions = find_version_values(text, context.languages)
        if versions and reads(text, column.hits, context.languages):
            yield from _version_entries(versions, view, row, column, source, whole, context, sure)
        else:
            yield from cell_entries(column, source, whole, context, reader, sure)


def _is_heading(cell: Cell, context: PageContext) -> bool:
    """Whether a cell's words are a heading that names a part, and no value."""
    box = cell.box
    return any(h.subject.code and h.box.top - 1 <= box.top and box.bottom <= h.box.bottom + 1
               and h.box.x0 - 1 <= box.x0 and box.x1 <= h.box.x1 + 1 for h in context.headings)  # fmt: skip


def _version_entries(
    versions: Sequence[VersionValue], view: View, row: int, column: Column, cell: Cell, subject: Subject,
    context: PageContext, certain: float,
) -> Iterator[Entry]:  # fmt: skip
    """The entries of a cell that gives each version of the row's part a value of its own."""
    twice = names_met_twice((c.text for c in view.grid.cells), context.languages)
    words = LIMITS[column.hits[0].limit].form is Form.TEXT
    for version in versions:
        sure = version.known or (is_sure(version, twice) and not words)
        clash = version.variant is not None and subject.variant is not None
        own = replace(subject, variant=version.variant or subject.variant)
        doubt = min(certain, 1.0 if sure and not clash and not has_blank_model(view, row) else 0.3)
        for entry in cell_entries(column, cell, own, context, f"table:{view.grid.reader}", doubt, version.value):
            both = {**dict(entry.condition), **dict(version.condition)}
            yield replace(entry, condition=tuple(sorted(both.items())))


def _choice_entries(view: View, row: int, subject: Subject, context: PageContext) -> Iterator[Entry]:
    """The values whose columns hold a yes in this row, as one entry for each limit and condition."""
    marks = {c.text for c in view.grid.cells if is_mark(c.text)}
    chosen: dict[tuple[str, Conditions], list[tuple[Column, Cell]]] = {}
    doubts: dict[str, float] = {}
    for col, column in enumerate(view.columns):
        cell = view.grid.at(row, col)
        said = says_yes(cell.text, marks, context.legend) if column.choice and is_mark(cell.text) else False
        if said is False:
            continue
        limit = column.hits[0].limit
        notes = (*split_mark(cell.text)[1], *column.marks)
        conditions, doubt = _of_marks(notes, context)
        doubts[limit] = min(doubts.get(limit, 0.98), 0.3 if said is None or doubt < 1 else 1.0)
        chosen.setdefault((limit, conditions), []).append((column, cell))
    whole = known_kind(subject, context)
    for (limit, conditions), held in chosen.items():
        column, cells = held[0][0], [cell for _, cell in held]
        every = [c.choice for c in view.columns if c.choice and c.hits[0].limit == limit]
        words = joined_choices([c.choice for c, _ in held], every, column.hits[0])
        if words is not None:
            yield Entry(whole, column.header, hits_for(column.hits, whole.kind), words, union(c.box for c in cells),
                        f"table:{view.grid.reader}", conditions, doubts[limit],
                        min(c.confidence for c in cells))  # fmt: skip


def _spread(view: View, row: int, col: int) -> float:
    """How sure a cell belongs to this column: less where it also covers columns of other limits."""
    cell = view.grid.at(row, col)
    first = cell.col
    covered = [view.columns[c] for c in range(first, first + cell.col_span)]
    if view.columns[col].torn:
        return 0.3
    return 1.0 if all(c.hits and c.hits[0].limit == view.columns[col].hits[0].limit for c in covered) else 0.4


def cell_entries(
    column: Column, cell: Cell, subject: Subject, context: PageContext, reader: str, certain: float,
    text: str | None = None,
) -> Iterator[Entry]:  # fmt: skip
    """The entries of one cell, or of ``text``, a part of it; several where notes or brackets set conditions."""
    label_conditions, label_doubt = _of_marks(column.marks, context)
    if names_several_variants(column.header, context.languages):
        label_doubt = min(label_doubt, 0.3)
    from_label = tuple(sorted((find_condition(column.header, context.languages) or {}).items()))
    hits = hits_for(column.hits, subject.kind)

    def entry(words: str, condition: Conditions, sure: float) -> Entry:
        return Entry(subject, column.header, hits, words, cell.box, reader, condition, min(certain, sure),
                     cell.confidence)  # fmt: skip

    for piece in split_marked(cell.text if text is None else text):
        stated = [
            (words, condition) for mark in piece.marks for words, condition in _stated_in_note(mark, hits, context)
        ]
        marks = [m for m in piece.marks if not _stated_in_note(m, hits, context)]
        conditions, doubt = _of_marks(marks, context)
        for words, bracket in split_condition(piece.text, context.languages):
            own = (
                tuple(sorted((bracket or {}).items())) or conditions or label_conditions or _foreign(from_label, column)
            )
            yield entry(words, own, min(doubt, label_doubt))
        for words, condition in stated:
            yield entry(words, condition, 0.95)


Conditions = tuple[tuple[str, float | str], ...]


def _stated_in_note(mark: str, hits: Sequence[LabelHit], context: PageContext) -> list[tuple[str, Conditions]]:
    """A value that a footnote itself states for its condition: ``* 34T with two chainrings``."""
    note = context.notes.get(mark)
    if note is None or not note.condition:
        return []
    words = note.text.split()
    for cut in range(len(words) - 1, 0, -1):
        for value, rest in ((words[:cut], words[cut:]), (words[cut:], words[:cut])):
            text, condition = " ".join(value).strip(" ,;:."), find_condition(" ".join(rest), context.languages)
            if condition and not find_condition(text, context.languages) and reads(text, hits, context.languages):
                return [(text, tuple(sorted(condition.items())))]
    return []


def _holds_other_numbers(text: str, condition: Conditions) -> bool:
    """Whether a note holds numbers that are none of its condition's: a value that was not understood, perhaps."""
    own = {value for _, value in condition if isinstance(value, float)}
    return any(float(number) not in own for number in re.findall(r"\d+", text))


def _foreign(condition: tuple[tuple[str, float | str], ...], column: Column) -> tuple[tuple[str, float | str], ...]:
    """A condition that the label names beside its own limit (``"Total capacity (double)"``)."""
    return condition if column.hits and not any(key == column.hits[0].limit for key, _ in condition) else ()


def hits_for(hits: Sequence[LabelHit], kind: PartKind | None) -> tuple[LabelHit, ...]:
    """The hits that parts of ``kind`` can have; all of them where the kind is not known."""
    return tuple(h for h in hits if h.suits(kind))


def _of_marks(marks: Iterable[str], context: PageContext) -> tuple[tuple[tuple[str, float | str], ...], float]:
    """The condition of the notes that marks point at, and how sure that is: low where a note was not understood."""
    conditions: dict[str, float | str] = {}
    doubt = 1.0
    for mark in marks:
        note = context.notes.get(mark)
        if note is None or not note.condition:
            doubt = min(doubt, 0.3 if note is not None and note.restricts else 0.5)
            continue
        if _holds_other_numbers(note.text, note.condition):
            doubt = min(doubt, 0.3)
        for key, value in note.condition:
            if conditions.setdefault(key, value) != value:
                doubt = 0.3
    return tuple(sorted(conditions.items())), doubt


def is_table(grid: Grid) -> bool:
    """Whether a grid holds short words in rows and columns, so that no other reader should look at it."""
    texts = [c.text for c in grid.cells if c.words]
    short = sum(len(t.split()) <= _MOST_CELL_WORDS or bool(find_version_values(t, LANGUAGES)) for t in texts)
    return grid.rows >= 2 and grid.cols >= 2 and short >= 0.8 * len(texts)
