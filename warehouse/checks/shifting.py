"""Checks of shifters and derailleurs with one another: number of speeds, families, actuation, firmware."""

from __future__ import annotations

import re
from itertools import zip_longest

from ...schema.answers import Verdict
from ...schema.builds import Slot
from .registry import Facts, Outcome, check, judge_choice, judge_words

_BOTH = (Slot.REAR_DERAILLEUR, Slot.FRONT_DERAILLEUR)
_ALL = (*_BOTH, Slot.SHIFTER)


@check("rear_speeds", about=(*_ALL, Slot.CRANKSET), needs=("own.rear_speeds", "sprockets.count"))
def check_rear_speeds(facts: Facts) -> Outcome:
    """The number of cogs against the numbers the part is made for. Consequence: common practice."""
    return judge_choice(
        facts.numbers("sprockets.count")[0],
        facts.numbers("own.rear_speeds"),
        unit="count",
        consequence="steps and cog spacing differ, so the chain sits between cogs and can shift by itself under load",
    )


@check("shift_family", about=_BOTH, needs=("own.shift_family", "shifter.shift_family"))
def check_shift_family(facts: Facts) -> Outcome:
    """The maker's own name for parts that index together, derailleur against shifter, case and spacing apart.

    Cable pulled per click times the derailleur's ratio has to be the pitch of the cogs (derived); the family's name
    is the maker's word that it is.
    """
    return judge_words(
        facts.text("shifter.shift_family"),
        facts.text("own.shift_family"),
        consequence="one click is not one cog; adjustment cannot cure that, and it may shift under load",
    )


@check("actuation", about=_BOTH, needs=("own.actuation", "shifter.actuation"))
def check_actuation(facts: Facts) -> Outcome:
    """What moves the derailleur against what the shifter gives: cable, electronic or hydraulic. By definition."""
    return judge_words(
        facts.text("shifter.actuation"),
        facts.text("own.actuation"),
        consequence="the shifter cannot move this derailleur at all",
    )


@check("firmware", about=_ALL, needs=("own.firmware_min", "bike.firmware"), quiet=("own.firmware_min",))
def check_firmware(facts: Facts) -> Outcome:
    """The installed version against the least one the part needs, number by number: 4.10 is newer than 4.9."""
    installed, least = facts.text("bike.firmware"), facts.text("own.firmware_min")
    fits = is_at_least(installed, least)
    if fits is None:
        return Outcome(
            Verdict.CANNOT_TELL,
            installed,
            least,
            "text",
            working=f'"{installed}" against "{least}"',
            ask="compare the two firmware versions by hand: one of them is not written in numbers",
        )
    return Outcome(
        Verdict.FITS if fits else Verdict.DOES_NOT_FIT,
        installed,
        least,
        "text",
        working=f"{installed} {'>=' if fits else '<'} {least}",
        consequence=None
        if fits
        else "the part may not be recognised or may shift wrongly until updated; update on a full battery",
    )


def is_at_least(installed: str, least: str) -> bool | None:
    """Whether one version is the other or newer; ``None`` where either is not plain numbers with points."""
    have, want = _version(installed), _version(least)
    if have is None or want is None:
        return None
    pairs = list(zip_longest(have, want, fillvalue=0))
    return [pair[0] for pair in pairs] >= [pair[1] for pair in pairs]


def _version(words: str) -> tuple[int, ...] | None:
    match = re.fullmatch(r"\s*(?:v|ver|version|fw|firmware)?\.?\s*(\d+(?:\.\d+)*)\s*\+?\s*", words, re.IGNORECASE)
    return tuple(int(number) for number in match[1].split(".")) if match else None
