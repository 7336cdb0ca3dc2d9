"""A page with a text layer → its words, rules and fills, in points from the top left of the page as it is shown."""

from __future__ import annotations

import ctypes
import math
import unicodedata
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pypdfium2 as pdfium
import pypdfium2.raw as raw

from ..schema.claims import Box
from .records import IDENTITY, Affine, PageContent, Rule, Word
from .settings import DEFAULT_SETTINGS, ReadSettings

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
_LEADER = frozenset(".·…_‥")
_BOLD_WEIGHT = 600
_LEAST_LONG_WORDS = 20
_BOLD_FLAG = 1 << 18


@dataclass(frozen=True)
class Letter:
    """One letter with its loose box (full line height), baseline and font, in shown coordinates."""

    text: str
    x0: float
    top: float
    x1: float
    bottom: float
    baseline: float
    size: float
    bold: bool
    turn: int
    shown: bool = True


def read_text_page(page: pdfium.PdfPage, number: int, settings: ReadSettings = DEFAULT_SETTINGS) -> PageContent:
    """Words, rules and fills of an open page, turned so that most of its text runs from left to right."""
    width, height = page.get_size()
    to_shown = _shown_matrix(page)
    letters = list(_letters(page, to_shown))
    rules, fills = _drawn(page, to_shown, settings)
    turn = Counter(letter.turn for letter in letters).most_common(1)[0][0] if letters else 0
    letters = [letter for letter in letters if letter.turn == turn]
    forth, back, size = _turning(turn, width, height)
    if turn:
        letters = [_moved(letter, forth) for letter in letters]
        rules = [_moved_rule(rule, forth) for rule in rules]
        fills = [apply_to_box(forth, fill) for fill in fills]
    words = find_words(letters, settings)
    trusted = _is_shown(letters) and reads_as_language(words)
    return PageContent(number, *size, tuple(words), tuple(rules), tuple(fills), "text", back, trusted)


def _is_shown(letters: list[Letter]) -> bool:
    return sum(letter.shown for letter in letters) * 2 >= len(letters)


def reads_as_language(words: Sequence[Word]) -> bool:
    """Whether the words of a page look like words: letters mapped wrongly leave few vowels or signs of no alphabet."""
    text = "".join(w.text for w in words)
    strange = sum(c == "\ufffd" or unicodedata.category(c) in ("Co", "Cn", "Cc") for c in text)
    if strange > 0.1 * max(len(text), 1):
        return False
    long = [w.text for w in words if len(w.text) >= 4 and w.text.isalpha()]
    voiced = sum(any(c in "aeiouyäöüáéíóúàèìòùâêîôûæøå" for c in word.lower()) for word in long)
    return len(long) < _LEAST_LONG_WORDS or voiced >= 0.7 * len(long)


def has_picture(page: pdfium.PdfPage) -> bool:
    """Whether the page shows an image of any size."""
    return next(iter(page.get_objects(filter=[raw.FPDF_PAGEOBJ_IMAGE], max_depth=6)), None) is not None


def _shown_matrix(page: pdfium.PdfPage) -> Affine:
    media = page.get_mediabox() or (0.0, 0.0, *page.get_size())
    x0, y0, x1, y1 = page.get_cropbox() or media
    x0, y0, x1, y1 = max(x0, media[0]), max(y0, media[1]), min(x1, media[2]), min(y1, media[3])
    return {
        0: (1.0, 0.0, -x0, 0.0, -1.0, y1),
        90: (0.0, 1.0, -y0, 1.0, 0.0, -x0),
        180: (-1.0, 0.0, x1, 0.0, 1.0, -y0),
        270: (0.0, -1.0, y1, -1.0, 0.0, x1),
    }[page.get_rotation() % 360]


def _turning(turn: int, width: float, height: float) -> tuple[Affine, Affine, tuple[float, float]]:
    """Forth and back matrices and new size for text that runs at ``turn`` degrees clockwise."""
    if turn == 90:
        return (0.0, 1.0, 0.0, -1.0, 0.0, width), (0.0, -1.0, width, 1.0, 0.0, 0.0), (height, width)
    if turn == 270:
        return (0.0, -1.0, height, 1.0, 0.0, 0.0), (0.0, 1.0, 0.0, -1.0, 0.0, height), (height, width)
    if turn == 180:
        half = (-1.0, 0.0, width, 0.0, -1.0, height)
        return half, half, (width, height)
    return IDENTITY, IDENTITY, (width, height)


def apply(matrix: Affine, x: float, y: float) -> tuple[float, float]:
    """The point (x, y) under ``matrix``."""
    a, b, c, d, e, f = matrix
    return a * x + b * y + c, d * x + e * y + f


