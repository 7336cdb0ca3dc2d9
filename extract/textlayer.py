"""A page with a text layer → its words, rules and fills, in points from the top left of the page as it is shown."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

import numpy as np
import pypdfium2 as pdfium

from ..schema.claims import Box
from .drawn import find_drawn
from .letters import apply_to_box, read_letters, read_text
from .records import IDENTITY, Affine, PageContent, Rule
from .settings import DEFAULT_SETTINGS, ReadSettings
from .words import find_words

_LEAST_LONG_WORDS = 20
_VOWELS = frozenset("aeiouyäöüáéíóúàèìòùâêîôûæøå")


def read_text_page(page: pdfium.PdfPage, number: int, settings: ReadSettings = DEFAULT_SETTINGS) -> PageContent:
    """Words, rules and fills of an open page, turned so that most of its text runs from left to right."""
    textpage = page.get_textpage()
    try:
        return read_letters_and_rules(page, textpage, read_text(textpage), number, settings)
    finally:
        textpage.close()


def read_letters_and_rules(
    page: pdfium.PdfPage, textpage: pdfium.PdfTextPage, text: str, number: int, settings: ReadSettings
) -> PageContent:
    """The same from a text page that is open and whose bare text has been read."""
    width, height = page.get_size()
    to_shown = shown_matrix(page)
    letters = read_letters(textpage, text, to_shown, page.get_rotation())
    rules, fills = find_drawn(page, to_shown, settings)
    turn = letters.main_turn()
    letters = letters.only(turn)
    forth, back, size = _turning(turn, width, height)
    if turn:
        letters = letters.moved(forth)
        rules = [_moved_rule(rule, forth) for rule in rules]
        fills = [apply_to_box(forth, fill) for fill in fills]
    words = find_words(letters, settings)
    trusted = 2 * int(np.count_nonzero(letters.shown)) >= len(letters) and reads_as_language([w.text for w in words])
    return PageContent(number, *size, tuple(words), tuple(rules), tuple(fills), "text", back, trusted)


def reads_as_language(words: Sequence[str]) -> bool:
    """Whether the words of a page look like words: letters mapped wrongly leave few vowels or signs of no alphabet."""
    text = "".join(words)
    strange = sum(c == "\ufffd" or unicodedata.category(c) in ("Co", "Cn", "Cc") for c in text if not " " < c < "\x7f")
    if strange > 0.1 * max(len(text), 1):
        return False
    long = [w for w in words if len(w) >= 4 and w.isalpha()]
    voiced = sum(not _VOWELS.isdisjoint(word.lower()) for word in long)
    return len(long) < _LEAST_LONG_WORDS or voiced >= 0.7 * len(long)


def shown_matrix(page: pdfium.PdfPage) -> Affine:
    """The matrix from the page's own space (points from its bottom left) to points from the top left as it is shown."""
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


def _moved_rule(rule: Rule, matrix: Affine) -> Rule:
    box = apply_to_box(matrix, Box(rule.x0, rule.y0, rule.x1, rule.y1))
    return Rule(box.x0, box.top, box.x1, box.bottom)
