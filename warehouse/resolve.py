"""Claims → resolved limits: for each part, variant, limit and condition the value to go by.

How the value is chosen, in this order:

1. A rejected or held-back reading is never used.
2. A person's word (confirmed or corrected) comes first.
3. Then the value on which most independent documents agree. The same document counts once, however often it says so.
4. Then the greater confidence. Documents that agree combine to 1 - (1 - a)(1 - b)..., at most ``MOST_CONFIDENCE``;
   readings of one document do not combine, the surest one counts.
5. Then the newest document of the part's own maker, by the date that the document bears, else by when it was read.

Documents that say word for word the same count as one. What people elsewhere said of a document that this store read
itself does not come before the reading: it makes it doubtful, and stands beside it as a conflict.

Whatever else is stated stays beside the value, in ``conflicts``. A range whose bounds are stated apart is one range:
each bound is chosen by the rule above.

A variant that only held-back readings name exists beside variants that are known, without their numbers: leaving it out
could turn a doubt into a fit.

A claim without a variant holds for every variant of its code, except for limits that the variant states itself, be it
only in a reading that is held back. Where every variant states the limit, and a claim without a variant says
something that none of them says, the part without a variant stays a part of its own: there may be a version that no
document names. A document that speaks so, and names no variant itself, speaks of that version in all it says.

The same code of two makers is two parts. Claims that name no maker go with the maker that their document names, else
with the only one there is; where there are several, they are a part of their own.

A code that ends in its variant ("KX71-M") is that variant only where base code and variant also stand apart ("KX71",
"M"); otherwise it is a code of its own.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import prod
from typing import TypeVar

from ..schema.claims import Claim, State
from ..schema.limits import LIMITS, Form, PartKind
from ..schema.parts import SHORTEST_BASE, code_key, maker_key, squash, variant_key
from ..schema.resolved import LimitValue, Part, ResolvedLimit, SourceRef
from .makers import split_by_maker

RULE = 2
"""Version of the rule above: raise it with every change that can choose another value, so that stores follow."""
MOST_CONFIDENCE = 0.995
"""No value is surer than this: documents err, and so do people who copy from them."""
DOUBTED = 0.5
"""Most confidence in a reading of this store that somebody else rejected or corrected, and in that correction."""

_PERSONS = (State.CONFIRMED, State.CORRECTED)
_USED = (State.READ, *_PERSONS)
_EVERY_WORD_HOLDS = ("replaces",)

_UNDATED = (datetime.min, datetime.min)

Key = TypeVar("Key")
Bounds = tuple[float | None, float | None]


@dataclass(frozen=True)
class KeptClaim:
    """A claim as the store keeps it: its id, a person's word on it, its document, and when that was read and dated."""

    claim_id: str
    sha256: str
    claim: Claim
    state: State
    read_at: datetime
    dated: datetime | None = None
    mark: str = ""
    """Equal for documents that say word for word the same: they are one witness."""

    @property
    def witness(self) -> str:
        """What counts as one independent document."""
        return self.mark or self.sha256

    @property
    def by_person(self) -> bool:
        """Whether a person vouches for it."""
        return self.state in _PERSONS

    def source(self) -> SourceRef:
        """Where it comes from, as answers show it."""
        return SourceRef(self.claim_id, self.claim.document, self.claim.page, self.claim.snippet, self.state)


Identity = tuple[str, str, str]


def resolve_parts(kept: Iterable[KeptClaim]) -> list[Part]:
    """Every part that ``kept`` speaks of, each variant with its limits; ordered by kind, code and variant.

    ``kept`` has to hold all claims of a part, and of the codes that its code begins with or is the beginning of.
    """
    families: dict[tuple[str, str], dict[str, list[KeptClaim]]] = defaultdict(lambda: defaultdict(list))
    told = [k for k in kept if k.state is not State.REJECTED and k.claim.limit in LIMITS]
    for claim, (kind, code, variant) in _identify(told):
        families[kind, code][variant].append(claim)
    parts = [
        part
        for (kind, code), family in families.items()
        for claims in split_by_maker(family)
        for part in _resolve_family(kind, code, claims)
    ]
    return sorted(parts, key=_order)


def _order(part: Part) -> tuple[str, str, str, str]:
    return part.kind, code_key(part.code), maker_key(part.maker), variant_key(part.variant)


def _identify(told: Sequence[KeptClaim]) -> Iterable[tuple[KeptClaim, Identity]]:
    """Each claim with the kind, base code and variant that it speaks of."""
    apart = {
        (k.claim.part_kind, code_key(k.claim.part_code), variant_key(k.claim.variant))
        for k in told
        if k.state in _USED and k.claim.variant
    }
    for kept in told:
        kind, code, variant = kept.claim.part_kind, code_key(kept.claim.part_code), variant_key(kept.claim.variant)
        yield kept, _home(kind, code, variant, apart)


