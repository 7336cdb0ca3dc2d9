"""Entries → claims, and held-back records for what could not be understood or is too unsure."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ..schema.claims import Box, Claim
from ..schema.limits import LIMITS, Form
from ..schema.parts import code_key, variant_key
from ..schema.reasons import Reason
from ..schema.validation import HeldBack, Objection
from .confidence import Evidence, estimate
from .context import DocumentMemory
from .grounds import gather_evidence
from .labels import LANGUAGES, LabelHit
from .lines import union
from .records import Entry, PageContent
from .values import RINGS_BY_COGS_LABELS, Value, is_rings_by_cogs, parse_value, plausible

_LEAST_CONFIDENCE = 0.5
_RINGS_BY_COGS = re.compile(r"(?:\d\s?[x×]\s?\d{0,2}[\s/,]*)+$", re.IGNORECASE)
"""Chainrings by cogs (``1x/2x``, ``2x11``), which no model is called."""
_DOUBTED_CODE = 0.8
_UNCLEAR_END = re.compile(r"[-. /][1lI|0OoS5B8Z2G6]$")
_ROOM_ABOVE_LAYOUT = 0.2
"""By how much a claim may be surer than the layout it was read from: a note that nobody understood leaves doubt."""
_LEAST_CERTAIN = 0.5
"""Below it the layout was not understood: held back, however well label and value read."""
_STRONG_LABEL = 0.9
_NEAR = 0.1
_TORN = 2
"""From how many limits with different values on the page are all numbers of a part unsure."""


@dataclass(frozen=True)
class Assembled:
    """Claims and held-back records of one page."""

    claims: tuple[Claim, ...]
    held_back: tuple[HeldBack, ...]


@dataclass(frozen=True)
class _Reading:
    entry: Entry
    hit: LabelHit
    value: Value


def assemble(
    entries: Sequence[Entry], page: PageContent, document: str, maker: str | None, memory: DocumentMemory,
    languages: tuple[str, ...] = LANGUAGES,
) -> Assembled:  # fmt: skip
    """The claims of a page's entries; kinds of codes that were met are noted in ``memory``."""
    readings: list[_Reading] = []
    held: list[HeldBack] = []
    unread: list[Entry] = []
    for entry in (single for whole in entries for single in _apart(whole)):
        found = _understand(entry, languages)
        if isinstance(found, _Reading):
            readings.append(found)
        elif found is not None:
            unread.append(entry)
            held.append(_held(entry, page, document, maker, found))
    claims: list[Claim] = []
    joined = _joined(readings)
    disputed = _contradicting(joined)
    evidence = gather_evidence(joined, disputed, unread, page.origin)
    for reading in joined:
        claim = _claim(reading, page, document, maker, evidence[id(reading)])
        most = min(reading.entry.certain + _ROOM_ABOVE_LAYOUT, _DOUBTED_CODE if _may_be_misread(claim, page) else 1.0)
        claim = replace(claim, confidence=min(claim.confidence, most))
        if id(reading) in disputed:
            held.append(HeldBack(claim.as_json(), (Objection(Reason.CONTRADICTS, "value", disputed[id(reading)]),)))
            continue
        if reading.entry.subject.code and reading.entry.subject.kind:
            memory.kinds.setdefault(code_key(reading.entry.subject.code), reading.entry.subject.kind)
        if claim.confidence < _LEAST_CONFIDENCE or reading.entry.certain < _LEAST_CERTAIN:
            held.append(HeldBack(claim.as_json(), (Objection(Reason.UNSURE_LABEL, "confidence",
                                                             f"{claim.confidence:.2f}"),)))  # fmt: skip
        else:
            claims.append(claim)
    return Assembled(tuple(claims), tuple(held))


def _may_be_misread(claim: Claim, page: PageContent) -> bool:
    """Whether the code came from a picture and ends in one sign that can be a letter as well as a digit."""
    return page.origin != "text" and bool(_UNCLEAR_END.search(claim.part_code))


def _apart(entry: Entry) -> list[Entry]:
    """An entry whose value states two limits at once (``2x11``) as two entries."""
    if not is_rings_by_cogs(entry.value) or not any(h.limit in RINGS_BY_COGS_LABELS for h in entry.hits):
        return [entry]
    kind, hit = entry.subject.kind, entry.hits[0]
    both = [replace(hit, limit=limit, bound=None) for limit in ("ring_count", "rear_speeds")]
    return [replace(entry, hits=(h,)) for h in both if kind is None or kind in LIMITS[h.limit].kinds]


def _understand(entry: Entry, languages: tuple[str, ...]) -> _Reading | Objection | None:
    """The one reading of an entry; an objection where label and subject are clear but something else is not."""
    options = list(_options(entry, languages))
    sensible = [o for o in options if plausible(o.hit.limit, o.value.low, o.value.high, o.value.values)]
    chosen = sensible or options
    if not chosen:
        strong = entry.hits and entry.hits[0].score >= _STRONG_LABEL and entry.subject.code and entry.subject.kind
        return Objection(Reason.UNREAD_VALUE, entry.hits[0].limit, entry.value[:80]) if strong else None
    best = chosen[0]
    if entry.subject.code is None or entry.subject.kind is None or _RINGS_BY_COGS.match(entry.subject.code):
        return Objection(Reason.UNSURE_PART, "part_code" if entry.subject.code is None else "part_kind",
                         entry.subject.code or "")  # fmt: skip
    rivals = [o for o in chosen[1:] if o.hit.score >= best.hit.score - 1e-9 and o.hit.needs == best.hit.needs]
    if rivals and {o.hit.limit for o in rivals} - {best.hit.limit}:
        return Objection(Reason.UNSURE_LABEL, "limit", ", ".join(sorted({o.hit.limit for o in [best, *rivals]})))
    return best


