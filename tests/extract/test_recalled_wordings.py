"""Labels, values and names as people of the trade write them, recalled before the lexicon was looked at.

``wordings/recalled/*.txt``; each file says in its first line how its rows are built. From memory; common practice, no
source. A label, value or name may be missed now and then, but never be taken for another one.
"""

from pathlib import Path

import pytest
from cogledger.extract.labels import LANGUAGES, find_label_hits
from cogledger.extract.subjects import parse_heading, parse_variant
from cogledger.extract.values import parse_value
from cogledger.schema.limits import LIMITS, Form, PartKind

FOLDER = Path(__file__).parent / "wordings" / "recalled"
KINDS = {"rd": "rear_derailleur", "fd": "front_derailleur", "cs": "cassette", "fw": "freewheel", "ck": "crankset",
         "cr": "chainring", "ch": "chain", "sh": "shifter", "hx": "hanger_extender"}  # fmt: skip
LEAST_SHARE = 0.95
TONGUES = pytest.mark.parametrize("everywhere", [False, True], ids=["own language", "any language"])


def rows(name):
    lines = (FOLDER / f"{name}.txt").read_text(encoding="utf-8").splitlines()
    return [line for line in lines if not line.startswith("#")]


def tongue(language, everywhere):
    return LANGUAGES if everywhere else (language,)


def labels(limits):
    for line in rows("labels"):
        language, kind, limit, label = line.split(" ", 3)
        if (limit != "-") is limits:
            bound = {">": "high", "<": "low"}.get(limit[-1])
            yield language, PartKind(KINDS[kind]), limit.rstrip("<>"), bound, label


@TONGUES
def test_labels_name_their_limit_and_none_names_another(everywhere):
    missed, wrong = [], []
    for language, kind, limit, bound, label in labels(True):
        hits = find_label_hits(label, kind, tongue(language, everywhere))
        if not hits:
            missed.append(label)
        elif hits[0].limit != limit or (bound and hits[0].bound not in (bound, None)):
            wrong.append((label, limit, hits[0]))
    count = len(list(labels(True)))
    assert count >= 200 and not wrong and len(missed) <= (1 - LEAST_SHARE) * count, (wrong, missed)


@TONGUES
@pytest.mark.parametrize("of_any_kind", [False, True])
def test_what_stands_beside_limits_in_sheets_is_no_limit(everywhere, of_any_kind):
    found = [
        (label, hits[0].limit)
        for language, kind, _, _, label in labels(False)
        if (hits := find_label_hits(label, None if of_any_kind else kind, tongue(language, everywhere)))
    ]
    assert len(list(labels(False))) >= 80 and not found


def written(value):
    if value is None:
        return "-"
    if value.values:
        return ",".join(f"{n:g}" for n in value.values)
    return "..".join("" if n is None else f"{n:g}" for n in (value.low, value.high))


@TONGUES
def test_values_are_read_as_meant(everywhere):
    missed, wrong, count = [], [], 0
    for row in rows("values"):
        language, limit, bound, text, meant = (piece.strip() for piece in row.split("|"))
        read = written(parse_value(text, limit, bound or None, tongue(language, everywhere)))
        count += meant != "-"
        if read == "-" != meant:
            missed.append(text)
        elif read != meant:
            wrong.append((text, meant, read))
    assert count >= 60 and not wrong and len(missed) <= (1 - LEAST_SHARE) * count, (wrong, missed)


@TONGUES
def test_names_of_parts_and_versions_are_known(everywhere):
    missed, wrong, count = [], [], 0
    for row in rows("names"):
        language, meant, words = row.split(" ", 2)
        languages = tongue(language, everywhere)
        count += 1
        if meant.startswith("v:"):
            missed += [] if parse_variant(words, languages) else [words]
            continue
        kind = parse_heading(f"{words} AB12", languages).kind
        missed += [] if kind else [words]
        wrong += [(words, meant, kind)] if kind not in (None, meant) else []
    assert count >= 100 and not wrong and len(missed) <= (1 - LEAST_SHARE) * count, (wrong, missed)


@pytest.mark.parametrize("language", LANGUAGES)
def test_an_abbreviation_means_what_the_whole_word_means(language):
    """Every label of the list with one of its longer words cut at five letters and a full stop, or nothing."""
    turned = []
    for tongue_of, kind, limit, _, label in labels(True):
        if tongue_of != language or LIMITS[limit].form is Form.TEXT:
            continue
        for word in (w for w in label.split() if len(w) > 7 and w.isalpha()):
            short = label.replace(word, f"{word[:5]}.")
            hits = find_label_hits(short, kind, (language,))
            if hits and hits[0].limit != limit and hits[0].score >= 0.9:
                turned.append((short, limit, hits[0].limit))
    assert not turned


@pytest.mark.parametrize(
    ("language", "label", "limit", "bound"),
    [
        ("it", "Pignone maggiore minore", "largest_cog", "low"),
        ("it", "Pignone maggiore maggiore", "largest_cog", "high"),
        ("de", "Größtes Ritzel kleinstes", "largest_cog", "low"),
        ("en", "Smallest sprocket largest", "smallest_cog", "high"),
        ("es", "Dientes mín. piñón grande", "largest_cog", "low"),
        ("fr", "Dents maxi pignon petit", "smallest_cog", "high"),
        ("en", "Chainring big / small", None, None),
        ("en", "Sprocket, biggest and smallest", None, None),
        ("es", "Plato grande y pequeño", None, None),
    ],
)
def test_a_size_behind_a_size_is_a_bound_and_behind_a_bound_it_is_none(language, label, limit, bound):
    hits = find_label_hits(label, None, (language,))
    assert (hits[0].limit, hits[0].bound) == (limit, bound) if limit else not hits
