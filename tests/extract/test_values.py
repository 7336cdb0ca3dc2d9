"""Notations of values, drawn together with their meaning: read back as meant or not at all, never as another value.

The signs and words are those of trade print in six languages; the meaning of a lone number, of bounds and of lists is
that of docs/vocabulary.md.
"""

import re

import pytest
from cogledger.extract.marks import is_nothing, split_marked
from cogledger.extract.values import Value, is_rings_by_cogs, parse_value, plausible
from cogledger.schema.limits import LIMITS, Form, Unit
from hypothesis import assume, given, settings
from hypothesis import strategies as st

DASHES = ["-", "–", "—", "−", "‐", "~"]
TO = ["to", "bis", "à", "a", "tot"]
TEETH = ["T", "t", "Z", "D", "teeth", "Zähne", "dents", "denti", "dientes", "tanden"]
MAX = ["max", "max.", "Max.", "maximum", "≤", "maximal", "máx.", "maxi"]
MIN = ["min", "min.", "minimum", "≥", "mín."]
ROWS = {form: [k for k, r in LIMITS.items() if r.form is form] for form in Form}
quiet = settings(max_examples=150, deadline=None)


def of(value):
    return None if value is None else (value.low, value.high, value.values)


@st.composite
def unit_of(draw, limit, always=False):
    """The limit's unit as printed behind a number, often left out."""
    words = {
        Unit.TEETH: TEETH, Unit.MILLIMETRE: ["mm"], Unit.DEGREE: ["°", "deg"], Unit.GRAM: ["g"],
        Unit.LINKS: ["links", "Glieder", "maillons"],
    }.get(LIMITS[limit].unit, [])  # fmt: skip
    if not words or not (always or draw(st.booleans())):
        return ""
    word = draw(st.sampled_from(words))
    return word if len(word) <= 2 and draw(st.booleans()) else f" {word}"


@st.composite
def numbers(draw, limit, count=1):
    """Different plausible numbers of a limit, ascending, as (value, printed)."""
    low, high = LIMITS[limit].plausible or (1, 50)
    if LIMITS[limit].whole:
        pool = st.integers(int(low), int(high)).map(float)
    else:
        pool = st.integers(int(low * 2) + 1, int(high * 2) - 1).map(lambda n: n / 2)
    values = sorted(draw(st.lists(pool, min_size=count, max_size=count, unique=True)))
    comma = draw(st.booleans())
    return [(v, f"{v:g}".replace(".", ",") if comma else f"{v:g}") for v in values]


@st.composite
def ranges(draw):
    limit = draw(st.sampled_from([*ROWS[Form.RANGE], *ROWS[Form.EXACT_OR_RANGE]]))
    (low, first), (high, last) = draw(numbers(limit, 2))
    unit = draw(unit_of(limit))
    joint = draw(st.sampled_from([f"{s}{d}{s}" for d in DASHES for s in ("", " ")] + [f" {w} " for w in TO]))
    each = draw(st.booleans())
    return limit, f"{first}{unit if each else ''}{joint}{last}{unit}", (low, high, None)


@given(ranges())
@quiet
def test_a_range_is_read_back_or_not_at_all(drawn):
    limit, text, meant = drawn
    assert of(parse_value(text, limit)) in (meant, None), text


@st.composite
def bounds_in_words(draw):
    limit = draw(st.sampled_from(ROWS[Form.RANGE]))
    (low, first), (high, last) = draw(numbers(limit, 2))
    unit = draw(unit_of(limit))
    most, least = draw(st.sampled_from(MAX)), draw(st.sampled_from(MIN))
    before = draw(st.booleans()) or most == "≤" or least == "≥"
    upper = f"{most} {last}{unit}" if before else f"{last}{unit} {most}"
    lower = f"{least} {first}{unit}" if before else f"{first}{unit} {least}"
    which = draw(st.sampled_from(["upper", "lower", "both", "turned"]))
    if which == "upper":
        return limit, upper, (None, high, None)
    if which == "lower":
        return limit, lower, (low, None, None)
    joint = draw(st.sampled_from([" / ", ", ", " "]))
    pair = f"{upper}{joint}{lower}" if which == "both" else f"{lower}{joint}{upper}"
    return limit, pair, (low, high, None)


@given(bounds_in_words())
@quiet
def test_bounds_in_words_are_read_back_or_not_at_all(drawn):
    limit, text, meant = drawn
    assert of(parse_value(text, limit)) in (meant, None), text


