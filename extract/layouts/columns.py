"""What the columns of a table stand for: model, variant, kind, or limits with a header of one or more rows."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from ...schema.limits import LIMITS, Form, PartKind
from ..conditions import split_condition
from ..labels import LabelHit, Role, analyse, find_label_hits, find_role, split_unit
from ..marks import is_ditto, is_mark, is_nothing, split_marked
from ..subjects import Subject, find_kinds, is_code, names_several_variants, parse_model_cell, parse_variant
from ..values import RINGS_BY_COGS_LABELS, is_rings_by_cogs, parse_value, plausible
from .bounds import find_shared_bounds, is_unit, lone_bound, lone_size
from .grids import Cell, Grid
from .matrix import find_choices
from .versions import find_version_values

MOST_HEADER_ROWS = 5
_MOSTLY = 0.6
_LEAST_LABEL = 0.62
_CLEAR_LABEL = 0.9
_NUMBER = re.compile(r"(?<![\w^{])\d")


@dataclass(frozen=True)
class Column:
    """One column: the words of its header, a role or the limits that they can mean, and what part they add."""

    header: str = ""
    role: Role | None = None
    hits: tuple[LabelHit, ...] = ()
    subject: Subject = field(default_factory=Subject)
    marks: tuple[str, ...] = ()
    choice: str = ""
    """The value that a mark in this column stands for (a matrix of models and speeds), else empty."""
    half: str | None = None
    """``high`` or ``low`` where a header cell of its own says no more than maximum or minimum."""
    torn: bool = False
    """Whether the other half of its range is in a column that was not understood."""


@dataclass(frozen=True)
class View:
    """A table looked at one way round: ``header_rows`` rows of header over rows that each speak of one part."""

    grid: Grid
    header_rows: int
    columns: tuple[Column, ...]
    score: float


def best_view(grid: Grid, languages: tuple[str, ...]) -> View | None:
    """The way round, and the number of header rows, under which most cells read as values of their labels."""
    best: View | None = None
    for turned in (grid, grid.turned()):
        for header_rows in range(1, min(MOST_HEADER_ROWS, turned.rows - 1) + 1):
            view = look(turned, header_rows, languages)
            if view is not None and (best is None or view.score > best.score + 1e-9):
                best = view
    return best


def look(grid: Grid, header_rows: int, languages: tuple[str, ...]) -> View | None:
    """The view with that many header rows, ``None`` where no cell reads as a value."""
    if header_rows > 1 and _has_numbers(grid, header_rows - 1) and not _is_matrix(grid, header_rows):
        return None
    columns = tuple(_column(grid, col, header_rows, languages) for col in range(grid.cols))
    columns = _with_choices(grid, header_rows, columns, languages)
    if not any(column.hits for column in columns):
        return None
    columns = _with_other_bounds(columns, languages)
    columns = _with_roles(grid, header_rows, columns, languages)
    unread = {
        n for n, c in enumerate(columns) if c.half and c.hits and not _is_read(grid, n, header_rows, c, languages)
    }
    columns = tuple(replace(c, torn=c.torn or bool(c.half and {n - 1, n + 1} & unread)) for n, c in enumerate(columns))
    score = _score(grid, header_rows, columns, languages)
    return View(grid, header_rows, columns, score) if score > 0 else None


def _with_other_bounds(columns: tuple[Column, ...], languages: tuple[str, ...]) -> tuple[Column, ...]:
    """Columns of maxima and minima side by side with the limit that their headers name together."""
    shared = find_shared_bounds([c.header for c in columns], [c.hits for c in columns], languages)
    settled = list(columns)
    for n, hits in shared.items():
        beside = columns[n + 1 if n + 1 in shared and hits[0].bound != shared[n + 1][0].bound else n - 1]
        header = columns[n].header if columns[n].hits else f"{beside.header} / {columns[n].header}"
        settled[n] = replace(columns[n], header=header, hits=hits)
    return tuple(replace(c, torn=_is_torn(settled, n)) for n, c in enumerate(settled))


def _is_torn(columns: Sequence[Column], at: int) -> bool:
    """Whether a column of maxima or minima stands beside one of the opposite that has no limit with bounds."""
    own = columns[at]
    beside = [columns[n] for n in (at - 1, at + 1) if 0 <= n < len(columns)]
    opposite = [c for c in beside if own.half and c.half and c.half != own.half]
    if any(c.hits and own.hits and c.hits[0].limit == own.hits[0].limit for c in opposite):
        return False
    bounded = (Form.RANGE, Form.HIGH, Form.LOW, Form.EXACT_OR_RANGE)
    return any(not c.hits or LIMITS[c.hits[0].limit].form not in bounded for c in opposite)


def _has_numbers(grid: Grid, row: int) -> bool:
    """Whether more than a third of a row's cells hold a number, as no header does."""
    texts = [split_unit(c.text)[0] for c in dict.fromkeys(grid.at(row, col) for col in range(grid.cols)) if c.words]
    return sum(bool(_NUMBER.search(t)) for t in texts) > max(1, len(texts) / 3)


