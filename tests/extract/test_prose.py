"""Limits inside sentences: the number that the words speak of, with the part that they speak of, or nothing."""

import pytest


def sheet(pen, *sentences, head="Rear derailleur KX710"):
    drawn = pen()
    if head:
        drawn.text(60, 90, head, 12, bold=True)
    y = 120.0
    for sentence in sentences:
        line = ""
        for word in sentence.split():
            if len(line) + len(word) > 85:
                drawn.text(60, y, line, 10)
                y, line = y + 12.5, ""
            line = f"{line} {word}".strip()
        drawn.text(60, y, line, 10)
        y += 30
    return drawn.save()


def told(reading):
    return {(c.part_code, c.variant, c.limit, c.low, c.high) for c in reading.claims}


@pytest.mark.parametrize(
    ("sentence", "wanted"),
    [
        ("The total capacity of this model is 37 teeth.", ("total_capacity", None, 37)),
        ("Its total capacity must not exceed 37 teeth in any case.", ("total_capacity", None, 37)),
        ("The largest cog may have up to 34 teeth on every bike.", ("largest_cog", None, 34)),
        ("It weighs 231 g including the screws that come with it.", ("weight", 231, 231)),
        ("Die Gesamtkapazität beträgt 37 Zähne bei allen Rahmen.", ("total_capacity", None, 37)),
        ("Das größte Ritzel darf höchstens 34 Zähne haben, nicht mehr.", ("largest_cog", None, 34)),
        ("La capacité totale est de 37 dents pour ce modèle précis.", ("total_capacity", None, 37)),
        ("La capacità totale è di 37 denti per questo modello qui.", ("total_capacity", None, 37)),
        ("La capacidad total es de 37 dientes para este modelo solo.", ("total_capacity", None, 37)),
        ("De totale capaciteit bedraagt 37 tanden voor dit model hier.", ("total_capacity", None, 37)),
    ],
)
def test_a_sentence_is_read_as_meant_or_not_at_all(pen, read, sentence, wanted):
    assert told(read(sheet(pen, sentence))) in ({("KX710", None, *wanted)}, set())


def test_most_plain_sentences_are_read(pen, read):
    path = sheet(pen, "The total capacity of this derailleur is 37 teeth. Its largest cog may have up to 34 teeth. "
                      "It weighs 231 g in all.")  # fmt: skip
    assert told(read(path)) == {("KX710", None, "total_capacity", None, 37), ("KX710", None, "largest_cog", None, 34),
                                ("KX710", None, "weight", 231, 231)}  # fmt: skip


@pytest.mark.parametrize(
    "sentence",
    [
        "Tighten the bolt with 5 to 7 Nm and check the torque again after 100 km of riding.",
        "Our works have made parts since 1987 with 250 people in 34 countries of the world.",
        "Replace the chain after 3000 km, or earlier when the gauge shows 0.75 percent of wear.",
        "Use the 5 mm hex key of the tool kit and turn it by 90 degrees until it clicks home.",
        "The warranty runs for 2 years from the day of purchase, 3 years with registration.",
        "See page 37 for the total of all tools, and chapter 34 for the cogs and their care.",
        "Call 0800 37 34 28 on working days between 9 and 17 for help with the derailleur.",
    ],
)
def test_other_numbers_state_no_limit(pen, read, sentence):
    assert told(read(sheet(pen, sentence))) == set()


def test_a_sentence_about_another_part_is_not_about_the_heading(pen, read):
    path = sheet(pen, "The total capacity of the KX720 is 33 teeth, less than that of its bigger sister.")
    assert not {k for k in told(read(path)) if k[0] == "KX710"}


def test_two_variants_in_one_sentence_keep_their_own_numbers(pen, read):
    path = sheet(pen, "With the short cage the total capacity is 31 teeth, with the long cage it is 39 teeth.")
    found = {(variant, high) for _, variant, _, _, high in told(read(path))}
    assert found <= {("short cage", 31), ("long cage", 39)}


