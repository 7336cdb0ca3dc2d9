"""Rows of a table → the parts that they speak of: model, version and kind, also where cells are blank or broken."""

from __future__ import annotations

import re
from dataclasses import replace

from ...schema.parts import code_key, variant_key
from ..context import PageContext
from ..labels import Role
from ..marks import is_ditto, is_nothing
from ..subjects import Subject, is_code, names_several_variants, parse_heading, parse_model_cell, parse_variant
from .columns import View
from .grids import Cell, Grid


def known_kind(subject: Subject, context: PageContext) -> Subject:
    """The subject with its kind, where an earlier place of the document told it."""
    if subject.kind is None and subject.code:
        return replace(subject, kind=context.memory.kinds.get(code_key(subject.code)))
    return subject


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
        cells = {view.grid.at(r, models): r for r in reversed(group)}
        named = [r for cell, r in cells.items() if parse_model_cell(cell.text, languages)]
        owners.update((r, named[0] if len(named) == 1 else None) for r in group)
    return owners


def row_subjects(
    view: View, row: int, last: Subject, context: PageContext, owners: dict[int, int | None] | None
) -> tuple[Subject, ...]:
    """The parts of one row; ``last`` is that of the row before, for cells that are blank or say "ditto"."""
    subjects: tuple[Subject, ...] = ()
    variant = kind = None
    for col, column in enumerate(view.columns):
        text = view.grid.at(row, col).text
        if column.role is Role.MODEL:
            if owners is not None:
                owner = owners.get(row)
                text = view.grid.at(owner, col).text if owner is not None else ""
                last = last if owner is not None else Subject()
            blank = is_nothing(text) or is_ditto(text)
            subjects = (
                (replace(last, variant=None),) if blank and last.code else parse_model_cell(text, context.languages)
            )
        elif column.role is Role.VARIANT and not is_nothing(text):
            variant = last.variant if is_ditto(text) else _bare_variant(text, context.languages)
        elif column.role is Role.KIND and not is_nothing(text):
            kind = parse_heading(text, context.languages).kind
    subjects = tuple(s for s in subjects if s.code)
    return tuple(replace(s, variant=variant or s.variant, kind=s.kind or kind) for s in subjects) or (
        (Subject(kind, None, variant),) if variant or kind else ()
    )


def _bare_variant(text: str, languages: tuple[str, ...]) -> str:
    return parse_variant(text, languages) or re.sub(r"\^\{[^}]*\}", "", text).strip()


def row_doubt(view: View, row: int, languages: tuple[str, ...]) -> float:
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
        elif column.role is Role.MODEL and _lacks_letters(view, cell, col):
            sure = min(sure, 0.3)
        elif cell.confidence < 1 and column.role is Role.MODEL:
            sure = min(sure, 0.9 + 0.1 * cell.confidence if is_code(cell.text.strip()) or not cell.words else 0.4)
    return sure


def _lacks_letters(view: View, cell: Cell, col: int) -> bool:
    """Whether a model's name is digits alone while the others of its column have letters: it may be cut off."""
    if not cell.text.strip().isdigit():
        return False
    others = {view.grid.at(r, col).text for r in range(view.header_rows, view.grid.rows)} - {cell.text}
    return any(c.isalpha() for text in others if any(d.isdigit() for d in text) for c in text)


def has_blank_model(view: View, row: int) -> bool:
    """Whether a row's model cell is empty, so that its model is taken from the row above."""
    return any(c.role is Role.MODEL and not view.grid.at(row, n).words for n, c in enumerate(view.columns))


def section_row(grid: Grid, row: int, context: PageContext) -> Subject | None:
    """What a row of one cell across the table names; ``None`` for an ordinary row."""
    cells = [c for c in dict.fromkeys(grid.at(row, col) for col in range(grid.cols)) if c.words]
    if len(cells) != 1 or grid.cols < 3 or cells[0].row_span > 1:
        return None
    if cells[0].col_span < grid.cols and cells[0].col != 0:
        return None
    subject = parse_heading(cells[0].text, context.languages)
    return subject if subject.kind or cells[0].col_span == grid.cols else None
