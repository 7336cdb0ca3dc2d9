"""Words around a number in a sentence → the one limit that they name, with its bound."""

from __future__ import annotations

from ...schema.limits import LIMITS, PartKind, Unit
from ..conditions import is_denied
from ..labels import LabelHit, analyse, fold
from ..labels.meanings import GENERIC, limit_patterns
from ..labels.words import load_lexicon
from ..values import parse_value, plausible


def find_meaning(
    before: str, after: str, phrase: str, kind: PartKind | None, languages: tuple[str, ...]
) -> LabelHit | None:
    """The one limit that the words around a number name; ``None`` where none or more than one does."""
    bound, before, after = _bound(before, after, languages)
    if bound == "unclear":
        return None
    best: list[tuple[tuple[int, int], LabelHit]] = []
    analysis = analyse(f"{before} {after}", languages)
    concepts = [term.names("concept") for term in analysis.terms if term.quality > 0.9]
    if any("distractor" in names for names in concepts):
        return None
    offered = frozenset().union(*concepts) if concepts else frozenset()
    offered |= analyse(phrase, languages).names("concept") & {"speed", "links"}
    offered |= {"high": {"max"}, "low": {"min"}}.get(bound or "", set())
    for pattern in limit_patterns():
        row = LIMITS[pattern.limit]
        if kind not in row.kinds or pattern.only not in (None, kind) or row.form.value == "text":
            continue
        for needs in pattern.needs:
            if not needs <= offered or (pattern.never - needs) & offered or is_weak(needs, pattern.limit):
                continue
            value = parse_value(phrase, pattern.limit, bound, languages)
            if value is None or not plausible(pattern.limit, value.low, value.high, value.values):
                continue
            if value.unit is None and row.unit not in (Unit.COUNT, Unit.LINKS):
                continue
            extras = sum(not names & (needs | pattern.takes | GENERIC) for names in concepts if names)
            said = bound or _named_bound(offered)
            best.append(((len(needs), -extras), LabelHit(pattern.limit, 0.95, said, value.unit, len(needs))))
    if not best:
        return None
    top = max(rank for rank, _ in best)
    winners = {hit.limit: hit for rank, hit in best if rank == top}
    return next(iter(winners.values())) if len(winners) == 1 else None


_STRONG_ALONE = frozenset({"capacity", "weight", "chainline", "speed", "links", "bolt_circle", "wrap", "pin"})


def is_weak(needs: frozenset[str], limit: str) -> bool:
    """Whether one concept alone is too little to name a limit in a sentence."""
    return len(needs) == 1 and not needs & _STRONG_ALONE and limit != "ring_count"


def _named_bound(offered: frozenset[str]) -> str | None:
    sides = [side for concept, side in (("max", "high"), ("min", "low")) if concept in offered]
    return sides[0] if len(sides) == 1 else None


def _bound(before: str, after: str, languages: tuple[str, ...]) -> tuple[str | None, str, str]:
    """The bound that the words right beside the number say, and the words without them.

    ``unclear`` where a comparison ("more than") stands without a denial before it, or a denial without a bound.
    """
    lexicon = load_lexicon(languages, "bound")
    left, right = fold(before).split(), fold(after).split()
    for length in range(min(lexicon.longest, 4), 0, -1):
        for meaning in lexicon.rows.get(tuple(left[-length:]), frozenset()) if len(left) >= length else ():
            side, _, where = meaning.name.partition("_")
            if where == "before":
                rest = " ".join(left[:-length])
                denied = is_denied(rest, languages) or is_denied(" ".join(left[-length:]), languages)
                named = {"over": "high", "under": "low"}.get(side, side)
                clear = denied if side in ("over", "under") else not is_denied(rest, languages)
                return (named if clear else "unclear"), rest, after
        for meaning in lexicon.rows.get(tuple(right[:length]), frozenset()) if len(right) >= length else ():
            if meaning.name.endswith("_after"):
                return meaning.name.split("_")[0], before, " ".join(right[length:])
    return ("unclear" if is_denied(before, languages) else None), before, after
