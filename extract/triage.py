"""The bare text of a page → whether the page can state a limit at all. Most pages of a manual cannot.

A page is let go only where no words that can name a limit stand near a value that this limit can have. In running text
the words and the number share the stretch between the numbers before and after; in tables and lists the words stand
within a few words of each other, and the number anywhere in the table. Both are wider than what the readers of layouts
ask for, so that a page on which they would find something is not let go.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

from ..schema.limits import LIMITS, Form, Unit
from .labels import analyse
from .labels.meanings import limit_patterns
from .labels.words import LANGUAGES, fold, load_lexicon
from .layouts.meaning import is_weak
from .layouts.prose import ABBREVIATED
from .units import UNIT_WORDS
from .values import plausible

_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_SENTENCE_END = re.compile(r"[.!?]$")
_WORDS_APART = 10
_NUMBERS_APART = 3
_UNIT_APART = 2
_COUNTS: frozenset[Unit | None] = frozenset({Unit.COUNT, Unit.LINKS})
"""Units that print leaves away."""
_LEAST_PROSE_WORDS = 8
_LEAST_LOWER = 0.4
_LINES_OVER_TABLE = 3
_LEAST_ROWS = 2
_LEAST_CELLS = 2
_MOST_LONE_LETTERS = 0.3
_MOST_HEADING_WORDS = 9
_MOST_CODE_WORDS = 4
_BRACKETS = "()[],.;:"
_CODE = re.compile(r"^(?=.*[A-Z])(?=.*\d)[\w./-]{3,}$")


@dataclass(frozen=True)
class Outlook:
    """What the bare text of a page lets expect.

    ``limits``: it can state some. ``rows``: it holds lines of several numbers, which can go on with a table of the page
    before. ``names_part``: a short line names a part, which can be a heading for the page after.
    """

    limits: bool
    rows: bool
    names_part: bool


@dataclass(frozen=True)
class _Token:
    """A word of the bare text: what it can mean as bits, its numbers and units, and whether
    it names a part or can be a model code."""

    concepts: int
    numbers: tuple[float, ...]
    units: frozenset[Unit]
    part: bool
    code: bool


def find_outlook(text: str) -> Outlook:
    """What to expect of a page whose letters read ``text``, in the order of the file, with its line breaks."""
    lines = [words for words in (line.split() for line in text.splitlines()) if words]
    count = sum(map(len, lines))
    if sum(len(w) == 1 and w.isalpha() for line in lines for w in line) > _MOST_LONE_LETTERS * count:
        return Outlook(limits=True, rows=True, names_part=True)
    tables, running = _parted(lines)
    read = [[_token(word) for word in line] for line in tables]
    return Outlook(
        limits=_in_table([t for line in read for t in line])
        or any(_in_sentence(list(map(_token, s))) for s in running),
        rows=sum(_is_row(line) for line in read) >= _LEAST_ROWS,
        names_part=any(_is_heading(line) for line in read),
    )


def _is_row(line: Sequence[_Token]) -> bool:
    return sum(bool(t.numbers) for t in line) >= _LEAST_CELLS


def _is_heading(line: Sequence[_Token]) -> bool:
    return len(line) <= _MOST_HEADING_WORDS and any(t.part or (t.code and len(line) <= _MOST_CODE_WORDS) for t in line)


def _parted(lines: Sequence[list[str]]) -> tuple[list[list[str]], list[list[str]]]:
    """The lines that can belong to tables, lists and headings, and the runs of lines that can only be sentences."""
    prose = _running(lines)
    tables: list[list[str]] = []
    running: list[list[str]] = []
    for n, words in enumerate(lines):
        if not prose[n] or _stands_over_table(n, prose, lines):
            tables.append(words)
        if prose[n]:
            if n and prose[n - 1]:
                running[-1].extend(words)
            else:
                running.append(list(words))
    return tables, [sentence for words in running for sentence in _sentences(words)]


def _running(lines: Sequence[list[str]]) -> list[bool]:
    """Which lines can only be running text: long ones mostly in small letters, at least two or whole sentences, and
    the line that ends their last sentence. Questions are none: their answers may stand apart."""
    long = [
        len(words) >= _LEAST_PROSE_WORDS and _lower(words) >= _LEAST_LOWER and not any(w.endswith("?") for w in words)
        for words in lines
    ]
    prose: list[bool] = []
    for n, words in enumerate(lines):
        ended = bool(_SENTENCE_END.search(words[-1]))
        going_on = n > 0 and prose[n - 1] and not _SENTENCE_END.search(lines[n - 1][-1])
        company = (n > 0 and long[n - 1]) or (n + 1 < len(lines) and long[n + 1])
        prose.append((going_on and ended) or (long[n] and (company or ended)))
    return prose


def _lower(words: Sequence[str]) -> float:
    return sum(word[0].islower() for word in words) / len(words)


def _stands_over_table(at: int, prose: Sequence[bool], lines: Sequence[list[str]]) -> bool:
    """Whether rows with numbers follow close below, so that a long line can be their header."""
    end = next((n for n in range(at, len(prose)) if not prose[n]), None)
    if end is None or end - at > _LINES_OVER_TABLE:
        return False
    below = lines[end : end + _LEAST_ROWS]
    if len(below) < _LEAST_ROWS or any(prose[end : end + _LEAST_ROWS]):
        return False
    return all(any(_NUMBER.search(w) for w in line) for line in below)


def _sentences(words: list[str]) -> list[list[str]]:
    """Running text cut at full stops, but not behind abbreviations."""
    sentences: list[list[str]] = [[]]
    for n, word in enumerate(words):
        sentences[-1].append(word)
        last = _SENTENCE_END.search(word) and not ABBREVIATED.match(word)
        if last and n + 1 < len(words) and not words[n + 1][0].islower():
            sentences.append([])
    return sentences


def _in_table(tokens: Sequence[_Token]) -> bool:
    """Whether some words that stand close name a limit of which a value stands anywhere among ``tokens``."""
    numbers = {n for token in tokens for n in token.numbers}
    marked = [(n, token.concepts) for n, token in enumerate(tokens) if token.concepts]
    for first, (start, _) in enumerate(marked):
        near = 0
        for at, concepts in marked[first:]:
            if at - start > _WORDS_APART:
                break
            near |= concepts
        if any(_can_be(limit, numbers) for limit in _named(near)):
            return True
    return False


def _in_sentence(tokens: Sequence[_Token]) -> bool:
    """Whether a number of running text stands, between the numbers before and after, with words that name its limit."""
    groups: list[list[int]] = []
    for n, token in enumerate(tokens):
        if token.numbers:
            if groups and n - groups[-1][-1] <= _NUMBERS_APART:
                groups[-1].append(n)
            else:
                groups.append([n])
    for n, group in enumerate(groups):
        start = groups[n - 1][-1] + 1 if n else 0
        end = groups[n + 1][0] if n + 1 < len(groups) else len(tokens)
        near = 0
        for token in tokens[start:end]:
            near |= token.concepts
        numbers = {number for at in group for number in tokens[at].numbers}
        beside = tokens[max(group[0] - 1, 0) : group[-1] + _UNIT_APART + 1]
        units = _COUNTS.union(*(token.units for token in beside))
        if any(LIMITS[limit].unit in units and _can_be(limit, numbers) for limit in _named(near, told=True)):
            return True
    return False


def _can_be(limit: str, numbers: set[float]) -> bool:
    form = LIMITS[limit].form
    if form is Form.TEXT:
        return True
    return sum(plausible(limit, n, n, None) for n in numbers) >= (2 if limit == "cogs" else 1)


@lru_cache(maxsize=100_000)
def _token(word: str) -> _Token:
    analysis = analyse(word)
    concepts = 0
    for name in analysis.names("concept"):
        concepts |= _bit(name)
    for part in analysis.words:
        if part in _rows():
            concepts |= _word_bit(part)
    code = bool(_CODE.match(word.strip(_BRACKETS)))
    named = code and word.strip(_BRACKETS)[0].isalpha()
    numbers = () if named else tuple(float(n.replace(",", ".")) for n in _NUMBER.findall(word))
    units = {UNIT_WORDS[w] for w in re.sub(r"\d", " ", fold(word)).split() if w in UNIT_WORDS}
    if "°" in word:
        units.add(Unit.DEGREE)
    return _Token(concepts, numbers, frozenset(units), bool(analysis.names("part")), code)


@lru_cache(maxsize=50_000)
def _named(near: int, told: bool = False) -> tuple[str, ...]:
    """The limits that words of these concepts and words can name together; ``told``: in a sentence."""
    for word, rows in _rows().items():
        if near & _word_bit(word):
            for whole, meanings in rows:
                if near & whole == whole:
                    near |= meanings
    return tuple({limit for limit, needs in _needs(told) if needs & near == needs})


@cache
def _rows() -> dict[str, tuple[tuple[int, int], ...]]:
    """Each word of a term of several words → the terms: their words as bits, and the concepts that they mean."""
    found: dict[str, list[tuple[int, int]]] = {}
    for row, meanings in load_lexicon(LANGUAGES).rows.items():
        concepts = sum({_bit(m.name) for m in meanings if m.group == "concept"})
        if len(row) > 1 and concepts:
            whole = sum({_word_bit(word) for word in row})
            for word in set(row):
                found.setdefault(word, []).append((whole, concepts))
    return {word: tuple(rows) for word, rows in found.items()}


@cache
def _bit(concept: str) -> int:
    return 1 << _bits().setdefault(concept, len(_bits()))


def _word_bit(word: str) -> int:
    return _bit(f"word {word}")


@cache
def _bits() -> dict[str, int]:
    return {}


@cache
def _needs(told: bool) -> tuple[tuple[str, int], ...]:
    return tuple(
        (pattern.limit, sum({_bit(concept) for concept in needs}))
        for pattern in limit_patterns()
        for needs in pattern.needs
        if not told or (LIMITS[pattern.limit].form is not Form.TEXT and not is_weak(needs, pattern.limit))
    )
