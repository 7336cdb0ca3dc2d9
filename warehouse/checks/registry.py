"""The register of checks: what each needs, and when it counts. A check is one pure function of settled values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from ...schema.answers import Allowed, Quantity, Verdict
from ...schema.builds import Slot
from ...schema.claims import plain
from ...schema.resolved import LimitValue


class Counts(StrEnum):
    """When a check counts for the verdict."""

    ALWAYS = "always"
    """Whenever the bike has the part; a limit that nobody states makes it ``cannot_tell``."""
    WHEN_STATED = "when stated"
    """As soon as both sides are known; one side alone goes to ``not_checked``."""


@dataclass(frozen=True)
class Outcome:
    """What a check function finds. Verdicts of words and counts have no margin."""

    verdict: Verdict
    needed: Quantity = None
    allowed: Allowed = None
    allowed_form: str | None = None
    margin: float | None = None
    unit: str | None = None
    working: str = ""
    consequence: str | None = None
    ask: str | None = None
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Facts:
    """The values a check asked for, by the names in its ``needs`` and ``maybe``; conditions are settled already."""

    values: Mapping[str, LimitValue | None]

    def has(self, need: str) -> bool:
        """Whether an optional value is known."""
        return self.values.get(need) is not None

    def value(self, need: str) -> LimitValue:
        """The value asked for under ``need``."""
        found = self.values[need]
        if found is None:
            raise KeyError(need)
        return found

    def number(self, need: str) -> float:
        """An exact number, or the one bound that is stated."""
        value = self.value(need)
        bound = value.high if value.high is not None else value.low
        if bound is None:
            raise KeyError(need)
        return bound

    def numbers(self, need: str) -> tuple[float, ...]:
        """A list of alternatives, or an ordered list."""
        return self.value(need).values or ()

    def text(self, need: str) -> str:
        """Words."""
        return self.value(need).text or ""

    def ends(self, need: str = "sprockets.cogs") -> tuple[float, float]:
        """Smallest and largest of a list, or of a range that tells its ends only."""
        value = self.value(need)
        if value.values:
            return min(value.values), max(value.values)
        return float(value.low or 0), float(value.high or 0)


CheckFunction = Callable[[Facts], Outcome | None]


@dataclass(frozen=True)
class Check:
    """One registered check.

    ``about`` are the slots whose part it is made for, once each. ``needs`` are the values without which it cannot be
    made, ``own.`` meaning the part it is about; ``maybe`` those it uses where known. ``quiet`` are needs whose absence
    is not worth a question, because documents rarely state them. ``needed_with_part`` are maybe-values that become
    needed when their part is on the bike (an extender whose gain nobody states).
    """

    name: str
    about: tuple[Slot, ...]
    counts: Counts
    needs: tuple[str, ...]
    function: CheckFunction
    maybe: tuple[str, ...] = ()
    quiet: frozenset[str] = field(default_factory=frozenset)
    needed_with_part: frozenset[str] = field(default_factory=frozenset)


CHECK_NAMES = (
    "largest_cog", "smallest_cog", "total_capacity", "front_difference", "big_ring", "small_ring", "ring_step",
    "ring_count", "rear_speeds", "shift_family", "actuation", "chainline", "mount", "freehub_fit", "bolt_circle",
    "chain_width", "chain_length", "firmware",
)  # fmt: skip
"""The names that answers use, in their order; a new check is named here first."""

CHECKS: list[Check] = []
"""Every check that is registered."""


def check(
    name: str,
    *,
    about: tuple[Slot, ...],
    needs: tuple[str, ...],
    counts: Counts = Counts.WHEN_STATED,
    maybe: tuple[str, ...] = (),
    quiet: tuple[str, ...] = (),
    needed_with_part: tuple[str, ...] = (),
) -> Callable[[CheckFunction], CheckFunction]:
    """Register a check function; it returns ``None`` where the check does not apply to the bike."""

    def register(function: CheckFunction) -> CheckFunction:
        CHECKS.append(Check(name, about, counts, needs, function, maybe, frozenset(quiet), frozenset(needed_with_part)))
        return function

    return register


def shown(number: float | None) -> str:
    """A number as working shows it: whole where it is, at most three decimals."""
    return "" if number is None else f"{plain(round(number, 3))}"


def judge_bounds(
    needed: float,
    low: float | None,
    high: float | None,
    *,
    unit: str,
    sum_shown: str = "",
    bound_shown: str = "",
    above: str = "",
    below: str = "",
) -> Outcome:
    """Whether ``needed`` lies within inclusive bounds, with the working and the margin.

    The margin is the smaller of high - needed and needed - low. ``sum_shown`` is how ``needed`` came about,
    ``bound_shown`` how the upper bound did; ``above`` and ``below`` say what happens where it is missed.
    """
    rooms = [room for room in (_room(high, needed), _room(needed, low)) if room is not None]
    margin = min(rooms) if rooms else None
    left = f"{sum_shown} = " if sum_shown else ""
    top = f"{bound_shown} = {shown(high)}" if bound_shown else shown(high)
    too_big = high is not None and needed > high
    too_small = low is not None and needed < low
    if too_big:
        working = f"{left}{shown(needed)} {unit} > {top} {unit}"
    elif too_small:
        working = f"{left}{shown(needed)} {unit} < {shown(low)} {unit}"
    else:
        lower = f"{shown(low)} <= " if low is not None else ""
        upper = f" <= {top} {unit}" if high is not None else ""
        working = f"{lower}{left}{shown(needed)} {unit}{upper}"
    misfit = too_big or too_small
    return Outcome(
        Verdict.DOES_NOT_FIT if misfit else Verdict.FITS,
        needed,
        (low, high),
        "range",
        margin,
        unit,
        working,
        (above if too_big else below) if misfit else None,
    )


def _room(more: float | None, less: float | None) -> float | None:
    return None if more is None or less is None else more - less


def judge_choice(needed: float, stated: tuple[float, ...], *, unit: str, consequence: str) -> Outcome:
    """Whether ``needed`` is one of the alternatives that a source states."""
    fits = any(abs(needed - value) < 1e-6 for value in stated)
    offered = "/".join(shown(value) for value in stated)
    among = " among" if len(stated) > 1 else ""
    sign = f"{'is' if fits else 'is not'}{among}" if among or not fits else "="
    return Outcome(
        Verdict.FITS if fits else Verdict.DOES_NOT_FIT,
        needed,
        tuple(stated),
        "one_of",
        None,
        unit,
        f"{shown(needed)} {sign} {offered}",
        None if fits else consequence,
    )


def judge_words(needed: str, stated: str, *, consequence: str) -> Outcome:
    """Whether two wordings are the same, case and spacing apart."""
    fits = fold(needed) == fold(stated)
    sign = "=" if fits else "is not"
    return Outcome(
        Verdict.FITS if fits else Verdict.DOES_NOT_FIT,
        needed,
        stated,
        "text",
        working=f'"{stated}" {sign} "{needed}"',
        consequence=None if fits else consequence,
    )


def fold(words: str) -> str:
    """Words as compared: without case and spacing."""
    return "".join(words.split()).casefold()


def value_words(value: LimitValue) -> str:
    """A value as sentences show it."""
    if value.text is not None:
        return f'"{value.text}"'
    unit = f" {value.unit}" if value.unit and value.unit != "count" else ""
    if value.values is not None:
        return "/".join(str(plain(number)) for number in value.values) + unit
    if value.low is not None and value.high is not None and value.low != value.high:
        return f"{plain(value.low)} to {plain(value.high)}{unit}"
    if value.low == value.high:
        return f"{plain(value.low)}{unit}"
    return f"at least {plain(value.low)}{unit}" if value.high is None else f"at most {plain(value.high)}{unit}"