def _home(kind: str, code: str, variant: str, apart: set[Identity]) -> Identity:
    for cut in range(len(code) - 1, SHORTEST_BASE - 1, -1):
        ending = variant_key(code[cut:])
        if code[cut:].isalpha() and variant in ("", ending) and (kind, code[:cut], ending) in apart:
            return kind, code[:cut], ending
    return kind, code, variant


def _resolve_family(kind: str, code: str, family: dict[str, list[KeptClaim]]) -> Iterable[Part]:
    """The parts of one code: its variants, or the code alone where no variant is known."""
    known = {v for v, claims in family.items() if v and any(k.state in _USED for k in claims)}
    named = sorted(v for v in family if v) if known else []
    general = [k for k in family.get("", []) if k.state in _USED]
    everyone = [k for claims in family.values() for k in claims]
    odd = {k.sha256 for k in general if _says_something_else(k.claim, [family[v] for v in sorted(known)])}
    naming = {k.sha256 for v in known for k in family[v]}
    shared = [k for k in general if k.sha256 in naming or k.sha256 not in odd]
    for variant in named:
        own = family[variant]
        stated = {k.claim.limit for k in own}
        claims = [k for k in own if k.state in _USED] + [k for k in shared if k.claim.limit not in stated]
        yield _make_part(kind, code, everyone, own, claims)
    if general and (odd or not named):
        yield _make_part(kind, code, everyone, [], general)


def _says_something_else(claim: Claim, named: Sequence[Sequence[KeptClaim]]) -> bool:
    """Whether every variant states the limit of ``claim``, a claim without a variant, and none has its value."""
    said = [[k.claim for k in own if k.state in _USED and k.claim.limit == claim.limit] for own in named]
    return bool(said) and all(said) and not any(_says_the_same(claim, other) for own in said for other in own)


def _says_the_same(claim: Claim, other: Claim) -> bool:
    """Whether two claims can both be right of one part: equal values, or bounds of which one leaves out the other's."""
    if LIMITS[claim.limit].form is not Form.RANGE:
        return _whole_key(claim) == _whole_key(other)
    return claim.low in (None, other.low) and claim.high in (None, other.high)


def _make_part(
    kind: str, code: str, family: Sequence[KeptClaim], own: Sequence[KeptClaim], claims: Sequence[KeptClaim]
) -> Part:
    printed = [k.claim.part_code for k in family if code_key(k.claim.part_code) == code]
    variants = [k.claim.variant for k in own if k.claim.variant]
    makers = [k.claim.maker for k in family if k.claim.maker and k.state in _USED]
    by_limit: dict[str, list[KeptClaim]] = defaultdict(list)
    for kept in claims:
        by_limit[kept.claim.limit].append(kept)
    return Part(
        kind=PartKind(kind),
        code=_most_common(printed) or code,
        variant=_most_common(variants),
        maker=_most_common(makers),
        limits={key: resolve_limit(by_limit[key]) for key in LIMITS if key in by_limit},
    )


def _most_common(words: Sequence[str]) -> str | None:
    """The word written most often; of several the first in the alphabet, so that the order of reading is no matter."""
    counted = Counter(words)
    return min(counted, key=lambda word: (-counted[word], word)) if counted else None


def resolve_limit(claims: Sequence[KeptClaim]) -> tuple[ResolvedLimit, ...]:
    """The values to go by for one limit of one part, one for each condition under which it is stated."""
    groups = _group(claims, lambda k: k.claim.condition_key())
    if claims[0].claim.limit in _EVERY_WORD_HOLDS:
        groups = _group(claims, lambda k: k.claim.condition_key() + _whole_key(k.claim))
    return tuple(_resolve_value(groups[key]) for key in sorted(groups))


def _resolve_value(claims: Sequence[KeptClaim]) -> ResolvedLimit:
    form = LIMITS[claims[0].claim.limit].form
    halves = all((k.claim.low is None) != (k.claim.high is None) for k in claims)
    if form is Form.RANGE or (form is Form.EXACT_OR_RANGE and halves):
        joined = _resolve_bounds(claims)
        if joined:
            return joined
    ranked = rank(_group(claims, lambda k: _whole_key(k.claim)))
    best = ranked[0]
    return _make_limit(_value_of(best[0].claim), confidence_of(best), best, [c for group in ranked[1:] for c in group])