def apply_to_box(matrix: Affine, box: Box) -> Box:
    """The bounding box of ``box`` under ``matrix``."""
    (xa, ya), (xb, yb) = apply(matrix, box.x0, box.top), apply(matrix, box.x1, box.bottom)
    return Box(min(xa, xb), min(ya, yb), max(xa, xb), max(ya, yb))


def _moved(letter: Letter, matrix: Affine) -> Letter:
    box = apply_to_box(matrix, Box(letter.x0, letter.top, letter.x1, letter.bottom))
    return Letter(letter.text, box.x0, box.top, box.x1, box.bottom, box.bottom - 0.22 * letter.size, letter.size,
                  letter.bold, letter.turn, letter.shown)  # fmt: skip


def _moved_rule(rule: Rule, matrix: Affine) -> Rule:
    box = apply_to_box(matrix, Box(rule.x0, rule.y0, rule.x1, rule.y1))
    return Rule(box.x0, box.top, box.x1, box.bottom)


def _letters(page: pdfium.PdfPage, to_shown: Affine) -> Iterator[Letter]:
    textpage = page.get_textpage()
    try:
        rect, x, y = raw.FS_RECTF(), ctypes.c_double(), ctypes.c_double()
        turned_by = page.get_rotation()
        fonts: dict[int, bool] = {}
        for index in range(textpage.count_chars()):
            code = raw.FPDFText_GetUnicode(textpage, index)
            if code in (0, 0xFFFE, 0xFFFF) or raw.FPDFText_IsGenerated(textpage, index) == 1:
                continue
            text = _LIGATURES.get(chr(code), chr(code))
            if not text or text in "\r\n" or not raw.FPDFText_GetLooseCharBox(textpage, index, rect):
                continue
            raw.FPDFText_GetCharOrigin(textpage, index, x, y)
            box = apply_to_box(to_shown, Box(rect.left, rect.bottom, max(rect.left, rect.right),
                                             max(rect.bottom, rect.top)))  # fmt: skip
            angle = math.degrees(raw.FPDFText_GetCharAngle(textpage, index))
            turn = (round(angle / 90) * 90 + turned_by) % 360
            upright = turn in (0, 180)
            size = (box.bottom - box.top if upright else box.x1 - box.x0) / 1.15
            _, baseline = apply(to_shown, x.value, y.value)
            handle = raw.FPDFText_GetTextObject(textpage, index)
            hidden = handle and raw.FPDFTextObj_GetTextRenderMode(handle) == raw.FPDF_TEXTRENDERMODE_INVISIBLE
            yield Letter(text, box.x0, box.top, box.x1, box.bottom, baseline, max(size, 0.5),
                         _is_bold(textpage, index, fonts), turn, not hidden)  # fmt: skip
    finally:
        textpage.close()


def _is_bold(textpage: pdfium.PdfTextPage, index: int, known: dict[int, bool]) -> bool:
    if raw.FPDFText_GetFontWeight(textpage, index) >= _BOLD_WEIGHT:
        return True
    handle = raw.FPDFText_GetTextObject(textpage, index)
    font = raw.FPDFTextObj_GetFont(handle) if handle else None
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


def find_words(letters: list[Letter], settings: ReadSettings) -> list[Word]:
    """Letters → words: by baseline into lines, then along each line by gaps, blanks and leader dots."""
    words: list[Word] = []
    for line in _lines_of(letters, settings):
        words.extend(_words_of_line(line, settings))
    return sorted(words, key=lambda w: (round(w.box.top, 1), w.box.x0))


def _lines_of(letters: list[Letter], settings: ReadSettings) -> Iterator[list[Letter]]:
    line: list[Letter] = []
    for letter in sorted(letters, key=lambda k: (k.baseline, k.x0)):
        if line and letter.baseline - line[-1].baseline > settings.baseline_drift * min(letter.size, line[-1].size):
            yield sorted(line, key=lambda k: k.x0)
            line = []
        line.append(letter)
    if line:
        yield sorted(line, key=lambda k: k.x0)


def _words_of_line(line: list[Letter], settings: ReadSettings) -> Iterator[Word]:
    run: list[Letter] = []
    for letter in line:
        if letter.text.isspace():
            if run:
                yield from _split_leaders(run)
            run = []
            continue
        if run and _starts_word(run[-1], letter, settings):
            yield from _split_leaders(run)
            run = []
        if run and letter.text == run[-1].text and abs(letter.x0 - run[-1].x0) < 0.15 * letter.size:
            continue
        run.append(letter)
    if run:
        yield from _split_leaders(run)


