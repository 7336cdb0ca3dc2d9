"""Labels as people of the trade word them, in six languages, listed without a look at the lexicon.

``wordings/*.txt``: part kind, limit (``>`` and ``<`` where the words name a maximum or a minimum, ``-`` for what is no
limit), label. Common practice, no source.
"""

from pathlib import Path

import pytest
from cogledger.extract.labels import LANGUAGES, find_label_hits
from cogledger.schema.limits import LIMITS, PartKind

FOLDER = Path(__file__).parent / "wordings"
KINDS = {"rd": "rear_derailleur", "fd": "front_derailleur", "cs": "cassette", "fw": "freewheel", "ck": "crankset",
         "cr": "chainring", "ch": "chain", "sh": "shifter", "hx": "hanger_extender"}  # fmt: skip
LEAST_SHARE = 0.93
SETTLED_BY_VALUE = {"rings", "ring_count", "cogs", "rear_speeds"}
"""Limits that one label can stand for; the number beside it tells them apart."""


def wordings(language):
    for line in (FOLDER / f"{language}.txt").read_text(encoding="utf-8").splitlines():
        if line.strip() and not line.startswith("#"):
            kind, limit, label = line.split(" ", 2)
            bound = {">": "high", "<": "low"}.get(limit[-1])
            yield PartKind(KINDS[kind]), limit.rstrip("<>"), bound, label


def judged(language):
    """Every wording with whether it names its limit, names nothing, or is taken for something else."""
    for kind, limit, bound, label in wordings(language):
        hits = find_label_hits(label, kind, (language,))
        best = hits[0] if hits else None
        if best is None:
            yield label, limit, "none"
        elif {best.limit, limit} <= SETTLED_BY_VALUE and best.limit != limit:
            yield label, limit, "right" if limit in {h.limit for h in hits} else "wrong"
        else:
            turned = bound is not None and best.bound not in (bound, None)
            yield label, limit, "right" if best.limit == limit and not turned else "wrong"


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_list_is_long_and_speaks_of_limits_that_exist(language):
    listed = list(wordings(language))
    assert len(listed) >= 100 and {limit for _, limit, _, _ in listed} <= {*LIMITS, "-"}
    assert sum(limit == "-" for _, limit, _, _ in listed) >= 20


@pytest.mark.parametrize("language", LANGUAGES)
def test_most_wordings_name_their_limit_and_none_names_another(language):
    results = [r for r in judged(language) if r[1] != "-"]
    wrong = [(label, limit) for label, limit, result in results if result == "wrong"]
    right = sum(result == "right" for *_, result in results)
    assert not wrong and right >= LEAST_SHARE * len(results), [r for r in results if r[2] != "right"]


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_no_limit_is_taken_for_none(language):
    assert not [(label, result) for label, limit, result in judged(language) if limit == "-" and result != "none"]
