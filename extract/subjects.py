"""Words of a cell, heading or sentence → which part they speak of: kind, model code and variant."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache

from ..schema.limits import PartKind
from ..schema.parts import code_key
from .labels import LANGUAGES, Term, analyse, fold

_TOKEN = re.compile(r"[^\s,;:()\[\]|]+")
_PLAIN_CODE = re.compile(
    r"^[A-Z]{1,6}[-./]?[A-Z]{0,3}\d{1,6}[A-Za-z]{0,4}(?:[-./][A-Z0-9]{1,5})*$|^\d{2,5}[-./]?[A-Z]{1,4}\d{0,4}$"
)
_LOOSE_CODE = re.compile(r"^(?=.*\d)(?=.*[A-Za-z])[A-Za-z0-9]+(?:[-./_][A-Za-z0-9]+){0,3}$")
_SIZE = re.compile(
    r"^(?:[≤≥<>±+~-]*\d+(?:[.,]\d+)?(?:\s*[-–/x×]\s*\d+(?:[.,]\d+)?)*\s*"
    r"(?:T|Z|D|mm|cm|m|g|kg|Nm|V|A|W|h|mAh|Ah|Wh|kPa|MHz|GHz|km|°|%|th|st|nd|rd|x|[a-z]*speeds?|-?fach|(?-i:-?[a-z]{3,}))?\.?|"
    r"\d+x\d*|M\d{1,2}(?:x[\d.,]+)?|\d+(?:[-.]\d+)+|IP\d\d|A[0-6]|V\d+(?:\.\d+)*|T\d{2}|H\d{1,2}|"
    r"(?:ISO|EN|DIN|UN|CR|USB)[-\s]?\d.*|\d{1,2}[-./]\d{1,2}[-./]\d{2,4}|(?-i:\d+-[a-z]+))$",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Subject:
    """What is known of the part that words speak of; unknown pieces are ``None``."""

    kind: PartKind | None = None
    code: str | None = None
    variant: str | None = None

    def filled_from(self, other: Subject) -> Subject:
        """This subject with what it lacks taken from ``other``; a variant goes only with its own code."""
        variant = self.variant
        if variant is None and (self.code is None or self.code == other.code):
            variant = other.variant
        return Subject(self.kind or other.kind, self.code or other.code, variant)


_DOTTED_NUMBER = re.compile(r"^(?:\d{5,6}[.-]\d{1,3}|\d{4}[.-]\d)$")
"""``30499.2``: a code where models are named, too long for a size or a price."""
_COUNTED_WORD = re.compile(r"^\d+-[A-Z]{2,}$")
"""``12-SPEED`` and the like: a code only beside a part's name or in a model column."""


@lru_cache(maxsize=20_000)
def find_codes(text: str) -> tuple[str, ...]:
    """Model codes among running words: letters and digits together, no units, sizes, screws or standards."""
    tokens = (m.group().strip(".,") for m in _TOKEN.finditer(text))
    good = [t for t in tokens if _PLAIN_CODE.match(t) and is_code(t) and not _COUNTED_WORD.match(t)]
    return tuple(dict.fromkeys(good))


def is_code(text: str) -> bool:
    """Whether ``text`` looks like a model code on its own: a letter and a digit, and none of the usual sizes."""
    bare = text.strip()
    return 3 <= len(bare) <= 16 and bool(_LOOSE_CODE.match(bare)) and not _SIZE.match(bare)


_CELL_SPLIT = re.compile(r"\s*(?:[/,;&+]|\bund\b|\band\b|\bet\b|\be\b|\by\b|\ben\b)\s+|\s+[/&+]\s*")


@lru_cache(maxsize=20_000)
def parse_model_cell(text: str, languages: tuple[str, ...] = LANGUAGES) -> tuple[Subject, ...]:
    """The subjects that a cell of a model column or row names; empty where it names none.

    Codes may be digits only here, may hold blanks, and several may stand in one cell.
    """
    text = re.sub(r"\^\{[^}]*\}", "", " ".join(text.split())).strip(" :*")
    if not text or len(text) > 60:
        return ()
    kind, text = _take_kind(text, languages)
    variant, bare = _take_variant(text, languages)
    subjects = []
    for piece in _CELL_SPLIT.split(bare):
        piece = _without_trade_words(piece.strip(" -–:,()"), languages)
        if _names_model(piece):
            subjects.append(Subject(kind, piece, variant))
    if subjects and len({bool(re.search(r"[^\W\d_]", s.code or "")) for s in subjects}) == 1:
        return tuple(subjects)
    return (Subject(kind, None, variant),) if kind or variant else ()


