"""Sentences of a paragraph → which part and version each speaks of."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from ...schema.parts import code_key, variant_key
from ..context import PageContext
from ..labels import analyse, fold
from ..records import Entry, Word
from ..subjects import Subject, find_mention, parse_variant

QUOTES = " .,;:()«»„“”\"'‘’‚‹›"
SIZES = ("XS", "S", "M", "L", "XL")
_TITLES = frozenset({"cage", "variant", "model"})
_FORMS = frozenset({"form", "forma", "forme", "format"})
_SIZE_CONCEPTS = frozenset({"big", "small", "middle", "size", "length", "variant", "max", "min", "S", "M", "L"})
_LEAD_WORDS = 7
_QUOTED = re.compile(r"(?:^|\s)[«„“\"‘'‚‹]\s?(?P<name>[^«»„“”\"‘’'‹›,.;]{1,24}?)\s?[»”“\"’'‘›]")
_ODD = re.compile(r"^[A-Z][A-Za-z0-9]{0,2}$")
_UNCLEAR = 0.3


@dataclass(frozen=True)
class Spoken:
    """A sentence, the part that it speaks of, and the variants named in it with their places.

    ``clear`` is false where it names a version by a word that nothing else bears out. ``led`` says that its first
    words name the version that all of it is about.
    """

    sentence: tuple[Word, ...]
    subject: Subject
    variants: tuple[tuple[int, str], ...]
    clear: bool = True
    led: bool = False


def find_spoken(sentences: Sequence[Sequence[Word]], subject: Subject, context: PageContext) -> list[Spoken]:
    """Each sentence with the part that it speaks of: one named in it, or that of the sentence before."""
    found: list[Spoken] = []
    leads: list[tuple[int, str, bool]] = []
    for sentence in sentences:
        variants = tuple(variants_in(sentence, context.languages))
        before = subject
        texts = [w.text for w in sentence]
        lead = None if variants or before.code is None else _lead_of(texts, before, context.languages)
        subject = _spoken_of(sentence, subject, variants, context)
        if lead is not None and code_key(subject.code) == code_key(lead[0]):
            subject = before
        lead = None if variants else _lead_of(texts, subject, context.languages)
        if lead is not None:
            leads.append((len(found), *lead))
        reset = subject.code != before.code or bool(variants)
        carried = found[-1].clear if found and not reset and lead is None else True
        found.append(Spoken(tuple(sentence), subject, variants, carried))
    return _with_leads(found, leads)


def _with_leads(found: list[Spoken], leads: list[tuple[int, str, bool]]) -> list[Spoken]:
    """The sentences with the versions that their first words name, where two name different ones or a title says so."""
    names: dict[str, set[str]] = {}
    for at, name, _ in leads:
        names.setdefault(code_key(found[at].subject.code), set()).add(variant_key(name))
    for one in found:
        names.setdefault(code_key(one.subject.code), set()).update(variant_key(v) for _, v in one.variants)
    by_place = {at: (name, titled) for at, name, titled in leads}
    starts = {fold(found[at].sentence[0].text) for at, _, _ in leads}
    told: list[Spoken] = []
    state: tuple[str, str, bool] | None = None
    for n, one in enumerate(found):
        code = code_key(one.subject.code)
        if n in by_place:
            name, titled = by_place[n]
            state = (code, name, titled or len(names[code]) > 1)
            told.append(_led(one, state))
            continue
        if state is not None and (state[0] != code or one.variants):
            state = None
        if state and fold(one.sentence[0].text) in starts:
            state = (state[0], state[1], False)
        told.append(_led(one, state) if state else one)
    return told


def _led(one: Spoken, state: tuple[str, str, bool]) -> Spoken:
    _, name, sure = state
    return replace(one, subject=replace(one.subject, variant=name), clear=sure, led=True)


def _spoken_of(
    sentence: Sequence[Word], before: Subject, variants: Sequence[tuple[int, str]], context: PageContext
) -> Subject:
    """The subject after the words of a sentence: a code or variant named there replaces the one before."""
    if not any(c.isdigit() for w in sentence for c in w.text):
        named = None
    else:
        text = " ".join(w.text for w in sentence)
        named = _longer_code(sentence, before) or find_mention(text, context.languages, context.memory.kinds.keys())
    variant = variants[-1][1] if len({v for _, v in variants}) == 1 else None
    if named and named.code != before.code:
        kind = named.kind or context.memory.kinds.get(code_key(named.code)) or before.kind
        return Subject(kind, named.code, variant)
    return Subject(before.kind, before.code, variant) if variant else before


def _longer_code(sentence: Sequence[Word], before: Subject) -> Subject | None:
    """A word that is the code spoken of with letters behind it: ``AB12-7.m`` after ``AB12-7``."""
    own = code_key(before.code)
    if len(own) < 3:
        return None
    base = own
    while base and not base[-1].isdigit():
        base = base[:-1]
    for word in sentence:
        text = word.text.strip(QUOTES)
        key = code_key(text)
        if (
            key != own
            and key.startswith(base)
            and re.search(r"[-.]", text[1:])
            and not re.search(r"\d", key[len(base) :])
        ):
            return Subject(before.kind, text)
    return None


def variants_in(sentence: Sequence[Word], languages: tuple[str, ...]) -> Iterator[tuple[int, str]]:
    """Variants named by two or three words of which one says cage or version: (position, variant)."""
    texts = [(n, w.text.strip(QUOTES)) for n, w in enumerate(sentence)]
    texts = [(n, t) for n, t in texts if t]
    titled = [bool(analyse(t, languages).names("concept") & _TITLES) for _, t in texts]
    if not any(titled):
        return
    at = 0
    while at < len(texts) - 1:
        for length in (3, 2):
            window = [t for _, t in texts[at : at + length]]
            worded = any(titled[at : at + length]) and all(_is_variant_word(t, languages) for t in window)
            variant = _variant_of(window, languages) if worded else None
            if variant:
                yield texts[at][0], variant
                at += length - 1
                break
        at += 1


def _variant_of(window: Sequence[str], languages: tuple[str, ...]) -> str | None:
    """The variant that words of a sentence name together: ``long cage``, ``M model``."""
    sizes = [t for t in window if t in SIZES]
    if len(sizes) == 1 and len(window) == 2:
        return sizes[0]
    variant = parse_variant(" ".join(window), languages)
    words = (variant or "").split()
    last = analyse(words[-1], languages).names("concept") if len(words) > 1 else frozenset[str]()
    if last & _TITLES and "cage" not in last:
        return " ".join(words[:-1])
    return variant


def _is_variant_word(word: str, languages: tuple[str, ...]) -> bool:
    analysis = analyse(word, languages)
    return bool(analysis.names("variant") or analysis.names("concept") & _TITLES or word in SIZES)


def _lead_of(texts: Sequence[str], subject: Subject, languages: tuple[str, ...]) -> tuple[str, bool] | None:
    """The word by which a sentence's beginning names a version, and whether a word for versions stands beside it."""
    stop = next((n + 1 for n, t in enumerate(texts[:_LEAD_WORDS]) if t.endswith(",")), _LEAD_WORDS)
    lead = [t.strip(QUOTES) for t in texts[:stop]]
    titled = [bool(analyse(t, languages).names("concept") & _TITLES) if t else False for t in lead]
    quoted = _QUOTED.search(" ".join(texts[: _LEAD_WORDS + 2]))
    if quoted and any(titled):
        name = quoted["name"].strip()
        rest = name.split()[-1]
        glued = code_key(name) == code_key(f"{subject.code}{rest}")
        return (rest if glued else name), True
    own = {fold(piece) for piece in (subject.code or "").split()}
    for n in range(1, len(lead)):
        text = lead[n]
        if not text or fold(text) in own:
            continue
        beside = titled[n - 1] or (n + 1 < len(lead) and (titled[n + 1] or fold(lead[n + 1]) in _FORMS))
        ends = texts[n].endswith(",")
        behind_code = fold(lead[n - 1]) in own and text in SIZES
        if not (beside or ends or behind_code):
            continue
        cage = n + 1 < len(lead) and "cage" in analyse(lead[n + 1], languages).names("concept")
        if cage and text[:1].isupper() and not analyse(text, languages).names("part"):
            return f"{text} {lead[n + 1]}", False
        if _may_name_version(text, languages):
            return text, False
    return None


