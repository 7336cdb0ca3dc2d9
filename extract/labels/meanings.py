"""Terms of a label → limit keys with scores, by the language-independent table in meanings.toml."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache, lru_cache
from importlib.resources import files

from ...schema.limits import LIMITS, Form, PartKind, Unit
from .analysis import Analysis, Term, analyse
from .words import LANGUAGES, read_language

GENERIC = frozenset({"max", "min", "size", "beside", "teeth"})
"""Concepts that may stand beside those that name a limit."""
MEASURES = frozenset({"spacing", "width", "length", "angle", "weight", "capacity", "step", "difference", "chainline",
                      "chainstay", "gain", "change", "pulley", "bolt", "bolt_circle", "pin", "cage_length", "clamp",
                      "firmware", "freehub"})  # fmt: skip
"""Concepts that say what is measured or counted: a label that names another one than a limit's own is not its label."""
_PART_WORDS = frozenset({"cassette"})
"""Concepts that are names of parts as well: beside a label they do no harm."""
_EXTRA_COST = 0.22
_LEAST_SCORE = 0.62


@dataclass(frozen=True)
class LabelHit:
    """A limit that a label can mean. ``score`` 0 to 1; ``bound`` is ``low`` or ``high`` where the label says which;
    ``unit`` is the unit that the label names; ``needs`` how many concepts had to come together. ``only`` is the kind of
    part for which alone the label has this meaning.
    """

    limit: str
    score: float
    bound: str | None
    unit: Unit | None
    needs: int
    only: PartKind | None = None

    def suits(self, kind: PartKind | None) -> bool:
        """Whether parts of ``kind`` (any, where ``None``) can have this limit under this label."""
        return kind is None or (kind in LIMITS[self.limit].kinds and self.only in (None, kind))


class Role(StrEnum):
    """What a header cell can name instead of a limit."""

    MODEL = "model"
    VARIANT = "variant"
    KIND = "kind"


@dataclass(frozen=True)
class Pattern:
    """Which concepts name a limit, which may stand beside them, and which make it something else."""

    limit: str
    needs: tuple[frozenset[str], ...]
    takes: frozenset[str]
    never: frozenset[str]
    only: PartKind | None = None


@cache
def limit_patterns() -> tuple[Pattern, ...]:
    """The table of meanings: one pattern per limit, and one for each kind of part that has its own."""
    table = tomllib.loads(files("cogledger.extract.labels").joinpath("meanings.toml").read_text(encoding="utf-8"))
    unknown = set(table) ^ set(LIMITS)
    if unknown:
        raise ValueError(f"meanings.toml and the table of limits differ in {sorted(unknown)}")
    patterns: list[Pattern] = []
    for limit, rules in table.items():
        rows: dict[PartKind | None, list[str]] = {None: rules["needs"]}
        rows |= {PartKind(kind): needs for kind, needs in rules.get("needs_of", {}).items()}
        takes, never = frozenset(rules.get("takes", ())), frozenset(rules.get("never", ()))
        for only, needs in rows.items():
            ruled_out = never | frozenset(rules.get("never_of", {}).get(only, ()))
            patterns.append(
                Pattern(limit, tuple(frozenset(row.split()) for row in needs), takes - ruled_out, ruled_out, only)
            )
    return tuple(patterns)


_LEAST_UNIT_LETTERS = 3
"""Shorter ones of a language's words for a unit can be a version's letter when they stand in a label."""
_SHORT_UNITS: dict[Unit, str] = {
    Unit.MILLIMETRE: r"mm|millim\w*",
    Unit.DEGREE: r"°|deg\.?|degr[ée]s",
    Unit.GRAM: r"gr?\.?|gramm?",
    Unit.TEETH: r"t\.?|z\.?|d\.?|z[äa]hne",
    Unit.LINKS: r"pcs\.?|pieces|st\.?|stk\.?|stück|pz\.?|pi[èe]ces|uds\.?",
}


def _unit_pattern(unit: Unit) -> str:
    words = (w for language in LANGUAGES for w in read_language(language)["units"].get(unit, ()))
    return "|".join([_SHORT_UNITS[unit], *(re.escape(w) for w in words if len(w) >= _LEAST_UNIT_LETTERS)])


