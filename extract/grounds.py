"""A page's readings → what speaks for and against each: its own words, its neighbours, how it fits the others."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from ..schema.limits import LIMITS
from ..schema.parts import code_key, variant_key
from .confidence import Evidence
from .labels import LabelHit
from .records import Entry
from .values import Value, plausible

_MARK = re.compile(r"[*†‡§¹²³⁴]|\(\d\)|(?<=\s)\d\)")
_ENOUGH_COMPANY = 4


class Read(Protocol):
    """A reading: an entry, what its label means, and what its value says."""

    @property
    def entry(self) -> Entry: ...  # noqa: D102
    @property
    def hit(self) -> LabelHit: ...  # noqa: D102
    @property
    def value(self) -> Value: ...  # noqa: D102


Part = tuple[str, str]


@dataclass(frozen=True)
class _Neighbours:
    """What the other readings of a page tell, counted once."""

    of_part: Counter[Part]
    of_code: Counter[str]
    disputed: Counter[str]
    of_label: Counter[tuple[str, str]]
    unread_labels: Counter[tuple[str, str]]
    of_reader: Counter[str]
    unread: Counter[str]
    places: Counter[tuple[object, ...]]
    own_places: Counter[tuple[object, ...]]
    label_scores: Mapping[str, float]
    stated: Mapping[Part, Mapping[str, Value]]


def gather_evidence(
    readings: Sequence[Read], disputed: Iterable[int], unread: Sequence[Entry], origin: str
) -> dict[int, Evidence]:
    """The evidence of each reading of a page by its ``id``.

    ``disputed`` are the ids of those that contradict another, ``unread`` the entries whose label was understood and
    whose value or part was not. Every share lies between 0 and 1.
    """
    near = _count(readings, frozenset(disputed), unread)
    return {id(r): _evidence(r, near, origin) for r in readings}


def _part_of(entry: Entry) -> Part:
    return code_key(entry.subject.code), variant_key(entry.subject.variant)


def _label_of(entry: Entry) -> tuple[str, str]:
    return entry.reader, " ".join(entry.label.split()).casefold()


def _place_of(r: Read) -> tuple[object, ...]:
    v = r.value
    return (*_part_of(r.entry), r.hit.limit, v.low, v.high, v.values, v.text, r.entry.condition)


def _count(readings: Sequence[Read], disputed: frozenset[int], unread: Sequence[Entry]) -> _Neighbours:
    stated: dict[Part, dict[str, Value]] = defaultdict(dict)
    scores: dict[str, float] = defaultdict(float)
    for r in readings:
        scores[r.entry.reader] += r.hit.score
        if id(r) not in disputed and not r.entry.condition:
            stated[_part_of(r.entry)].setdefault(r.hit.limit, r.value)
    return _Neighbours(
        of_part=Counter(_part_of(r.entry) for r in readings),
        of_code=Counter(_part_of(r.entry)[0] for r in readings),
        disputed=Counter(_part_of(r.entry)[0] for r in readings if id(r) in disputed),
        of_label=Counter(_label_of(r.entry) for r in readings),
        unread_labels=Counter(_label_of(e) for e in unread),
        of_reader=Counter(r.entry.reader for r in readings),
        unread=Counter(e.reader for e in unread),
        places=Counter(_place_of(r) for r in readings),
        own_places=Counter((r.entry.reader, *_place_of(r)) for r in readings),
        label_scores=scores,
        stated=stated,
    )


def _evidence(r: Read, near: _Neighbours, origin: str) -> Evidence:
    entry, value, hit = r.entry, r.value, r.hit
    part, label, reader = _part_of(entry), _label_of(entry), entry.reader
    code = (part[0], "")
    relations = _relations(hit.limit, {**near.stated.get(code, {}), **near.stated.get(part, {}), hit.limit: value})
    return Evidence(
        reader=reader, scanned=origin != "text", label=hit.score, layout=entry.certain, value=value.certain,
        words=entry.confidence, unit_read=value.unit is not None or hit.unit is not None,
        unit_due=LIMITS[hit.limit].unit not in (None, "count"),
        plausible=plausible(hit.limit, value.low, value.high, value.values),
        agrees=any(relations), disagrees=not all(relations),
        company=min(1.0, (near.of_part[part] - 1) / _ENOUGH_COMPANY),
        column=_share(near.of_label[label], near.unread_labels[label]),
        page=_share(near.of_reader[reader], near.unread[reader]),
        disputed=near.disputed[part[0]] / near.of_code[part[0]],
        marked=not entry.condition and bool(_MARK.search(entry.label) or _MARK.search(entry.value)),
        repeated=near.places[_place_of(r)] > near.own_places[reader, *_place_of(r)],
        doubled=near.own_places[reader, *_place_of(r)] > 1,
        labels=near.label_scores[reader] / near.of_reader[reader],
    )  # fmt: skip


def _share(good: int, bad: int) -> float:
    return good / (good + bad) if good + bad else 1.0


def _relations(limit: str, stated: Mapping[str, Value]) -> list[bool]:
    """Whether each relation that ``limit`` takes part in holds among what is stated of one part."""
    found: list[bool] = []
    for more, less in _ORDERED:
        if limit in (more, less) and more in stated and less in stated:
            big, small = _most(stated[more]), _least(stated[less])
            if big is not None and small is not None:
                found.append(big >= small)
    for each, count in _COUNTED:
        if limit in (each, count) and each in stated and count in stated:
            found.append(float(len(stated[each].values or ())) in (stated[count].values or ()))
    return found


_ORDERED = (("largest_cog", "smallest_cog"), ("big_ring", "small_ring"), ("total_capacity", "front_difference"))
_COUNTED = (("cogs", "rear_speeds"), ("rings", "ring_count"))


def _most(value: Value) -> float | None:
    return value.high if value.high is not None else value.low


def _least(value: Value) -> float | None:
    return value.low if value.low is not None else value.high
