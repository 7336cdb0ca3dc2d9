"""A table on a grid → entries: each value with its label, its part and its condition."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from ...schema.limits import LIMITS, PartKind
from ...schema.parts import code_key, variant_key
from ..conditions import find_condition, split_condition
from ..context import PageContext
from ..labels import LabelHit, Role, analyse, find_label_hits, find_role
from ..lines import union
from ..marks import is_mark, is_nothing, says_yes, split_mark, split_marked
from ..records import Entry
from ..subjects import (
    Subject,
    is_code,
    names_several_variants,
    parse_heading,
    parse_model_cell,
    parse_variant,
)
from .columns import Column, View, best_view, reads, under_columns, vote_kind
from .grids import Cell, Grid
from .matrix import joined_choices

_DITTO = re.compile(
    r"^(?:[\"″〃„“”]|''|,,|do\.?|dto\.?|d[ií]to\.?|ditto|[ií]dem|[ií]d\.|w\.?\s?o\.|"
    r"(?:(?:same|as|see|wie|siehe|comme|voir|come|vedi|como|igual|ver|zie|als|gleich)\b.{0,12}\b"
    r"(?:above|oben|dessus|sopra|arriba|boven)))$",
    re.IGNORECASE,
)
_LABELS_SHARE = 0.6


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
    for part in split_grid(grid, context.languages):
        entries.extend(_read_part(part, context))
    return entries


def split_grid(grid: Grid, languages: tuple[str, ...]) -> list[Grid]:
    """The grid, parted before every later row or column that holds labels again."""
    cols = [c for c in range(2, grid.cols) if _holds_labels([grid.at(r, c) for r in range(grid.rows)], languages)]
    if cols and _holds_labels([grid.at(r, 0) for r in range(grid.rows)], languages):
        return [part for piece in _cut_columns(grid, cols) for part in split_grid(piece, languages)]
    rows = [r for r in range(2, grid.rows) if _holds_labels([grid.at(r, c) for c in range(grid.cols)], languages)]
    first = _holds_labels([grid.at(0, c) for c in range(grid.cols)], languages)
    rows = [r for r in rows if r - 1 not in rows]
    if rows and first and grid.rows >= 4:
        return [piece.turned() for piece in _cut_columns(grid.turned(), rows)]
    return [grid]


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
        explained = sum(any(above.kind in LIMITS[h.limit].kinds for h in c.hits) for c in limited)
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
    grid, last = view.grid, Subject()
    owners = model_owners(view, context.languages)
    has_model = any(c.role is Role.MODEL for c in view.columns)
    section = Subject()
    for row in range(view.header_rows, grid.rows):
        spanning = _section_row(grid, row, context)
        if spanning is not None:
            section, last = spanning, Subject()
            continue
        subjects = _row_subjects(view, row, last, context, owners)
        if subjects and subjects[0].code:
            last = subjects[0]
        if not subjects and has_model:
            continue
        doubt = _row_doubt(view, row, context.languages)
        if has_model and owners is None and _has_blank_model(view, row):
            doubt = min(doubt, 0.5 if grid.reader == "aligned" else 0.75)
        base = replace(section.filled_from(Subject(kind)), variant=section.variant)
        for subject in subjects or (Subject(),):
            whole = subject.filled_from(base)
            whole = whole.filled_from(replace(above, kind=None)) if not has_model else whole
            for entry in _row_entries(view, row, whole, context):
                yield replace(entry, certain=min(entry.certain, doubt))


def _has_blank_model(view: View, row: int) -> bool:
    """Whether a row's model cell is empty, so that its model is taken from the row above."""
    return any(c.role is Role.MODEL and not view.grid.at(row, n).words for n, c in enumerate(view.columns))


