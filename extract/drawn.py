"""An open page → the straight lines and filled boxes drawn on it, in points of the page as it is shown."""

from __future__ import annotations

import ctypes
import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pypdfium2 as pdfium
import pypdfium2.raw as raw

from ..schema.claims import Box
from .letters import apply
from .records import Affine, Rule
from .settings import ReadSettings

_MOST_DEPTH = 6
_STRAIGHT_PT = 0.6
_CORNER_PT = 0.3
Point = tuple[float, float]
Handle = Any
"""A pointer of the PDF library, which declares no types for them."""


def find_drawn(page: pdfium.PdfPage, to_shown: Affine, settings: ReadSettings) -> tuple[list[Rule], list[Box]]:
    """Rules and fills of an open page; thin fills count as rules, and boxes that are stroked as four."""
    rules: list[Rule] = []
    fills: list[Box] = []
    fill, stroke = ctypes.c_int(), ctypes.c_int()
    for item, matrix in _objects(page.raw, to_shown, raw.FPDF_PAGEOBJ_PATH):
        raw.FPDFPath_GetDrawMode(item, fill, stroke)
        for box, is_line in _pieces(item, matrix):
            thin = min(box.x1 - box.x0, box.bottom - box.top) <= settings.rule_thickness_pt
            if is_line or (thin and fill.value):
                rules.append(_centre_line(box))
            elif stroke.value:
                rules.extend(_sides(box))
            if not is_line and not thin and fill.value:
                fills.append(box)
    long_enough = [r for r in rules if max(abs(r.x1 - r.x0), abs(r.y1 - r.y0)) >= settings.shortest_rule_pt]
    return long_enough, fills


def find_images(page: pdfium.PdfPage, to_shown: Affine) -> list[tuple[Handle, Box]]:
    """The images of an open page, each with the place where it stands."""
    unit = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)]
    found = []
    for item, matrix in _objects(page.raw, to_shown, raw.FPDF_PAGEOBJ_IMAGE):
        xs, ys = zip(*(apply(matrix, x, y) for x, y in unit), strict=True)
        found.append((item, Box(min(xs), min(ys), max(xs), max(ys))))
    return found


def _objects(page: Handle, to_shown: Affine, kind: int) -> Iterator[tuple[Handle, Affine]]:
    """Objects of one kind on a page and in its forms, each with the matrix that leads to the page as shown."""
    get, type_of = raw.FPDFPage_GetObject, raw.FPDFPageObj_GetType
    for n in range(raw.FPDFPage_CountObjects(page)):
        item = get(page, n)
        found = type_of(item)
        if found == kind:
            yield item, _inner_matrix(item, to_shown)
        elif found == raw.FPDF_PAGEOBJ_FORM:
            yield from _objects_of(item, to_shown, kind, _MOST_DEPTH)


def _objects_of(form: Handle, outer: Affine, kind: int, depth: int) -> Iterator[tuple[Handle, Affine]]:
    matrix = _inner_matrix(form, outer)
    for n in range(raw.FPDFFormObj_CountObjects(form)):
        item = raw.FPDFFormObj_GetObject(form, n)
        found = raw.FPDFPageObj_GetType(item)
        if found == kind:
            yield item, _inner_matrix(item, matrix)
        elif found == raw.FPDF_PAGEOBJ_FORM and depth > 1:
            yield from _objects_of(item, matrix, kind, depth - 1)


def _inner_matrix(item: Handle, outer: Affine) -> Affine:
    own = raw.FS_MATRIX()
    if not raw.FPDFPageObj_GetMatrix(item, own):
        return outer
    a, b, c, d, e, f = own.a, own.b, own.c, own.d, own.e, own.f
    pa, pb, pc, pd, pe, pf = outer
    return (pa * a + pb * b, pa * c + pb * d, pa * e + pb * f + pc,
            pd * a + pe * b, pd * c + pe * d, pd * e + pe * f + pf)  # fmt: skip


def _pieces(item: Handle, matrix: Affine) -> Iterator[tuple[Box, bool]]:
    """Straight pieces of a path: each axis-parallel line as (box, True), each rectangle as (box, False)."""
    for points, closed in _subpaths(item, matrix):
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        x0, x1, y0, y1 = min(xs), max(xs), min(ys), max(ys)
        if len(points) >= 4 and x1 - x0 > _CORNER_PT and y1 - y0 > _CORNER_PT and _is_rectangle(points):
            yield Box(x0, y0, x1, y1), False
            continue
        for (xa, ya), (xb, yb) in pairwise([*points, points[0]] if closed else points):
            if min(abs(xa - xb), abs(ya - yb)) <= _STRAIGHT_PT:
                yield Box(min(xa, xb), min(ya, yb), max(xa, xb), max(ya, yb)), True


def _is_rectangle(points: list[Point]) -> bool:
    corners = points[:-1] if math.dist(points[0], points[-1]) < 0.2 else points
    if len(corners) != 4:
        return False
    return all(min(abs(a[0] - b[0]), abs(a[1] - b[1])) < _CORNER_PT for a, b in pairwise([*corners, corners[0]]))


def _subpaths(item: Handle, matrix: Affine) -> Iterator[tuple[list[Point], bool]]:
    """Subpaths without curves, as points and whether closed."""
    a, b, c, d, e, f = matrix
    points: list[Point] = []
    curved, x, y = False, ctypes.c_float(), ctypes.c_float()
    for index in range(raw.FPDFPath_CountSegments(item)):
        segment = raw.FPDFPath_GetPathSegment(item, index)
        kind = raw.FPDFPathSegment_GetType(segment)
        raw.FPDFPathSegment_GetPoint(segment, x, y)
        if kind == raw.FPDF_SEGMENT_MOVETO:
            if len(points) > 1 and not curved:
                yield points, False
            points, curved = [], False
        elif kind == raw.FPDF_SEGMENT_BEZIERTO:
            curved = True
        points.append((a * x.value + b * y.value + c, d * x.value + e * y.value + f))
        if raw.FPDFPathSegment_GetClose(segment):
            if len(points) > 1 and not curved:
                yield points, True
            points, curved = [], False
    if len(points) > 1 and not curved:
        yield points, False


def _centre_line(box: Box) -> Rule:
    if box.x1 - box.x0 >= box.bottom - box.top:
        y = (box.top + box.bottom) / 2
        return Rule(box.x0, y, box.x1, y)
    x = (box.x0 + box.x1) / 2
    return Rule(x, box.top, x, box.bottom)


def _sides(box: Box) -> list[Rule]:
    return [Rule(box.x0, box.top, box.x1, box.top), Rule(box.x0, box.bottom, box.x1, box.bottom),
            Rule(box.x0, box.top, box.x0, box.bottom), Rule(box.x1, box.top, box.x1, box.bottom)]  # fmt: skip
