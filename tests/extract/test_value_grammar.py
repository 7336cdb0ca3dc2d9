"""Values in whole phrases, drawn from a grammar of six languages: read as meant, and no comparison as a bound.

The phrases are those of trade print; common practice, no source. What a lone number, a bound and a list mean is that of
docs/vocabulary.md.
"""

import pytest
from cogledger.extract.labels import LANGUAGES
from cogledger.extract.values import parse_value
from hypothesis import given, settings
from hypothesis import strategies as st

quiet = settings(max_examples=120, deadline=None)

UPPER = {
    "en": ["no more than {n}", "not more than {n}", "up to {n}", "at most {n}", "not exceeding {n}", "{n} or less",
           "{n} or fewer", "{n} or smaller", "{n} at most", "{n} maximum", "up to and including {n}"],
    "de": ["nicht mehr als {n}", "höchstens {n}", "bis zu {n}", "bis einschließlich {n}", "{n} oder weniger",
           "{n} oder kleiner", "{n} höchstens", "nicht über {n}"],
    "fr": ["pas plus de {n}", "au plus {n}", "jusqu'à {n}", "jusqu’à {n}", "{n} au plus", "{n} ou moins", "{n} maximum",
           "{n} au maximum"],
    "it": ["non più di {n}", "al massimo {n}", "fino a {n}", "non oltre {n}", "{n} o meno", "{n} al massimo"],
    "es": ["no más de {n}", "como máximo {n}", "hasta {n}", "{n} o menos", "{n} como máximo", "no superior a {n}"],
    "nl": ["niet meer dan {n}", "hoogstens {n}", "ten hoogste {n}", "{n} of minder", "{n} of kleiner",
           "niet boven {n}"],
}  # fmt: skip
LOWER = {
    "en": ["at least {n}", "no less than {n}", "not fewer than {n}", "{n} or more", "{n} or larger", "{n} and up"],
    "de": ["mindestens {n}", "nicht weniger als {n}", "{n} oder mehr", "{n} oder größer", "{n} mindestens"],
    "fr": ["au moins {n}", "pas moins de {n}", "{n} ou plus", "{n} au minimum", "{n} ou plus grand"],
    "it": ["almeno {n}", "non meno di {n}", "{n} o più", "{n} o superiore", "al minimo {n}"],
    "es": ["como mínimo {n}", "al menos {n}", "no menos de {n}", "{n} o más", "{n} o mayor"],
    "nl": ["minstens {n}", "ten minste {n}", "niet minder dan {n}", "{n} of meer", "{n} of groter"],
}  # fmt: skip
BETWEEN = {
    "en": ["{a} to {b}", "from {a} to {b}", "between {a} and {b}", "{a} up to {b}", "{a}...{b}", "{a}…{b}"],
    "de": ["{a} bis {b}", "von {a} bis {b}", "zwischen {a} und {b}", "{a} bis zu {b}"],
    "fr": ["de {a} à {b}", "{a} à {b}", "entre {a} et {b}"],
    "it": ["da {a} a {b}", "tra {a} e {b}", "{a} fino a {b}"],
    "es": ["de {a} a {b}", "entre {a} y {b}", "desde {a} hasta {b}"],
    "nl": ["van {a} tot {b}", "tussen {a} en {b}", "{a} tot en met {b}"],
}
BEYOND = {
    "en": ["more than {n}", "less than {n}", "over {n}", "under {n}", "exceeding {n}", "fewer than {n}"],
    "de": ["mehr als {n}", "weniger als {n}", "über {n}", "unter {n}"],
    "fr": ["plus de {n}", "moins de {n}", "sous {n}"],
    "it": ["più di {n}", "meno di {n}", "oltre {n}", "sotto {n}"],
    "es": ["más de {n}", "menos de {n}", "por debajo de {n}"],
    "nl": ["meer dan {n}", "minder dan {n}", "boven {n}", "onder {n}"],
}
TEETH = {
    "en": ["", "T", " T", " teeth", " tooth", " tds"], "de": ["", "Z", " Z.", " Zähne", " Zä."],
    "fr": ["", "D", " d.", " dents", " dts"], "it": ["", "D", " denti"], "es": ["", "D", " dientes"],
    "nl": ["", "T", " tanden", " tnd."],
}  # fmt: skip
COUNTED = {
    "en": [" speed", "-speed", " spd", " spd.", "s"], "de": ["-fach", " Gänge", " Gg."],
    "fr": [" vitesses", " vit.", "v"],
    "it": [" velocità", " vel.", "v"], "es": [" velocidades", " vel.", "v"], "nl": [" versnellingen", " versn.", "v"],
}  # fmt: skip
LINKS = {"en": " links", "de": " Gl.", "fr": " mail.", "it": " mgl.", "es": " esl.", "nl": " sch."}
OR = {"en": ["or", "and", "&"], "de": ["oder", "und"], "fr": ["ou", "et"], "it": ["o", "e"], "es": ["o", "y"],
      "nl": ["of", "en"]}  # fmt: skip

