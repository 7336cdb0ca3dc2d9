"""A page that is a picture → words and rules through OCR, in the same coordinates as those of a text layer."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import pypdfium2 as pdfium

from ..schema.claims import Box
from .engines import tesseract
from .layouts.grids import Grid
from .layouts.ruled import find_ruled_grids, merge_rules
from .pages import draw_page
from .photos import read_photo
from .records import Affine, PageContent, Rule, Word
from .settings import DEFAULT_SETTINGS, ReadSettings

_POINT = 72.0
_LEAST_CONFIDENCE = 0.2
_MOST_SKEW_DEG = 6.0
_MOST_LEFT_TILT = 0.007
"""How far a rule may still climb along its length once the page is straightened."""


def read_scanned_page(page: pdfium.PdfPage, number: int, settings: ReadSettings = DEFAULT_SETTINGS) -> PageContent:
    """Words and rules of an open page, read from its picture."""
    grey = np.asarray(draw_page(page, settings.scan_dpi, grey=True).convert("L"))
    width, _ = page.get_size()
    return _read(grey, number, width / grey.shape[1], settings)


def read_picture(path: Path, settings: ReadSettings = DEFAULT_SETTINGS) -> PageContent:
    """Words and rules of a picture file; coordinates are its pixels after EXIF rotation."""
    grey = cv2.cvtColor(read_photo(path), cv2.COLOR_RGB2GRAY)
    return _read(grey, 1, 1.0, settings)


def _read(grey: np.ndarray, number: int, unit: float, settings: ReadSettings) -> PageContent:
    """``unit`` is the length of a pixel in the page's units."""
    flat = flatten(grey)
    angle = find_skew(flat)
    straight, back = _straightened(flat, angle)
    rules = find_drawn_rules(straight, settings.scan_dpi)
    bare = without_leaders(without_rules(straight, rules), settings.scan_dpi)
    words = _evened(_read_words(bare, rules, number, settings))
    height, width = straight.shape
    return PageContent(
        number, width * unit, height * unit,
        tuple(tesseract.as_points(words, unit)),
        tuple(Rule(r.x0 * unit, r.y0 * unit, r.x1 * unit, r.y1 * unit) for r in rules),
        (), "tesseract", (back[0], back[1], back[2] * unit, back[3], back[4], back[5] * unit),
    )  # fmt: skip


def _read_words(bare: np.ndarray, rules: list[Rule], number: int, settings: ReadSettings) -> list[Word]:
    """Words of every ruled cell on its own, and of the rest of the page at once."""
    height, width = bare.shape
    blank = PageContent(number, width, height, (Word("x", Box(0, 0, width, height)),), tuple(rules))
    pixel = settings.scan_dpi / _POINT
    scaled = replace(settings, rule_snap_pt=settings.rule_snap_pt * pixel)
    grids = [grid for grid in find_ruled_grids(blank, scaled, keep_empty=True) if len(grid.cells) > 3]
    areas = [cell.area for grid in grids for cell in grid.cells] + _bands_outside(rules, grids, pixel)
    rest = bare.copy()
    cuts, corners = [], []
    for area in areas:
        x0, top = max(0, int(area.x0) + 3), max(0, int(area.top) + 3)
        x1, bottom = int(area.x1) - 2, int(area.bottom) - 2
        if x1 - x0 < 12 or bottom - top < 12:
            continue
        cut = bare[top:bottom, x0:x1]
        if (cut < 140).sum() < 12:
            continue
        cuts.append(cv2.copyMakeBorder(_as_dark_on_light(cut), 14, 14, 14, 14, cv2.BORDER_CONSTANT, value=255))
        corners.append((x0 - 14, top - 14))
        rest[top:bottom, x0:x1] = 255
    options = _Options(round(settings.scan_dpi), settings.seconds_per_page)
    words = list(tesseract.find_words(rest, psm=tesseract.SPARSE, dpi=options.dpi, timeout_s=options.timeout_s))
    for (x, y), found in zip(corners, _read_twice(cuts, options), strict=True):
        words.extend(replace(w, box=Box(w.box.x0 + x, w.box.top + y, w.box.x1 + x, w.box.bottom + y)) for w in found)
    return [w for w in words if w.confidence >= _LEAST_CONFIDENCE and any(c.isalnum() or c in "-–—.·*" for c in w.text)]