def _row_doubt(view: View, row: int, languages: tuple[str, ...]) -> float:
    """How sure the row's part is: less where its variant cell is blank or, read by OCR, no clear code or variant."""
    sure = 1.0
    for col, column in enumerate(view.columns):
        cell = view.grid.at(row, col)
        if column.role is Role.VARIANT and not cell.words:
            sure = min(sure, 0.4)
        elif column.role is Role.VARIANT and names_several_variants(cell.text, languages):
            sure = min(sure, 0.3)
        elif cell.confidence < 1 and column.role is Role.VARIANT and not is_nothing(cell.text):
            sure = min(sure, 1.0 if parse_variant(cell.text, languages) else 0.4)
        elif cell.confidence < 1 and column.role is Role.MODEL:
            sure = min(sure, 0.9 + 0.1 * cell.confidence if is_code(cell.text.strip()) or not cell.words else 0.4)
    return sure


def _section_row(grid: Grid, row: int, context: PageContext) -> Subject | None:
    """What a row of one cell across the table names; ``None`` for an ordinary row."""
    cells = [c for c in dict.fromkeys(grid.at(row, col) for col in range(grid.cols)) if c.words]
    if len(cells) != 1 or grid.cols < 3 or cells[0].row_span > 1:
        return None
    if cells[0].col_span < grid.cols and cells[0].col != 0:
        return None
    subject = parse_heading(cells[0].text, context.languages)
    return subject if subject.kind or cells[0].col_span == grid.cols else None


def model_owners(view: View, languages: tuple[str, ...]) -> dict[int, int | None] | None:
    """For a table whose model cells stand once for several variants: row → the row that names its model.

    The variants' own order tells the groups: a group ends where a variant comes again. Where each group holds just
    one model cell, that is its model, wherever in the group it stands; a group that holds none or several has
    ``None``. The answer is ``None`` where the table has no blank model cells or no variants.
    """
    models = next((n for n, c in enumerate(view.columns) if c.role is Role.MODEL), None)
    variants = next((n for n, c in enumerate(view.columns) if c.role is Role.VARIANT), None)
    rows = range(view.header_rows, view.grid.rows)
    if models is None or variants is None or all(view.grid.at(r, models).words for r in rows):
        return None
    groups: list[list[int]] = []
    seen: set[str] = set()
    for row in rows:
        text = view.grid.at(row, variants).text
        variant = "" if is_nothing(text) else variant_key(text)
        if not groups or variant in seen or not variant or "" in seen:
            groups.append([])
            seen = set()
        groups[-1].append(row)
        seen.add(variant)
    owners: dict[int, int | None] = {}
    for group in groups:
        named = [r for r in group if parse_model_cell(view.grid.at(r, models).text, languages)]
        owners.update((r, named[0] if len(named) == 1 else None) for r in group)
    return owners


def _row_subjects(
    view: View, row: int, last: Subject, context: PageContext, owners: dict[int, int | None] | None
) -> tuple[Subject, ...]:
    subjects: tuple[Subject, ...] = ()
    variant = kind = None
    for col, column in enumerate(view.columns):
        text = view.grid.at(row, col).text
        if column.role is Role.MODEL:
            if owners is not None:
                owner = owners.get(row)
                text = view.grid.at(owner, col).text if owner is not None else ""
                last = last if owner is not None else Subject()
            blank = is_nothing(text) or _DITTO.match(text)
            subjects = (
                (replace(last, variant=None),) if blank and last.code else parse_model_cell(text, context.languages)
            )
        elif column.role is Role.VARIANT and not is_nothing(text):
            variant = last.variant if _DITTO.match(text) else _bare_variant(text, context.languages)
        elif column.role is Role.KIND and not is_nothing(text):
            kind = parse_heading(text, context.languages).kind
    subjects = tuple(s for s in subjects if s.code)
    return tuple(replace(s, variant=variant or s.variant, kind=s.kind or kind) for s in subjects) or (
        (Subject(kind, None, variant),) if variant or kind else ()
    )