def _without_trade_words(piece: str, languages: tuple[str, ...]) -> str:
    """A piece without the known words and those in small letters beside its code: ``AB12 sprockets`` → ``AB12``."""
    words = piece.split()
    clear = any(is_code(w) for w in words)
    kept = [w for w in words if any(c.isdigit() for c in w) or len(w) < 4
            or not ((clear and w.islower()) or analyse(w, languages).terms[0].meanings)]  # fmt: skip
    return " ".join(kept) if any(c.isdigit() for w in kept for c in w) else piece


_JOINT_END = re.compile(r"\s(?:and|und|et|e|y|en|or|oder|ou|o|of)$|[/&+,]$")


def _names_model(piece: str) -> bool:
    if not re.search(r"\d", piece) or len(piece.split()) > 3 or len(piece) > 20 or _JOINT_END.search(piece):
        return False
    if piece.isdigit():
        return 3 <= len(piece) <= 6
    if any(_DOTTED_NUMBER.match(word) for word in piece.split()):
        return len(piece.split()) == 1
    if _states_number(piece):
        return False
    if is_code(piece):
        return True
    if not re.fullmatch(r"[\w./-]+(?: [\w./-]+){0,2}", piece) or not re.search(r"[^\W\d_]", piece):
        return False
    return not _SIZE.match(piece) or bool(re.fullmatch(r"\d{2,5}[-./]\d{0,3}[A-Z]{1,4}\d{0,3}", piece))


def _states_number(piece: str) -> bool:
    """Whether every word is a number, a unit or a bound, as in ``28T min``."""
    words = piece.split()
    return len(words) > 1 and all(
        _SIZE.match(w) or w.isdigit() or analyse(w).names("concept") & {"max", "min", "speed", "teeth"} for w in words
    )


@lru_cache(maxsize=20_000)
def find_kinds(text: str, languages: tuple[str, ...] = LANGUAGES) -> tuple[tuple[PartKind, Term], ...]:
    """Part kinds that words name, in order; a longer name wins over one inside it, a compound's head over its rest.

    A derailleur that is called front by itself, but stands beside a word for rear, is the rear one, and the reverse.
    """
    found = []
    terms = analyse(text, languages).terms
    for n, term in enumerate(terms):
        names = term.names("part")
        head = n + 1 == len(terms) or terms[n + 1].start != term.start
        if not names or term.quality < 0.85 or not head:
            continue
        beside = terms[max(0, n - 1)].names("concept") | terms[min(len(terms) - 1, n + 1)].names("concept")
        found.extend((_turned(PartKind(name), beside), term) for name in sorted(names))
    return tuple(found)


def _turned(kind: PartKind, beside: frozenset[str]) -> PartKind:
    if kind is PartKind.FRONT_DERAILLEUR and "rear" in beside and "front" not in beside:
        return PartKind.REAR_DERAILLEUR
    if kind is PartKind.REAR_DERAILLEUR and "front" in beside and "rear" not in beside:
        return PartKind.FRONT_DERAILLEUR
    return kind


def _take_kind(text: str, languages: tuple[str, ...]) -> tuple[PartKind | None, str]:
    """A part kind that stands in a cell beside a code, and the cell without it."""
    words = text.split()
    for length in range(min(4, len(words)), 0, -1):
        for start in range(len(words) - length + 1):
            piece = words[start : start + length]
            if any(c.isdigit() for w in piece for c in w):
                continue
            terms = analyse(" ".join(piece), languages).terms
            if (
                len(terms) == 1
                and len(terms[0].names("part")) >= 1
                and terms[0].end == len(fold(" ".join(piece)).split())
            ):
                kind = PartKind(sorted(terms[0].names("part"))[0])
                return kind, " ".join(words[:start] + words[start + length :])
    return None, text


_LONE_SIZE = re.compile(r"^(?:XS|S|M|L|XL)$")
_BRACKETED = re.compile(r"\(([^()]{1,30})\)")


@lru_cache(maxsize=20_000)
def parse_variant(text: str, languages: tuple[str, ...] = LANGUAGES) -> str | None:
    """The variant that ``text`` is, as printed: a cage length in words or a size letter; else ``None``."""
    bare = " ".join(text.split()).strip(" :,-–()")
    if not bare or len(bare) > 30:
        return None
    if _LONE_SIZE.match(bare):
        return bare
    analysis = analyse(bare, languages)
    sizes = analysis.names("variant")
    known = all(
        t.names("variant") or t.names("concept") & {"cage", "variant", "size", "length"} for t in analysis.terms
    )
    if len(sizes) == 1 and known:
        return _without_title(bare, languages)
    letter = re.fullmatch(r"(.+?)[ -]+(XS|S|M|L|XL)|(XS|S|M|L|XL)[ -]+(.+)", bare)
    if letter:
        words = analyse(letter.group(1) or letter.group(4), languages)
        if words.terms and all(t.names("concept") & {"cage", "variant"} for t in words.terms):
            cage = any("cage" in t.names("concept") for t in words.terms)
            return _without_title(bare, languages) if cage else letter.group(2) or letter.group(3)
    return None