@st.composite
def lone_numbers(draw):
    forms = [Form.HIGH, Form.LOW, Form.EXACT, Form.RANGE, Form.EXACT_OR_RANGE]
    limit = draw(st.sampled_from([k for form in forms for k in ROWS[form]]))
    row = LIMITS[limit]
    ((value, printed),) = draw(numbers(limit))
    bound = draw(st.sampled_from([None, "high", "low"])) if row.form is Form.RANGE else None
    side = {Form.HIGH: "high", Form.LOW: "low"}.get(row.form) or bound or row.lone_bound
    meant = (None if side == "high" else value, None if side == "low" else value, None)
    return limit, f"{printed}{draw(unit_of(limit))}", bound, meant


@given(lone_numbers())
@quiet
def test_a_lone_number_means_what_the_limit_says(drawn):
    limit, text, bound, meant = drawn
    if text.startswith("-"):
        return
    assert of(parse_value(text, limit, bound)) == meant, text


@st.composite
def lists(draw):
    limit = draw(st.sampled_from(["rear_speeds", "ring_count", "clamp_diameter", "crank_length", "link_count"]))
    row = LIMITS[limit]
    pieces = draw(numbers(limit, draw(st.integers(2, min(3, row.most_values)))))
    signs = ["/", " / ", ", ", " · ", " | ", "; "]
    joint = draw(st.sampled_from(signs))
    unit = draw(unit_of(limit))
    return limit, joint.join(p for _, p in pieces) + unit, (None, None, tuple(v for v, _ in pieces))


@given(lists())
@quiet
def test_a_list_of_alternatives_is_read_back_or_not_at_all(drawn):
    limit, text, meant = drawn
    assert of(parse_value(text, limit)) in (meant, None), text


@st.composite
def sprockets(draw):
    limit = draw(st.sampled_from(["cogs", "rings"]))
    count = draw(st.integers(4, 12)) if limit == "cogs" else draw(st.integers(2, 3))
    pieces = draw(numbers(limit, count))
    if limit == "rings":
        pieces = pieces[::-1]
    joint = draw(st.sampled_from(["-", "–", "/", ", ", ",", " · ", " - ", " / "]))
    return limit, joint.join(p for _, p in pieces) + draw(unit_of(limit)), (None, None, tuple(v for v, _ in pieces))


@given(sprockets())
@quiet
def test_cogs_and_rings_are_read_back_in_their_order_or_not_at_all(drawn):
    limit, text, meant = drawn
    assert of(parse_value(text, limit)) in (meant, None), text


@given(st.integers(1, 3), st.lists(st.integers(5, 13), min_size=1, max_size=2, unique=True), st.data())
@quiet
def test_rings_by_cogs_give_each_limit_its_own_number(rings, cogs, data):
    sign = data.draw(st.sampled_from(["x", "×", " x ", " × "]))
    tail = data.draw(st.sampled_from(["", "-speed", " speed", "-fach"]))
    text = f"{rings}{sign}{'/'.join(map(str, cogs))}{tail}"
    assert is_rings_by_cogs(text), text
    assert of(parse_value(text, "ring_count")) in ((None, None, (float(rings),)), None), text
    assert of(parse_value(text, "rear_speeds")) in ((None, None, tuple(map(float, cogs))), None), text
    for limit in ("total_capacity", "largest_cog", "weight", "cogs", "chainline"):
        assert parse_value(text, limit) is None, (limit, text)


NUMERIC = [k for k, r in LIMITS.items() if r.form is not Form.TEXT]
SOUP = st.lists(
    st.sampled_from(["28", "32", "34T", "37", "43,5", "31.8", "2", "11", *DASHES[:2], "/", ",", "x", "max", "min", "to",
                     "T", "mm", "g", "°", "(", ")", "+", "±", "≤", "<", "...", "or", "speed", "Nm", "links"]),
    min_size=1, max_size=6,
)  # fmt: skip


