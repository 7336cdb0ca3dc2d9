"""A page whose text layer is sound but which shows pictures of print → the words of those pictures beside its own."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pypdfium2 as pdfium

from ..schema.claims import Box
from .pages import draw_page
from .records import IDENTITY, PageContent
from .scan_clean import flatten
from .scan_runs import find_ink, find_runs
from .scans import read_pixels
from .settings import ReadSettings

_MOST_WORDS_OVER = 4
"""A picture under more words than this is a ground for them."""
_LEAST_RUNS = 4
_MOST_RUNS = 1500
_MOST_GREY = 0.22
"""A picture of print has few pixels between ink and paper; a photo of a part has many."""
_LEAST_PAPER = 0.55
_MARGIN_PT = 1.0


def with_pictures(
    page: pdfium.PdfPage, content: PageContent, pictures: list[Box], settings: ReadSettings
) -> PageContent:  # fmt: skip
    """``content`` with the words, rules and fills of every sizeable picture of print, in points of the page.

    ``pictures`` says where the page's images stand, as it is shown. Pages whose text stands sideways stay as they are.
    """
    wanted = [box for box in pictures if content.back == IDENTITY and _may_hold_print(box, content, settings)]
    if not wanted:
        return content
    grey = np.asarray(draw_page(page, settings.scan_dpi, grey=True).convert("L"))
    unit = content.width / grey.shape[1]
    for box in wanted:
        x0, top = max(0, round((box.x0 - _MARGIN_PT) / unit)), max(0, round((box.top - _MARGIN_PT) / unit))
        cut = grey[top : round((box.bottom + _MARGIN_PT) / unit), x0 : round((box.x1 + _MARGIN_PT) / unit)]
        if cut.size and _is_print(cut, settings):
            content = _joined(content, read_pixels(cut, content.number, unit, settings), x0 * unit, top * unit)
    return content


def _may_hold_print(box: Box, content: PageContent, settings: ReadSettings) -> bool:
    least = settings.least_picture_pt
    if box.x1 - box.x0 < least or box.bottom - box.top < least:
        return False
    over = sum(
        box.x0 <= (w.box.x0 + w.box.x1) / 2 <= box.x1 and box.top <= (w.box.top + w.box.bottom) / 2 <= box.bottom
        for w in content.words
    )
    return over <= _MOST_WORDS_OVER


def _is_print(cut: np.ndarray, settings: ReadSettings) -> bool:
    """Whether a picture is mostly paper with lines of signs on it."""
    flat = flatten(cut)
    small = cv2.resize(flat, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    grey = float(np.mean((small > 70) & (small < 200)))
    paper = float(np.mean(small >= 200))
    if grey > _MOST_GREY or paper < _LEAST_PAPER or not find_ink(flat).any():
        return False
    return _LEAST_RUNS <= len(find_runs(flat, (), settings.scan_dpi)) <= _MOST_RUNS


def _joined(content: PageContent, read: PageContent, x: float, y: float) -> PageContent:
    """Words, rules and fills of a picture whose corner lies at (``x``, ``y``) put onto its page."""

    def moved(box: Box) -> Box:
        shown = read.shown(box)
        return Box(shown.x0 + x, shown.top + y, shown.x1 + x, shown.bottom + y)

    words = tuple(replace(word, box=moved(word.box)) for word in read.words)
    rules = []
    for rule in read.rules:
        box = moved(Box(min(rule.x0, rule.x1), min(rule.y0, rule.y1), max(rule.x0, rule.x1), max(rule.y0, rule.y1)))
        middle_x, middle_y = (box.x0 + box.x1) / 2, (box.top + box.bottom) / 2
        ends = (
            {"y0": middle_y, "y1": middle_y, "x0": box.x0, "x1": box.x1}
            if rule.horizontal
            else {"x0": middle_x, "x1": middle_x, "y0": box.top, "y1": box.bottom}
        )
        rules.append(replace(rule, **ends))
    return replace(
        content,
        words=content.words + words,
        rules=content.rules + tuple(rules),
        fills=content.fills + tuple(moved(fill) for fill in read.fills),
        origin=content.origin if not words else f"{content.origin}+{read.origin}",
    )
