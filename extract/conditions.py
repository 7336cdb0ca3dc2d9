"""Words of a note, header or bracket → the condition under which a number holds, in the vocabulary's keys."""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import pairwise

from .labels import LANGUAGES, analyse, fold
from .units import SPEED_WORDS, UNIT_WORDS

_TIMES = re.compile(r"(?<![\w.])(?P<rings>[123])\s*[x×](?:\s*(?P<cogs>\d{1,2})(?!\d)|(?![a-z0-9]))", re.IGNORECASE)
_COUNT = re.compile(
    r"(?<![\d.,×x])(?P<numbers>\d{1,2}(?:\s?[-–]?\s?(?:/|,|or|and|und|oder|ou|et|o|y|e|of|en)\s?\d{1,2})*)\s*[-–]?\s*"
    r"(?P<word>[^\W\d_]{1,20})",
    re.IGNORECASE,
)
Condition = dict[str, float | str]


@lru_cache(maxsize=5_000)
def _find(text: str, languages: tuple[str, ...]) -> tuple[tuple[str, float | str], ...]:
    rings, speeds = _rings_by_cogs(text)
    for numbers, word in _counted(text):
        names = analyse(word, languages).names("concept")
        if "speed" in names or fold(word) in ("s", "fach", "v"):
            (rings if max(numbers) <= 3 and "ring" in names else speeds).update(numbers)
        elif "ring" in names and max(numbers) <= 3:
            rings.update(numbers)
    words = fold(text).split()
    for n, word in enumerate(words):
        names = analyse(word, languages).names("answer")
        counts = {name.removeprefix("ring_count.") for name in names if name.startswith("ring_count.")}
        before_ring = n + 1 < len(words) and "ring" in analyse(words[n + 1], languages).names("concept")
        if len(counts) == 1 and (len(word) > 3 or before_ring):
            rings.add(float(counts.pop()))
    if len(rings) > 1 or len(speeds) > 1 or is_denied(text, languages):
        return ()
    found: list[tuple[str, float | str]] = [("ring_count", n) for n in rings]
    return (*found, *(("rear_speeds", n) for n in speeds))


def is_denied(text: str, languages: tuple[str, ...] = LANGUAGES) -> bool:
    """Whether a denial stands in ``text``, so that its condition is one that must not hold."""
    return any("not" in term.names("language") and len(term.text) > 1 for term in analyse(text, languages).terms)


def _rings_by_cogs(text: str) -> tuple[set[float], set[float]]:
    """Rings and cogs of ``2x``, ``2 x 11``."""
    rings: set[float] = set()
    speeds: set[float] = set()
    for found in _TIMES.finditer(text):
        rings.add(float(found["rings"]))
        if found["cogs"]:
            speeds.add(float(found["cogs"]))
    return rings, speeds


def _counted(text: str) -> list[tuple[list[float], str]]:
    """Numbers and the word that they count: ``10- or 11-speed`` → 10 and 11, speed."""
    return [
        ([float(n) for n in re.findall(r"\d+", found["numbers"])], found["word"]) for found in _COUNT.finditer(text)
    ]


def find_condition(text: str, languages: tuple[str, ...] = LANGUAGES) -> Condition | None:
    """The condition that ``text`` names (``"only with double"`` → ``{"ring_count": 2}``), ``None`` where none is clear.

    Two different counts of the same thing are not one condition and give ``None``; so does a denied one.
    """
    return dict(_find(text, languages)) or None


_BRACKET = re.compile(r"[(\[]([^()\[\]]*[^\W\d_]{3,}[^()\[\]]*)[)\]]")
_NUMBER = re.compile(r"\d")


def split_condition(text: str, languages: tuple[str, ...] = LANGUAGES) -> list[tuple[str, Condition | None]]:
    """A cell's words apart by conditions in brackets.

    ``"28-32T (30-34T with single ring)"`` → ``28-32T`` without and ``30-34T`` with ``{"ring_count": 1}``;
    ``"37T (double), 43T (triple)"`` → ``37T`` with ``{"ring_count": 2}`` and ``43T`` with ``{"ring_count": 3}``. A
    bracket that names no condition stays in place, and so does all where it holds a number that is not understood.
    """
    pieces: list[tuple[str, Condition | None]] = []
    open_text = ""
    at = 0
    for found in _BRACKET.finditer(text):
        condition = find_condition(found.group(1), languages)
        open_text += text[at : found.start()]
        at = found.end()
        if condition is None:
            open_text += found.group()
            continue
        inside = _value_words(found.group(1), languages)
        before = open_text.strip(" ,;/")
        if _NUMBER.search(inside):
            pieces += [(before, None), (inside, condition)] if before else [(inside, condition)]
        elif _holds_value(found.group(1)):
            return [(text, None)]
        else:
            pieces.append((before, condition))
        open_text = ""
    rest = (open_text + text[at:]).strip()
    if not pieces:
        return [(text, None)]
    return [*pieces, (rest.strip(" ,;/"), None)] if rest.strip(" ,;/.") else pieces


def _value_words(text: str, languages: tuple[str, ...]) -> str:
    """The words at the start of ``text`` (or its end) that make a number notation, without those of the condition."""
    words = text.split()
    bound = _bound_words(words, languages)
    for run in (words[:bound] + _numeric_run(words[bound:], languages), _numeric_run(words[::-1], languages)[::-1]):
        if run and _NUMBER.search(" ".join(run)) and len(run) < len(words):
            return " ".join(run).strip(" :,;–-")
    return ""


def _bound_words(words: list[str], languages: tuple[str, ...]) -> int:
    """How many words at the start say that a number is a bound: ``up to``, ``no more than``."""
    for length in (4, 3, 2):
        terms = analyse(" ".join(words[:length]), languages).terms
        if len(words) > length and len(terms) == 1 and terms[0].names("concept") & {"max", "min"}:
            return length
    return 0


def _holds_value(text: str) -> bool:
    """Whether a number with a unit of its own stands in ``text``."""
    words = [fold(word) for word in text.split()]
    return any(
        re.fullmatch(r"[\d ]+", word) and after in UNIT_WORDS and after not in SPEED_WORDS
        for word, after in pairwise(words)
    ) or any(re.fullmatch(r"\d+ ?(?:t|z|d|mm)", word) for word in words)


_NUMERIC = re.compile(r"^(?:[≤≥<>(\d–/-]|[^\W\d_]{1,3}[–-]\d)")


def _numeric_run(words: list[str], languages: tuple[str, ...]) -> list[str]:
    """The words from the start on that are numbers, units, joints or bounds, as long as they name no condition."""
    run: list[str] = []
    for word in words:
        names = analyse(word, languages).names("concept") | analyse(word, languages).names("language")
        numeric = bool(_NUMERIC.match(word)) or fold(word) in UNIT_WORDS or names & {"max", "min", "to", "teeth"}
        if not numeric and re.search(r"\d", word):
            return []
        if not numeric or find_condition(" ".join([*run, word]), languages):
            break
        run.append(word)
    return run