def _starts_word(last: Letter, letter: Letter, settings: ReadSettings) -> bool:
    size = max(last.size, letter.size)
    resized = min(last.size, letter.size) < settings.raised_size * size
    return letter.x0 - last.x1 > settings.word_gap * size or resized


def _split_leaders(run: list[Letter]) -> Iterator[Word]:
    """The word of a run, or the words before and after a row of leader dots within it."""
    start = 0
    while start < len(run):
        leader = run[start].text in _LEADER
        end = start + 1
        while end < len(run) and (run[end].text in _LEADER) == leader:
            end += 1
        if (leader and end - start < 4) or not leader:
            while end < len(run) and not _leader_at(run, end):
                end += 1
        yield _word_of(run[start:end])
        start = end


def _leader_at(run: list[Letter], start: int) -> bool:
    return len(run) - start >= 4 and all(k.text in _LEADER for k in run[start : start + 4])


def _word_of(run: list[Letter]) -> Word:
    box = Box(run[0].x0, min(k.top for k in run), max(k.x1 for k in run), max(k.bottom for k in run))
    size = sorted(k.size for k in run)[len(run) // 2]
    return Word("".join(k.text for k in run), box, 1.0, size, sum(k.bold for k in run) * 2 > len(run))


def _drawn(page: pdfium.PdfPage, to_shown: Affine, settings: ReadSettings) -> tuple[list[Rule], list[Box]]:
    rules: list[Rule] = []
    fills: list[Box] = []
    for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_PATH], max_depth=6):
        fill, stroke = ctypes.c_int(), ctypes.c_int()
        raw.FPDFPath_GetDrawMode(item, fill, stroke)
        matrix = _object_matrix(item, to_shown)
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


def _object_matrix(item: pdfium.PdfObject, to_shown: Affine) -> Affine:
    matrix = item.get_matrix()
    container = getattr(item, "container", None)
    while container is not None:
        matrix = matrix.multiply(container.get_matrix())
        container = getattr(container, "container", None)
    a, b, c, d, e, f = matrix.get()
    pa, pb, pc, pd, pe, pf = to_shown
    return (pa * a + pb * b, pa * c + pb * d, pa * e + pb * f + pc,
            pd * a + pe * b, pd * c + pe * d, pd * e + pe * f + pf)  # fmt: skip


def _pieces(item: pdfium.PdfObject, matrix: Affine) -> Iterator[tuple[Box, bool]]:
    """Straight pieces of a path: each axis-parallel line as (box, True), each rectangle as (box, False)."""
    for points, closed in _subpaths(item, matrix):
        xs, ys = sorted({round(p[0], 1) for p in points}), sorted({round(p[1], 1) for p in points})
        if len(points) >= 4 and xs[-1] - xs[0] > 0.3 and ys[-1] - ys[0] > 0.3 and _is_rectangle(points):
            yield Box(xs[0], ys[0], xs[-1], ys[-1]), False
            continue
        ends = [*points[1:], points[0]] if closed else points[1:]
        for (xa, ya), (xb, yb) in zip(points, ends, strict=False):
            if min(abs(xa - xb), abs(ya - yb)) <= 0.6:
                yield Box(min(xa, xb), min(ya, yb), max(xa, xb), max(ya, yb)), True


def _is_rectangle(points: list[tuple[float, float]]) -> bool:
    corners = points[:-1] if math.dist(points[0], points[-1]) < 0.2 else points
    if len(corners) != 4:
        return False
    return all(min(abs(a[0] - b[0]), abs(a[1] - b[1])) < 0.3
               for a, b in zip(corners, [*corners[1:], corners[0]], strict=True))  # fmt: skip


def _subpaths(item: pdfium.PdfObject, matrix: Affine) -> Iterator[tuple[list[tuple[float, float]], bool]]:
    """Subpaths without curves, as points and whether closed."""
    points: list[tuple[float, float]] = []
    curved, x, y = False, ctypes.c_float(), ctypes.c_float()
    for index in range(raw.FPDFPath_CountSegments(item)):
        segment = raw.FPDFPath_GetPathSegment(item, index)
        kind = raw.FPDFPathSegment_GetType(segment)
        raw.FPDFPathSegment_GetPoint(segment, x, y)
        if kind == raw.FPDF_SEGMENT_MOVETO:
            if len(points) > 1 and not curved:
                yield points, False
            points, curved = [], False
        curved = curved or kind == raw.FPDF_SEGMENT_BEZIERTO
        points.append(apply(matrix, x.value, y.value))
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
