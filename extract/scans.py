"""A page that is a picture → words and rules through OCR, in the same coordinates as those of a text layer."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import pypdfium2 as pdfium

from ..schema.claims import Box
from .engines.lines import engine_name, find_signs_each
from .engines.signs import Sign
from .engines.tesseract import as_points
from .pages import draw_page
from .photos import MOST_PIXELS, read_photo
from .records import PageContent, Rule, Word
from .scan_clean import find_fills, find_skew, flatten, straightened, without_leaders
from .scan_rules import find_dashed_rules, find_drawn_rules, without_rules
from .scan_runs import cut_out, find_runs, is_dash, turned_dark_on_light
from .scan_words import ReadRun, find_words, place_signs
from .settings import DEFAULT_SETTINGS, ReadSettings

_LEAST_CONFIDENCE = 0.2
_SURE_SIGN = 0.8
_DASH = "–"
_LEADER = ".…·"
"""Signs that are the rest of a row of dots where a word has no other."""


def read_scanned_page(page: pdfium.PdfPage, number: int, settings: ReadSettings = DEFAULT_SETTINGS) -> PageContent:
    """Words and rules of an open page, read from its picture."""
    grey = np.asarray(draw_page(page, settings.scan_dpi, grey=True).convert("L"))
    width, _ = page.get_size()
    return read_pixels(grey, number, width / grey.shape[1], settings)


def read_picture(path: Path, settings: ReadSettings = DEFAULT_SETTINGS) -> PageContent:
    """Words and rules of a picture file; coordinates are its pixels after EXIF rotation."""
    grey = cv2.cvtColor(read_photo(path, MOST_PIXELS), cv2.COLOR_RGB2GRAY)
    return read_pixels(grey, 1, 1.0, settings)


def read_pixels(grey: np.ndarray, number: int, unit: float, settings: ReadSettings) -> PageContent:
    """Words and rules of a grey picture; ``unit`` is the length of a pixel in the page's units."""
    flat = flatten(grey)
    straight, back = straightened(flat, find_skew(flat))
    rules = find_drawn_rules(straight, settings.scan_dpi)
    bare = without_rules(turned_dark_on_light(straight, settings.scan_dpi), rules)
    dashed = find_dashed_rules(bare, settings.scan_dpi, rules)
    bare = without_rules(bare, dashed, dashed=True)
    rules += dashed
    words = read_words(without_leaders(bare, settings.scan_dpi), rules, settings)
    fills = find_fills(straight, settings.scan_dpi)
    height, width = straight.shape
    return PageContent(
        number,
        width * unit,
        height * unit,
        tuple(as_points(words, unit)),
        tuple(Rule(r.x0 * unit, r.y0 * unit, r.x1 * unit, r.y1 * unit) for r in rules),
        tuple(_box(fill, unit) for fill in fills),
        engine_name(),
        (back[0], back[1], back[2] * unit, back[3], back[4], back[5] * unit),
    )


def read_words(bare: np.ndarray, rules: list[Rule], settings: ReadSettings) -> list[Word]:
    """The words of a clean picture, run by run, in its pixels."""
    runs = find_runs(bare, rules, settings.scan_dpi)
    cuts = [cut_out(bare, run) for run in runs]
    lines = [cut for run, (cut, _) in zip(runs, cuts, strict=True) if not is_dash(run)]
    answers = iter(find_signs_each(lines, round(settings.scan_dpi), settings.seconds_per_page))
    signs = [[Sign(_DASH, 1.0, cut.shape[1] / 2)] if is_dash(run) else next(answers)
             for run, (cut, _) in zip(runs, cuts, strict=True)]  # fmt: skip
    read = [
        ReadRun(run, tuple(found), tuple(place_signs(found, cut)), left)
        for run, (cut, left), found in zip(runs, cuts, signs, strict=True)
        if not _is_speck(found)
    ]
    return [w for w in find_words(read) if w.confidence >= _LEAST_CONFIDENCE and w.text.strip(_LEADER)]


def _is_speck(signs: Sequence[Sign]) -> bool:
    """Whether a run that stands alone holds no letter or digit, and no other sign for sure: dirt on the paper."""
    return not any(s.text.isalnum() for s in signs) and all(s.confidence < _SURE_SIGN for s in signs)


def _box(box: Box, unit: float) -> Box:
    return Box(box.x0 * unit, box.top * unit, box.x1 * unit, box.bottom * unit)
