"""Names, labels and values that a table cuts in two: whole in the claims, or left out."""

import pytest
from cogledger.extract.labels import find_label_hits
from cogledger.extract.layouts.bounds import find_shared_bounds
from cogledger.extract.values import parse_value

ENGLISH = ("en",)


@pytest.fixture
def told(pen, read):
    def of(rows, notes=(), head="Rear derailleurs", **look):
        drawn = pen()
        drawn.text(50, 90, head, 12, bold=True)
        drawn.table(rows, **look)
        for n, note in enumerate(notes):
            drawn.text(50, 400 + 14 * n, note, 8)
        found = read(drawn.save()).claims
        return {(c.part_code, c.variant, c.limit, c.low, c.high, tuple((c.condition or {}).items())) for c in found}

    return of


def test_several_codes_over_two_lines(told):
    rows = [["Model", "Total capacity", "Weight"], ["AB101 /\nAB102", "37T", "231 g"], ["AB103", "39T", "240 g"]]
    wanted = set()
    for code, teeth, grams in (("AB101", 37, 231), ("AB102", 37, 231), ("AB103", 39, 240)):
        wanted |= {(code, None, "total_capacity", None, teeth, ()), (code, None, "weight", grams, grams, ())}
    assert told(rows) == wanted
    assert told(rows, ruled=False) <= wanted


def test_digits_alone_among_names_with_letters_are_no_code(told):
    rows = [["Model", "Total capacity", "Weight"], ["Yst 4210", "37T", "231 g"], ["4220", "39T", "240 g"]]
    assert {code for code, *_ in told(rows)} <= {"Yst 4210"}


def test_a_model_in_two_rows_without_a_version_is_unsure(told):
    rows = [["Model", "Total capacity", "Weight", "Finish"], ["AB101", "37T", "231 g", "black"],
            ["AB101", "37T", "231 g", "silver"], ["AB102", "39T", "240 g", "black"]]  # fmt: skip
    assert {code for code, *_ in told(rows)} <= {"AB102"}


def test_versions_with_names_of_their_own(told):
    rows = [["Model", "Cage", "Total capacity"], ["AB101", "GS", "37T"], ["AB101", "SGS", "43T"]]
    assert told(rows) == {
        ("AB101", "GS", "total_capacity", None, 37, ()),
        ("AB101", "SGS", "total_capacity", None, 43, ()),
    }


def test_a_note_that_states_a_value_does_not_restrict_the_other(told):
    rows = [["Model", "Total capacity"], ["AB101", "36T **"], ["AB102", "31T"]]
    found = told(rows, ["** 39 teeth (max.) with 2 chainrings only"])
    assert ("AB101", None, "total_capacity", None, 39, (("ring_count", 2.0),)) in found
    assert ("AB101", None, "total_capacity", None, 36, (("ring_count", 2.0),)) not in found


def test_a_note_that_denies_is_no_condition(told):
    rows = [["Model", "Total capacity"], ["AB101", "36T *"], ["AB102", "31T"]]
    found = told(rows, ["* not for 1x drivetrains"])
    assert not [c for c in found if c[0] == "AB101" and c[5]]


@pytest.mark.parametrize(
    ("headers", "limit"),
    [
        (("Big ring maximum", "minimum"), "big_ring"), (("Chainstay max", "angle min"), "chainstay_angle"),
        (("Largest cog upper", "lower"), "largest_cog"), (("min.", "Big ring max."), "big_ring"),
    ],
)  # fmt: skip
def test_bounds_side_by_side_share_a_label(headers, limit):
    found = find_shared_bounds(headers, [find_label_hits(h, None, ENGLISH)[:0] for h in headers], ENGLISH)
    assert {n: hits[0].limit for n, hits in found.items()} == {0: limit, 1: limit}
    assert {hits[0].bound for hits in found.values()} == {"high", "low"}


def test_bounds_of_different_limits_are_not_shared():
    headers = ("Big ring max", "min", "Small ring max", "min")
    hits = [find_label_hits(h, None, ENGLISH) for h in headers]
    found = find_shared_bounds(headers, hits, ENGLISH)
    assert [found[n][0].limit for n in range(4)] == ["big_ring", "big_ring", "small_ring", "small_ring"]


@pytest.mark.parametrize(
    ("label", "limit", "bound"),
    [
        ("Low / max / Plus grand pignon (max.)", "largest_cog", "high"), ("Peso / Masse, g", "weight", None),
        ("Min. sprocket highest", "smallest_cog", "high"), ("Largest cog / Total capacity", None, None),
        ("Outer ring / Inner ring", None, None), ("Largest / smallest cog", None, None),
    ],
)  # fmt: skip
def test_labels_in_parts(label, limit, bound):
    hits = find_label_hits(label, None, ENGLISH)
    assert (hits[0].limit, hits[0].bound) == (limit, bound) if limit else not hits


def test_the_capacity_of_a_front_derailleur_is_its_difference_but_a_total_is_none():
    from cogledger.schema.limits import PartKind

    front = PartKind.FRONT_DERAILLEUR
    assert [h.limit for h in find_label_hits("Capacity", front, ENGLISH)] == ["front_difference"]
    assert not find_label_hits("Total capacity", front, ENGLISH)
    assert [h.limit for h in find_label_hits("Capacity", PartKind.REAR_DERAILLEUR, ENGLISH)] == ["total_capacity"]