_UNITS = tuple((_unit_pattern(unit), unit) for unit in _SHORT_UNITS)
_BRACKETED_UNIT = [
    (re.compile(rf"[\(\[]\s*(?:in\s+|en\s+)?(?:{words})\s*[\)\]]", re.IGNORECASE), unit) for words, unit in _UNITS
]
_TRAILING_UNIT = [
    (re.compile(rf"(?:,|/|\bin\b|\ben\b)\s*(?:{words})\s*:?\s*$", re.IGNORECASE), unit) for words, unit in _UNITS
]


@lru_cache(maxsize=20_000)
def split_unit(label: str) -> tuple[str, Unit | None]:
    """A label without its unit, and the unit: ``"Weight (g)"`` → ``("Weight", Unit.GRAM)``."""
    for pattern, unit in [*_BRACKETED_UNIT, *_TRAILING_UNIT]:
        bare, found = pattern.subn(" ", label)
        if found:
            return bare.strip(), unit
    return label, None


_STATES_VALUE = re.compile(r"\d\s?(?:T|Z|mm|g|°|d)\b|\d{2}", re.IGNORECASE)
"""What no label holds: a number with its unit, or one of two digits."""


@lru_cache(maxsize=20_000)
def find_label_hits(
    label: str, kind: PartKind | None = None, languages: tuple[str, ...] = LANGUAGES
) -> tuple[LabelHit, ...]:
    """The limits that ``label`` can mean for a part of ``kind`` (any kind where ``None``), best first.

    A label in several languages (``Weight / Gewicht``) is read by its parts where the whole says nothing clear.
    """
    hits = _bound_label_hits(label, kind, languages) or _whole_label_hits(label, kind, languages)
    if (not hits or hits[0].score < _CLEAR) and _PARTED.search(label):
        return _parted_label_hits(label, kind, languages) or hits
    return hits


def _bound_label_hits(label: str, kind: PartKind | None, languages: tuple[str, ...]) -> tuple[LabelHit, ...]:
    """A label that names its limit and ends in a bound: ``Min. sprocket highest`` is a highest smallest one.

    Behind a size words for big and small are bounds of a range as well: ``Biggest cog smallest``.
    """
    bare, unit = split_unit(label)
    terms = analyse(bare, languages).terms
    last = terms[-1].names("concept") & (_BOUNDS | _SIZES) if len(terms) > 2 else frozenset[str]()
    if len(last) != 1 or not any(t.names("concept") & (_BOUNDS if last <= _BOUNDS else _SIZES) for t in terms[:-1]):
        return ()
    sized = last <= _SIZES
    bounded = any(t.names("concept") & _BOUNDS for t in terms)
    if sized and (bounded or _JOINED.search(bare) or "or" in terms[len(terms) - 2].names("language")):
        return ()
    bound = "high" if last & {"max", "big"} else "low"
    hits = _whole_label_hits(" ".join(t.text for t in terms[:-1]), kind, languages)
    if sized:
        hits = tuple(h for h in hits if LIMITS[h.limit].form is Form.RANGE and h.score >= _CLEAR)
    return tuple(replace(h, bound=bound, unit=unit or h.unit) for h in hits)


_JOINED = re.compile(r"[/,;&+–-]")
_BOUNDS, _SIZES = frozenset({"max", "min"}), frozenset({"big", "small"})
_PARTED = re.compile(r"\s[/|]\s")
_CLEAR = 0.9
_PARTED_COST = 0.97


def _parted_label_hits(label: str, kind: PartKind | None, languages: tuple[str, ...]) -> tuple[LabelHit, ...]:
    """The limits that every part of a label can mean; none where a part speaks of something else."""
    bare, unit = split_unit(label)
    found: list[dict[str, LabelHit]] = []
    for part in _PARTED.split(bare):
        hits = _whole_label_hits(part, kind, languages) or _whole_label_hits(part, kind, LANGUAGES)
        if hits:
            found.append({h.limit: h for h in reversed(hits)})
        elif analyse(part, LANGUAGES).names("concept") - GENERIC:
            return ()
    shared = set.intersection(*map(set, found)) if found else set[str]()
    merged: list[LabelHit] = []
    for limit in shared:
        named = [hits[limit] for hits in found]
        bounds = {h.bound for h in named if h.bound} | _lone_bounds(_PARTED.split(bare))
        best = max(named, key=lambda h: h.score)
        if best.score >= _CLEAR and len(bounds) <= 1:
            merged.append(replace(best, score=best.score * _PARTED_COST, bound=next(iter(bounds), None),
                                  unit=unit or best.unit))  # fmt: skip
    return tuple(sorted(merged, key=lambda h: (-h.score, -h.needs, h.only is not None)))


