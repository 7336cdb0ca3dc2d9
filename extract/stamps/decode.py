"""Looks at the lines of photos, and the known codes → which code is stamped, with a probability for each candidate.

A photo shows lines; at most one of them holds the code, all the rest is *junk*: makers, countries, lots, scratches.
Each code is weighed by how much better it explains a part of a line than junk does. Junk may be any sign at the same
cost each (``junk_sign``); a code explains its part by its exact likelihood under the reader's grid. What several looks
at one line say is averaged, since looks repeat each other's faults. That a stamped sign looks like another (0 and O) is
settled between whole codes, once, and not once for each look, since all looks see the same stamp.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .candidates import Candidate, Priors, find_candidates
from .ctc import find_placed
from .known import KnownCodes
from .spans import Glance
from .teeth import TeethFound, find_teeth
from .tuning import DecodeTuning, SureTuning, Tuning, read_tuning
from .twins import log_alike
from .variants import find_variant

_VARIANT_DOOR = 1.0
"""The cost of a code's ending inside a word while its variant is looked for, which is often read as a part of it."""
_USELESS_LOOK, _VARIANT_NEEDS = -3.0, 3.0
"""A look counts against the code's being there this much at most; the code's evidence must be more than the second."""
_UNDISPUTED, _SUREST_DISPUTED = 0.65, 0.85
"""A code that nobody knows is no surer than the second, unless the first part of all looks at it read it so."""
_SAME_JUNK = 0.75
"""How much of what a code gains by explaining signs is given once only, however many photos show the same signs."""


@dataclass(frozen=True, eq=False)
class Line:
    """One line as read one way up: whose it is (``pose``), and its looks.

    ``surer`` is by how much more surely it was read than the other way up (mean logarithm of the signs' shares), and
    ``way_odds`` are the log-odds that what found the line gives to this way up, infinite where there is no other.
    """

    pose: Hashable
    glances: tuple[Glance, ...]
    way_odds: float = math.inf
    surer: float = 0.0

    def way_up(self, tuning: DecodeTuning) -> float:
        """The log-chance of its standing this way up."""
        return -float(np.logaddexp(0.0, -(self.way_odds + tuning.way_up * self.surer)))


@dataclass(frozen=True, eq=False)
class Weighed:
    """What one photo says for each candidate: log-evidence against junk, and the line that says it."""

    evidence: np.ndarray
    lines: np.ndarray


@dataclass(frozen=True)
class Verdict:
    """One candidate with its probability; ``pose`` is that of its line, in the photo that shows it best."""

    key: str
    known: bool
    chance: float
    photo: int
    pose: Hashable


@dataclass(frozen=True)
class Decoded:
    """What photos of one part say: candidates, likeliest first, and what is left for none of them."""

    verdicts: tuple[Verdict, ...]
    nothing: float


def decode(photos: Sequence[Sequence[Line]], known: KnownCodes, tuning: Tuning | None = None) -> Decoded:
    """The lines of each photo of one part → candidates with calibrated probabilities."""
    figures = tuning or read_tuning()
    candidates, weighed = weigh_photos(photos, known, figures.decode)
    return judge(photos, candidates, weighed, figures)


def weigh_photos(
    photos: Sequence[Sequence[Line]], known: KnownCodes, tuning: DecodeTuning
) -> tuple[list[Candidate], list[Weighed]]:
    """Candidates from all photos, and what each photo says for each of them."""
    looks = [glance for lines in photos for line in lines for glance in line.glances]
    candidates = find_candidates(looks, known, priors_of(known, tuning))
    keys = [candidate.key for candidate in candidates]
    return candidates, [weigh(lines, keys, place(lines, keys, tuning), tuning) for lines in photos]


def priors_of(known: KnownCodes, tuning: DecodeTuning) -> Priors:
    """What is known of codes before any photo is seen."""
    return Priors(known, tuning.known_share, tuning.full_list, tuning.series_share, tuning.sibling_share)


