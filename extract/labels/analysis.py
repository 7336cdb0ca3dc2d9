"""Words → terms with meanings, by the longest row of known words, by compounds, and with tolerance for OCR faults."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache, lru_cache

from rapidfuzz import fuzz, process

from .words import LANGUAGES, Lexicon, Meaning, fold, load_lexicon, read_language, vocabulary_of

_LEAST_FUZZY_LETTERS = 5
_LEAST_FUZZY_RATIO = 84.0
_LINKS = ("", "s", "n", "en", "es", "e", "er")
_MOST_WORDS = 80


@dataclass(frozen=True)
class Term:
    """A row of words that the lexicon knows (``meanings``) or does not (empty). ``quality`` is 1 for an exact match.

    ``start`` and ``end`` count folded words of the text.
    """

    start: int
    end: int
    text: str
    meanings: frozenset[Meaning]
    quality: float = 1.0

    def names(self, group: str) -> frozenset[str]:
        """What the term can mean in one group."""
        return frozenset(m.name for m in self.meanings if m.group == group)


@dataclass(frozen=True)
class Analysis:
    """A text as terms, from left to right without overlap."""

    words: tuple[str, ...]
    terms: tuple[Term, ...]

    def names(self, group: str) -> frozenset[str]:
        """Everything the text can mean in one group."""
        return frozenset(m.name for term in self.terms for m in term.meanings if m.group == group)


@lru_cache(maxsize=20_000)
def analyse(text: str, languages: tuple[str, ...] = LANGUAGES) -> Analysis:
    """The terms of ``text`` in any of ``languages``; at most 80 words are looked at."""
    words = tuple(fold(text).split())[:_MOST_WORDS]
    stopped = _stopped(text) if "." in text else frozenset[str]()
    if not stopped:
        return Analysis(words, tuple(_terms(words, languages)))
    spelt = tuple((spell_out(word, languages) or word) if word in stopped else word for word in words)
    return Analysis(words, tuple(_with_stop(term, stopped) for term in _terms(spelt, languages, words)))


_STOPPED = re.compile(r"([^\W\d_]{2,})\.(?!\d)")
_LEAST_ABBREVIATION = 3
_LONG_ABBREVIATION = 5
_SPELT_OUT = 0.97


def _stopped(text: str) -> frozenset[str]:
    """The folded words of ``text`` behind which a full stop stands."""
    return frozenset(word for found in _STOPPED.finditer(text) for word in fold(found.group(1)).split()[-1:])


def _with_stop(term: Term, stopped: frozenset[str]) -> Term:
    """An abbreviation that nobody knows keeps its full stop: it is a word, and no particle."""
    return replace(term, text=f"{term.text}.") if not term.meanings and term.text in stopped else term


@lru_cache(maxsize=20_000)
def spell_out(word: str, languages: tuple[str, ...] = LANGUAGES) -> str | None:
    """The known word that ``word``, folded and without its full stop, is short for; ``None`` where several might be.

    All known words that begin so have to agree in a meaning. Behind five letters or more, compounds of one of these
    words have no say: ``Kettenbl.`` is a chainring though there are chainring bolts.
    """
    lexicon = load_lexicon(languages)
    if len(word) < _LEAST_ABBREVIATION or word in lexicon.single:
        return None
    found = sorted((w for w in lexicon.single if w.startswith(word) and w.isalpha()), key=lambda w: (len(w), w))
    weighty = {w: _weighty(lexicon.single[w]) for w in found}
    found = [w for w in found if weighty[w]] or found
    if len(word) >= _LONG_ABBREVIATION:
        found = [w for n, w in enumerate(found) if not any(w.startswith(o) for o in found[:n])]
    shared = frozenset.intersection(*(weighty[w] or lexicon.single[w] for w in found)) if found else frozenset()
    return min(found, key=lambda w: len(lexicon.single[w] - shared)) if shared else None


def _weighty(meanings: frozenset[Meaning]) -> frozenset[Meaning]:
    """Meanings without those of words that may stand in any label."""
    return frozenset(m for m in meanings if m.group != "language" and m.name not in ("size", "beside"))


def _terms(
    words: tuple[str, ...], languages: tuple[str, ...], printed: tuple[str, ...] | None = None
) -> Iterator[Term]:
    lexicon = load_lexicon(languages)
    start = 0
    while start < len(words):
        for length in lexicon.lengths.get(words[start], ()):
            row = words[start : start + length]
            meanings = lexicon.rows.get(row) if len(row) == length else None
            if meanings:
                quality = 1.0 if printed is None or printed[start : start + length] == row else _SPELT_OUT
                yield Term(start, start + length, " ".join(row), meanings, quality)
                start += length
                break
        else:
            for text, known, quality in _unlisted(words[start], languages):
                yield Term(start, start + 1, text, known, quality)
            start += 1


_LOOK_ALIKES = (("0", "o"), ("1", "l"), ("1", "i"), ("5", "s"), ("8", "b"), ("rn", "m"), ("vv", "w"), ("cl", "d"))
"""What scanners take for each other; a swap counts only where it makes a known word."""


def _misread(word: str, lexicon: Lexicon) -> str | None:
    """The known word that ``word`` becomes with look-alike signs exchanged, if it is just one."""
    swapped = {word}
    for sign, meant in _LOOK_ALIKES:
        swapped |= {other.replace(sign, meant) for other in swapped if sign in other}
    known = [other for other in swapped - {word} if other in lexicon.single]
    return known[0] if len(known) == 1 and len(word) >= 4 and not word.isdigit() else None


@lru_cache(maxsize=50_000)
def _unlisted(word: str, languages: tuple[str, ...]) -> tuple[tuple[str, frozenset[Meaning], float], ...]:
    """What a word that no row begins with can be: text, meanings and quality of each of its parts."""
    lexicon = load_lexicon(languages)
    meant = _misread(word, lexicon)
    if meant:
        return ((word, lexicon.single[meant], 0.95),)
    parts = _split_compound(word, lexicon) if len(word) >= 7 and word.isalpha() else None
    if parts:
        return tuple((part, lexicon.single[part], 0.98) for part in parts)
    if len(word) >= _LEAST_FUZZY_LETTERS and sum(c.isdigit() for c in word) <= 1:
        words = _fuzzy_words(languages)
        found = process.extractOne(word, words, scorer=fuzz.ratio, score_cutoff=_LEAST_FUZZY_RATIO)
        if found and not _holds_more(word, found[0]):
            return ((word, lexicon.single[found[0]], found[1] / 100 - 0.03),)
    return ((word, frozenset(), 1.0),)


_MOST_STRAY_LETTERS = 2


def _holds_more(word: str, known: str) -> bool:
    """Whether ``word`` is ``known`` with a syllable more: no misprint, but a compound that says something else."""
    return len(word) - len(known) > _MOST_STRAY_LETTERS and (word.startswith(known) or word.endswith(known))


@cache
def _fuzzy_words(languages: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(w for w in load_lexicon(languages).single if len(w) >= _LEAST_FUZZY_LETTERS)


def _split_compound(word: str, lexicon: Lexicon) -> list[str] | None:
    """A compound as known words with linking letters between, fewest parts first; ``None`` where it is none."""
    best: dict[int, list[str]] = {0: []}
    for start in range(len(word)):
        if start not in best:
            continue
        for part in lexicon.compound_words:
            if not word.startswith(part, start):
                continue
            for link in _LINKS:
                end = start + len(part) + len(link)
                whole = end == len(word) and not link
                if (whole or (end < len(word) and word.startswith(link, start + len(part)))) and (
                    end not in best or len(best[end]) > len(best[start]) + 1
                ):
                    best[end] = [*best[start], part]
    return best.get(len(word)) if len(best.get(len(word), [])) > 1 else None


def page_languages(texts: Iterable[str], fallback: tuple[str, ...] = LANGUAGES) -> tuple[str, ...]:
    """The languages of a page, by how many of its words each language's lexicon knows; ``fallback`` where too few."""
    words = Counter(w for text in texts for w in fold(text).split() if len(w) >= 4 and w.isalpha())
    scores = {
        language: sum(min(n, 6) * _weight(word) for word, n in words.items() if word in vocabulary_of(language))
        for language in LANGUAGES
    }
    compound = {lang: sum(_holds_word(w, lang) for w in words if len(w) >= 10) for lang in _compounding()}
    for language, extra in compound.items():
        scores[language] += extra
    best = max(scores.values(), default=0)
    if best < 3:
        return fallback
    return tuple(sorted(lang for lang, score in scores.items() if score >= 0.5 * best))


@cache
def _compounding() -> tuple[str, ...]:
    """The languages that write words together."""
    return tuple(language for language in LANGUAGES if read_language(language).get("compounds"))


@lru_cache(maxsize=20_000)
def _weight(word: str) -> float:
    """A word known in one language only speaks more for it than one that several share."""
    return 1 / sum(word in vocabulary_of(language) for language in LANGUAGES)


def _holds_word(word: str, language: str) -> int:
    return sum(1 for known in vocabulary_of(language) if len(known) >= 5 and known in word) >= 2
