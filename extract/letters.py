"""A text page → its letters as arrays: boxes, baselines, sizes and weight, in points of the page as it is shown.

One call into the PDF library per letter would be two thirds of the time that a page takes, so only the box is asked for
each. Letters that follow each other with equal upper and lower edges share baseline, direction, font and visibility,
which are asked for once.
"""

from __future__ import annotations

import ctypes
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as raw

from ..schema.claims import Box
from .records import Affine

_LIGATURES = {
    "ﬁ": "fi",
    "ﬂ": "fl",
    "ﬀ": "ff",
    "ﬃ": "ffi",
    "ﬄ": "ffl",
    "\u00a0": " ",
    "\u2011": "-",
    "\u00ad": "-",
    "\x02": "-",
}
_NO_LETTERS = frozenset("\0\r\n\ufffe\uffff")
_BOLD_WEIGHT = 600
_BOLD_FLAG = 1 << 18
_LINE_HEIGHT = 1.15
_DESCENT = 0.22
_SAME_EDGE_PT = 0.02
_BROKEN_WORD = 0xFFFE
"""What the bare text holds for a hyphen at the end of a line."""


@dataclass(frozen=True)
class Letters:
    """``n`` letters. ``boxes`` is (n, 4): left, top, right, bottom at full line height; ``turns`` in degrees."""

    texts: list[str]
    boxes: np.ndarray
    baselines: np.ndarray
    sizes: np.ndarray
    bold: np.ndarray
    shown: np.ndarray
    turns: np.ndarray

    def __len__(self) -> int:
        return len(self.texts)

    def main_turn(self) -> int:
        """The direction of most letters, 0 where there are none."""
        return int(np.bincount(self.turns % 360).argmax()) if len(self) else 0

    def only(self, turn: int) -> Letters:
        """The letters that run at ``turn``."""
        keep = self.turns == turn
        if keep.all():
            return self
        return Letters([t for t, k in zip(self.texts, keep.tolist(), strict=True) if k], self.boxes[keep],
                       self.baselines[keep], self.sizes[keep], self.bold[keep], self.shown[keep],
                       self.turns[keep])  # fmt: skip

    def moved(self, matrix: Affine) -> Letters:
        """The letters under a matrix that makes them run from left to right."""
        boxes = map_boxes(matrix, self.boxes)
        return Letters(self.texts, boxes, boxes[:, 3] - _DESCENT * self.sizes, self.sizes, self.bold, self.shown,
                       self.turns)  # fmt: skip


def map_boxes(matrix: Affine, boxes: np.ndarray) -> np.ndarray:
    """The bounding boxes of ``boxes`` (n, 4) under ``matrix``."""
    a, b, c, d, e, f = matrix
    xa, xb = a * boxes[:, 0] + b * boxes[:, 1] + c, a * boxes[:, 2] + b * boxes[:, 3] + c
    ya, yb = d * boxes[:, 0] + e * boxes[:, 1] + f, d * boxes[:, 2] + e * boxes[:, 3] + f
    return np.stack([np.minimum(xa, xb), np.minimum(ya, yb), np.maximum(xa, xb), np.maximum(ya, yb)], axis=1)


def apply(matrix: Affine, x: float, y: float) -> tuple[float, float]:
    """The point (x, y) under ``matrix``."""
    a, b, c, d, e, f = matrix
    return a * x + b * y + c, d * x + e * y + f


def apply_to_box(matrix: Affine, box: Box) -> Box:
    """The bounding box of ``box`` under ``matrix``."""
    (xa, ya), (xb, yb) = apply(matrix, box.x0, box.top), apply(matrix, box.x1, box.bottom)
    return Box(min(xa, xb), min(ya, yb), max(xa, xb), max(ya, yb))


def read_text(textpage: pdfium.PdfTextPage) -> str:
    """The bare text in the order of the file, one sign for each letter that the library counts."""
    handle = textpage.raw
    count = raw.FPDFText_CountChars(handle)
    if count <= 0:
        return ""
    buffer = (ctypes.c_ushort * (count + 1))()
    written = raw.FPDFText_GetText(handle, 0, count, buffer) - 1
    if written == count:
        codes = np.frombuffer(buffer, dtype=np.uint16, count=count)
        if not ((codes >= 0xD800) & (codes < 0xE000)).any():
            signs = list(codes.tobytes().decode("utf-16-le"))
            for n in np.flatnonzero(codes == _BROKEN_WORD).tolist():
                signs[n] = _sign(raw.FPDFText_GetUnicode(handle, n))
            return "".join(signs)
    return "".join(map(_sign, (raw.FPDFText_GetUnicode(handle, n) for n in range(count))))