_SIZE_LIST = re.compile(r"(?<![\w-])(?:XS|S|M|L|XL)(?:\s*[/,+&]\s*(?:XS|S|M|L|XL))+(?![\w-])")


def names_several_variants(text: str, languages: tuple[str, ...] = LANGUAGES) -> bool:
    """Whether ``text`` names two versions or more, so that a pair of numbers beside it may be one for each."""
    named = [term.names("variant") for term in analyse(text, languages).terms]
    sizes = {name for names in named if len(names) == 1 for name in names}
    return bool(_SIZE_LIST.search(text)) or (len(sizes) > 1 and len(text.split()) <= 8)


def _without_title(text: str, languages: tuple[str, ...]) -> str:
    """``"Ausführung kurzer Käfig"`` → ``"kurzer Käfig"``: the word for version goes, that for cage stays."""
    words = text.split()
    names = analyse(words[0], languages).names("concept")
    return " ".join(words[1:]) if len(words) > 1 and "variant" in names and "cage" not in names else text


def _take_variant(text: str, languages: tuple[str, ...]) -> tuple[str | None, str]:
    """A variant beside a code, in brackets or behind it, and the text without it."""
    for found in _BRACKETED.finditer(text):
        variant = parse_variant(found.group(1), languages)
        if variant:
            return variant, (text[: found.start()] + text[found.end() :]).strip()
    words = re.split(r"\s+|(?<=\w)[,;]\s*", text)
    for count in (4, 3, 2, 1):
        if len(words) > count:
            for tail, rest in ((words[-count:], words[:-count]), (words[:count], words[count:])):
                variant = parse_variant(" ".join(tail), languages)
                if variant and any(c.isdigit() for w in rest for c in w):
                    return variant, " ".join(rest).strip(" ,;-–")
    return None, text


@lru_cache(maxsize=20_000)
def parse_heading(text: str, languages: tuple[str, ...] = LANGUAGES) -> Subject:
    """What a heading names: ``"Rear derailleur AB12 (long)"`` → kind, code and variant; lacking pieces are ``None``."""
    text = re.sub(r"\^\{[^}]*\}", "", " ".join(text.split()))
    variant, bare = _take_variant(text, languages)
    kinds = find_kinds(bare, languages) or _plain_kinds(bare)
    kind = _one_kind(kinds)
    code = _heading_code(bare, bool(kinds), languages)
    return Subject(kind, code, variant if code else None)


def _plain_kinds(text: str) -> tuple[tuple[PartKind, Term], ...]:
    """Part kinds that words name in any language, none of them with a fault; sheets mix languages in their headings."""
    return tuple((kind, term) for kind, term in find_kinds(text) if term.quality == 1)


def _one_kind(kinds: tuple[tuple[PartKind, Term], ...]) -> PartKind | None:
    """The kind that a heading names: the only one, or the first of the meanings that one row of words has."""
    distinct = list(dict.fromkeys(kind for kind, _ in kinds))
    terms = {(term.start, term.end) for _, term in kinds}
    return distinct[0] if len(distinct) == 1 or (distinct and len(terms) == 1) else None


_NUMBER_FIRST = re.compile(r"^\d{2,5}[-./]\d{0,3}[A-Z]{1,4}\d{0,3}$")


def _heading_code(text: str, with_kind: bool, languages: tuple[str, ...]) -> str | None:
    """The one model code of a heading; beside a part kind also digits alone, small letters and a word before digits."""
    tokens = [t.strip(".,–-·/") for t in (m.group() for m in _TOKEN.finditer(text))]
    plain = [t for t in tokens if _PLAIN_CODE.match(t) and is_code(t)]
    if len(plain) == 1 or not with_kind:
        return _with_letter(plain[0], text) if len(plain) == 1 else None
    loose = [t for t in tokens if is_code(t) or _NUMBER_FIRST.match(t) or _DOTTED_NUMBER.match(t)]
    if len(loose) == 1:
        return _with_letter(loose[0], text)
    if loose:
        return None
    numbers = [n for n, t in enumerate(tokens) if re.fullmatch(r"\d{2,6}[A-Za-z]?", t) and not _is_year(t)]
    if len(numbers) != 1:
        return None
    at = numbers[0]
    before = tokens[at - 1] if at else ""
    if re.fullmatch(r"[A-Z][A-Za-z]{0,7}", before) and not analyse(before, languages).terms[0].meanings:
        return _with_letter(f"{before} {tokens[at]}", text)
    return tokens[at] if len(tokens[at]) >= 3 else None


