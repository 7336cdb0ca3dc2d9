"""Rows of a table → the parts that they speak of: model, version and kind, also where cells are blank or broken."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
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

    A name may stand in the first row of its group or anywhere in it. Read down from each name, no variant may come
    twice; read by the variants' own order, a group ends where one comes again and must hold just one name. Where both
    ways are possible and differ, and where neither is, the row has ``None``. The answer is ``None`` where the table
    has no blank model cells or no variants.
    """
    models = next((n for n, c in enumerate(view.columns) if c.role is Role.MODEL), None)
    variants = next((n for n, c in enumerate(view.columns) if c.role is Role.VARIANT), None)
    rows = range(view.header_rows, view.grid.rows)
    if models is None or variants is None or all(view.grid.at(r, models).words for r in rows):
        return None
    cells = {r: view.grid.at(r, models) for r in rows}
    named = {r: cell for r, cell in cells.items() if parse_model_cell(cell.text, languages)}
    named = {r: cell for r, cell in named.items() if r - 1 not in cells or cells[r - 1] is not cell}
    keys = {r: "" if is_nothing(text := view.grid.at(r, variants).text) else variant_key(text) for r in rows}
    downward = _owners(_groups(rows, lambda row, _: row in named), named, keys)
    by_order = _owners(_groups(rows, lambda row, group: _ends_before(keys, row, group)), named, keys)
    if None in downward.values():
        return by_order
    if None in by_order.values():
        return downward
    return {r: owner if by_order[r] == owner else None for r, owner in downward.items()}


def _ends_before(keys: Mapping[int, str], row: int, group: Sequence[int]) -> bool:
    seen = {keys[r] for r in group}
    return not keys[row] or keys[row] in seen or "" in seen


def _groups(rows: Iterable[int], starts: Callable[[int, Sequence[int]], bool]) -> list[list[int]]:
    groups: list[list[int]] = []
    for row in rows:
        if not groups or starts(row, groups[-1]):
            groups.append([])
        groups[-1].append(row)
    return groups


def _owners(groups: Sequence[Sequence[int]], named: Container[int], keys: Mapping[int, str]) -> dict[int, int | None]:
    owners: dict[int, int | None] = {}
    for group in groups:
        names = [r for r in group if r in named]
        versions = [keys[r] for r in group]
        sure = len(names) == 1 and (len(set(versions)) == len(versions) and ("" not in versions or len(group) == 1))
        owners.update((r, names[0] if sure else None) for r in group)
    return owners


def repeated_models(view: View, languages: tuple[str, ...]) -> frozenset[str]:
    """Codes that several rows name though no column tells versions: what sets these rows apart was not understood."""
    models = next((n for n, c in enumerate(view.columns) if c.role is Role.MODEL), None)
    if models is None or any(c.role is Role.VARIANT for c in view.columns):
        return frozenset()
    counts: Counter[str] = Counter()
    for row in range(view.header_rows, view.grid.rows):
        subjects = parse_model_cell(view.grid.at(row, models).text, languages)
        counts.update({s.code for s in subjects if s.code and s.variant is None})
    return frozenset(code for code, n in counts.items() if n > 1)


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


_CLEAR_WORDS = 0.95
"""Words of a picture that are at least this sure name a part as print does."""


def row_doubt(view: View, row: int, languages: tuple[str, ...]) -> float:
    """How sure the row's part is: less where its variant cell is blank or, read by OCR, no clear code or variant."""
    sure = 1.0
    for col, column in enumerate(view.columns):
        cell = view.grid.at(row, col)
        if column.role is Role.VARIANT and not cell.words:
            sure = min(sure, 0.4)
        elif column.role is Role.VARIANT and names_several_variants(cell.text, languages):
            sure = min(sure, 0.3)
        elif cell.confidence < _CLEAR_WORDS and column.role is Role.VARIANT and not is_nothing(cell.text):
            sure = min(sure, 1.0 if parse_variant(cell.text, languages) else 0.4)
        elif column.role is Role.MODEL and _lacks_letters(view, cell, col):
            sure = min(sure, 0.3)
        elif cell.confidence < 1 and column.role is Role.MODEL:
            sure = min(
                sure,
                0.9 + 0.1 * cell.confidence
                if is_code(cell.text.strip()) or not cell.words or cell.confidence >= _CLEAR_WORDS
                else 0.4,
            )
    return sure


def _lacks_letters(view: View, cell: Cell, col: int) -> bool:
    """Whether a model's name is digits alone while the others of its column have letters: it may be cut off."""
    if not cell.text.strip().isdigit():
        return False
    others = {view.grid.at(r, col).text for r in range(view.header_rows, view.grid.rows)} - {cell.text}
    return any(c.isalpha() for text in others if any(d.isdigit() for d in text) for c in text)


def names_unknown_model(view: View, row: int) -> bool:
    """Whether a row's model cell holds words of its own, so that a row below it cannot mean an earlier model."""
    texts = [view.grid.at(row, n).text for n, c in enumerate(view.columns) if c.role is Role.MODEL]
    return any(text and not is_nothing(text) and not is_ditto(text) for text in texts)


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
