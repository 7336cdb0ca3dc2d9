"""The first pages of a document → who made it: the name that heads the sheet and comes back in its margins."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from .labels import analyse
from .records import PageContent, Word

_MARGIN = 0.14


def find_maker(pages: Sequence[PageContent]) -> str | None:
    """A name in the margins of a page that is no trade word and stands at least twice; ``None`` where none is clear."""
    counts: Counter[str] = Counter()
    sizes: dict[str, float] = {}
    shown: dict[str, str] = {}
    for page in pages:
        for word in page.words:
            key = _name(word)
            if key is None:
                continue
            weight = 3 if _in_margin(word, page) else 1
            counts[key] += weight
            if weight == 3 and word.size >= sizes.get(key, 0.0):
                sizes[key], shown[key] = word.size, word.text.strip(".,;:·")
    named = [key for key in sizes if counts[key] >= 4]
    if not named:
        return None
    best = max(named, key=lambda key: (sizes[key], counts[key]))
    name = shown[best]
    return name.title() if name.isupper() else name


def _name(word: Word) -> str | None:
    text = word.text.strip(".,;:·")
    if not (3 <= len(text) <= 20 and text.isalpha() and text[0].isupper()) or word.confidence < 0.6:
        return None
    known = any(term.meanings for term in analyse(text).terms)
    return None if known else text.lower()


def _in_margin(word: Word, page: PageContent) -> bool:
    return word.box.bottom < _MARGIN * page.height or word.box.top > (1 - _MARGIN) * page.height