def _is_matrix(grid: Grid, header_rows: int) -> bool:
    return any(_only_marks(_body_cells(grid, col, header_rows)) for col in range(1, grid.cols))


def _only_marks(cells: Sequence[Cell]) -> bool:
    texts = [c.text for c in cells]
    return bool(texts) and all(is_mark(t) or is_nothing(t) for t in texts) and any(is_mark(t) for t in texts)


def _body_cells(grid: Grid, col: int, header_rows: int) -> list[Cell]:
    return list(dict.fromkeys(grid.at(row, col) for row in range(header_rows, grid.rows)))


def _with_choices(
    grid: Grid, header_rows: int, columns: tuple[Column, ...], languages: tuple[str, ...]
) -> tuple[Column, ...]:
    """The columns, those of marks under a value with the value that their marks stand for."""
    headers = [[c.text for c in header_cells(grid, col, header_rows)] for col in range(grid.cols)]
    bodies = [[c.text for c in _body_cells(grid, col, header_rows)] for col in range(grid.cols)]
    found = find_choices(headers, bodies, languages)
    return tuple(
        replace(column, header=f"{c.header} {c.value}".strip(), hits=(c.hit,), choice=c.value, role=None)
        if (c := found.get(n))
        else column
        for n, column in enumerate(columns)
    )


def under_columns(grid: Grid, columns: Sequence[Column], languages: tuple[str, ...]) -> View | None:
    """The view of a table without header under the columns of an earlier one; ``None`` where they do not suit."""
    if len(columns) != grid.cols:
        return None
    score = _score(grid, 0, tuple(columns), languages)
    return View(grid, 0, tuple(columns), score) if score > 0 else None


def header_cells(grid: Grid, col: int, header_rows: int) -> list[Cell]:
    """The distinct cells above a column's body, from top to bottom."""
    cells: list[Cell] = []
    for row in range(header_rows):
        cell = grid.at(row, col)
        if cell.words and cell not in cells:
            cells.append(cell)
    return cells


def _column(grid: Grid, col: int, header_rows: int, languages: tuple[str, ...]) -> Column:
    cells = header_cells(grid, col, header_rows)
    label: list[str] = []
    marks: list[str] = []
    subject = Subject()
    for cell in cells:
        pieces = split_marked(cell.text)
        text = " ".join(p.text for p in pieces if not p.inside) or cell.text
        marks.extend(m for p in pieces for m in p.marks)
        added = _named_part(text, languages) if len(cells) > 1 else Subject()
        if added == Subject():
            label.append(text)
        else:
            subject = added.filled_from(subject)
    units = [text for text in label[1:] if is_unit(text)]
    label = [text for n, text in enumerate(label) if not n or not is_unit(text)]
    bound = _bound_below(label, languages)
    header = " ".join([*label, *(text if split_unit(text)[1] else f"({text})" for text in units)])
    roles = find_role(header, languages)
    hits = find_label_hits(" ".join([*label[:-1], *units]) if bound else header, None, languages)
    hits = tuple(replace(h, bound=bound or h.bound) for h in hits if h.score >= _LEAST_LABEL)
    hits = () if lone_bound(header, languages) else hits
    role = next((r for r in (Role.MODEL, Role.VARIANT, Role.KIND) if r in roles), None)
    return Column(header, role, hits, subject, tuple(marks), half=bound)