def place(lines: Sequence[Line], keys: Sequence[str], tuning: DecodeTuning) -> list[np.ndarray]:
    """How much better each code explains a part of each line than junk does, by each look: looks × keys a line."""
    return [np.array([_placed(glance, keys, tuning)[0] for glance in line.glances]) for line in lines]


def weigh(lines: Sequence[Line], keys: Sequence[str], placed: Sequence[np.ndarray], tuning: DecodeTuning) -> Weighed:
    """What one photo says for each code, against its being junk, over all codes that it may look like."""
    if not lines or not keys:
        return Weighed(np.zeros(len(keys)), np.zeros(len(keys), dtype=np.int64))
    alike = log_alike(keys, tuning.oval, tuning.twin, tuning.cousin)
    rows = []
    for line, table in zip(lines, placed, strict=True):
        shown = np.logaddexp(math.log(1 - tuning.useless) + table, math.log(tuning.useless))
        total = look_weights(line.glances, tuning.confident_counts) @ shown
        rows.append(np.logaddexp.reduce(tuning.sharpness * total[None, :] + alike, axis=1) + line.way_up(tuning))
    evidence = np.stack(rows)
    return Weighed(evidence.max(axis=0), evidence.argmax(axis=0))


def _placed(glance: Glance, keys: Sequence[str], tuning: DecodeTuning) -> tuple[np.ndarray, np.ndarray]:
    doors = glance.doors(tuning.inner_door)
    junk = glance.junk_before(tuning.junk_sign)
    return find_placed(glance.folded, keys, doors - junk, doors + junk)


def look_weights(glances: Sequence[Glance], confident_counts: float) -> np.ndarray:
    """The part of each look in the whole: sure looks count more."""
    logs = np.array([confident_counts * glance.confidence + math.log(glance.counts) for glance in glances])
    shares = np.exp(logs - logs.max(initial=0.0))
    return shares / shares.sum()


def judge(
    photos: Sequence[Sequence[Line]], candidates: Sequence[Candidate], weighed: Sequence[Weighed], tuning: Tuning
) -> Decoded:
    """What photos of one part say together → candidates with calibrated probabilities."""
    if not candidates:
        return Decoded((), 1.0)
    shares, clear = shares_of(candidates, weighed, tuning.decode)
    shown = np.stack([photo.evidence for photo in weighed])
    order = np.argsort(-shares, kind="stable")
    best = int(order[0])
    first = honest(float(shares[best]), clear, tuning.sure)
    if not candidates[best].known and not _is_undisputed(photos, weighed, shown, candidates[best].key, best):
        first = min(first, _SUREST_DISPUTED)
    left = (1 - first) / max(1e-12, 1 - float(shares[best]))
    verdicts = []
    for n in order:
        photo = int(np.argmax(shown[:, n]))
        pose = photos[photo][int(weighed[photo].lines[n])].pose if photos[photo] else None
        chance = first if n == best else float(shares[n]) * left
        verdicts.append(Verdict(candidates[n].key, candidates[n].known, chance, photo, pose))
    return Decoded(tuple(verdicts), max(0.0, 1 - float(shares.sum())) * left)


def _is_undisputed(
    photos: Sequence[Sequence[Line]], weighed: Sequence[Weighed], shown: np.ndarray, key: str, number: int
) -> bool:
    """Whether most looks at the line that shows ``key`` best read it as it is."""
    photo = int(np.argmax(shown[:, number]))
    if not photos[photo]:
        return False
    glances = photos[photo][int(weighed[photo].lines[number])].glances
    texts = ["".join(sign.text for sign in glance.signs if sign.text.isalnum()) for glance in glances]
    return sum(key in text for text in texts) >= _UNDISPUTED * len(texts)