_SHORT_CODE = 3


def _with_letter(code: str, text: str) -> str:
    """A code with the single capital that stands behind it (``AB12 T``), and a name before a code too short by itself.

    Sizes are variants, and stay apart: ``AB12 L`` is ``AB12``.
    """
    named = re.search(rf"(?<!\S)([A-Z][a-z]{{2,}}) {re.escape(code)}(?!\S)", text) if len(code) <= _SHORT_CODE else None
    if named and not any(term.meanings for term in analyse(named.group(1)).terms):
        return f"{named.group(1)} {code}"
    found = re.search(rf"(?<!\S){re.escape(code)} ([A-Z])(?![^\s,;:.)])", text)
    return f"{code} {found.group(1)}" if found and not _LONE_SIZE.match(found.group(1)) else code


def find_mention(text: str, languages: tuple[str, ...], known: Collection[str] = ()) -> Subject | None:
    """The one part that a sentence names by its code, with the kind that stands nearest to it; else ``None``.

    Besides plain codes, words with digits count where a part kind stands within five words, and so do ``known`` codes
    (in their compare form).
    """
    words = [w.strip(".,;:()«»„“”\"'‘’‚") for w in text.split()]
    if not any(c.isdigit() for c in text):
        return None
    kinds = _kinds_at(words, languages)
    codes: dict[str, int] = {}
    for n, word in enumerate(words):
        if not any(c.isdigit() for c in word):
            continue
        near = any(abs(n - at) <= 5 for at, _ in kinds)
        plain = _PLAIN_CODE.match(word) and is_code(word)
        loose = near and (is_code(word) or _NUMBER_FIRST.match(word) or _DOTTED_NUMBER.match(word))
        if plain or loose or code_key(word) in known:
            codes.setdefault(word, n)
        elif near and n and _SHORT_OR_NUMBER.match(word) and _is_name(words[n - 1], languages):
            codes.setdefault(f"{words[n - 1]} {word}", n)
        elif re.fullmatch(r"\d{3,6}", word) and not _is_year(word) and _stands_for_part(words, n, near, kinds):
            codes.setdefault(word, n)
    if len(codes) != 1:
        return None
    code, place = next(iter(codes.items()))
    code = _with_letter(code, " ".join(words))
    nearest = min(kinds, key=lambda k: abs(k[0] - place), default=None)
    return Subject(nearest[1] if nearest and abs(nearest[0] - place) <= 8 else None, code)


_SHORT_OR_NUMBER = re.compile(r"^(?:\d{2,6}[A-Za-z]?|[A-Z]\d{1,3})$")
_ARTICLES = frozenset(
    "the our this das der die unser dieses le la notre ce il lo el nuestro este de het onze deze".split()
)
"""Words with which a sentence begins that goes on with a part's name."""


def _is_name(word: str, languages: tuple[str, ...]) -> bool:
    """Whether a word may be the name before a number: capitalised, and none of the lexicon's."""
    if not re.fullmatch(r"[A-Z][A-Za-z]{0,7}", word):
        return False
    return not any(m.group != "language" for t in analyse(word, languages).terms for m in t.meanings)


def _stands_for_part(words: list[str], at: int, near: bool, kinds: list[tuple[int, PartKind]]) -> bool:
    """Whether a bare number is a code: right beside a part kind, or first in its sentence with one near."""
    if any(place in (at - 1, at + 1) for place, _ in kinds):
        return True
    return near and (at == 0 or (at == 1 and fold(words[0]) in _ARTICLES))


def _kinds_at(words: list[str], languages: tuple[str, ...]) -> list[tuple[int, PartKind]]:
    """The part kinds that a sentence names, with the places of their last words."""
    ends: list[int] = []
    for n, word in enumerate(words):
        ends.extend([n] * len(fold(word).split()))
    found = find_kinds(" ".join(words), languages)
    return [(ends[term.end - 1], kind) for kind, term in found if term.quality > 0.9 and term.end <= len(ends)]


def _is_year(text: str) -> bool:
    return text.isdigit() and 1980 <= int(text) <= 2040
