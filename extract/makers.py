"""The first pages of a document → who made it: the name that opens its header or footer and comes back elsewhere."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence

from .labels import LANGUAGES, analyse, load_lexicon
from .labels.words import fold
from .lines import Line, find_lines
from .records import PageContent, Word

_MARGIN = 0.14
_MOST_LINES = 4
_LEAST_TIMES = 2
_JOINTS = frozenset({"&", "+", "und", "and", "et", "e", "y", "en"})


def find_maker(pages: Sequence[PageContent]) -> str | None:
    """The name that opens a line in a margin, is no trade word and stands at least twice; else ``None``."""
    texts = " ".join(fold(word.text) for page in pages for word in page.words)
    found: Counter[str] = Counter()
    shown: dict[str, str] = {}
    for page in pages:
        for line in _margin_lines(page):
            name = _leading_name(line)
            key = fold(name)
            if not key or f" {texts} ".count(f" {key} ") < _LEAST_TIMES or _always_before_number(key, texts):
                continue
            found[key] += 1 + (line.segments[0].size > 1.2 * _usual_size(page))
            if key not in shown or not name.isupper():
                shown[key] = name
    if not found:
        return None
    name = shown[max(found, key=lambda key: (found[key], len(key)))]
    return name.title() if name.isupper() else name


def _always_before_number(key: str, texts: str) -> bool:
    """Whether a name stands only before words with digits, as one that is part of model codes does."""
    return not re.search(rf"(?<!\S){re.escape(key)}(?!\S)(?! (?!(?:19|20)\d\d(?!\S))\S*\d)", texts)


def without_maker(code: str, maker: str | None) -> str:
    """A model code without the maker's name before it: ``"Halmgren H1.369"`` of Halmgren is ``"H1.369"``."""
    named = (maker or "").split()
    words = code.split()
    rest = words[len(named) :]
    if not named or [fold(w) for w in words[: len(named)]] != [fold(w) for w in named]:
        return code
    return " ".join(rest) if any(c.isdigit() for word in rest for c in word) else code


def _margin_lines(page: PageContent) -> Iterator[Line]:
    top = find_lines([w for w in page.words if w.box.bottom < _MARGIN * page.height])[:_MOST_LINES]
    bottom = find_lines([w for w in page.words if w.box.top > (1 - _MARGIN) * page.height])[-_MOST_LINES:]
    yield from (*top, *bottom)


def _usual_size(page: PageContent) -> float:
    sizes = sorted(w.size for w in page.words)
    return sizes[len(sizes) // 2] if sizes else 10.0


def _leading_name(line: Line) -> str:
    """The capitalised words that open a line, up to the first trade word, number or sign."""
    name: list[str] = []
    for word in line.segments[0].words:
        text = word.text.strip(".,;:·|")
        if name and text.lower() in _JOINTS:
            name.append(text)
            continue
        if not _is_name(text, word):
            break
        name.append(text)
    while name and name[-1].lower() in _JOINTS:
        name.pop()
    return " ".join(name) if len(name) <= 4 else ""


def _is_name(text: str, word: Word) -> bool:
    if not (3 <= len(text) <= 20 and text.isalpha() and text[0].isupper()) or word.confidence < 0.6:
        return False
    titles = load_lexicon(LANGUAGES, "title").single
    return fold(text) not in titles and not any(term.meanings for term in analyse(text).terms)