def _bands_outside(rules: list[Rule], grids: list[Grid], pixel: float) -> list[Box]:
    """The strips between neighbouring rules of one width that belong to no grid: rows of a table without columns."""
    flat = [r for r in merge_rules(rules, 3 * pixel) if r.horizontal and r.x1 - r.x0 > 60 * pixel]
    flat = [
        r for r in flat if not any(g.box.top - 5 <= r.y0 <= g.box.bottom + 5 and g.box.x0 - 5 <= r.x0 for g in grids)
    ]
    bands: list[Box] = []
    for upper in flat:
        near = [r for r in flat if abs(r.x0 - upper.x0) < 6 * pixel and abs(r.x1 - upper.x1) < 6 * pixel
                and 6 * pixel < r.y0 - upper.y0 < 60 * pixel]  # fmt: skip
        if near:
            lower = min(near, key=lambda r: r.y0)
            bands.append(Box(min(upper.x0, lower.x0), upper.y0, max(upper.x1, lower.x1), lower.y0))
    return bands


@dataclass(frozen=True)
class _Options:
    dpi: int
    timeout_s: float


def _read_twice(cuts: list[np.ndarray], options: _Options) -> list[list[Word]]:
    """The words of cells, each read as a block and as a line; the two readings' agreement makes their confidence."""
    blocks = tesseract.find_words_each(cuts, psm=tesseract.ONE_BLOCK, dpi=options.dpi, timeout_s=options.timeout_s)
    single = [n for n, words in enumerate(blocks) if _is_one_line(words)]
    lines = tesseract.find_words_each([cuts[n] for n in single], psm=tesseract.ONE_LINE, dpi=options.dpi,
                                      timeout_s=options.timeout_s)  # fmt: skip
    found = list(blocks)
    disputed: dict[int, list[list[Word]]] = {}
    for n, words in zip(single, lines, strict=True):
        if _text(words) == _text(blocks[n]):
            found[n] = [replace(w, confidence=max(w.confidence, _TWO_READINGS)) for w in max(words, blocks[n], key=len)]
        else:
            disputed[n] = [blocks[n], words]
    for n, words in _third_readings(cuts, list(disputed), options).items():
        found[n] = _majority([*disputed[n], words])
    return found


def _third_readings(cuts: list[np.ndarray], wanted: list[int], options: _Options) -> dict[int, list[Word]]:
    """Disputed cells read once more, half as large again; boxes in the pixels of the cell."""
    larger = [cv2.resize(cuts[n], None, fx=1.5, fy=1.5, interpolation=cv2.INTER_CUBIC) for n in wanted]
    read = tesseract.find_words_each(larger, psm=tesseract.ONE_LINE, dpi=round(1.5 * options.dpi),
                                     timeout_s=options.timeout_s)  # fmt: skip
    return {n: tesseract.as_points(words, 1 / 1.5) for n, words in zip(wanted, read, strict=True)}


def _text(words: list[Word]) -> str:
    return "".join(w.text for w in words)


def _majority(readings: list[list[Word]]) -> list[Word]:
    """The reading that another one bears out, else the surest of them as unsure."""
    for n, reading in enumerate(readings):
        if reading and any(_text(reading) == _text(other) for other in readings[n + 1 :]):
            return [replace(w, confidence=max(w.confidence, _TWO_OF_THREE)) for w in reading]
    there = [r for r in readings if r]
    if not there:
        return []
    best = max(there, key=lambda words: min(w.confidence for w in words))
    return [replace(w, confidence=min(w.confidence, _DISPUTED)) for w in best]


def _is_one_line(words: list[Word]) -> bool:
    tops, bottoms = [w.box.top for w in words], [w.box.bottom for w in words]
    heights = [w.box.bottom - w.box.top for w in words]
    return not words or max(bottoms) - min(tops) < 1.7 * max(heights)


_TWO_READINGS = 0.95
_TWO_OF_THREE = 0.88
_DISPUTED = 0.5