def _lone_bounds(parts: Iterable[str]) -> set[str]:
    """The bounds that parts of a label say by themselves: ``Low / max / …``."""
    names = [analyse(part, LANGUAGES).names("concept") for part in parts if len(part.split()) == 1]
    return {side for found in names for side, word in (("high", "max"), ("low", "min")) if word in found}


def _whole_label_hits(label: str, kind: PartKind | None, languages: tuple[str, ...]) -> tuple[LabelHit, ...]:
    bare, unit = split_unit(label)
    if unit is Unit.LINKS and "links" in analyse(label, languages).names("concept"):
        bare = label
    analysis = analyse(bare, languages)
    if not analysis.terms or len(analysis.words) > 12 or _STATES_VALUE.search(bare):
        return ()
    hits = []
    for pattern in limit_patterns():
        if kind is not None and (kind not in LIMITS[pattern.limit].kinds or pattern.only not in (None, kind)):
            continue
        hit = _best_hit(pattern, analysis, unit)
        if hit:
            hits.append(hit)
    hits.sort(key=lambda h: (-h.score, -h.needs, h.only is not None))
    return tuple(hits)


def _best_hit(pattern: Pattern, analysis: Analysis, unit: Unit | None) -> LabelHit | None:
    concepts = [term.names("concept") for term in analysis.terms]
    offered = frozenset().union(*concepts)
    best: tuple[float, int] | None = None
    for needs in pattern.needs:
        if not needs <= offered:
            continue
        score = _score(pattern, needs, analysis, concepts)
        if score >= _LEAST_SCORE and (best is None or (score, len(needs)) > best):
            best = (score, len(needs))
    if best is None:
        return None
    bounds = {"high": "max" in offered, "low": "min" in offered}
    named = [bound for bound, there in bounds.items() if there]
    return LabelHit(pattern.limit, best[0], named[0] if len(named) == 1 else None, unit, best[1], pattern.only)


def _score(pattern: Pattern, needs: frozenset[str], analysis: Analysis, concepts: list[frozenset[str]]) -> float:
    """1 where every word is used; less for unknown words, foreign concepts and inexact matches; 0 where forbidden."""
    usable = needs | pattern.takes | GENERIC
    known = unknown = 0.0
    quality, extras = 1.0, 0
    for term, names in zip(analysis.terms, concepts, strict=True):
        length = len(term.text)
        if names & MEASURES and not names & usable:
            return 0.0
        if names & {"distractor", "order"} or (names & pattern.never - needs and not (names - pattern.never) & usable):
            return 0.0
        if names & usable:
            known += length
            if names & needs:
                quality = min(quality, term.quality)
        elif names - _PART_WORDS:
            extras += 1
        elif _is_harmless(term):
            known += 0.3 * length
        else:
            unknown += length
    share = known / (known + unknown) if known else 0.0
    return max(0.0, share * quality - _EXTRA_COST * extras)


def _is_harmless(term: Term) -> bool:
    return bool(term.names("language") or term.names("part")) or (len(term.text) <= 2 and not term.text.isdigit())


@lru_cache(maxsize=20_000)
def find_role(header: str, languages: tuple[str, ...] = LANGUAGES) -> frozenset[Role]:
    """The roles that a header cell can name: where the model, the variant or the part kind stands."""
    if _PARTED.search(header):
        parts = [find_role(part, languages) or find_role(part) for part in _PARTED.split(header)]
        return frozenset.intersection(*parts)
    analysis = analyse(split_unit(header)[0], languages)
    if not analysis.terms or len(analysis.words) > 6:
        return frozenset()
    roles = set()
    for role in Role:
        own = {str(role)} | ({"order"} if role is Role.MODEL else set())
        used = [bool(t.names("concept") & (own | {"size", "beside", "length", "number"})) for t in analysis.terms]
        named = any(own & t.names("concept") for t in analysis.terms)
        if named and all(used):
            roles.add(role)
    return frozenset(roles)
