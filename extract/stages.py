"""A file → what each stage of the reading made of it, as JSON and as a picture. The developers' view.

It calls the same public functions in the same order as the pipeline and changes nothing on the way.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from enum import StrEnum
from itertools import groupby
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw, ImageFont

from ..schema.claims import Box, Claim
from ..schema.errors import CallError, Fault
from ..schema.reasons import Reason
from ..schema.validation import HeldBack, validate_claims
from .assemble import assemble
from .contents import open_pages
from .context import DocumentMemory
from .labels import Role
from .layouts import PageEntries, read_layouts
from .layouts.columns import View, best_view, header_cells
from .layouts.grids import Grid
from .lines import Line, find_lines, union
from .makers import find_maker
from .pages import render_page
from .records import Entry, PageContent, Source
from .settings import DEFAULT_SETTINGS, ReadSettings
from .triage import Outlook

PICTURE_DPI = 110.0
_MOST_PICTURE_PX = 2200
_LEGEND_PX = 22


class Mark(StrEnum):
    """What a frame in a picture stands for; the value is the word in its legend."""

    WORD = "word"
    RULE = "rule"
    CELL = "cell"
    LABEL = "label"
    VALUE = "value"
    SUBJECT = "part"
    HELD = "held back"


COLOURS: dict[Mark, tuple[int, int, int]] = {
    Mark.WORD: (176, 176, 176),
    Mark.RULE: (40, 90, 230),
    Mark.CELL: (70, 170, 110),
    Mark.LABEL: (240, 140, 0),
    Mark.VALUE: (214, 20, 60),
    Mark.SUBJECT: (140, 40, 190),
    Mark.HELD: (0, 0, 0),
}
_WIDTHS: dict[Mark, int] = {Mark.WORD: 1, Mark.CELL: 1, Mark.RULE: 2}


@dataclass(frozen=True)
class PageStages:
    """One page after every stage, from words to claims; ``outlook`` is what its bare text let expect.

    A page that lets no limits be expected is looked at here all the same, and passed over by the pipeline.
    """

    outlook: Outlook
    content: PageContent
    lines: tuple[Line, ...]
    found: PageEntries
    views: tuple[View | None, ...]
    claims: tuple[Claim, ...]
    held_back: tuple[HeldBack, ...]


def read_stages(
    source: Source, only: int | None = None, settings: ReadSettings = DEFAULT_SETTINGS
) -> Iterator[PageStages | Fault]:
    """The stages of each page, or of page ``only``; a fault for a page that cannot be read.

    Pages before ``only`` are read too, because headings and columns reach over pages.

    Raises:
        DocumentError: nothing of the file can be used.
        CallError: it has no page ``only``.
    """
    memory = DocumentMemory()
    contents = list(_contents(source, only, settings))
    read = [content for _, content in contents if isinstance(content, PageContent)]
    maker = find_maker(read[:3])
    for outlook, content in contents:
        if isinstance(content, Fault):
            yield content
            continue
        stages = _stages(outlook, content, source.name, maker, memory, settings)
        if only in (None, content.number):
            yield stages


def _stages(
    outlook: Outlook,
    content: PageContent,
    document: str,
    maker: str | None,
    memory: DocumentMemory,
    settings: ReadSettings,
) -> PageStages:
    found = read_layouts(content, memory, settings)
    assembled = assemble(found.entries, content, document, maker, memory, found.context.languages)
    validation = validate_claims(assembled.claims)
    views = tuple(best_view(grid, found.context.languages) for grid in found.grids)
    lines = tuple(find_lines(content.words, settings))
    held_back = (*assembled.held_back, *validation.held_back)
    return PageStages(outlook, content, lines, found, views, tuple(validation.valid), held_back)


def _contents(
    source: Source, only: int | None, settings: ReadSettings
) -> Iterator[tuple[Outlook, PageContent | Fault]]:
    """The pages up to the one asked for, and at least three, since the maker is looked for there."""
    with open_pages(source, settings) as pages:
        _object_to_page(source, only, len(pages))
        for number in range(1, min(max(only or len(pages), 3), len(pages)) + 1):
            yield pages.outlook(number), pages.content(number)


def _object_to_page(source: Source, only: int | None, pages: int) -> None:
    if only is not None and not 1 <= only <= pages:
        raise CallError(Reason.BAD_CALL, f"there is no page {only}", file=source.name,
                            advice=f"name a page from 1 to {pages}")  # fmt: skip


def write_stages(source: Source, folder: Path, only: int | None = None) -> tuple[list[Path], list[Fault]]:
    """The stages of a file as ``p001-1-words.json`` … and ``p001.png`` in ``folder``; what was written, what failed."""
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    faults: list[Fault] = []
    for stages in read_stages(source, only):
        if isinstance(stages, Fault):
            faults.append(stages)
            continue
        stem = f"p{stages.content.number:03}"
        for name, state in stage_records(stages).items():
            path = folder / f"{stem}-{name}.json"
            path.write_text(json.dumps(state, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
            written.append(path)
        picture = folder / f"{stem}.png"
        draw_stages(stages, render_page(source.path, stages.content.number, PICTURE_DPI)).save(picture)
        written.append(picture)
    return written, faults


def stage_records(stages: PageStages) -> dict[str, Any]:
    """The state after each stage as JSON values, by the name of the stage with its place in the order."""
    content, found = stages.content, stages.found
    return {
        "1-words": {
            "page": content.number, "size": [round(content.width, 1), round(content.height, 1)],
            "origin": content.origin, "back": list(content.back), "words": _plain(content.words),
            "rules": _plain(content.rules), "fills": _plain(content.fills), "outlook": _plain(stages.outlook),
        },
        "2-lines": [[{"text": s.text, "box": s.box.as_list(), "size": round(s.size, 2), "bold": s.bold}
                     for s in line.segments] for line in stages.lines],
        "3-grids": [_grid_record(grid, view) for grid, view in zip(found.grids, stages.views, strict=True)],
        "4-context": {"languages": list(found.context.languages), "headings": _plain(found.context.headings),
                      "notes": _plain(found.context.notes)},
        "5-entries": _plain(found.entries),
        "6-claims": {"claims": [c.as_json() for c in stages.claims],
                     "held_back": [_held_record(h) for h in stages.held_back]},
    }  # fmt: skip


def _grid_record(grid: Grid, view: View | None) -> dict[str, Any]:
    record: dict[str, Any] = {
        "reader": grid.reader, "rows": grid.rows, "cols": grid.cols, "box": grid.box.as_list(),
        "cells": [{"row": c.row, "col": c.col, "row_span": c.row_span, "col_span": c.col_span, "text": c.text,
                   "area": c.area.as_list()} for c in sorted(grid.cells, key=lambda c: (c.row, c.col))],
    }  # fmt: skip
    if view is not None:
        record["view"] = {"turned": view.grid is not grid, "header_rows": view.header_rows,
                          "score": round(view.score, 2), "columns": _plain(view.columns)}  # fmt: skip
    return record


def _held_record(held: HeldBack) -> dict[str, Any]:
    return {"record": held.record, "reasons": [o.as_json() for o in held.objections]}


def _plain(value: object) -> Any:
    """Records as JSON values; numbers to a hundredth, boxes as four numbers."""
    if isinstance(value, Box):
        return value.as_list()
    if isinstance(value, float):
        return round(value, 2)
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [_plain(v) for v in value]
    return value if isinstance(value, (str, int, bool, type(None))) else str(value)


def find_marks(stages: PageStages) -> list[tuple[Mark, Box]]:
    """Everything that a picture of the page frames, in coordinates of the page as it is shown."""
    content, found = stages.content, stages.found
    marks: list[tuple[Mark, Box]] = [(Mark.WORD, w.box) for w in content.words]
    marks.extend((Mark.RULE, Box(min(r.x0, r.x1), min(r.y0, r.y1), max(r.x0, r.x1), max(r.y0, r.y1)))
                 for r in content.rules)  # fmt: skip
    for grid, view in zip(found.grids, stages.views, strict=True):
        marks.extend((Mark.CELL, cell.area) for cell in grid.cells if cell.words)
        marks.extend(_marks_of_view(view) if view else ())
    marks.extend((Mark.SUBJECT, heading.box) for heading in found.context.headings)
    marks.extend(_marks_of_lines(found.entries, stages.lines))
    marks.extend((Mark.VALUE, entry.box) for entry in found.entries)
    shown = [(mark, content.shown(box)) for mark, box in marks]
    boxes = [held.record.get("bbox") for held in stages.held_back]
    return [*shown, *((Mark.HELD, Box(*box)) for box in boxes if box)]


def _marks_of_view(view: View) -> Iterator[tuple[Mark, Box]]:
    for col, column in enumerate(view.columns):
        if column.hits:
            yield from ((Mark.LABEL, union(w.box for w in cell.words)) for cell in
                        header_cells(view.grid, col, view.header_rows))  # fmt: skip
        elif column.role in (Role.MODEL, Role.VARIANT, Role.KIND):
            cells = {view.grid.at(row, col) for row in range(view.header_rows, view.grid.rows)}
            yield from ((Mark.SUBJECT, union(w.box for w in cell.words)) for cell in cells if cell.words)


def _marks_of_lines(entries: Iterable[Entry], lines: Sequence[Line]) -> Iterator[tuple[Mark, Box]]:
    """The labels of entries outside tables: the longest run of words nearby that the label repeats."""
    for entry in entries:
        if entry.reader.startswith("table"):
            continue
        wanted = set(entry.label.replace("…", " ").split())
        height = entry.box.bottom - entry.box.top
        near = [w for line in lines for s in line.segments for w in s.words
                if entry.box.top - 1.5 * height <= w.box.top <= entry.box.bottom]  # fmt: skip
        runs = groupby(near, key=lambda w: w.text.rstrip(":：= ") in wanted or w.text in wanted)
        own = max((list(run) for known, run in runs if known), key=len, default=[])
        yield from ((Mark.LABEL, w.box) for w in own)


def draw_stages(stages: PageStages, page: Image.Image) -> Image.Image:
    """The page with everything framed that the stages found, and a legend above it."""
    shrink = min(1.0, _MOST_PICTURE_PX / max(page.size))
    page = page.convert("RGB").resize((max(1, round(page.width * shrink)), max(1, round(page.height * shrink))))
    along, across, *_ = stages.content.back
    scale = page.width / (stages.content.width if abs(along) >= abs(across) else stages.content.height)
    sheet = Image.new("RGB", (page.width, page.height + _LEGEND_PX), "white")
    sheet.paste(Image.blend(page, Image.new("RGB", page.size, "white"), 0.35), (0, _LEGEND_PX))
    pen = ImageDraw.Draw(sheet)
    for mark, box in find_marks(stages):
        x0, top, x1, bottom = (v * scale for v in (box.x0, box.top, box.x1, box.bottom))
        grown = {Mark.VALUE: 2, Mark.SUBJECT: 2, Mark.HELD: 4}.get(mark, 0)
        place = (x0 - grown, top - grown + _LEGEND_PX, x1 + grown, bottom + grown + _LEGEND_PX)
        pen.rectangle(place, outline=COLOURS[mark], width=_WIDTHS.get(mark, 2))
    _draw_legend(pen, stages)
    return sheet


def _draw_legend(pen: ImageDraw.ImageDraw, stages: PageStages) -> None:
    font = ImageFont.load_default()
    x = 6.0
    for mark in Mark:
        pen.rectangle((x, 6, x + 12, _LEGEND_PX - 6), outline=COLOURS[mark], width=3)
        pen.text((x + 16, 5), mark, fill="black", font=font)
        x += 26 + pen.textlength(mark, font=font)
    said = (f"page {stages.content.number}, {stages.content.origin}: {len(stages.found.entries)} entries, "
            f"{len(stages.claims)} claims, {len(stages.held_back)} held back")  # fmt: skip
    pen.text((x + 8, 5), said, fill="black", font=font)