def _as_dark_on_light(cut: np.ndarray) -> np.ndarray:
    """A cut with light signs on a dark ground turned round, and a grey ground made white."""
    ground = float(np.median(cut))
    if ground < 128:
        cut = 255 - cut
        ground = 255 - ground
    return cv2.convertScaleAbs(cut, alpha=255.0 / max(ground, 1.0))


def flatten(grey: np.ndarray) -> np.ndarray:
    """Grey pixels with uneven light and paper colour taken out: paper near 255."""
    small = cv2.resize(grey, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    paper = cv2.medianBlur(cv2.dilate(small, np.ones((7, 7), np.uint8)), 21)
    paper = cv2.resize(paper, (grey.shape[1], grey.shape[0]), interpolation=cv2.INTER_LINEAR)
    return cv2.divide(grey, np.maximum(paper, 60), scale=255)


def find_skew(grey: np.ndarray) -> float:
    """The angle in degrees by which lines of text climb, found where their row profile is sharpest."""
    scale = min(1.0, 1000 / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    ink = (small < 160).astype(np.uint8)
    if ink.sum() < 50:
        return 0.0

    def sharpness(angle: float) -> float:
        profile = _turned(ink, angle).sum(axis=1).astype(float)
        return float(np.square(np.diff(profile)).sum())

    best = max(np.arange(-_MOST_SKEW_DEG, _MOST_SKEW_DEG + 0.01, 0.5), key=sharpness)
    return float(max(np.arange(best - 0.5, best + 0.51, 0.05), key=sharpness))


def _turned(image: np.ndarray, angle: float) -> np.ndarray:
    height, width = image.shape
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), angle, 1.0)
    return cv2.warpAffine(image, matrix, (width, height), flags=cv2.INTER_NEAREST)


def _straightened(grey: np.ndarray, angle: float) -> tuple[np.ndarray, Affine]:
    """The picture turned by ``angle``, and the matrix that leads its pixels back."""
    height, width = grey.shape
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), angle, 1.0)
    straight = grey if abs(angle) < 0.04 else cv2.warpAffine(grey, matrix, (width, height), flags=cv2.INTER_CUBIC,
                                                             borderValue=255)  # fmt: skip
    inverse = cv2.invertAffineTransform(matrix)
    a, b, c, d, e, f = (float(v) for v in inverse.ravel())
    return straight, (a, b, c, d, e, f)


def find_drawn_rules(grey: np.ndarray, dpi: float) -> list[Rule]:
    """Long thin dark runs, across and upright, in pixels."""
    ink = cv2.threshold(grey, 222, 255, cv2.THRESH_BINARY_INV)[1]
    rules: list[Rule] = []
    thick = max(6, round(dpi / 40))
    for horizontal in (True, False):
        least = round(dpi * (0.35 if horizontal else 0.14))
        kernel = np.ones((1, least), np.uint8) if horizontal else np.ones((least, 1), np.uint8)
        bridged = cv2.morphologyEx(ink, cv2.MORPH_CLOSE, np.ones((1, 5) if horizontal else (5, 1), np.uint8))
        bridged = cv2.dilate(bridged, np.ones((3, 1) if horizontal else (1, 3), np.uint8))
        runs = cv2.morphologyEx(bridged, cv2.MORPH_OPEN, kernel)
        _, _, stats, _ = cv2.connectedComponentsWithStats(runs, connectivity=8)
        for x, y, w, h, _ in stats[1:]:
            across, along = (h, w) if horizontal else (w, h)
            if (
                across > thick + _MOST_LEFT_TILT * along
                or along < 6 * across
                or not _stands_alone(ink, (x, y, w, h), horizontal, dpi)
            ):
                continue
            middle = (y + h / 2) if horizontal else (x + w / 2)
            rules.append(Rule(x, middle, x + w, middle) if horizontal else Rule(middle, y, middle, y + h))
    return rules


