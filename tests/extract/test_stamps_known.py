"""Known codes as an index, shapes of codes, and tooth notations. All codes are invented."""

import math
import random
import string
import time

import numpy as np
import pytest
from cogledger.extract.stamps.grids import BLANK, CLASSES, as_grid, class_of
from cogledger.extract.stamps.known import MOST_COMPARED, index_codes, split_variant
from cogledger.extract.stamps.shapes import learn_shapes
from cogledger.extract.stamps.spans import Glance
from cogledger.extract.stamps.teeth import find_teeth, is_teeth_key, notations, parse_teeth
from cogledger.schema.parts import lookalike_key
from rapidfuzz.distance import Levenshtein


def many_codes(count: int, seed: int = 3) -> list[str]:
    chance = random.Random(seed)
    shapes = ("AAA000", "AA0000", "A0000A", "AA00A", "AAA0000", "AAAA000")
    sign = {"A": string.ascii_uppercase, "0": string.digits}
    return ["".join(chance.choice(sign[c]) for c in chance.choice(shapes)) for _ in range(count)]


def test_codes_are_known_by_key_and_come_back_as_printed():
    known = index_codes(["KD-4411", "QVX 218", "qvx331", "", "**"])
    assert set(known.keys) == {"KD4411", "QVX218", "QVX331"}
    assert known.printed["KD4411"] == "KD-4411"
    assert "KD4411" in known and "KD4412" not in known and len(known) == 3


@pytest.mark.parametrize(
    ("code", "parts"),
    [("QVX240 M", ("QVX240", "M")), ("QVX240 V2", ("QVX240", "V2")), ("QVX240", ("QVX240", None)),
     ("KD 4411", ("KD 4411", None)), ("QVX240 medium cage", ("QVX240 medium cage", None)), ("QVX M", ("QVX M", None))],
)  # fmt: skip
def test_variants_behind_known_codes(code, parts):
    assert split_variant(code) == parts


def test_the_variants_of_a_code_are_kept_together():
    known = index_codes(["QVX240 M", "QVX240", "QVX240 S", "KD-4411"])
    assert len(known) == 2 and known.variants == {"QVX240": {"M", "S"}}


def test_an_index_is_taken_as_it_is_and_lists_are_indexed_once():
    codes = many_codes(50)
    index = index_codes(codes)
    assert index_codes(index) is index and index_codes(list(codes)) is index


@pytest.mark.parametrize("count", [300, MOST_COMPARED + 3000])
def test_the_nearest_codes_are_found_as_by_comparing_with_each(count):
    codes = many_codes(count)
    known = index_codes(codes)
    chance = random.Random(5)
    missed = 0
    for code in chance.sample(list(known.keys), 60):
        place = chance.randrange(len(code))
        misread = code[:place] + chance.choice(string.ascii_uppercase + string.digits) + code[place + 1 :]
        found = known.nearest([misread], 12)
        least = min(Levenshtein.distance(lookalike_key(misread), lookalike_key(key)) for key in known.keys)
        best = min(Levenshtein.distance(lookalike_key(misread), lookalike_key(key)) for key in found)
        missed += best > least or (least == 1 and code not in found and len(found) < 12)
    assert missed == 0


def test_a_million_codes_are_searched_in_a_fraction_of_the_time_a_photo_has():
    known = index_codes(many_codes(1_000_000))
    known.prepare()
    known.nearest(["QVX417"], 12)
    start = time.process_time()
    found = known.nearest([f"{known.keys[n][:-1]}7" for n in range(0, 8000, 1000)], 12)
    assert time.process_time() - start < 0.2, "0.05 s are meant; four times that for slow machines"
    assert found


def test_nothing_is_near_where_nothing_is_known():
    assert index_codes([]).nearest(["QVX417"], 5) == []
    assert index_codes(["QVX417"]).nearest([], 5) == []


def test_strings_of_the_shape_of_known_codes_are_likelier():
    shapes = learn_shapes(["QVX240", "QVX248", "QVS187", "KD4411", "KD4470"])
    same_series, same_shape, other = (shapes.log_chance(key) for key in ("QVX231", "ZHW231", "Z1H2W3"))
    assert same_series > same_shape > other > -math.inf
    assert shapes.log_chance("HALDORN") == -math.inf and shapes.log_chance("0652") == -math.inf


def test_chances_of_all_strings_of_a_length_sum_to_less_than_one():
    """Over every string of four signs, without a store and with one."""
    import itertools

    for codes in ([], ["Q417", "R417", "QV12"]):
        shapes = learn_shapes(codes)
        whole = 0.0
        for shape in itertools.product("A0", repeat=4):
            count = math.prod(26 if c == "A" else 10 for c in shape)
            chances = [math.exp(shapes.log_chance("".join("Q" if c == "A" else "4" for c in shape), 0.0))]
            whole += count * float(np.mean(chances))
        assert whole <= 1.0


@pytest.mark.parametrize(
    ("word", "teeth"),
    [("50-34T", (50, 34)), ("11-28", (11, 28)), ("11/32T", (11, 32)), ("52T", (52,)), ("9T", (9,)), ("34-50T", ()),
     ("16-50", ()), ("99T", ()), ("QVX417", ()), ("52", ()), ("2024", ()), ("", ())],
)  # fmt: skip
def test_tooth_notations(word, teeth):
    assert parse_teeth(word) == teeth


def test_every_notation_is_one_and_keys_tell_them():
    assert all(parse_teeth(word) for word in notations()) and len(set(notations())) == len(notations())
    assert is_teeth_key("5034T") and is_teeth_key("1128") and not is_teeth_key("QVX417")


def glances(text: str, doubts: dict[int, tuple[str, float]] | None = None) -> list[Glance]:
    shares = np.full((2 * len(text) + 1, CLASSES), 1e-5)
    shares[:, BLANK] = 0.02
    shares[::2, BLANK] = 1.0
    for place, sign in enumerate(text):
        other, share = (doubts or {}).get(place, (sign, 0.0))
        shares[2 * place + 1, class_of(sign)] += 1 - share
        shares[2 * place + 1, class_of(other)] += share
    return [Glance(as_grid(shares))]


def teeth_of(seen: list[Glance]):
    return find_teeth(seen, np.ones(len(seen)) / len(seen), 3.3, 0.1)


@pytest.mark.parametrize(
    ("text", "teeth"),
    [("50-34T", (50, 34)), ("QVX417 11-28", (11, 28)), ("11-28 R", (11, 28)), ("52T", (52,)), ("5O-34T", (50, 34)),
     ("48/36T", (48, 36))],
)  # fmt: skip
def test_tooth_counts_are_read_off_a_line(text, teeth):
    found = teeth_of(glances(text, {1: ("0", 0.4)} if text.startswith("5O") else None))
    assert found is not None and found.teeth == teeth and found.odds > 0


@pytest.mark.parametrize("text", ["QVX417", "HALDORN", "XK 0624", "4 VW", "1128", "0652"])
def test_other_lines_hold_no_tooth_counts(text):
    found = teeth_of(glances(text))
    assert found is None or found.odds < 0


def test_a_doubtful_count_is_less_sure():
    clear, dim = teeth_of(glances("50-34T")), teeth_of(glances("50-34T", {1: ("2", 0.5)}))
    assert clear and dim and dim.odds < 0.5 < clear.odds
