"""Drawn cases in which a hasty reading would say that a part takes more than it does: the right number, or none."""

import pytest


@pytest.fixture
def listed(pen, read):
    """The claims of lines under a heading; a line that starts with ! is bold."""

    def of(lines, head="Rear derailleur KX710"):
        drawn = pen()
        drawn.text(50, 90, head, 12, bold=True)
        for n, line in enumerate(lines):
            drawn.text(60, 120 + 16 * n, line.lstrip("!"), 9, bold=line.startswith("!"))
        return read(drawn.save()).claims

    return of


@pytest.fixture
def tabled(pen, read):
    """The claims of a ruled table, with notes below it."""

    def of(rows, notes=(), head="Rear derailleurs"):
        drawn = pen()
        drawn.text(50, 90, head, 12, bold=True)
        drawn.table(rows)
        for n, note in enumerate(notes):
            drawn.text(50, 300 + 14 * n, note, 8)
        return read(drawn.save()).claims

    return of


def sure_of(claims, limit):
    """What is claimed of a limit at 0.9 or more: code, variant, low, high, condition."""
    return {(c.part_code, c.variant, c.low, c.high, tuple((c.condition or {}).items()))
            for c in claims if c.limit == limit and c.confidence >= 0.9}  # fmt: skip


@pytest.mark.parametrize(
    ("sentence", "least", "most"),
    [
        ("The largest cog must not have more than 36 teeth on any of these bikes.", None, 36),
        ("The largest cog may have at most 36 teeth on any of these bikes.", None, 36),
        ("The largest cog must have at least 28 teeth on any of these bikes.", 28, None),
        ("The largest cog must not have less than 28 teeth on any of these bikes.", 28, None),
        ("The largest cog must have fewer than 36 teeth on any of these bikes.", None, 35),
        ("The largest cog must be smaller than 36 teeth on any of these bikes.", None, 35),
        ("The largest cog has to have more than 28 teeth on any of these bikes.", 29, None),
    ],
)  # fmt: skip
def test_the_bound_of_a_sentence_is_never_turned_round(listed, sentence, least, most):
    found = {(c.low, c.high) for c in listed([sentence]) if c.limit == "largest_cog"}
    assert found <= {(least, most)}


def _variants(short, long):
    """Nothing surer than what the sheet says of each cage."""
    return {("KX710", v, None, n, ()) for words, n in ((short, 31), (long, 39)) for v in words}


@pytest.mark.parametrize(
    ("short", "long"),
    [
        ("Short cage", "Long cage"), ("Chape courte", "Chape longue"),
        ("Short", "Long"),
        ("Short cage / gabbia corta", "Long cage / gabbia lunga"),
        ("For city bikes", "For touring"),
    ],
)  # fmt: skip
def test_numbers_of_two_versions_never_both_go_to_the_bare_code(listed, short, long):
    claims = listed(["Weight: 231 g", f"!{short}", "Total capacity: 31T", f"!{long}", "Total capacity: 39T"])
    assert sure_of(claims, "total_capacity") <= _variants({short, "Short"}, {long, "Long"})


@pytest.mark.parametrize(
    "line",
    [
        "Total capacity: 31T (short cage), 39T (long cage)",
        "Total capacity: 37T (double), 43T (triple)",
        "Total capacity (S/M/L): 31/35/39T",
        "Total capacity S 31T, M 35T, L 39T",
    ],
)  # fmt: skip
def test_several_values_on_one_line_never_become_one_for_all(listed, line):
    assert not {k for k in sure_of(listed([line]), "total_capacity") if k[1] is None and not k[4]}


@pytest.mark.parametrize(
    "label",
    ["Largest cog (S/L)",
     "Largest cog (short/long cage)"],
)  # fmt: skip
def test_values_of_two_versions_are_no_range(listed, label):
    assert not {k for k in sure_of(listed([f"{label}: 28/34T"]), "largest_cog") if k[1] is None}


def test_values_of_two_versions_in_one_cell_are_no_range(tabled):
    claims = tabled([["Model", "Cage", "Largest cog"], ["KX710", "S/L", "28/34T"], ["KX720", "S/L", "26/32T"]])
    assert not sure_of(claims, "largest_cog")


@pytest.mark.parametrize(
    "note",
    [
        "* 36T with hanger extender EX4",
        "* see fitting manual",
        "* only frames from 2024 on",
        "* not with 11-speed shifters",
    ],
)
def test_a_number_with_a_note_that_is_not_understood_is_not_sure(tabled, note):
    rows = [["Model", "Largest cog", "Total capacity"], ["KX710", "32T*", "37T"], ["KX720", "34T", "39T"]]
    claims = tabled(rows, [note])
    assert {k[0] for k in sure_of(claims, "largest_cog")} == {"KX720"}
    assert not [c for c in claims if c.high == 36]


def test_limits_for_one_and_two_rings_keep_their_conditions(tabled):
    claims = tabled(
        [["Model", "Largest cog (1x)", "Largest cog (2x)"], ["KX710", "42T", "34T"], ["KX720", "40T", "32T"]]
    )
    one, two = (("ring_count", 1.0),), (("ring_count", 2.0),)
    assert sure_of(claims, "largest_cog") == {
        ("KX710", None, None, 42, one),
        ("KX710", None, None, 34, two),
        ("KX720", None, None, 40, one),
        ("KX720", None, None, 32, two),
    }