def _bare_variant(text: str, languages: tuple[str, ...]) -> str:
    return parse_variant(text, languages) or re.sub(r"\^\{[^}]*\}", "", text).strip()


def _row_entries(view: View, row: int, subject: Subject, context: PageContext) -> Iterator[Entry]:
    yield from _choice_entries(view, row, subject, context)
    for col, column in enumerate(view.columns):
        if not column.hits or column.choice:
            continue
        cell = view.grid.at(row, col)
        text, source = cell.text, cell
        if _DITTO.match(text):
            source = next((view.grid.at(r, col) for r in range(row - 1, view.header_rows - 1, -1)
                           if not _DITTO.match(view.grid.at(r, col).text)), cell)  # fmt: skip
            text = source.text
        if is_nothing(text):
            continue
        whole = column.subject.filled_from(subject) if column.subject != Subject() else subject
        whole = known_kind(whole, context)
        yield from cell_entries(column, source, whole, context, f"table:{view.grid.reader}", _spread(view, row, col))


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
    return 1.0 if all(c.hits and c.hits[0].limit == view.columns[col].hits[0].limit for c in covered) else 0.4


def known_kind(subject: Subject, context: PageContext) -> Subject:
    """The subject with its kind, where an earlier place of the document told it."""
    if subject.kind is None and subject.code:
        return replace(subject, kind=context.memory.kinds.get(code_key(subject.code)))
    return subject


def cell_entries(
    column: Column, cell: Cell, subject: Subject, context: PageContext, reader: str, certain: float
) -> Iterator[Entry]:
    """The entries of one cell: several where footnotes or brackets give values for different conditions."""
    label_conditions, label_doubt = _of_marks(column.marks, context)
    if names_several_variants(column.header, context.languages):
        label_doubt = min(label_doubt, 0.3)
    from_label = tuple(sorted((find_condition(column.header, context.languages) or {}).items()))
    hits = hits_for(column.hits, subject.kind)

    def entry(words: str, condition: Conditions, sure: float) -> Entry:
        return Entry(subject, column.header, hits, words, cell.box, reader, condition, min(certain, sure),
                     cell.confidence)  # fmt: skip

    for piece in split_marked(cell.text):
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
    return [
        (words, tuple(sorted(condition.items())))
        for words, condition in split_condition(f"({note.text})", context.languages)
        if condition and words and reads(words, hits, context.languages)
    ]


def _foreign(condition: tuple[tuple[str, float | str], ...], column: Column) -> tuple[tuple[str, float | str], ...]:
    """A condition that the label names beside its own limit (``"Total capacity (double)"``)."""
    return condition if column.hits and not any(key == column.hits[0].limit for key, _ in condition) else ()


def hits_for(hits: Sequence[LabelHit], kind: PartKind | None) -> tuple[LabelHit, ...]:
    """The hits that parts of ``kind`` can have; all of them where the kind is not known."""
    return tuple(h for h in hits if kind is None or kind in LIMITS[h.limit].kinds)


def _of_marks(marks: Iterable[str], context: PageContext) -> tuple[tuple[tuple[str, float | str], ...], float]:
    """The condition of the notes that marks point at, and how sure that is: low where a note was not understood."""
    conditions: dict[str, float | str] = {}
    doubt = 1.0
    for mark in marks:
        note = context.notes.get(mark)
        if note is None or not note.condition:
            doubt = min(doubt, 0.5)
            continue
        for key, value in note.condition:
            if conditions.setdefault(key, value) != value:
                doubt = 0.3
    return tuple(sorted(conditions.items())), doubt


def is_table(grid: Grid) -> bool:
    """Whether a grid holds short words in rows and columns, so that no other reader should look at it."""
    texts = [c.text for c in grid.cells if c.words]
    return grid.rows >= 2 and grid.cols >= 2 and sum(len(t.split()) <= 8 for t in texts) >= 0.8 * len(texts)