def shares_of(
    candidates: Sequence[Candidate], weighed: Sequence[Weighed], tuning: DecodeTuning
) -> tuple[np.ndarray, float]:
    """Each candidate's share of the probability, not yet calibrated, and how clearly the likeliest is shown, 0 to 1.

    The photo that shows a code best says how much better codes explain it than junk does. The others show the same
    text once more, be it a code or junk: they tell texts apart, but are no further evidence of a code as such.
    """
    priors = np.array([candidate.prior for candidate in candidates])
    evidence = np.stack([photo.evidence for photo in weighed])
    full = tuning.sharpness * tuning.junk_sign * np.array([len(candidate.key) for candidate in candidates])
    clearest = int(np.argmax((evidence + priors).max(axis=1)))
    again = np.zeros(len(candidates))
    for number, own in enumerate(evidence):
        if number != clearest:
            again += tuning.further_photo * _as_same_text(own, full, tuning)
    shown = np.logaddexp(0.0, math.log(tuning.shows / (1 - tuning.shows)) + evidence[clearest])
    scores = priors + shown + again
    texts = np.minimum(0.0, evidence[clearest] - full)
    junk = tuning.nothing + float(np.logaddexp.reduce(texts + again) - np.logaddexp.reduce(texts))
    shares = np.exp(scores - np.logaddexp.reduce(np.concatenate((scores, [junk]))))
    best = int(shares.argmax())
    return shares, float(min(1.0, max(0.0, shown[best] / full[best])))


def _as_same_text(evidence: np.ndarray, full: np.ndarray, tuning: DecodeTuning) -> np.ndarray:
    """The log-likelihood of a further photo for each code, against its clearest text; a useless photo says nothing."""
    useless = -max(0.0, float(evidence.max()))
    short = evidence - _SAME_JUNK * full
    return np.logaddexp(math.log(tuning.shows) + short, math.log(1 - tuning.shows) + useless)


def honest(share: float, clear: float, tuning: SureTuning) -> float:
    """The winner's share made honest by a logistic curve, which was fitted on photos with known truth."""
    odds = math.log(max(1e-12, share) / max(1e-12, 1 - share))
    bounded = max(-tuning.surest, min(tuning.surest, odds))
    return 1 / (1 + math.exp(-(tuning.slope * bounded + tuning.clear * clear + tuning.shift)))


def teeth_of(line: Line, tuning: DecodeTuning) -> TeethFound | None:
    """Tooth counts on a line, None where none come near."""
    weights = look_weights(line.glances, tuning.confident_counts)
    found = find_teeth(line.glances, weights, tuning.junk_sign, tuning.useless)
    return replace(found, odds=found.odds + line.way_up(tuning)) if found else None


def variant_of(line: Line, key: str, known: KnownCodes, tuning: DecodeTuning) -> str | None:
    """The variant stamped behind a code on ``line``, None where there is none or the code is not on that line."""
    apart = replace(tuning, inner_door=_VARIANT_DOOR)
    placed = [_placed(glance, [key], apart) for glance in line.glances]
    weights = look_weights(line.glances, tuning.confident_counts)
    if float(weights @ [max(_USELESS_LOOK, each[0]) for each, _ in placed]) < _VARIANT_NEEDS:
        return None
    return find_variant(line.glances, weights, [int(ends[0]) for _, ends in placed], known.variants.get(key, ()))


def printed_form(line: Line, key: str, known: KnownCodes) -> str:
    """A code as people write it: as the store has it, else with the hyphens that the surest look shows."""
    if key in known:
        return known.printed[key]
    for glance in sorted(line.glances, key=lambda look: -look.confidence):
        text = "".join(sign.text if sign.text.isalnum() or sign.text in "-./" else "" for sign in glance.signs)
        bare = [n for n, sign in enumerate(text) if sign.isalnum()]
        whole = "".join(text[n] for n in bare)
        at = whole.find(key)
        if at >= 0:
            return text[bare[at] : bare[at + len(key) - 1] + 1]
    return key
