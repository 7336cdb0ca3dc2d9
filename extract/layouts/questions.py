"""Questions and answers → entries: ``What is the largest sprocket of the AB12?`` – ``34 teeth.``"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ...schema.limits import LIMITS, PartKind
from ...schema.parts import code_key
from ..conditions import find_condition, is_denied
from ..context import PageContext
from ..labels import LabelHit, analyse, find_label_hits
from ..lines import Line, Segment, union
from ..records import Entry, Word
from ..subjects import Subject, parse_model_cell
from ..values import parse_value, plausible
from .lists import segments_of
from .meaning import find_meaning
from .rowparts import known_kind

_MOST_LINES = 3
_MOST_ANSWER_WORDS = 14
_CLOSE = 0.7
_ROOM = 1.3
_CLEAR_LABEL = 0.9
_SPEAKER = re.compile(r"^(?:[^\W\d_]{1,8}|\d{1,2})[.:)]$|^[–—-]$")
_QUOTED = re.compile(r"[«„“\"‹‘']\s*([^«»„“”\"‘’'‹›?]{3,60}?)\s*[»”\"›’'“]")
_SIGNS = " .,;:()?¿!¡«»„“”\"'‘’‚‹›"
_STARTS_VALUE = re.compile(r"^[(\[]?[≤≥<>=~±+]*\d|^[≤≥<>]=?$")
_CERTAIN = 0.95


@dataclass(frozen=True)
class _Asked:
    """A question and the words that answer it."""

    question: tuple[Word, ...]
    answer: tuple[Word, ...]
    place: Segment


@dataclass(frozen=True)
class _Told:
    """What a question and its answer state, while the kind of the part may still be open."""

    asked: _Asked
    subject: Subject
    label: str
    value: str
    words: tuple[Word, ...]
    quoted: str


def read_questions(lines: Sequence[Line], context: PageContext) -> tuple[list[Entry], set[Word]]:
    """Entries of questions with their answers, and the words of all questions that were answered."""
    if not any("?" in w.text for line in lines for s in line.segments for w in s.words):
        return [], set()
    asked = list(_asked(segments_of(lines)))
    told = [t for a in asked if (t := _told(a, context)) is not None]
    kinds = _kinds_of(told, context)
    entries: list[Entry] = []
    for one in told:
        subject = one.subject
        if subject.kind is None:
            subject = Subject(kinds.get(code_key(subject.code)), subject.code, subject.variant)
        hit = _hit(one, subject.kind, context.languages) or (
            _hit_of_any(one, context.languages) if subject.kind is None else None
        )
        if hit is not None:
            box = union(w.box for w in one.words)
            reader = "questions" if subject.kind else "questions:part"
            entries.append(Entry(subject, one.label[-120:], (hit,), one.value, box, reader, (), _CERTAIN,
                                 min(w.confidence for w in one.words)))  # fmt: skip
    return entries, {w for a in asked for w in (*a.question, *a.answer)}


def _asked(segments: Sequence[Segment]) -> Iterator[_Asked]:
    for n, segment in enumerate(segments):
        at = next((k for k, w in enumerate(segment.words) if w.text.rstrip('»”")').endswith("?")), None)
        if at is None:
            continue
        question = [*_lead(segments, n), *segment.words[: at + 1]]
        answer = list(segment.words[at + 1 :]) or list(_answer(segments, n))
        while answer and _SPEAKER.match(answer[0].text):
            answer = answer[1:]
        if answer and len(answer) <= _MOST_ANSWER_WORDS and not any("?" in w.text for w in answer):
            yield _Asked(tuple(question), tuple(answer), segment)


def _lead(segments: Sequence[Segment], at: int) -> list[Word]:
    """The words of the lines above that a question begins with."""
    words: list[Word] = []
    last = segments[at]
    for other in reversed(segments[max(0, at - 6) : at]):
        if abs(other.box.x0 - last.box.x0) > 2 * last.size or other.box.bottom > last.box.top + 0.5 * last.size:
            continue
        close = last.box.top - other.box.bottom < _CLOSE * last.size and other.bold == last.bold
        if not close or other.text.rstrip().endswith((".", "?", "!", ":")) or len(words) > 2 * _MOST_ANSWER_WORDS:
            break
        words = [*other.words, *words]
        last = other
    return words


def _answer(segments: Sequence[Segment], at: int) -> Iterator[Word]:
    """The words below a question up to the end of a sentence, a gap or the next question."""
    last, taken = segments[at], 0
    for other in segments[at + 1 : at + 9]:
        if abs(other.box.x0 - last.box.x0) > 3 * last.size or other.box.top < last.box.top + 0.5 * last.size:
            continue
        room = _CLOSE if taken else _ROOM
        if other.box.top - last.box.bottom > room * last.size or "?" in other.text or taken == _MOST_LINES:
            return
        yield from other.words
        last, taken = other, taken + 1
        if other.text.endswith("."):
            return


def _told(asked: _Asked, context: PageContext) -> _Told | None:
    words = list(asked.question)
    while words and _SPEAKER.match(words[0].text):
        words = words[1:]
    texts = [w.text.strip(_SIGNS) for w in words]
    above = known_kind(context.subject_above(asked.place.box), context)
    code, variant, own = _code_in(texts, context.languages)
    if any(any(c.isdigit() for c in t) for n, t in enumerate(texts) if n not in own):
        return None
    subject = above if code is None else Subject(above.kind if code == above.code else None, code, variant)
    if subject.code is None:
        return None
    rest = " ".join(t for n, t in enumerate(texts) if n not in own and t)
    quoted = _QUOTED.search(" ".join(w.text for w in words))
    value, value_words = _value_of(asked.answer, context.languages)
    if not value or is_denied(rest, context.languages) or find_condition(rest, context.languages):
        return None
    return _Told(asked, known_kind(subject, context), rest, value, value_words, quoted.group(1) if quoted else "")


def _code_in(texts: Sequence[str], languages: tuple[str, ...]) -> tuple[str | None, str | None, set[int]]:
    """The one code that a question names, its version, and the places of its words; ``None`` where none is clear."""
    places = [n for n, t in enumerate(texts) if any(c.isdigit() for c in t)]
    if len(places) != 1:
        return None, None, set()
    at = places[0]
    code, own = texts[at], {at}
    before = texts[at - 1] if at else ""
    short = len(code) <= 3 or re.fullmatch(r"\d{1,6}[A-Za-z]?", code)
    if at and short and re.fullmatch(r"[A-Z][A-Za-z]*", before) and _is_name(before, languages) and (at > 1):
        code, own = f"{before} {code}", {at - 1, at}
    variant = None
    after = texts[at + 1] if at + 1 < len(texts) else ""
    if re.fullmatch(r"[A-Z]|X[SL]", after):
        own = {*own, at + 1}
        if after in ("XS", "S", "M", "L", "XL"):
            variant = after
        else:
            code = f"{code} {after}"
    named = parse_model_cell(code, languages)
    if len(named) != 1 or code_key((named[0].code or "") + (named[0].variant or "")) != code_key(code):
        return None, None, set()
    return named[0].code, variant or named[0].variant, own


def _is_name(word: str, languages: tuple[str, ...]) -> bool:
    return not any(term.meanings for term in analyse(word, languages).terms)


def _value_of(answer: Sequence[Word], languages: tuple[str, ...]) -> tuple[str, tuple[Word, ...]]:
    """The words of an answer from its bound or number on: ``It is at most 34 teeth.`` → ``at most 34 teeth``."""
    start = next((n for n, w in enumerate(answer) if _STARTS_VALUE.match(w.text)), None)
    if start is None:
        return "", ()
    if is_denied(" ".join(w.text for w in answer[:start]), languages):
        start = 0
    for n in range(start):
        if analyse(answer[n].text, languages).names("concept") & {"max", "min"}:
            start = n
            break
    words = tuple(answer[start:])
    return " ".join(w.text for w in words).strip().rstrip("."), words


def _hit(told: _Told, kind: PartKind | None, languages: tuple[str, ...]) -> LabelHit | None:
    """The limit that a question asks for, if its answer reads as a value of it."""
    if told.quoted:
        hits = [h for h in find_label_hits(told.quoted, kind, languages) if h.score >= _CLEAR_LABEL]
        best = hits[0] if hits else None
    else:
        best = find_meaning(told.label, "", told.value, kind, languages) if kind else None
    if best is None:
        return None
    value = parse_value(told.value, best.limit, best.bound, languages)
    return best if value and plausible(best.limit, value.low, value.high, value.values) else None


def _hit_of_any(told: _Told, languages: tuple[str, ...]) -> LabelHit | None:
    """The limit that a question asks for of a part whose kind nothing tells, to be held back with the question."""
    return next((hit for kind in PartKind if (hit := _hit(told, kind, languages))), None)


def _kinds_of(told: Sequence[_Told], context: PageContext) -> dict[str, PartKind]:
    """The kind of each code of which no place tells it: the only one that has all the limits that are asked for."""
    possible: dict[str, set[PartKind]] = {}
    for one in told:
        if one.subject.kind is not None or one.subject.code is None:
            continue
        named = {kind for kind in PartKind if _asks_limit_of(one, kind, context.languages)}
        if named:
            possible.setdefault(code_key(one.subject.code), set(PartKind)).intersection_update(named)
    return {code: next(iter(kinds)) for code, kinds in possible.items() if len(kinds) == 1}


def _asks_limit_of(told: _Told, kind: PartKind, languages: tuple[str, ...]) -> bool:
    hit = _hit(told, kind, languages)
    return hit is not None and kind in LIMITS[hit.limit].kinds
