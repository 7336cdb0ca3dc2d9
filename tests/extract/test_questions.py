"""Questions and their answers, drawn on pages; the sentences are our own, in the manner of dealers' leaflets."""

import pytest


def told(reading):
    return {(c.part_code, str(c.part_kind), c.limit, c.low, c.high, c.values) for c in reading.claims}


def asked(pen, *lines):
    drawn = pen()
    drawn.text(60, 90, "Frequently asked", 12, bold=True)
    for n, line in enumerate(lines):
        drawn.text(60, 120 + 15 * n, line, 9)
    return drawn.save()


KX = ("KX710", "rear_derailleur")


@pytest.mark.parametrize(
    "lines",
    [
        ("What is the largest sprocket of the KX710?", "34 teeth.", "What is the total capacity of the KX710?",
         "39 teeth."),
        ("What is the largest sprocket of the KX710? – 34 teeth.", "What is the total capacity of the KX710? – 39T."),
        ("Q: Which largest sprocket does the KX710 take?", "A: It is 34 teeth.",
         "Q: Which total capacity does the KX710 have?", "A: It is at most 39 teeth."),
        ("I own a KX710. What is its largest sprocket?", "It is max. 34T.",
         "I own a KX710. What is its total capacity?", "It is 39T."),
        ("F: größtes Ritzel des KX710?", "34 Zähne.", "F: Gesamtkapazität des KX710?", "höchstens 39 Zähne."),
        ("¿Cuál es el valor «piñón más grande» del KX710?", "34 dientes.", "¿Cuál es la «capacidad total» del KX710?",
         "39 dientes."),
    ],
)  # fmt: skip
def test_questions_with_answers(pen, read, lines):
    assert told(read(asked(pen, *lines))) == {
        (*KX, "largest_cog", None, 34, None), (*KX, "total_capacity", None, 39, None)}  # fmt: skip


def test_a_part_whose_kind_its_limits_do_not_tell_is_held_back(pen, read):
    reading = read(asked(pen, "What is the weight of the KX710?", "It is 231 g."))
    assert not reading.claims and reading.held_back


@pytest.mark.parametrize(
    "answer",
    ["34 teeth, but 36 with one ring.", "Not more than you think: 34 teeth or 36 teeth.", "That depends.",
     "See the KX720.", "It is not 34 teeth."],
)  # fmt: skip
def test_answers_that_say_more_than_a_value_give_none(pen, read, answer):
    found = told(read(asked(pen, "What is the largest sprocket of the KX710?", answer,
                            "What is the total capacity of the KX710?", "39 teeth.")))  # fmt: skip
    assert "largest_cog" not in {limit for _, _, limit, *_ in found}


def test_questions_with_a_condition_give_nothing_without_it(pen, read):
    found = read(asked(pen, "What is the total capacity of the KX710 with two chainrings?", "37 teeth."))
    assert all(c.condition for c in found.claims)


def test_questions_with_two_codes_name_no_part(pen, read):
    assert not read(asked(pen, "Is the total capacity of the KX710 that of the KX720?", "39 teeth.")).claims