def _may_name_version(text: str, languages: tuple[str, ...]) -> bool:
    if text in SIZES:
        return True
    terms = analyse(text, languages).terms
    if len(terms) == 1 and terms[0].quality == 1 and terms[0].names("variant"):
        return True
    meant = {m.name for t in terms for m in t.meanings}
    return bool(_ODD.match(text)) and meant <= _SIZE_CONCEPTS


def names_bare_variant(sentence: Sequence[Word], languages: tuple[str, ...]) -> bool:
    """Whether a sentence names a version by its size alone, capitalised or in quotes (``Fitted with the Long …``)."""
    for word in sentence[1:]:
        text = word.text.strip(QUOTES)
        if text in SIZES:
            return True
        marked = text[:1].isupper() or word.text != word.text.strip("«»„“”\"'‘’‚‹›")
        terms = analyse(text, languages).terms if text and marked else ()
        if len(terms) == 1 and terms[0].quality == 1 and terms[0].names("variant"):
            return True
    return False


def for_named_versions(entries: Sequence[Entry], spoken: Sequence[Spoken]) -> list[Entry]:
    """What a paragraph says of a part by its short code, for each of the longer codes that it goes on to name.

    Where it names but one of them, what it says of the short code is unsure.
    """
    longer: dict[str, list[str]] = {}
    codes = list(dict.fromkeys(s.subject.code for s in spoken if s.subject.code))
    for base in codes:
        longer[base] = [c for c in codes if _is_version_of(c, base)]
    told: list[Entry] = []
    for entry in entries:
        versions = longer.get(entry.subject.code or "", [])
        if not versions or entry.subject.variant:
            told.append(entry)
        elif len(versions) == 1:
            told.append(replace(entry, certain=_UNCLEAR))
        else:
            told.extend(replace(entry, subject=replace(entry.subject, code=code)) for code in versions)
    return told


def _is_version_of(code: str, base: str) -> bool:
    key, own = code_key(code), code_key(base)
    return key != own and key.startswith(own) and not any(c.isdigit() for c in key[len(own) :])