def _bound_below(label: Sequence[str], languages: tuple[str, ...]) -> str | None:
    """The bound that the last cell of a header says: maximum, or biggest below a label that is a range by itself."""
    if len(label) < 2:
        return None
    size = lone_size(label[-1], languages)
    if size is None:
        return lone_bound(label[-1], languages)
    above = find_label_hits(" ".join(label[:-1]), None, languages)
    clear = bool(above) and above[0].score >= _CLEAR_LABEL and LIMITS[above[0].limit].form is Form.RANGE
    return size if clear else None


def _named_part(text: str, languages: tuple[str, ...]) -> Subject:
    """A header cell that names a variant, a model or a kind and no limit."""
    variant = parse_variant(text, languages)
    if variant:
        return Subject(variant=variant)
    if find_label_hits(text, None, languages) or find_role(text, languages):
        return Subject()
    subjects = parse_model_cell(text, languages)
    if len(subjects) == 1 and subjects[0].code and is_code(subjects[0].code):
        return subjects[0]
    return Subject()


def _with_roles(
    grid: Grid, header_rows: int, columns: tuple[Column, ...], languages: tuple[str, ...]
) -> tuple[Column, ...]:
    """Roles settled by header and contents together: at most one model, variant and kind column each."""
    bodies = [_body(grid, col, header_rows) for col in range(grid.cols)]
    tests: dict[Role, Callable[[str], bool]] = {
        Role.MODEL: lambda t: _is_model(t, languages),
        Role.KIND: lambda t: _is_kind(t, languages),
        Role.VARIANT: lambda t: _is_variant(t, languages),
    }
    chosen: dict[int, Role] = {}
    for role, test in tests.items():
        shares = {n: _share(bodies[n], test) for n in range(len(columns)) if n not in chosen}
        col = _role_column(role, shares, columns, bodies, languages)
        if col is not None:
            chosen[col] = role
    return tuple(
        replace(column, role=chosen.get(n), hits=() if n in chosen else column.hits) for n, column in enumerate(columns)
    )


def _role_column(
    role: Role,
    shares: dict[int, float],
    columns: Sequence[Column],
    bodies: Sequence[list[str]],
    languages: tuple[str, ...],
) -> int | None:
    """The column that plays a role: one headed so, if its contents do not speak against it, else one that holds it."""
    headed = [n for n in shares if columns[n].role is role or role in find_role(columns[n].header, languages)]
    headed.sort(key=lambda n: "order" in analyse(columns[n].header).names("concept"))
    for n in headed:
        least = 0.3 if role is Role.MODEL else 0.0
        if shares[n] >= _MOSTLY or (not columns[n].hits and shares[n] > least):
            return n
        if role is Role.VARIANT and not columns[n].hits and _may_hold_variants(bodies[n]):
            return n
    free = [n for n in shares if not columns[n].hits or not _reads_as_values(columns[n], bodies[n], languages)]
    held = [n for n in free if shares[n] >= _MOSTLY and (role is Role.MODEL or not columns[n].hits)]
    if role is Role.MODEL:
        first = next((n for n in shares if n not in free), len(columns))
        held = [
            n for n in held if not columns[n].header or (n < min(2, first) and _may_hold_models(columns[n], bodies[n]))
        ]
        held = [n for n in held if find_role(columns[n].header, languages) != {Role.VARIANT}]
    return held[0] if held else None


def _is_read(grid: Grid, col: int, header_rows: int, column: Column, languages: tuple[str, ...]) -> bool:
    """Whether a column's cells read as values, or there are none."""
    body = _body(grid, col, header_rows)
    return not body or _reads_as_values(column, body, languages)


def _reads_as_values(column: Column, body: Sequence[str], languages: tuple[str, ...]) -> bool:
    """Whether any cell under a label of limits is a value of one."""
    return any(reads(text, column.hits, languages) for text in body)


