"""Sentences → entries: each number with the words around it, and the part and variant that were spoken of last."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from ...schema.limits import PartKind
from ...schema.parts import code_key
from ..conditions import find_condition
from ..context import PageContext
from ..labels import analyse, fold
from ..lines import Line, Segment, union
from ..records import Entry, Word
from ..subjects import Subject, names_several_variants, parse_variant
from ..units import SPEED_WORDS, UNIT_WORDS
from .meaning import find_meaning
from .rowparts import known_kind
from .spoken import QUOTES, Spoken, find_spoken, for_named_versions, names_bare_variant

_LEAST_WORDS = 4
_SENTENCE_END = re.compile(r"[.!?]$")
ABBREVIATED = re.compile(
    r"^(?:max|min|no|nr|ca|approx|e\.g|i\.e|z\.b|bzw|inkl|incl|ex|p|fig|abb|mm|art|ref|mod|diff|"
    r"post|ant|tras|arr|av|hint|vord|vorn|trans)\.$",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"^[(\[]?[≤≥<>]?\d+(?:[.,]\d+)*(?:[-–…x×/]\d+(?:[.,]\d+)*)*\D{0,9}$")
_JOINTS = frozenset("to and or bis und oder a à et ou e o y tot en of - – — / fino hasta".split())


@dataclass(frozen=True)
class _Phrase:
    """A number notation in a sentence: the words from ``start`` to ``end``."""

    start: int
    end: int
    text: str


def read_prose(lines: Sequence[Line], context: PageContext) -> list[Entry]:
    """Entries of the sentences in ``lines``."""
    entries: list[Entry] = []
    for paragraph in _paragraphs(lines):
        words = [w for segment in paragraph for w in segment.words]
        if len(words) < _LEAST_WORDS or not any(c.isdigit() for w in words for c in w.text):
            continue
        subject = known_kind(context.subject_above(paragraph[0].box), context)
        spoken = find_spoken(list(_sentences(words)), subject, context)
        found: list[Entry] = []
        for one in spoken:
            states = one.clear and any(c.isdigit() for w in one.sentence for c in w.text)
            if states and not _speaks_of_others(one.sentence, one.subject, context.languages):
                found.extend(_sentence_entries(one, context))
        entries.extend(for_named_versions(found, spoken))
    return entries


def _speaks_of_others(sentence: Sequence[Word], subject: Subject, languages: tuple[str, ...]) -> bool:
    """Whether a sentence is about former models, or about a part together with an extender."""
    analysis = analyse(" ".join(w.text for w in sentence), languages)
    extended = "hanger_extender" in analysis.names("part") and subject.kind is not PartKind.HANGER_EXTENDER
    return extended or "former" in analysis.names("language")


def _paragraphs(lines: Sequence[Line]) -> Iterator[list[Segment]]:
    """Segments one under the other at one left edge with close leading."""
    open_ones: list[list[Segment]] = []
    for line in lines:
        for segment in line.segments:
            home = next((p for p in open_ones if _follows(segment, p[-1], p[0])), None)
            if home is None:
                open_ones.append([segment])
            else:
                home.append(segment)
    yield from open_ones


def _follows(segment: Segment, last: Segment, first: Segment) -> bool:
    gap = segment.box.top - last.box.bottom
    same_edge = abs(segment.box.x0 - last.box.x0) < 3 or (last is first and 0 < first.box.x0 - segment.box.x0 < 30)
    alike = abs(segment.size - last.size) < 0.12 * last.size and segment.bold == last.bold
    return -0.5 * last.size < gap < 0.55 * last.size and same_edge and alike and segment.box.top > last.box.top


def _sentences(words: Sequence[Word]) -> Iterator[list[Word]]:
    sentence: list[Word] = []
    for n, word in enumerate(words):
        sentence.append(word)
        following = words[n + 1].text if n + 1 < len(words) else "A"
        unit = word.text == "mm." and following[0].isupper()
        ends = _SENTENCE_END.search(word.text) and (unit or not ABBREVIATED.match(word.text))
        if ends and (following[0].isupper() or following[0].isdigit() or following[0] in "•–-("):
            yield sentence
            sentence = []
    if sentence:
        yield sentence


def _sentence_entries(spoken: Spoken, context: PageContext) -> Iterator[Entry]:
    sentence, subject, variants = spoken.sentence, spoken.subject, spoken.variants
    texts = [w.text for w in sentence]
    phrases = list(_phrases(texts))
    several = len({v for _, v in variants}) > 1
    last: Entry | None = None
    for n, phrase in enumerate(phrases):
        start = _parting(texts, phrases[n - 1], phrase, context.languages) if n else 0
        stop = _parting(texts, phrase, phrases[n + 1], context.languages) if n + 1 < len(phrases) else len(texts)
        before, after = " ".join(texts[start : phrase.start]), " ".join(texts[phrase.end : stop])
        restricted = _restriction(before, phrase.text, after, context.languages) if last else None
        if restricted and last:
            last = replace(last, condition=restricted)
            continue
        if last:
            yield last
            last = None
        if not variants and not spoken.led and names_bare_variant(sentence, context.languages):
            continue
        hit = find_meaning(before, after, phrase.text, subject.kind, context.languages)
        if _holds_numbers(texts[start : phrase.start], subject) or _in_bracket(texts, phrase):
            continue
        if hit is None or ("/" in phrase.text and names_several_variants(before, context.languages)):
            continue
        whole = _whose(subject, phrase, before, after, variants if several else (), context.languages)
        if whole is None:
            continue
        words = sentence[phrase.start : phrase.end]
        label = f"{before} … {after}".strip(" …")
        own = {k: v for k, v in (find_condition(after, context.languages) or {}).items() if k != hit.limit}
        last = Entry(whole, label[-120:], (hit,), phrase.text, union(w.box for w in words), "prose",
                     tuple(sorted(own.items())), 0.97, min(w.confidence for w in words))  # fmt: skip
    if last:
        yield last


def _holds_numbers(texts: Sequence[str], subject: Subject) -> bool:
    """Whether words before a number hold another one that is not of the code or version spoken of."""
    own = {code_key(piece) for name in (subject.code, subject.variant) for piece in (name or "").split()}
    return any(any(c.isdigit() for c in t) and code_key(t.strip(QUOTES)) not in own for t in texts)


def _in_bracket(texts: Sequence[str], phrase: _Phrase) -> bool:
    """Whether a number stands inside brackets with other words, where conditions stand, or in what is left of them."""
    before, after = "".join(texts[: phrase.start]), "".join(texts[phrase.end - 1 :])
    opened = before.count("(") > before.count(")") or texts[phrase.start].startswith("(")
    closed = after.count(")") > after.count("(")
    alone = texts[phrase.start].startswith("(") and texts[phrase.end - 1].rstrip(".,;").endswith(")")
    return (opened or closed) and not alone


_BEHIND = re.compile(r"^\s*\(([^()]{1,40})\)")


def _whose(
    subject: Subject, phrase: _Phrase, before: str, after: str, variants: Sequence[tuple[int, str]],
    languages: tuple[str, ...],
) -> Subject | None:  # fmt: skip
    """The part that a number is for: the variant right beside it, else the last one named in the sentence.

    ``None`` where the sentence names several variants and none of them before the number.
    """
    behind = _BEHIND.match(after)
    words = before.split()
    beside = parse_variant(behind.group(1), languages) if behind else None
    if beside is None and words:
        beside = next(
            (v for n in (3, 2, 1) if (v := parse_variant(" ".join(words[-n:]).strip(QUOTES), languages))), None
        )
    if beside:
        return Subject(subject.kind, subject.code, beside)
    if not variants:
        return subject
    named = [variant for at, variant in variants if at < phrase.start]
    return Subject(subject.kind, subject.code, named[-1]) if named else None


def _parting(texts: Sequence[str], one: _Phrase, other: _Phrase, languages: tuple[str, ...]) -> int:
    """Where the words between two numbers part: at their last "and" or comma, else right behind the first number."""
    for n in range(other.start - 1, one.end - 1, -1):
        if "or" in analyse(texts[n], languages).names("language"):
            return n
        if texts[n].endswith((",", ";")) and n + 1 < other.start:
            return n + 1
    return one.end


def _restriction(
    before: str, phrase: str, after: str, languages: tuple[str, ...]
) -> tuple[tuple[str, float | str], ...] | None:
    """The condition that a number right behind another one states: ``41 teeth with 11-speed cassettes``."""
    words = before.split()
    if not words or len(words) > 4 or words[-1].endswith((".", ";")):
        return None
    names = analyse(before, languages).names("language")
    clear = "only" in names and "or" not in names
    found = find_condition(f"{phrase} {after.split('.')[0]}", languages) if clear else None
    return tuple(sorted(found.items())) if found else None


def _phrases(texts: Sequence[str]) -> Iterator[_Phrase]:
    """Runs of words that make one number notation, longest first."""
    n = 0
    while n < len(texts):
        if not _is_number(texts[n]):
            n += 1
            continue
        end = n + 1
        while end < len(texts):
            word = fold(texts[end]) or texts[end]
            if texts[end - 1].endswith((".", ";")) and not _is_number(texts[end]):
                break
            if _is_unit(word) or (texts[end - 1].endswith(",") and _is_number(texts[end])):
                end += 1
            elif word in _JOINTS and end + 1 < len(texts) and _is_number(texts[end + 1]):
                end += 2
            elif (texts[end] in "-–—/" or texts[end - 1] in "-–—/") and (
                _is_number(texts[end]) or texts[end] in "-–—/"
            ):
                end += 1
            else:
                break
        yield _Phrase(n, end, " ".join(texts[n:end]).strip(" .,;:()"))
        n = end


def _is_number(text: str) -> bool:
    if not _NUMBER.match(text.rstrip(".,;:)")):
        return False
    tail = re.sub(r"^[(\[≤≥<>]*[\d.,\-–…x×/]+", "", text).strip(" .,;:)-")
    return not tail or _is_unit(fold(tail) or tail)


def _is_unit(word: str) -> bool:
    return word in UNIT_WORDS or word in SPEED_WORDS or word in ("°", "speed")