def _options(entry: Entry, languages: tuple[str, ...]) -> Iterable[_Reading]:
    kind = entry.subject.kind
    hits = [h for h in entry.hits if h.suits(kind)]
    best = max((h.score for h in hits), default=0.0)
    for hit in hits:
        if hit.score < best - _NEAR:
            continue
        value = parse_value(entry.value, hit.limit, hit.bound, languages)
        unit = LIMITS[hit.limit].unit
        if value is not None and not (value.unit and value.unit != unit) and not (hit.unit and _foreign(hit, unit)):
            yield _Reading(entry, hit, value)


def _foreign(hit: LabelHit, unit: object) -> bool:
    """Whether the label names a unit that this limit does not have (pieces may stand for links and counts)."""
    return hit.unit != unit and not (str(hit.unit) in ("links", "T") and str(unit) in ("count", "links", "None"))


def _joined(readings: Sequence[_Reading]) -> list[_Reading]:
    """A lone minimum and a lone maximum of one part, limit and condition → one range with a box around both."""
    groups: dict[tuple[Any, ...], list[_Reading]] = {}
    for r in readings:
        s = r.entry.subject
        groups.setdefault((s.kind, s.code, s.variant, r.hit.limit, r.entry.condition, r.entry.reader), []).append(r)
    joined: list[_Reading] = []
    for group in groups.values():
        lows = [r for r in group if r.value.low is not None and r.value.high is None]
        highs = [r for r in group if r.value.high is not None and r.value.low is None]
        ranged = LIMITS[group[0].hit.limit].form in (Form.RANGE, Form.EXACT_OR_RANGE)
        if ranged and len(lows) == len(highs) == 1 and (lows[0].value.low or 0) <= (highs[0].value.high or 0):
            joined.append(_pair(lows[0], highs[0]))
            group = [r for r in group if r is not lows[0] and r is not highs[0]]
        joined.extend(group)
    return joined


def _contradicting(readings: Sequence[_Reading]) -> dict[int, str]:
    """Readings of one page that give one limit of one part different values, with the other value: none is to be used.

    What told them apart on the page (a cage length above a list, say) was not understood then. Where several limits of
    a part are torn like that, none of its numbers is sure to be its own.
    """
    groups: dict[tuple[Any, ...], list[_Reading]] = {}
    for r in readings:
        s = r.entry.subject
        place = (s.kind, code_key(s.code), variant_key(s.variant), r.hit.limit, r.entry.condition)
        groups.setdefault(place, []).append(r)
    disputed: dict[int, str] = {}
    torn: Counter[tuple[Any, ...]] = Counter()
    for place, group in groups.items():
        values = [(r.value.low, r.value.high, r.value.values, r.value.text) for r in group]
        if len(set(values)) > 1 and group[0].hit.limit != "replaces":
            torn[place[:3]] += 1
            for r in group:
                own = (r.value.low, r.value.high, r.value.values, r.value.text)
                other = next(o for o, v in zip(group, values, strict=True) if v != own)
                disputed[id(r)] = other.entry.value[:60]
    for place, group in groups.items():
        if torn[place[:3]] >= _TORN and LIMITS[place[3]].form is not Form.TEXT:
            for r in group:
                disputed.setdefault(id(r), f"{torn[place[:3]]} other limits of this part")
    return disputed


def _pair(low: _Reading, high: _Reading) -> _Reading:
    entry = replace(
        high.entry,
        label=f"{high.entry.label} / {low.entry.label}",
        value=f"{high.entry.value} / {low.entry.value}",
        box=union([low.entry.box, high.entry.box]),
        certain=min(low.entry.certain, high.entry.certain),
        confidence=min(low.entry.confidence, high.entry.confidence),
    )
    value = replace(high.value, low=low.value.low, certain=min(low.value.certain, high.value.certain))
    return _Reading(entry, min(low.hit, high.hit, key=lambda h: h.score), value)


def _claim(reading: _Reading, page: PageContent, document: str, maker: str | None, evidence: Evidence) -> Claim:
    entry, value, hit = reading.entry, reading.value, reading.hit
    row, sure = LIMITS[hit.limit], estimate(evidence)
    assert entry.subject.code is not None and entry.subject.kind is not None
    return Claim(
        document=document, page=page.number, bbox=page.shown(entry.box), maker=maker, part_code=entry.subject.code,
        variant=entry.subject.variant, part_kind=str(entry.subject.kind), limit=hit.limit, low=value.low,
        high=value.high, values=value.values, text=value.text, unit=str(row.unit) if row.unit else None,
        condition=dict(entry.condition) or None, snippet=_snippet(entry), method=f"{page.origin}/{entry.reader}",
        confidence=sure,
    )  # fmt: skip


def _snippet(entry: Entry) -> str:
    return f"{' '.join(entry.label.split())}: {' '.join(entry.value.split())}"[:240]


def _held(entry: Entry, page: PageContent, document: str, maker: str | None, why: Objection) -> HeldBack:
    box: Box = page.shown(entry.box)
    record = {
        "document": document, "page": page.number, "bbox": box.as_list(), "maker": maker,
        "part_code": entry.subject.code or "", "variant": entry.subject.variant,
        "part_kind": str(entry.subject.kind) if entry.subject.kind else "",
        "limit": entry.hits[0].limit if entry.hits else "", "low": None, "high": None, "values": None, "text": None,
        "unit": None, "condition": dict(entry.condition) or None, "snippet": _snippet(entry),
        "method": f"{page.origin}/{entry.reader}", "confidence": 0.0,
    }  # fmt: skip
    return HeldBack(record, (why,))
