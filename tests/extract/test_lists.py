"""Lists of other looks: bullets, items run in, groups that complete their labels, versions inside a list."""

import pytest
from cogledger.extract.layouts.heads import parse_part_line
from cogledger.extract.layouts.items import Asker, asker_below


def told(reading):
    return {(c.part_code, c.variant, c.limit, c.low, c.high, c.values, c.text) for c in reading.claims}


def sheet(pen, rows, head="Rear derailleur: KX710 H"):
    drawn = pen()
    drawn.text(60, 90, head, 12, bold=True)
    for n, row in enumerate(rows):
        x, text, bold = row if isinstance(row, tuple) else (60, row, False)
        drawn.text(x, 110 + 14 * n, text, 9, bold=bold)
    return drawn.save()


PAIRS = (("Total capacity", "37T"), ("Largest cog", "28-34T"), ("Weight", "231 g"), ("Mount", "direct mount"))
WANTED = {
    ("KX710 H", None, "total_capacity", None, 37, None, None),
    ("KX710 H", None, "largest_cog", 28, 34, None, None),
    ("KX710 H", None, "weight", 231, 231, None, None),
    ("KX710 H", None, "mount", None, None, None, "direct"),
}


@pytest.mark.parametrize("sign", ["–", "-", "·", "»", "*", "•"])
@pytest.mark.parametrize("link", [" ", ": ", " – ", " = "])
def test_bullets_with_and_without_a_sign_behind_the_label(pen, read, sign, link):
    rows = [f"{sign} {label}{link}{value}" for label, value in PAIRS]
    assert told(read(sheet(pen, rows))) == WANTED


@pytest.mark.parametrize("bar", ["; ", " | ", " · "])
@pytest.mark.parametrize("link", [" ", ": ", " – "])
def test_items_run_in_over_the_ends_of_lines(pen, read, bar, link):
    items = [f"{label}{link}{value}" for label, value in PAIRS]
    words = bar.join(items).split(" ")
    rows = [" ".join(words[:6]), " ".join(words[6:])]
    assert told(read(sheet(pen, rows))) == WANTED


@pytest.mark.parametrize(("dash", "indent"), [("", 14), ("– ", 0), ("· ", 14)])
def test_groups_complete_the_labels_below_them(pen, read, dash, indent):
    rows = [
        "Cassette",
        (60 + indent, f"{dash}Largest 28-34T", False),
        (60 + indent, f"{dash}Smallest 11T", False),
        "Chainrings",
        (60 + indent, f"{dash}Max. difference 16T", False),
        "Cage",
        (60 + indent, f"{dash}Total capacity 37T", False),
    ]
    assert told(read(sheet(pen, rows))) == {
        ("KX710 H", None, "total_capacity", None, 37, None, None),
        ("KX710 H", None, "largest_cog", 28, 34, None, None),
        ("KX710 H", None, "smallest_cog", 11, None, None, None),
        ("KX710 H", None, "front_difference", None, 16, None, None),
    }


def test_a_section_of_another_part_is_no_group(pen, read):
    rows = [("Total capacity: 37T"), ("Cassette"), (74, "Cogs: 11-12-13-15-17-19-21-24-28T", False),
            (74, "Weight: 301 g", False)]  # fmt: skip
    assert told(read(sheet(pen, rows))) == {("KX710 H", None, "total_capacity", None, 37, None, None)}


def test_the_weight_below_another_part_is_not_that_of_the_first(pen, read):
    rows = ["Total capacity: 37T", "Cassette", (74, "Largest 28-34T", False), (74, "Weight 301 g", False)]
    assert "weight" not in {c.limit for c in read(sheet(pen, rows)).claims}


@pytest.mark.parametrize("names", [("KC", "LC"), ("Sh", "Lg"), ("Form A", "Form B"), ("C50", "C60")])
def test_versions_that_nobody_listed_are_told_by_their_repeated_labels(pen, read, names):
    rows = ["Weight: 231 g", (60, names[0], True), (68, "Total capacity: 33T", False),
            (68, "Largest cog: 25-28T", False), (60, names[1], True), (68, "Total capacity: 39T", False),
            (68, "Largest cog: 28-34T", False)]  # fmt: skip
    short, long = (n.split()[-1] for n in names)
    assert told(read(sheet(pen, rows))) == {
        ("KX710 H", None, "weight", 231, 231, None, None),
        ("KX710 H", short, "total_capacity", None, 33, None, None),
        ("KX710 H", short, "largest_cog", 25, 28, None, None),
        ("KX710 H", long, "total_capacity", None, 39, None, None),
        ("KX710 H", long, "largest_cog", 28, 34, None, None),
    }


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("Rear derailleur: KX 710", "KX 710"), ("KX 710 H – Rear derailleur", "KX 710 H"),
        ("KX8/517 (Chain)", "KX8/517"),
        ("Chain 10362.5", "10362.5"), ("Orrin H89 – Crankset", "Orrin H89"), ("Cassette 11-34T", None),
        ("Chain 11-speed", None), ("Cassette 2024", None), ("Rear derailleur", None), ("Weight: 231 g", None),
        ("Rear derailleur KX710 (see page 3)", None), ("Our rear derailleur KX710 is new", None),
        ("Rear derailleur gadget KX 294", None),
    ],
)  # fmt: skip
def test_lines_that_name_a_part_name_all_of_its_code(line, code):
    found = parse_part_line(line, ("en",))
    assert (found.code if found else None) == code


def test_a_group_completes_a_label_that_says_too_little_alone():
    assert not Asker(("en",)).hits("outer")
    assert asker_below("Front", frozenset(), ("en",)).hits("Outer")[0].limit == "big_ring"
    assert asker_below("Cassette", frozenset({"weight"}), ("en",)).hits("Weight") == ()


def test_an_open_bracket_goes_on_in_the_next_line(pen, read):
    rows = ["Largest cog: 28-34T", "Total capacity: 37T (41T if used with", "3 chainrings)", "Weight: 231 g"]
    found = {(c.limit, c.high, tuple((c.condition or {}).items())) for c in read(sheet(pen, rows)).claims}
    assert found >= {("largest_cog", 34, ()), ("weight", 231, ())}
    assert found <= {("largest_cog", 34, ()), ("weight", 231, ()), ("total_capacity", 37, ()),
                     ("total_capacity", 41, (("ring_count", 3.0),))}  # fmt: skip