@pytest.mark.parametrize(
    ("other", "own"),
    [
        ("Largest cog tested", "Largest cog allowed"),
        ("Largest cog old", "Largest cog new"),
        ("Largest cog recommended", "Largest cog max."),
    ],
)  # fmt: skip
def test_two_columns_of_one_limit_never_both_hold(tabled, other, own):
    claims = tabled([["Model", other, own], ["KX710", "36T", "32T"], ["KX720", "38T", "34T"]])
    found = sure_of(claims, "largest_cog")
    assert len(found) <= 2 and all(high not in (36, 38) for _, _, _, high, _ in found), found
    assert not [c for c in claims if c.high in (36, 38) and not c.condition]


def test_a_blank_model_below_never_gives_one_part_two_limits(tabled):
    claims = tabled([["Model", "Total capacity"], ["KX710", "31T"], ["", "39T"], ["KX720", "33T"]])
    assert len({k for k in sure_of(claims, "total_capacity") if k[0] == "KX710"}) <= 1


def test_a_blank_model_below_belongs_to_the_one_above_where_versions_tell(tabled):
    rows = [["Model", "Cage", "Total capacity"], ["KX710", "S", "31T"], ["", "L", "39T"], ["KX720", "S", "33T"],
            ["", "L", "41T"]]  # fmt: skip
    assert sure_of(tabled(rows), "total_capacity") == {
        ("KX710", "S", None, 31, ()), ("KX710", "L", None, 39, ()), ("KX720", "S", None, 33, ()),
        ("KX720", "L", None, 41, ())}  # fmt: skip


def test_low_and_top_change_sides_between_rear_and_front(tabled):
    rear = tabled([["Model", "Low", "Top"], ["KX710", "34T", "11T"], ["KX720", "32T", "12T"]])
    assert sure_of(rear, "largest_cog") == {("KX710", None, None, 34, ()), ("KX720", None, None, 32, ())}
    front = tabled([["Model", "Top gear", "Low gear"], ["KF71", "53T", "34T"], ["KF72", "50T", "30T"]],
                   head="Front derailleurs")  # fmt: skip
    assert sure_of(front, "big_ring") == {("KF71", None, None, 53, ()), ("KF72", None, None, 50, ())}
    assert sure_of(front, "small_ring") == {("KF71", None, 34, None, ()), ("KF72", None, 30, None, ())}


def test_a_price_beside_a_limit_stays_a_price(tabled):
    claims = tabled([["Model", "Total capacity", "Price"], ["KX710", "37", "49"], ["KX720", "33", "45"]])
    assert {(c.part_code, c.limit, c.high) for c in claims} == {
        ("KX710", "total_capacity", 37), ("KX720", "total_capacity", 33)}  # fmt: skip


@pytest.mark.parametrize(
    "cell",
    [
        "28-34T", "37T",
        "27T max. (25T max. with 3 chainrings)",
        "30T with 2 chainrings",
    ],
)  # fmt: skip
def test_a_cell_of_values_is_never_a_label(cell):
    from cogledger.extract.labels import find_label_hits

    assert not [h for h in find_label_hits(cell) if h.score >= 0.62], cell


def test_a_model_cell_that_spans_its_versions_keeps_the_whole_code(pen, read):
    """A code broken over two lines beside the rows of its versions is not cut to its digits."""
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    for y in (110, 130, 170, 210):
        drawn.line(50, y, 350, y)
    drawn.line(110, 150, 350, 150)
    drawn.line(110, 190, 350, 190)
    for x, text in ((55, "Model"), (120, "Cage"), (220, "Total capacity")):
        drawn.text(x, 124, text, 9, bold=True)
    for top, code, caps in ((130, "4210", (31, 39)), (170, "4220", (33, 41))):
        drawn.text(55, top + 18, "Yst", 9)
        drawn.text(55, top + 30, code, 9)
        for n, (cage, capacity) in enumerate(zip(("short", "long"), caps, strict=True)):
            drawn.text(120, top + 14 + 20 * n, cage, 9)
            drawn.text(220, top + 14 + 20 * n, f"{capacity}T", 9)
    found = {(c.part_code, c.variant, c.high) for c in read(drawn.save()).claims}
    assert found <= {("Yst 4210", "short", 31), ("Yst 4210", "long", 39), ("Yst 4220", "short", 33),
                     ("Yst 4220", "long", 41)}  # fmt: skip


def test_a_maximum_and_a_minimum_in_two_lines_of_a_cell_are_both_kept(tabled):
    claims = tabled([["VTV500 Front derailleur", ""], ["Big ring", "max. 52T\nmin. 49T"], ["Weight", "90 g"]],
                    head="Front derailleur VTV500")  # fmt: skip
    assert {(k[2], k[3]) for k in sure_of(claims, "big_ring")} <= {(49, 52)}


@pytest.mark.parametrize("word", [
    "entfällt", "s.o.", "n.v.t.", "n/d", "k.A.", "id.",
    "entf.", "same as above",
])  # fmt: skip
def test_a_word_for_nothing_or_the_same_is_neither_a_version_nor_a_family(tabled, word):
    claims = tabled([["Model", "Version", "Compatible with", "Total capacity"], ["KX710", "S", "Lod 12", "31T"],
                     ["KX720", word, word, "39T"]])  # fmt: skip
    assert not [c for c in claims if c.variant == word or c.text == word]