languages = st.sampled_from(LANGUAGES)
everywhere = st.booleans()
teeth = st.integers(22, 44)


def read(text, limit, language, wide, bound=None):
    value = parse_value(text, limit, bound, LANGUAGES if wide else (language,))
    return None if value is None else (value.low, value.high, value.values)


@given(languages, everywhere, teeth, st.data())
@quiet
def test_phrases_that_bound_a_number_are_read(language, wide, number, data):
    unit = data.draw(st.sampled_from(TEETH[language]))
    side = data.draw(st.sampled_from(["upper", "lower"]))
    phrase = data.draw(st.sampled_from((UPPER if side == "upper" else LOWER)[language]))
    text = phrase.format(n=f"{number}{unit}")
    meant = (None, number, None) if side == "upper" else (number, None, None)
    assert read(text, "largest_cog", language, wide) == meant, text


@given(languages, everywhere, teeth, st.integers(1, 8), st.data())
@quiet
def test_both_bounds_in_phrases_are_read(language, wide, least, more, data):
    unit = data.draw(st.sampled_from(TEETH[language]))
    upper = data.draw(st.sampled_from(UPPER[language])).format(n=f"{least + more}{unit}")
    lower = data.draw(st.sampled_from(LOWER[language])).format(n=f"{least}{unit}")
    text = data.draw(st.sampled_from([f"{lower}, {upper}", f"{upper} / {lower}"]))
    found = read(text, "largest_cog", language, wide)
    assert found in ((least, least + more, None), None), text


@given(languages, everywhere, teeth, st.integers(1, 8), st.data())
@quiet
def test_ranges_in_phrases_are_read(language, wide, least, more, data):
    unit = data.draw(st.sampled_from(TEETH[language]))
    text = data.draw(st.sampled_from(BETWEEN[language])).format(a=least, b=f"{least + more}{unit}")
    assert read(text, "largest_cog", language, wide) == (least, least + more, None), text


@given(languages, everywhere, teeth, st.sampled_from(["largest_cog", "total_capacity", "small_ring"]), st.data())
@quiet
def test_a_comparison_without_denial_is_no_bound(language, wide, number, limit, data):
    unit = data.draw(st.sampled_from(TEETH[language]))
    text = data.draw(st.sampled_from(BEYOND[language])).format(n=f"{number}{unit}")
    assert read(text, limit, language, wide) is None, text


@given(languages, everywhere, st.integers(5, 12), st.data())
@quiet
def test_speeds_and_their_alternatives_are_read(language, wide, speeds, data):
    unit = data.draw(st.sampled_from(COUNTED[language]))
    if data.draw(st.booleans()):
        joint = data.draw(st.sampled_from(OR[language]))
        text, meant = f"{speeds} {joint} {speeds + 1}{unit}", (None, None, (speeds, speeds + 1))
    else:
        text, meant = f"{speeds}{unit}", (None, None, (speeds,))
    assert read(text, "rear_speeds", language, wide) == meant, text


@given(languages, everywhere, st.integers(90, 130))
@quiet
def test_links_are_read_behind_abbreviations(language, wide, count):
    text = f"{count}{LINKS[language]}"
    assert read(text, "link_count", language, wide) == (None, None, (count,)), text


@given(
    st.lists(st.integers(10, 36), min_size=5, max_size=12, unique=True),
    st.sampled_from([" ", "-", " - ", "  ", "+"]),
    st.sampled_from(["", "T", " T.", " teeth"]),
)
@quiet
def test_cogs_with_any_joint_are_read(cogs, joint, unit):
    cogs = sorted(cogs)
    assert read(joint.join(map(str, cogs)) + unit, "cogs", "en", True) == (None, None, tuple(cogs))


@given(
    st.lists(st.integers(22, 56), min_size=2, max_size=3, unique=True),
    st.sampled_from(["+", "x", "/", "-", " + ", " "]),
)
@quiet
def test_rings_with_any_joint_are_read(rings, joint):
    rings = sorted(rings, reverse=True)
    assert read(joint.join(map(str, rings)), "rings", "en", True) == (None, None, tuple(rings))


@given(teeth, st.integers(1, 8), st.sampled_from([", ", " / ", " "]), st.booleans())
@quiet
def test_two_signs_make_a_range(least, more, joint, turned):
    ends = [f"≥ {least}T", f"≤ {least + more}T"]
    text = joint.join(ends[::-1] if turned else ends)
    assert read(text, "largest_cog", "en", True) == (least, least + more, None)


@pytest.mark.parametrize(
    ("text", "limit"),
    [
        ("52 x 11", "rings"), ("2x11", "rings"), ("11 28", "cogs"), ("11 13 12 15 17", "cogs"), ("34 50", "rings"),
        ("34T no 36T", "largest_cog"), ("28...", "largest_cog"), ("< 34", "largest_cog"), ("34+", "largest_cog"),
        ("≥ 28, ≥ 34", "largest_cog"), ("10 Vel. 11", "rear_speeds"),
    ],
)  # fmt: skip
def test_what_could_mean_something_else_is_not_read(text, limit):
    assert read(text, limit, "en", True) is None