def _may_hold_variants(body: Sequence[str]) -> bool:
    """Whether cells under a heading for versions are short names of their own, some of them used more than once."""
    names = [text for text in body if len(text.split()) <= 3 and text[:1].isalpha() and len(text) <= 20]
    return len(names) == len(body) and len(set(body)) > 1 and not any(is_code(t) and len(t) > 4 for t in body)


def _may_hold_models(column: Column, body: list[str]) -> bool:
    """Whether a first column under unknown words holds model codes: all clear codes, or all different."""
    names = analyse(column.header).names("concept")
    if not column.hits and names & {"model", "order"}:
        return True
    known = any(term.meanings for term in analyse(column.header).terms)
    named = len(column.header.split()) <= 2 and not known
    distinct = named and len(set(body)) == len(body)
    return all(map(is_code, body)) or distinct


def _body(grid: Grid, col: int, header_rows: int) -> list[str]:
    """The words of a column's body, cells that say nothing left out."""
    return [c.text for c in _body_cells(grid, col, header_rows) if c.words and not is_nothing(c.text)]


def _share(texts: list[str], test: Callable[[str], bool]) -> float:
    return sum(bool(test(t)) for t in texts) / len(texts) if texts else 0.0


def _is_model(text: str, languages: tuple[str, ...]) -> bool:
    subjects = parse_model_cell(text, languages)
    return bool(subjects) and all(s.code for s in subjects) and not find_label_hits(text, None, languages)


def _is_variant(text: str, languages: tuple[str, ...]) -> bool:
    """Words that are a variant, or several."""
    return parse_variant(text, languages) is not None or names_several_variants(text, languages)


def _is_kind(text: str, languages: tuple[str, ...]) -> bool:
    kinds = find_kinds(text, languages)
    return len(kinds) == 1 and not any(c.isdigit() for c in text) and len(text.split()) <= 4


def _score(grid: Grid, header_rows: int, columns: tuple[Column, ...], languages: tuple[str, ...]) -> float:
    """Cells that read as values, less those that do not; a subject column counts for half a cell a row with values."""
    good = bad = 0.0
    rows: set[int] = set()
    seen: set[tuple[int, int]] = set()
    for col, column in enumerate(columns):
        if not column.hits:
            continue
        for row in range(header_rows, grid.rows):
            cell = grid.at(row, col)
            if (cell.row, cell.col) in seen or is_ditto(cell.text) or (is_nothing(cell.text) and not column.choice):
                continue
            seen.add((cell.row, cell.col))
            if column.choice:
                good += is_mark(cell.text)
                rows.add(row)
            elif reads(cell.text, column.hits, languages):
                good += 1
                rows.add(row)
            else:
                bad += 1
    if good == 0 or good < bad:
        return 0.0
    numbered = sum(bool(c.hits) and not c.choice and bool(_NUMBER.search(split_unit(c.header)[0])) for c in columns)
    good -= 1.5 * numbered
    if good <= 0:
        return 0.0
    models = 0.5 * len(rows) if any(c.role is Role.MODEL for c in columns) else 0.0
    return good - 0.5 * bad + models - 0.01 * header_rows


def reads(text: str, hits: Sequence[LabelHit], languages: tuple[str, ...]) -> bool:
    """Whether any part of a cell's words is a plausible value of one of the limits, or each of its versions' values."""
    versions = find_version_values(text, languages)
    if versions and all(reads(v.value, hits, languages) for v in versions if v.value != text):
        return True
    for piece in split_marked(text):
        for words, _ in split_condition(piece.text, languages):
            for hit in hits[:4]:
                value = parse_value(words, hit.limit, hit.bound, languages)
                if value is not None and plausible(hit.limit, value.low, value.high, value.values):
                    return True
            if is_rings_by_cogs(words) and any(h.limit in RINGS_BY_COGS_LABELS for h in hits):
                return True
    return False


def vote_kind(columns: Sequence[Column]) -> tuple[PartKind, ...]:
    """The kinds of part that have most of the columns' limits; several where they tie."""
    counts = {kind: sum(any(h.suits(kind) for h in c.hits) for c in columns if c.hits) for kind in PartKind}
    most = max(counts.values(), default=0)
    return tuple(kind for kind, n in counts.items() if n == most and n > 0)
