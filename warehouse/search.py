"""Words of a search → rows of the limits table, or claims."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from ..schema.claims import State
from ..schema.errors import CallError
from ..schema.limits import LIMITS, PartKind
from ..schema.parts import part_label
from ..schema.reasons import Reason
from ..schema.resolved import Part
from .lookup import fits_words
from .register import ToldClaim, tell_claims
from .settled import find_settled
from .store import Store


@dataclass(frozen=True)
class ClaimFilter:
    """Which claims to list; ``None`` and blank leave nothing out."""

    kind: PartKind | str | None = None
    limit: str | None = None
    state: State | str | None = None
    document: str | None = None


def list_limits(
    store: Store, words: Sequence[str] = (), kind: PartKind | str | None = None, limit: str | None = None
) -> tuple[Part, ...]:
    """The parts that every word fits, with all their limits or the one asked for."""
    _must_be_known("kind", kind, [str(k) for k in PartKind])
    _must_be_known("limit", limit, list(LIMITS))
    with store.reading() as connection:
        parts = find_settled(connection, "part_kind = coalesce(?, part_kind)", [str(kind) if kind else None])
    found = [p for p in parts if (limit is None or limit in p.limits) and fits_words(words, _names_of(p))]
    return tuple(_only(part, limit) for part in found)


def _only(part: Part, limit: str | None) -> Part:
    return part if limit is None else replace(part, limits={limit: part.limits[limit]})


def _names_of(part: Part) -> list[str]:
    return [part.code, part.label(), part.maker or "", part.variant or "", str(part.kind), *part.limits]


def list_claims(store: Store, words: Sequence[str], chosen: ClaimFilter | None) -> list[ToldClaim]:
    """The claims that every word fits, in the order of the documents."""
    chosen = chosen or ClaimFilter()
    _must_be_known("kind", chosen.kind, [str(k) for k in PartKind])
    _must_be_known("limit", chosen.limit, list(LIMITS))
    _must_be_known("state", chosen.state, [str(s) for s in State])
    conditions, parameters = ["true"], []
    asked: dict[str, Any] = {
        "c.part_kind": chosen.kind, "c.limit_key": chosen.limit, "coalesce(j.verdict, c.state)": chosen.state,
        "d.name": chosen.document,
    }  # fmt: skip
    for column, value in asked.items():
        if value is not None:
            conditions.append(f"{column} = ?")
            parameters.append(str(value))
    with store.reading() as connection:
        told = tell_claims(connection, " and ".join(conditions), parameters)
    return [t for t in told if not words or fits_words(words, _named(t))]


def _named(told: ToldClaim) -> list[str]:
    claim = told.claim
    names = [claim.part_code, claim.maker, claim.variant, claim.part_kind, claim.limit, claim.document]
    return [name for name in (*names, part_label(claim.part_code, claim.variant)) if name]


def _must_be_known(what: str, value: str | None, known: Sequence[str]) -> None:
    if value is not None and str(value) not in known:
        raise CallError(
            Reason.BAD_CALL, f"there is no {what} {str(value)!r}", advice=f"choose one of {', '.join(known)}"
        )
