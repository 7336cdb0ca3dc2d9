"""The condition of a claim and what the build says → whether it holds, or that nobody can tell."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from ...schema.claims import Condition, ConditionValue
from ...schema.resolved import LimitValue, ResolvedLimit
from .registry import fold

_NEAR = 0.01
_NUMBER = r"\d+(?:\.\d+)?"
Says = Callable[[str], Sequence[ResolvedLimit]]


def condition_holds(condition: Condition | None, says: Says) -> bool | None:
    """Whether every key of the condition has its value on this bike; ``None`` where the build does not tell.

    ``says`` gives the values that the build has for a limit key; where it gives several that disagree, or none, the
    condition is not known. One key that is known not to hold settles the matter.
    """
    if not condition:
        return True
    found = [_key_holds(says(key), wanted) for key, wanted in condition.items()]
    if False in found:
        return False
    return None if None in found else True


def _key_holds(options: Sequence[ResolvedLimit], wanted: ConditionValue) -> bool | None:
    answers = {_matches(option.value, wanted) for option in options}
    return answers.pop() if len(answers) == 1 else None


def _matches(value: LimitValue, wanted: ConditionValue) -> bool | None:
    if value.text is not None:
        return fold(value.text) == fold(str(wanted))
    numbers = value.values or tuple({end for end in (value.low, value.high) if end is not None})
    test = _test(wanted)
    if test is None or not numbers:
        return None
    answers = {test(number) for number in numbers}
    return answers.pop() if len(answers) == 1 else None


def _test(wanted: ConditionValue) -> Callable[[float], bool] | None:
    """A condition's value as a test of a number: equal, one of, within, at most, at least; ``None`` for other words."""
    if not isinstance(wanted, str):
        return lambda number: abs(number - wanted) < _NEAR
    words = re.sub(r"\s*(t|mm|x)\s*$", "", wanted.strip().replace("\u2013", "-"), flags=re.IGNORECASE)
    if match := re.fullmatch(rf"(<=|>=|≤|≥)\s*({_NUMBER})", words):
        bound = float(match[2])
        if match[1] in ("<=", "≤"):
            return lambda number: number <= bound + _NEAR
        return lambda number: number >= bound - _NEAR
    if match := re.fullmatch(rf"({_NUMBER})\s*-\s*({_NUMBER})", words):
        low, high = float(match[1]), float(match[2])
        return lambda number: low - _NEAR <= number <= high + _NEAR
    if re.fullmatch(rf"{_NUMBER}(\s*[/,]\s*{_NUMBER})*", words):
        listed = [float(number) for number in re.findall(_NUMBER, words)]
        return lambda number: any(abs(number - one) < _NEAR for one in listed)
    return None