def _sign(code: int) -> str:
    return chr(code) if code < 0xD800 or 0xE000 <= code < 0x110000 else "\0"


def read_letters(textpage: pdfium.PdfTextPage, text: str, to_shown: Affine, turned_by: int) -> Letters:
    """The letters of a text page whose bare text is ``text``; ``turned_by`` is the page's own rotation in degrees."""
    handle = textpage.raw
    generated = raw.FPDFText_IsGenerated
    kept = [n for n, sign in enumerate(text) if sign not in _NO_LETTERS
            and not (sign == " " and generated(handle, n) == 1)]  # fmt: skip
    rects = (raw.FS_RECTF * max(len(kept), 1))()
    loose = raw.FPDFText_GetLooseCharBox
    boxed = np.array([loose(handle, n, rect) for n, rect in zip(kept, rects, strict=False)], dtype=bool)
    sides = np.frombuffer(memoryview(rects), dtype=np.float32).reshape(-1, 4)[: len(kept)].astype(float)
    if not boxed.all():
        kept = [n for n, there in zip(kept, boxed.tolist(), strict=True) if there]
        sides = sides[boxed]
    texts = [_LIGATURES.get(sign, sign) for sign in (text[n] for n in kept)]
    if not kept:
        none = np.zeros(0)
        return Letters([], np.zeros((0, 4)), none, none, none.astype(bool), none.astype(bool), none.astype(int))
    left, upper, right, lower = sides.T
    plain = np.stack([left, lower, np.maximum(left, right), np.maximum(lower, upper)], axis=1)
    boxes = map_boxes(to_shown, plain)
    starts = _runs(np.array(kept), texts, plain)
    of_run = np.cumsum(starts) - 1
    baselines, bold, shown, turns = _ask_runs(handle, [kept[n] for n in np.flatnonzero(starts)], to_shown, turned_by)
    turn = turns[of_run]
    upright = turn % 180 == 0
    sizes = np.where(upright, boxes[:, 3] - boxes[:, 1], boxes[:, 2] - boxes[:, 0]) / _LINE_HEIGHT
    return Letters(texts, boxes, baselines[of_run], np.maximum(sizes, 0.5), bold[of_run], shown[of_run], turn)


def _runs(indices: np.ndarray, texts: list[str], boxes: np.ndarray) -> np.ndarray:
    """Where letters begin that differ in edges from the one before, or stand after a blank or a sign left out."""
    starts = np.ones(len(texts), dtype=bool)
    moved = np.abs(np.diff(boxes, axis=0)) > _SAME_EDGE_PT
    row = ~moved[:, 1] & ~moved[:, 3]
    column = ~moved[:, 0] & ~moved[:, 2]
    blank = np.array([t.isspace() for t in texts], dtype=bool)
    starts[1:] = ~(row | column) | (np.diff(indices) > 1) | blank[:-1]
    return starts


def _ask_runs(
    handle: Any, firsts: list[int], to_shown: Affine, turned_by: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Baseline, weight, visibility and direction of the letters that ``firsts`` name."""
    x, y = ctypes.c_double(), ctypes.c_double()
    fonts: dict[int, bool] = {}
    baselines, bold, shown, turns = [], [], [], []
    for index in firsts:
        raw.FPDFText_GetCharOrigin(handle, index, x, y)
        baselines.append(to_shown[3] * x.value + to_shown[4] * y.value + to_shown[5])
        angle = math.degrees(raw.FPDFText_GetCharAngle(handle, index))
        turns.append((round(angle / 90) * 90 + turned_by) % 360)
        drawn = raw.FPDFText_GetTextObject(handle, index)
        shown.append(not drawn or raw.FPDFTextObj_GetTextRenderMode(drawn) != raw.FPDF_TEXTRENDERMODE_INVISIBLE)
        bold.append(raw.FPDFText_GetFontWeight(handle, index) >= _BOLD_WEIGHT or (drawn and _is_bold(drawn, fonts)))
    return np.array(baselines), np.array(bold, dtype=bool), np.array(shown, dtype=bool), np.array(turns, dtype=int)


def _is_bold(drawn: Any, known: dict[int, bool]) -> bool:
    font = raw.FPDFTextObj_GetFont(drawn)
    if not font:
        return False
    key = ctypes.addressof(font.contents)
    if key not in known:
        buffer = ctypes.create_string_buffer(128)
        raw.FPDFFont_GetBaseFontName(font, buffer, 128)
        name = buffer.value.lower()
        flags = raw.FPDFFont_GetFlags(font)
        known[key] = b"bold" in name or b"black" in name or b"heavy" in name or bool(flags > 0 and flags & _BOLD_FLAG)
    return known[key]
