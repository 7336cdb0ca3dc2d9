"""Tables of marks: which columns stand for a value each, and the words of the values that hold for one row."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ...schema.limits import LIMITS, Form
from ..labels import LabelHit, find_label_hits
from ..marks import is_mark, is_nothing
from ..values import parse_value, plausible

_UNLABELLED = ("rear_speeds", "ring_count")
"""Limits whose values are known as such without a label: ``9-speed``, ``2x``, and runs of plain numbers."""
_LEAST_SCORE = 0.7


@dataclass(frozen=True)
class Choice:
    """A column whose marks stand for one value of a limit. ``header`` are the words that name the limit."""

    header: str
    hit: LabelHit
    value: str


def find_choices(
    headers: Sequence[Sequence[str]], bodies: Sequence[Sequence[str]], languages: tuple[str, ...]
) -> Mapping[int, Choice]:
    """The columns that stand for one value each, by their header cells (top to bottom) and body cells.

    All of them together must read as values of one limit. The label may stand over any one of them, or with the
    models, as in ``Model / speeds``.
    """
    columns = [n for n, body in enumerate(bodies) if n and headers[n] and _holds_marks(body)]
    if len(columns) < 2 or not any(is_mark(text) for n in columns for text in bodies[n]):
        return {}
    parted = {n: _label_and_value(headers[n][-1]) for n in columns}
    values = {n: value for n, (_, value) in parted.items()}
    above = list(dict.fromkeys(text for n in columns for text in headers[n][:-1]))
    above.extend(label for label, _ in parted.values() if label)
    beside = [text for n, header in enumerate(headers) if n not in columns for text in header]
    for label in (" ".join(above), *above, *beside):
        hits = [h for h in find_label_hits(label, None, languages) if h.score >= _LEAST_SCORE] if label else []
        chosen = next((h for h in hits if _all_read(values.values(), h.limit, languages)), None)
        if chosen:
            return {n: Choice(label, chosen, value) for n, value in values.items()}
    if above:
        return {}
    own = (h for value in values.values() for h in find_label_hits(value, None, languages)[:1])
    for hit in (*own, *(LabelHit(limit, 0.9, None, None, 1) for limit in _UNLABELLED)):
        if hit.limit in _UNLABELLED and _all_read(values.values(), hit.limit, languages):
            return {n: Choice("", hit, value) for n, value in values.items()}
    return {}


def _label_and_value(text: str) -> tuple[str, str]:
    """``Rear speeds 11`` → ``Rear speeds`` and ``11``: a label that was taken for one cell with the value below it."""
    *words, last = text.split()
    if words and last[0].isdigit() and not any(c.isdigit() for word in words for c in word):
        return " ".join(words), last
    return "", text


def _holds_marks(body: Sequence[str]) -> bool:
    return bool(body) and all(is_mark(text) or is_nothing(text) for text in body)


def _all_read(values: Iterable[str], limit: str, languages: tuple[str, ...]) -> bool:
    """Whether every value reads as one of ``limit``, and all are different."""
    found = []
    for text in values:
        value = parse_value(text, limit, None, languages)
        if value is None or not plausible(limit, value.low, value.high, value.values):
            return False
        found.append((value.low, value.high, value.values, value.text))
    return len(set(found)) == len(found)


def joined_choices(choices: Sequence[str], all_choices: Sequence[str], hit: LabelHit) -> str | None:
    """The words of all values that hold in one row; ``None`` where they make no value of the limit.

    Alternatives stand beside each other. Sizes make a range where none between them is left out; a label that says
    maximum or minimum, and words, take one value only.
    """
    form = LIMITS[hit.limit].form
    if form is Form.VALUES:
        return " / ".join(choices)
    if len(choices) == 1:
        single = form is not Form.RANGE or hit.bound is not None
        return choices[0] if single else f"{choices[0]} – {choices[0]}"
    if form is not Form.RANGE or hit.bound is not None:
        return None
    places = [all_choices.index(c) for c in choices]
    return f"{choices[0]} – {choices[-1]}" if places == list(range(places[0], places[0] + len(places))) else None