@pytest.mark.parametrize(
    ("words", "low", "high"),
    [
        ("from 28 to 34 T", 28, 34), ("da 28 a 34 denti", 28, 34), ("von 28 bis 34 Z", 28, 34), ("bis 34 Z.", None, 34),
        ("ab 28 Z", 28, None), ("vanaf 28 tanden", 28, None), ("entre 28 et 34 dents", 28, 34), ("up to 34T", None, 34),
    ],
)  # fmt: skip
def test_words_that_begin_a_range(words, low, high):
    value = parse_value(words, "largest_cog")
    assert value is not None and (value.low, value.high) == (low, high)


@pytest.mark.parametrize("code", ["30499.2", "NV 30 H", "UVN-664 T", "NV 200 Y", "Astrel W72", "OK1/227"])
def test_codes_in_a_column_of_models_and_in_headings_are_whole(told, code):
    wanted = {(code, None, "total_capacity", None, 37, ())}
    assert told([["Model", "Total capacity"], [code, "37T"], ["AB999", "n/a"]]) == wanted
    assert told([["Total capacity", "37T"], ["Colour", "black"]], head=f"Rear derailleur {code}") == wanted


def test_a_blank_cell_below_a_name_that_was_not_understood_is_no_earlier_model(told):
    rows = [["Model", "Total capacity"], ["AB101", "37T"], ["see price list", "39T"], ["", "41T"]]
    assert {(code, high) for code, _, _, _, high, _ in told(rows)} <= {("AB101", 37)}


def test_three_levels_of_header_over_a_row_of_units(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Front derailleurs", 12, bold=True)
    rows = [["Model", "Chainrings", "", "", ""], ["", "Largest ring", "", "Smallest ring", ""],
            ["", "max.", "min.", "max.", "min."], ["", "T", "T", "T", "T"],
            ["KX10", "50", "46", "36", "34"], ["KX20", "48", "44", "34", "32"]]  # fmt: skip
    drawn.table(rows, ruled=False, widths=[60, 60, 60, 60, 60])
    lefts = [50, 110, 170, 230, 290, 350]
    for n, top in enumerate(range(120, 120 + 22 * 7, 22)):
        drawn.line(50 if n in (0, 4, 5, 6) else 110, top, 350, top)
    for n, left in enumerate(lefts):
        drawn.line(left, {2: 164, 4: 164, 3: 142}.get(n, 120), left, 252)
    found = {(c.part_code, c.limit, c.low, c.high) for c in read(drawn.save()).claims}
    assert found == {("KX10", "big_ring", 46, 50), ("KX10", "small_ring", 34, 36), ("KX20", "big_ring", 44, 48),
                     ("KX20", "small_ring", 32, 34)}  # fmt: skip


def test_half_a_range_is_not_told_where_the_other_half_was_not_understood(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Front derailleurs", 12, bold=True)
    drawn.table([["Model", "Largest ring", "Zornful ring", "Weight"], ["", "max.", "min.", ""],
                 ["KX10", "50", "46", "91 g"], ["KX20", "48", "44", "93 g"]])  # fmt: skip
    assert {(c.part_code, c.limit) for c in read(drawn.save()).claims} == {("KX10", "weight"), ("KX20", "weight")}


def test_labels_in_three_columns_beside_one_part(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([["Model", "", "", "KX10"], ["Sprockets", "Biggest sprocket", "max.", "34T"],
                 ["Sprockets", "Biggest sprocket", "min.", "28T"], ["Cage", "Total capacity", "", "37T"],
                 ["Weight", "", "", "231 g"]])  # fmt: skip
    found = {(c.part_code, c.limit, c.low, c.high) for c in read(drawn.save()).claims}
    assert found <= {
        ("KX10", "largest_cog", 28, 34),
        ("KX10", "total_capacity", None, 37),
        ("KX10", "weight", 231, 231),
    }
    assert len(found) >= 2


def test_codes_of_two_words_under_a_product_heading(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([["Product no.", "Type", "Total capacity"], ["Zorrel H76", "Race cage", "27T"],
                 ["Zorrel H76", "Touring cage", "32T"], ["Pellan H92", "-", "38T"]])  # fmt: skip
    assert {(c.part_code, c.variant, c.high) for c in read(drawn.save()).claims} == {
        ("Zorrel H76", "Race cage", 27), ("Zorrel H76", "Touring cage", 32), ("Pellan H92", None, 38)}  # fmt: skip


def test_a_header_that_begins_with_another_ones_unit_makes_its_table_unsure(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Front derailleurs", 12, bold=True)
    drawn.table([["Model", "KX10", "KX20"], ["Largest ring max. (T) Largest ring min.", "44", "50"],
                 ["", "41", "47"], ["(T) Speeds", "11", "7"]])  # fmt: skip
    assert not [c for c in read(drawn.save()).claims if c.limit == "big_ring"]


def test_a_letter_that_wraps_below_its_code_belongs_to_it(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Front derailleurs", 12, bold=True)
    drawn.table([["Model", "Largest ring", "Weight"], ["NV 12 V", "50T", "91 g"], ["NV 51\nV", "48T", "93 g"]],
                ruled=False)  # fmt: skip
    assert {c.part_code for c in read(drawn.save()).claims} == {"NV 12 V", "NV 51 V"}