@given(SOUP, st.sampled_from(NUMERIC), st.sampled_from([None, "high", "low"]), st.booleans())
@settings(max_examples=400, deadline=None)
def test_no_number_is_read_that_is_not_printed(words, limit, bound, glued):
    """Whatever stands there; runs of speeds (8-11) apart, which name those between."""
    text = ("" if glued else " ").join(words)
    assume(re.search(r"[^\W_]", text))
    value = parse_value(text, limit, bound)
    if value is None:
        return
    printed = {float(n.replace(",", ".")) for n in re.findall(r"\d+(?:[.,]\d+)?", text)}
    printed |= {float(n) for n in re.findall(r"\d+", text)} | {-n for n in printed}
    printed |= {float(a + b) for a, b in re.findall(r"(\d{1,2})[.,](\d{3})(?!\d)", text)}  # thousands
    said = {n for n in (value.low, value.high, *(value.values or ())) if n is not None}
    if limit in ("rear_speeds", "ring_count"):
        assert min(said) in printed and max(said) in printed, text
    else:
        assert said <= printed, text
    if value.low is not None and value.high is not None:
        assert value.low <= value.high, text


@given(lone_numbers(), st.sampled_from(["except", "instead", "sofern", "Zoll", "sauf", "ungefiltert", "frame", "kg"]),
       st.booleans())  # fmt: skip
@quiet
def test_a_number_beside_unknown_words_is_not_read(drawn, word, first):
    limit, text, bound, _ = drawn
    assert parse_value(f"{word} {text}" if first else f"{text} {word}", limit, bound) is None


@pytest.mark.parametrize(
    ("text", "limit", "bound", "meant"),
    [
        ("37T", "total_capacity", None, (None, 37, None)),
        ("max. 37 Zähne", "total_capacity", None, (None, 37, None)),
        ("min. 37T", "total_capacity", None, None),
        ("33-37T", "total_capacity", None, None),
        ("33/37T", "total_capacity", None, None),
        ("28-32", "largest_cog", None, (28, 32, None)),
        ("32-28T", "largest_cog", None, (28, 32, None)),
        ("28 à 32 dents", "largest_cog", None, (28, 32, None)),
        ("von 28 bis 32", "largest_cog", None, (28, 32, None)),
        ("up to 34 teeth", "largest_cog", None, (None, 34, None)),
        ("34T max / 28T min", "largest_cog", None, (28, 34, None)),
        ("34 (max.)", "largest_cog", None, (None, 34, None)),
        ("<34T", "largest_cog", None, None),
        ("32+2", "largest_cog", None, None),
        ("32T max", "largest_cog", "low", None),
        ("43,5 mm", "chainline", None, (43.5, 43.5, None)),
        ("43.5–45.0 mm", "chainline", None, (43.5, 45, None)),
        ("43,5±0,5 mm", "chainline", None, None),
        ("66-69°", "chainstay_angle", None, (66, 69, None)),
        ("66°–69°", "chainstay_angle", None, (66, 69, None)),
        ("1.250 g", "weight", None, (1250, 1250, None)),
        ("1,250 g", "weight", None, (1250, 1250, None)),
        ("231g", "weight", None, (231, 231, None)),
        ("0.231 kg", "weight", None, None),
        ("231 g / 240 g", "weight", None, None),
        ("5.5 Nm", "pin_length", None, None),
        ("2", "ring_count", None, (None, None, (2,))),
        ("double", "ring_count", None, (None, None, (2,))),
        ("2-fach / 3-fach", "ring_count", None, (None, None, (2, 3))),
        ("1x/2x", "ring_count", None, (None, None, (1, 2))),
        ("10/11", "rear_speeds", None, (None, None, (10, 11))),
        ("8–11", "rear_speeds", None, (None, None, (8, 9, 10, 11))),
        ("11-speed", "rear_speeds", None, (None, None, (11,))),
        ("2x11", "rear_speeds", None, (None, None, (11,))),
        ("2x11", "ring_count", None, (None, None, (2,))),
        ("11-28", "cogs", None, None),
        ("50-34", "rings", None, (None, None, (50, 34))),
        ("50/34T", "rings", None, (None, None, (50, 34))),
        ("31,8/34,9 mm", "clamp_diameter", None, (None, None, (31.8, 34.9))),
        ("165/170/172,5/175", "crank_length", None, (None, None, (165, 170, 172.5, 175))),
        ("170, 172.5, 175 mm", "crank_length", None, (None, None, (170, 172.5, 175))),
        ("170-175 mm", "crank_length", None, None),
        ("114 links", "link_count", None, (None, None, (114,))),
        ("-2T", "capacity_change", None, (-2, -2, None)),
        ("±0", "capacity_change", None, (0, 0, None)),
        ("+4T", "largest_cog_gain", None, (4, 4, None)),
    ],
)
def test_notations_of_the_trade(text, limit, bound, meant):
    """Common practice in print; no single source."""
    assert of(parse_value(text, limit, bound)) == meant


