"""Who made a document: the name that heads it and comes back in its margins; never a trade word."""

import pytest
from cogledger.extract.makers import find_maker


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