def _stands_alone(ink: np.ndarray, box: tuple[int, int, int, int], horizontal: bool, dpi: float) -> bool:
    """Whether a run is filled and the strips on both sides of it are mostly paper, unlike a run through signs."""
    x, y, w, h = box
    away = max(2, round(dpi / 100))
    if horizontal:
        strips = [ink[max(0, y - away - 1) : max(1, y - 1), x : x + w], ink[y + h + 1 : y + h + away + 1, x : x + w]]
        filled = ink[y : y + h, x : x + w].max(axis=0).mean() / 255
    else:
        strips = [ink[y : y + h, max(0, x - away - 1) : max(1, x - 1)], ink[y : y + h, x + w + 1 : x + w + away + 1]]
        filled = ink[y : y + h, x : x + w].max(axis=1).mean() / 255
    return filled > 0.85 and all(strip.size == 0 or strip.mean() / 255 < 0.15 for strip in strips)


def without_rules(grey: np.ndarray, rules: list[Rule]) -> np.ndarray:
    """The picture with its rules painted over in white, so that no sign is taken for one."""
    bare = grey.copy()
    for rule in rules:
        a, b = (round(rule.x0), round(rule.y0)), (round(rule.x1), round(rule.y1))
        cv2.line(bare, a, b, 255, 7)
    return bare


def without_leaders(grey: np.ndarray, dpi: float) -> np.ndarray:
    """The picture without rows of leader dots, which OCR takes for letters: small marks at even distances."""
    ink = cv2.threshold(grey, 160, 255, cv2.THRESH_BINARY_INV)[1]
    _, _, stats, centres = cv2.connectedComponentsWithStats(ink, connectivity=8)
    most = max(4, dpi / 32)
    dots = [n for n, (_, _, w, h, _) in enumerate(stats) if n and w <= most and h <= most]
    dots.sort(key=lambda n: (round(centres[n][1] / (dpi / 50)), centres[n][0]))
    bare = grey.copy()
    run: list[int] = []
    for n in [*dots, -1]:
        if run and (n < 0 or not _goes_on(centres[run[-1]], centres[n], dpi)):
            if _is_leader([centres[k][0] for k in run]):
                for k in run:
                    x, y, w, h, _ = stats[k]
                    bare[max(0, y - 1) : y + h + 1, max(0, x - 1) : x + w + 1] = 255
            run = []
        run.append(n)
    return bare


def _goes_on(last: np.ndarray, dot: np.ndarray, dpi: float) -> bool:
    return abs(dot[1] - last[1]) < dpi / 75 and 0 < dot[0] - last[0] < dpi / 9


def _is_leader(places: list[float]) -> bool:
    if len(places) < 6:
        return False
    steps = np.diff(places)
    return float(steps.std()) < 0.35 * float(steps.mean())


def _evened(words: list[Word]) -> list[Word]:
    """Words with the size and full height of their type, since boxes from OCR hug the signs."""
    sizes = sorted(_type_size(w) for w in words if len(w.text) > 1 and any(c.isalnum() for c in w.text))
    usual = sizes[len(sizes) // 2] if sizes else 40.0
    evened = []
    for w in words:
        size = _type_size(w) if any(c.isalnum() for c in w.text) else usual
        baseline = w.box.bottom - (_DESCENT * size if _DESCENDING & set(w.text) else 0.0)
        if not any(c.isalnum() for c in w.text):
            baseline = (w.box.top + w.box.bottom) / 2 + 0.25 * size
        top, bottom = baseline - 0.85 * size, baseline + 0.25 * size
        box = Box(w.box.x0, min(top, w.box.top), w.box.x1, max(bottom, w.box.bottom))
        evened.append(Word(w.text, box, w.confidence, size, w.bold, w.raised, w.upright))
    return evened


_DESCENT = 0.21
_CAPITAL = 0.72
_SMALL = 0.52
_DESCENDING = frozenset("gjpqy,;()[]{}Q")
_TALL = frozenset("bdfhkltißäöüéèàáíóúñ()[]/|'")


def _type_size(word: Word) -> float:
    """The size of type from the height of a word's signs: capitals and digits stand 0.72 of it above the base line."""
    tall = any(c.isupper() or c.isdigit() or c in _TALL for c in word.text)
    share = (_CAPITAL if tall else _SMALL) + (_DESCENT if _DESCENDING & set(word.text) else 0.0)
    return (word.box.bottom - word.box.top) / share
