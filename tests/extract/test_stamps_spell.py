"""Words read many times → code, variant, teeth, with probabilities that stay honest. All codes are invented."""

import pytest
from cogledger.extract.stamps.locate import LineBox
from cogledger.extract.stamps.recognise import Look, Pose
from cogledger.extract.stamps.spell import find_probabilities, find_spellings
from cogledger.extract.stamps.teeth import find_teeth, find_variant, is_code, parse_teeth

POSE = Pose(LineBox(100, 100, 120, 40, 0, 1), False)
OTHER = Pose(LineBox(300, 100, 120, 40, 0, 1), True)


def looks(*texts: str, confidence: float = 0.8) -> list[Look]:
    return [Look(tuple(text.split()), confidence) for text in texts]


def spell(seen, known=()):
    spellings = find_spellings({POSE: seen}, known)
    return [(s.code, s.known, p) for s, p in zip(spellings, find_probabilities(spellings), strict=True)]


@pytest.mark.parametrize(
    ("word", "teeth"),
    [
        ("50-34T", (50, 34)),
        ("11-28", (11, 28)),
        ("11/32T", (11, 32)),
        ("52T", (52,)),
        ("5OT", (50,)),
        ("1I-28", (11, 28)),
        ("34-50T", ()),
        ("16-50", ()),
        ("99T", ()),
        ("QVX417", ()),
        ("SOST", ()),
        ("OIT", ()),
        ("2024", ()),
        ("", ()),
    ],
)
def test_tooth_notations(word, teeth):
    assert parse_teeth(word) == teeth


@pytest.mark.parametrize("word", ["QVX417", "K7-120", "QV-4411", "B3-204M", "QVXB1"])
def test_words_with_the_shape_of_a_code(word):
    assert is_code(word)


@pytest.mark.parametrize("word", ["QVX", "41170", "QV1", "50-34T", "52T", "A-B-1C", "QVX417QVX417", "QVX.417"])
def test_words_without_it(word):
    assert not is_code(word)


def test_a_code_read_alike_every_time_is_sure():
    code, known, chance = spell(looks(*["QVX417"] * 16), ["QVX417", "MRK552"])[0]
    assert (code, known) == ("QVX417", True) and chance >= 0.9


def test_a_misread_sign_is_put_right_by_the_known_codes():
    seen = looks(*["QVX4I7"] * 9, *["QVX417"] * 4, *["0VX417"] * 3)
    code, known, chance = spell(seen, ["QVX417", "MRK552", "TAB901"])[0]
    assert (code, known) == ("QVX417", True) and chance > 0.5


def test_known_near_neighbours_share_the_probability():
    seen = looks(*["QVX408"] * 8, *["QVX40B"] * 8)
    answers = spell(seen, ["QVX408", "QVX40B"])
    assert {code for code, _, _ in answers[:2]} == {"QVX408", "QVX40B"}
    assert answers[0][2] < 0.9 and answers[1][2] > 0.05


def test_a_legible_code_that_is_not_known_is_named_unknown():
    code, known, chance = spell(looks(*["QVX417"] * 16), ["MRK552", "TAB901"])[0]
    assert (code, known) == ("QVX417", False) and chance > 0.5


def test_the_printed_form_keeps_its_hyphen():
    assert spell(looks(*["QV-4417"] * 12, *["QV4417"] * 4))[0][0] == "QV-4417"
    assert spell(looks(*["QV4417"] * 16), ["QV-4417"])[0][0] == "QV-4417"


def test_a_gap_inside_a_known_code_does_no_harm():
    code, known, _ = spell(looks(*["QVX 417"] * 16), ["QVX417", "MRK552"])[0]
    assert (code, known) == ("QVX417", True)


def test_what_differs_each_time_is_no_code():
    seen = looks("WVE1", "S77M", "A4K9", "H1TT2", "ZZ31", "KY8", "PL0", "QR5T", "B1B2", "LX70", confidence=0.1)
    answers = spell(seen, [f"QVX{n}" for n in range(100, 400)])
    assert all(chance < 0.35 for _, _, chance in answers)


def test_nothing_read_gives_nothing():
    assert spell(looks(*[""] * 10), ["QVX417"]) == []
    assert find_probabilities([]) == []


def test_probabilities_never_exceed_one():
    for seen in (looks("QVX417"), looks(*["QVX417"] * 30), looks("QVX417", "QVX4I7", "0VX417")):
        assert sum(chance for _, _, chance in spell(seen, ["QVX417", "QVX411"])) <= 1 + 1e-9


def test_more_looks_that_agree_make_it_surer():
    few, many = spell(looks(*["QVX417"] * 4), ["QVX417"]), spell(looks(*["QVX417"] * 16), ["QVX417"])
    assert few[0][2] < many[0][2]


def test_tooth_counts_need_agreement():
    assert find_teeth(looks("QVX417 50-34T", "QVX417 50-34T", "QVX417 58-34T")) == (50, 34)
    assert find_teeth(looks("50-34T", "A", "B", "C", "D", "E")) == ()
    assert find_teeth(looks("QVX417", "QVX417")) == ()


def test_the_variant_is_the_letter_stamped_apart():
    assert find_variant(looks(*["QVX417 M"] * 5, "QVX417"), "QVX417") == "M"
    assert find_variant(looks(*["QVX417 V2"] * 5), "QVX417") == "V2"
    assert find_variant(looks(*["QVX417M"] * 5), "QVX417") == "M"
    assert find_variant(looks(*["QVX417"] * 5, "QVX417 M"), "QVX417") is None
    assert find_variant(looks(*["QVX417 50-34T"] * 5), "QVX417") is None
    assert find_variant(looks("ELSE 12"), "QVX417") is None
    assert find_variant(looks(*["QV-4417 L"] * 5), "QV-4417") == "L"


def test_the_better_of_two_poses_is_named():
    spellings = find_spellings({OTHER: looks(*["QVX4I7"] * 3), POSE: looks(*["QVX417"] * 9)}, ["QVX417"])
    assert spellings[0].code == "QVX417" and spellings[0].pose == POSE
