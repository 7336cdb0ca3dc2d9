"""Who made a document: the name that heads it and comes back in its margins; never a trade word."""

import pytest
from cogledger.extract.makers import find_maker, without_maker


def pages_of(pen, contents, head, foot, pages=2, body="Total capacity 37T"):
    drawn = pen()
    for n in range(pages):
        drawn.text(50, 50, head, 16, bold=True)
        drawn.text(50, 300, body, 9)
        drawn.text(50, 800, foot.format(n + 1), 7)
        drawn.page()
    return contents(drawn.save())


@pytest.mark.parametrize(
    ("head", "foot", "maker"),
    [
        ("Brambel", "Brambel · {}", "Brambel"), ("BRAMBEL", "Brambel · {}", "Brambel"),
        ("Brambel technical data", "Brambel · 4711 · {}", "Brambel"), ("Technical data", "page {}", None),
        ("Rear derailleurs", "Rear derailleurs {}", None), ("KX710", "KX710 {}", None),
    ],
)  # fmt: skip
def test_the_maker_is_a_name_in_the_margins(pen, contents, head, foot, maker):
    assert find_maker(pages_of(pen, contents, head, foot)) == maker


def test_one_mention_in_the_text_is_no_maker(pen, contents):
    drawn = pen()
    drawn.text(50, 300, "Made for Ombrel bikes", 9)
    assert find_maker(contents(drawn.save())) is None


def test_no_pages_no_maker():
    assert find_maker([]) is None


@pytest.mark.parametrize(
    ("code", "maker", "bare"),
    [
        ("Halmgren H1.369", "Halmgren", "H1.369"),
        ("HALMGREN H1.369", "Halmgren", "H1.369"),
        ("H1.369", "Halmgren", "H1.369"),
        ("Old Mill 20 X", "Old Mill", "20 X"),
        ("Halmgren", "Halmgren", "Halmgren"),
        ("Halmgren Astrel", "Halmgren", "Halmgren Astrel"),
        ("Astrel N25", "Halmgren", "Astrel N25"),
        ("Astrel N25", None, "Astrel N25"),
    ],
)
def test_a_code_is_told_without_the_name_of_its_maker(code, maker, bare):
    assert without_maker(code, maker) == bare


def test_a_name_that_stands_before_codes_only_belongs_to_them(pen, contents):
    drawn = pen("names.pdf")
    for n, line in enumerate(("Quenby K90 (Cassette)", "Weight: 251 g", "Quenby K44 (Cassette)", "Weight: 270 g")):
        drawn.text(50, 50 + 16 * n, line, 12)
    assert find_maker(contents(drawn.save())) != "Quenby"