@pytest.mark.parametrize("mark", ["'{}'", "“{}”", "{}", "({})"])
def test_a_code_with_a_version_behind_it_is_the_part_that_is_spoken_of(pen, read, mark):
    """The number of the long version never goes to the short one, whatever stands around its code."""
    short, long = mark.format("KX710-S"), mark.format("KX710-L")
    words = (
        f"The version {short} has a total capacity of 31 teeth. The version {long} has a total capacity of 39 teeth."
    )
    path = sheet(pen, words, head="Rear derailleurs")
    found = {(code, high) for code, _, _, _, high in told(read(path))}
    assert found <= {("KX710-S", 31), ("KX710-L", 39)}


def test_without_a_part_a_sentence_is_no_claim(pen, read):
    path = sheet(pen, "The total capacity is 37 teeth and the largest cog may have 34 teeth.", head=None)
    assert told(read(path)) == set()


@pytest.mark.parametrize(
    "sentence",
    [
        "The total capacity is not 37 teeth, as was printed here before, and we are sorry for that.",
        "Older models had a total capacity of 33 teeth, which this derailleur surpasses by far.",
        "With an extender the largest cog may have up to 40 teeth on this derailleur here.",
    ],
)
def test_a_number_that_does_not_hold_is_not_claimed(pen, read, sentence):
    assert told(read(sheet(pen, sentence))) == set()


OPENER = "The KX710-7 is our rear derailleur for long days."


@pytest.mark.parametrize(
    ("leads", "names"),
    [
        (("In its KC form,", "In the LC version,"), ("KC", "LC")),
        (("With the Sh,", "With the Lg,"), ("Sh", "Lg")),
        (("In its short form,", "In the long version,"), ("short", "long")),
        (("In the 'C50' version", "In the 'C60' version"), ("C50", "C60")),
        (("With the Touring cage,", "With the Standard cage,"), ("Touring cage", "Standard cage")),
    ],
)
def test_the_first_words_of_sentences_name_versions_that_nobody_listed(pen, read, leads, names):
    drawn = pen()
    for n, line in enumerate((OPENER, f"{leads[0]} the total capacity is 33 teeth.",
                              f"{leads[1]} the total capacity is 39 teeth. It weighs 240 g.")):  # fmt: skip
        drawn.text(60, 90 + 13 * n, line, 10)
    assert {(c.part_code, c.variant, c.limit, c.high) for c in read(drawn.save()).claims} == {
        ("KX710-7", names[0], "total_capacity", 33), ("KX710-7", names[1], "total_capacity", 39),
        ("KX710-7", names[1], "weight", 240)}  # fmt: skip


def test_a_lone_odd_word_is_no_version_and_its_sentence_is_left(pen, read):
    drawn = pen()
    for n, line in enumerate((OPENER, "In its KC form, the total capacity is 33 teeth. It weighs 240 g.")):
        drawn.text(60, 90 + 13 * n, line, 10)
    assert not read(drawn.save()).claims


def test_what_is_said_of_a_short_code_holds_for_the_longer_ones_named_after_it(pen, read):
    drawn = pen()
    for n, line in enumerate((OPENER, "The smallest sprocket must have at least 11 teeth.",
                              "With the KX710-7.c, the total capacity is 33 teeth.",
                              "With the KX710-7.l, the total capacity is 39 teeth.")):  # fmt: skip
        drawn.text(60, 90 + 13 * n, line, 10)
    assert {(c.part_code, c.limit, c.low, c.high) for c in read(drawn.save()).claims} == {
        ("KX710-7.c", "smallest_cog", 11, None), ("KX710-7.l", "smallest_cog", 11, None),
        ("KX710-7.c", "total_capacity", None, 33), ("KX710-7.l", "total_capacity", None, 39)}  # fmt: skip