def _resolve_bounds(claims: Sequence[KeptClaim]) -> ResolvedLimit | None:
    """One range out of bounds that may be stated apart; ``None`` where the two bounds chosen exclude each other."""
    lows = rank(_group([k for k in claims if k.claim.low is not None], lambda k: k.claim.low))
    highs = rank(_group([k for k in claims if k.claim.high is not None], lambda k: k.claim.high))
    low = lows[0][0].claim.low if lows else None
    high = highs[0][0].claim.high if highs else None
    if low is not None and high is not None and low > high:
        return None
    chosen = [groups[0] for groups in (highs, lows) if groups]
    agreeing = [k for k in claims if _agrees(k.claim, (low, high))]
    others = [k for k in claims if not _agrees(k.claim, (low, high))]
    first = chosen[0][0].claim
    value = LimitValue(first.limit, low=low, high=high, unit=first.unit, condition=first.condition)
    behind = agreeing or [k for group in chosen for k in group]
    return _make_limit(value, min(confidence_of(group) for group in chosen), behind, others)


def _agrees(claim: Claim, bounds: Bounds) -> bool:
    low, high = bounds
    return claim.low in (None, low) and claim.high in (None, high)


def _make_limit(
    value: LimitValue, confidence: float, behind: Sequence[KeptClaim], others: Sequence[KeptClaim]
) -> ResolvedLimit:
    spoken = [k for k in behind if k.by_person]
    open_others = [k for k in others if k.by_person or not any(_same_place(k, person) for person in spoken)]
    conflicts = tuple(
        ResolvedLimit(_value_of(group[0].claim), confidence_of(group), _sources(group))
        for group in rank(_group(open_others, lambda k: _whole_key(k.claim)))
    )
    return ResolvedLimit(value, confidence, _sources(behind), conflicts)


def _same_place(one: KeptClaim, other: KeptClaim) -> bool:
    """Whether two readings are of the very same words: a person's word on one of them settles the other."""
    a, b = one.claim.bbox, other.claim.bbox
    if one.sha256 != other.sha256 or one.claim.page != other.claim.page or a is None or b is None:
        return False
    return a.x0 < b.x1 and b.x0 < a.x1 and a.top < b.bottom and b.top < a.bottom


def rank(groups: dict[Key, list[KeptClaim]]) -> list[list[KeptClaim]]:
    """Groups of claims that state the same value, the one to go by first; in each the surest claim first."""

    def weight(claims: list[KeptClaim]) -> tuple[bool, int, float, tuple[datetime, datetime]]:
        documents = len({k.witness for k in claims})
        newest = max((k.dated or datetime.min, k.read_at) if k.claim.maker else _UNDATED for k in claims)
        return any(k.by_person for k in claims), documents, confidence_of(claims), newest

    inside = [sorted(claims, key=_surest_first) for claims in groups.values()]
    return sorted(sorted(inside, key=lambda claims: _whole_key(claims[0].claim)), key=weight, reverse=True)


def confidence_of(claims: Iterable[KeptClaim]) -> float:
    """How sure a value is that all of ``claims`` state; independent documents add up, one document does not."""
    best: dict[str, float] = defaultdict(float)
    for kept in claims:
        if kept.by_person:
            return MOST_CONFIDENCE
        best[kept.witness] = max(best[kept.witness], kept.claim.confidence)
    return min(MOST_CONFIDENCE, round(1 - prod(1 - c for c in best.values()), 6))


def _surest_first(kept: KeptClaim) -> tuple[bool, float, float, str]:
    return (not kept.by_person, -kept.claim.confidence, -kept.read_at.timestamp(), kept.claim_id)


def _sources(claims: Iterable[KeptClaim]) -> tuple[SourceRef, ...]:
    return tuple(k.source() for k in sorted(claims, key=_surest_first))


def _group(claims: Iterable[KeptClaim], key: Callable[[KeptClaim], Key]) -> dict[Key, list[KeptClaim]]:
    groups: dict[Key, list[KeptClaim]] = defaultdict(list)
    for kept in claims:
        groups[key(kept)].append(kept)
    return groups


def _whole_key(claim: Claim) -> str:
    """A value as compared: alternatives in any order, words without regard to case and spacing."""
    if claim.text is not None:
        return squash(claim.text)
    if claim.values is not None:
        ordered = LIMITS[claim.limit].form is Form.ORDERED
        return str([round(float(v), 3) for v in (claim.values if ordered else sorted(set(claim.values)))])
    return str([None if v is None else round(float(v), 3) for v in (claim.low, claim.high)])


def _value_of(claim: Claim) -> LimitValue:
    return LimitValue(claim.limit, claim.low, claim.high, claim.values, claim.text, claim.unit, claim.condition)
