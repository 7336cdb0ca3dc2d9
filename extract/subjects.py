"""Words of a cell, heading or sentence → which part they speak of: kind, model code and variant."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from ..schema.limits import PartKind
from .labels import LANGUAGES, Term, analyse, fold

_CODE = re.compile(
    r"(?<![\w.,/-])"
    r"(?:[A-Z]{1,6}[-.]?)?(?:[A-Z]{0,4}\d{1,6}[A-Z]{0,4}|[A-Z]{1,4}\d{1,5})(?:[-./]?(?:[A-Z]{1,4}\d{0,4}|\d{1,5}[A-Z]{0,3}))*"
    r"(?![\w]|[.,]\d)"
)
_SPACED_CODE = re.compile(r"(?<![\w-])[A-Z]{2,6}[ ]\d{2,5}[A-Z]{0,3}(?![\w.,°%])")
_NO_CODE = re.compile(
    r"^(?:\d+(?:[.,]\d+)?\s*(?:T|Z|D|S|MM|CM|M|G|KG|NM|V|X|A|W|H|KM|C|F|TH|ST|ND|RD)?|\d+X\d*|\d+[-/]\d+\w?|"
    r"M\d{1,2}(?:X[\d.,]+)?|\d+(?:[-.]\d+)+|[IVX]+|IP\d\d|A[0-6]|ISO.*|EN.*|DIN.*|UN\d+|V\d+(?:\.\d+)*|\d+T\d+|"
    r"USB.*|CR20\d\d|\d+-?(?:SPEED|FACH|GANG)|T\d{2}|H\d{1,2})$"
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


@lru_cache(maxsize=20_000)
def find_codes(text: str) -> tuple[str, ...]:
    """Model codes among running words: letters and digits together, no units, sizes, screws or standards."""
    found = [m.group() for m in _CODE.finditer(text)]
    good = [c for c in found if is_code(c)]
    if not good:
        good = [m.group() for m in _SPACED_CODE.finditer(text) if not _NO_CODE.match(m.group().replace(" ", ""))]
    return tuple(dict.fromkeys(good))


def is_code(text: str) -> bool:
    """Whether ``text`` looks like a model code on its own: a letter and a digit, and none of the usual sizes."""
    bare = text.strip().upper()
    return (
        3 <= len(bare) <= 16
        and any(c.isdigit() for c in bare)
        and any(c.isalpha() for c in bare)
        and not _NO_CODE.match(bare)
    )


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
        piece = piece.strip(" -–:,()")
        if _names_model(piece):
            subjects.append(Subject(kind, piece, variant))
    if subjects and len({bool(re.search(r"[^\W\d_]", s.code or "")) for s in subjects}) == 1:
        return tuple(subjects)
    return (Subject(kind, None, variant),) if kind or variant else ()


def _names_model(piece: str) -> bool:
    if not re.search(r"\d", piece) or len(piece.split()) > 3 or len(piece) > 20:
        return False
    if piece.isdigit():
        return 3 <= len(piece) <= 6
    return is_code(piece) or bool(re.fullmatch(r"[^\W\d_]{1,12}[ -]?\d{1,5}[ -]?[A-Z0-9]{0,4}", piece))


@lru_cache(maxsize=20_000)
def find_kinds(text: str, languages: tuple[str, ...] = LANGUAGES) -> tuple[tuple[PartKind, Term], ...]:
    """Part kinds that words name, in order; a longer name wins over one inside it."""
    found = []
    for term in analyse(text, languages).terms:
        names = term.names("part")
        if not names or term.quality < 0.85:
            continue
        found.extend((PartKind(name), term) for name in sorted(names))
    return tuple(found)


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
    """The variant that ``text`` is, as printed: a cage length in words or a size letter; ``None`` where it is neither."""
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
        return bare
    letter = re.fullmatch(r"(.+?)[ -]+(XS|S|M|L|XL)|(XS|S|M|L|XL)[ -]+(.+)", bare)
    if letter:
        words = analyse(letter.group(1) or letter.group(4), languages)
        if words.terms and all(t.names("concept") & {"cage", "variant"} for t in words.terms):
            return letter.group(2) or letter.group(3)
    return None


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
    """What a heading names: ``"Rear derailleur AB12 (long)"`` → kind, code and variant; pieces it lacks are ``None``."""
    text = re.sub(r"\^\{[^}]*\}", "", " ".join(text.split()))
    variant, bare = _take_variant(text, languages)
    codes = find_codes(bare)
    kinds = [kind for kind, _ in find_kinds(bare, languages)]
    if not codes and kinds:
        numeric = re.findall(r"(?<![\w.,/-])\d{3,6}(?![\w.,/%°-])", bare)
        codes = tuple(n for n in numeric if not 1980 <= int(n) <= 2040)
    distinct = list(dict.fromkeys(kinds))
    kind = distinct[0] if len(distinct) == 1 or (distinct and _one_term(bare, languages)) else None
    return Subject(kind, codes[0] if len(codes) == 1 else None, variant if len(codes) == 1 else None)


def _one_term(text: str, languages: tuple[str, ...]) -> bool:
    return len([t for t in analyse(text, languages).terms if t.names("part")]) == 1
