"""An open page and its text layer → whether the layer says what the page shows, by a few words drawn and read back."""

from __future__ import annotations

import ctypes
from collections.abc import Sequence

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as raw
from rapidfuzz.distance import Levenshtein

from .engines import ppocr
from .engines.signs import text_of
from .pages import draw_page
from .records import IDENTITY, PageContent, Word
from .textlayer import shown_matrix

_SAMPLE_DPI = 200.0
_WORDS_LOOKED_AT = 60
_SAMPLES = 3
_LEAST_LETTERS = 3
_AGREEING = 0.6
_LOOK_ALIKE = str.maketrans("O0oQlI1|!iSsB8Zz", "0000111111558822")


class FontTrust:
    """The fonts of one document, each checked once by words drawn on the page where it is first met."""

    def __init__(self) -> None:
        self._sound: dict[str, bool] = {}

    def is_sound(self, page: pdfium.PdfPage, textpage: pdfium.PdfTextPage, content: PageContent) -> bool:
        """Whether no font in which much of the page is set shows other signs than its text layer says.

        A font that the file does not hold is drawn from the text itself and cannot differ. Where no engine is
        installed, or the page stands sideways, nothing is checked.
        """
        if content.back != IDENTITY or not ppocr.is_there():
            return True
        fonts = _words_by_font(page, textpage, content)
        unknown = {name: words for name, words in fonts.items() if name not in self._sound}
        if unknown:
            picture = np.asarray(draw_page(page, _SAMPLE_DPI, grey=True).convert("L"))
            unit = content.width / picture.shape[1]
            for name, words in unknown.items():
                numbers = [w for w in words if any(c.isdigit() for c in w.text)]
                letters = [w for w in words if w not in numbers]
                verdicts = [_says_what_it_shows(group[:_SAMPLES], picture, unit) for group in (numbers, letters)]
                if any(verdict is not None for verdict in verdicts):
                    self._sound[name] = False not in verdicts
        return all(self._sound.get(name, True) for name in fonts)


def _words_by_font(
    page: pdfium.PdfPage, textpage: pdfium.PdfTextPage, content: PageContent
) -> dict[str, list[Word]]:  # fmt: skip
    """Words of the page that are long enough to tell, longest numbers first, by the name of their embedded font."""
    long = [w for w in content.words if w.upright and not w.raised and len(w.text) >= _LEAST_LETTERS]
    long.sort(key=lambda w: -sum(c.isdigit() for c in w.text))
    every = max(1, len(long) // _WORDS_LOOKED_AT)
    fonts: dict[str, list[Word]] = {}
    for word in long[::every]:
        name = _embedded_font(page, textpage, word)
        if name:
            fonts.setdefault(name, []).append(word)
    return fonts


def _embedded_font(page: pdfium.PdfPage, textpage: pdfium.PdfTextPage, word: Word) -> str | None:
    """The name of the font at the middle of a word, None where the file does not hold it."""
    a, b, c, d, e, f = shown_matrix(page)
    x, y = (word.box.x0 + word.box.x1) / 2 - c, (word.box.top + word.box.bottom) / 2 - f
    whole = a * e - b * d
    index = raw.FPDFText_GetCharIndexAtPos(textpage, (e * x - b * y) / whole, (a * y - d * x) / whole, 2.0, 2.0)
    handle = raw.FPDFText_GetTextObject(textpage, index) if index >= 0 else None
    font = raw.FPDFTextObj_GetFont(handle) if handle else None
    if not font or raw.FPDFFont_GetIsEmbedded(font) != 1:
        return None
    length = raw.FPDFFont_GetBaseFontName(font, None, 0)
    buffer = ctypes.create_string_buffer(max(1, length))
    raw.FPDFFont_GetBaseFontName(font, buffer, length)
    return buffer.value.decode("latin-1")


def _says_what_it_shows(words: Sequence[Word], picture: np.ndarray, unit: float) -> bool | None:
    """Whether most of a font's words read back as their text; None where too few could be looked at."""
    agreed = looked = 0
    for word in words:
        pad = 0.15 * (word.box.bottom - word.box.top)
        x0, x1 = int((word.box.x0 - pad) / unit), int((word.box.x1 + pad) / unit) + 1
        top, bottom = int((word.box.top - pad / 2) / unit), int((word.box.bottom + pad / 2) / unit) + 1
        cut = picture[max(0, top) : bottom, max(0, x0) : x1]
        if min(cut.shape) < 6 or int(cut.max()) - int(cut.min()) < 60:
            continue
        if np.median(cut) < 128:
            cut = 255 - cut
        looked += 1
        agreed += _alike(word.text, text_of(ppocr.find_signs(cut)))
    return None if looked < 2 else 2 * agreed >= looked


def _alike(told: str, shown: str) -> bool:
    """Whether two readings of a word agree but for signs that look alike and a few misread ones; so must its digits."""
    a, b = _plain(told), _plain(shown)
    digits = ["".join(c for c in text if c.isdigit()) for text in (a, b)]
    return all(not x or Levenshtein.normalized_similarity(x, y) >= _AGREEING for x, y in ((a, b), digits))


def _plain(text: str) -> str:
    return "".join(c for c in text.translate(_LOOK_ALIKE).casefold() if c.isalnum())