@pytest.mark.parametrize(
    ("text", "limit", "word"),
    [
        ("mechanical (cable)", "actuation", "cable"), ("elektronisch", "actuation", "electronic"),
        ("hydraulique", "actuation", "hydraulic"), ("attacco diretto", "mount", "direct"),
        ("Schelle", "mount", "clamp"),
        ("braze-on", "mount", "braze-on"), ("Anlötsockel", "mount", "braze-on"),
        ("cable / electronic", "actuation", None),
        ("v4.1.0", "firmware_min", "4.1.0"), ("4.10", "firmware_min", "4.10"), ("AB-120", "replaces", "AB-120"),
        ("see note", "replaces", None),
    ],
)  # fmt: skip
def test_words_of_text_limits(text, limit, word):
    value = parse_value(text, limit)
    assert (value.text if value else None) == word


@pytest.mark.parametrize("text", ["", "-", "–", "—", " - ", "n/a", "N.A.", "k.A.", "keine", "aucun", "nessuno", "tbd"])
def test_nothing_is_nothing_under_every_limit(text):
    assert is_nothing(text)
    assert all(parse_value(text, limit) is None for limit in LIMITS)


@pytest.mark.parametrize("text", ["(", ")", "()", ":", "'"])
def test_a_sign_alone_is_no_value(text):
    assert parse_value(text, "total_capacity") is None


def test_a_shared_ending_is_read():
    assert of(parse_value("10- und 11-fach", "rear_speeds")) == (None, None, (10, 11))


def test_a_dutch_range_is_read():
    assert of(parse_value("28 tot 32 tanden", "largest_cog")) == (28, 32, None)


@pytest.mark.parametrize("text", ["0", "37T", "2x", "1", "keine 37"])
def test_something_is_not_nothing(text):
    assert not is_nothing(text)


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("37T", [("37T", (), False)]),
        ("37T^{2}", [("37T", ("2",), False)]),
        ("39 (35^{2})", [("39", (), False), ("35", ("2",), True)]),
        ("37T*", [("37T", ("*",), False)]),
        ("37T¹", [("37T", ("1",), False)]),
        ("37T†", [("37T", ("†",), False)]),
        ("32^{1} ^{2}", [("32", ("1", "2"), False)]),
    ],
)
def test_footnote_marks_are_parted_from_numbers(text, pieces):
    assert [(p.text, p.marks, p.inside) for p in split_marked(text)] == pieces


def test_the_unit_read_is_kept_and_a_foreign_one_refused():
    assert parse_value("37T", "total_capacity").unit is Unit.TEETH
    assert parse_value("37", "total_capacity").unit is None
    assert parse_value("37 mm", "total_capacity") is None
    assert parse_value("43.5 T", "chainline") is None


@pytest.mark.parametrize(
    ("limit", "value", "good"),
    [
        ("total_capacity", Value(high=37), True), ("total_capacity", Value(high=370), False),
        ("total_capacity", Value(high=37.5), False), ("cogs", Value(values=tuple(range(11, 40))), False),
        ("shift_family", Value(text="Lod 2"), True),
    ],
)  # fmt: skip
def test_plausible(limit, value, good):
    assert plausible(limit, value.low, value.high, value.values) is good


def test_most_notations_are_read_and_not_only_refused():
    """A fixed sample of the grammar, so that refusing everything does not pass."""
    samples = [
        ("largest_cog", f"28{s}{d}{s}32{u}", (28, 32, None)) for d in DASHES for s in ("", " ") for u in ("", "T", " T")
    ]
    samples += [("largest_cog", f"28 {w} 32 {u}", (28, 32, None)) for w in TO[:4] for u in TEETH]
    samples += [("largest_cog", f"{m} 32{u}", (None, 32, None)) for m in MAX for u in ("", "T", " Zähne")]
    samples += [("largest_cog", f"28{u} {m}", (28, None, None)) for m in MIN[:3] for u in ("", "T")]
    samples += [
        ("rear_speeds", f"10{j}11{u}", (None, None, (10, 11))) for j in ("/", ", ", " / ") for u in ("", "-speed")
    ]
    read = [of(parse_value(text, limit)) == meant for limit, text, meant in samples]
    assert sum(read) >= 0.97 * len(samples), [s[1] for s, good in zip(samples, read, strict=True) if not good]
