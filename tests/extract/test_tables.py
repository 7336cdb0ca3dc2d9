"""A table says the same whichever way it is drawn: rows and columns in any order, turned over, ruled or open."""

import random

import pytest
from cogledger.extract.pages import open_page, open_pdf
from cogledger.extract.pipeline import read_source
from cogledger.extract.sources import find_sources
from cogledger.extract.textlayer import read_text_page
from hypothesis import given, settings
from hypothesis import strategies as st

HEADS = {
    "largest_cog": ("Largest cog", lambda low, n: f"{low}-{low + n}T", lambda low, n: (low, low + n, None)),
    "total_capacity": ("Total capacity", lambda low, n: f"{low + 8}T", lambda low, n: (None, low + 8, None)),
    "weight": ("Weight", lambda low, n: f"{200 + low * n} g", lambda low, n: (200 + low * n, 200 + low * n, None)),
    "rear_speeds": ("Rear speeds", lambda low, n: f"{n + 4}/{n + 5}", lambda low, n: (None, None, (n + 4, n + 5))),
    "front_difference": ("Max. front difference", lambda low, n: f"{10 + n}T", lambda low, n: (None, 10 + n, None)),
}
CODES = ["KX710", "KX720", "VB350", "VB360"]


def truth(parts, limits):
    """What the drawn table states: code, limit, low, high, values."""
    return {
        (code, limit, *map(number, HEADS[limit][2](low, n))) for code, (low, n) in parts.items() for limit in limits
    }


def number(value):
    return value if value is None else tuple(map(float, value)) if isinstance(value, tuple) else float(value)


def rows_of(parts, limits):
    return [["Model", *(HEADS[k][0] for k in limits)]] + [
        [code, *(HEADS[k][1](low, n) for k in limits)] for code, (low, n) in parts.items()
    ]


@st.composite
def tables(draw):
    codes = draw(st.permutations(CODES))[: draw(st.integers(2, 4))]
    limits = draw(st.permutations(list(HEADS)))[: draw(st.integers(2, 5))]
    return {code: (draw(st.integers(22, 30)), draw(st.integers(2, 6))) for code in codes}, limits


def claims_of(folder, rows, pen_class, name, **look):
    drawn = pen_class(folder / name)
    drawn.text(50, 40, "Brambel", 16, bold=True)
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table(rows, **look)
    (source,), _ = find_sources([drawn.save()])
    reading = read_source(source)
    assert all(c.part_kind == "rear_derailleur" and c.variant is None and not c.condition for c in reading.claims)
    return {(c.part_code, c.limit, c.low, c.high, c.values) for c in reading.claims}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("tables")


@given(tables())
@settings(max_examples=25, deadline=None)
def test_a_drawn_table_is_read_whole(folder, pen_class, drawn):
    parts, limits = drawn
    assert claims_of(folder, rows_of(parts, limits), pen_class, "plain.pdf") == truth(parts, limits)


@given(tables(), st.randoms(use_true_random=False))
@settings(max_examples=25, deadline=None)
def test_the_order_of_rows_and_columns_changes_no_claim(folder, pen_class, drawn, rng: random.Random):
    parts, limits = drawn
    codes, keys = list(parts), list(limits)
    rng.shuffle(codes)
    rng.shuffle(keys)
    shuffled = claims_of(folder, rows_of({c: parts[c] for c in codes}, keys), pen_class, "shuffled.pdf")
    assert shuffled == truth(parts, limits)


@given(tables())
@settings(max_examples=25, deadline=None)
def test_turning_a_table_over_changes_no_claim(folder, pen_class, drawn):
    parts, limits = drawn
    turned = [list(row) for row in zip(*rows_of(parts, limits), strict=True)]
    assert claims_of(folder, turned, pen_class, "turned.pdf") == truth(parts, limits)


@given(tables())
@settings(max_examples=20, deadline=None)
def test_a_table_without_rules_says_nothing_else(folder, pen_class, drawn):
    """It may be read in part where columns stand close, but never otherwise."""
    parts, limits = drawn
    assert claims_of(folder, rows_of(parts, limits), pen_class, "open.pdf", ruled=False) <= truth(parts, limits)


def test_a_table_without_rules_is_read_whole(folder, pen_class):
    parts, limits = {"KX710": (24, 4), "KX720": (26, 6), "VB350": (28, 4)}, list(HEADS)
    assert claims_of(folder, rows_of(parts, limits), pen_class, "open.pdf", ruled=False) == truth(parts, limits)


@pytest.mark.parametrize("borders", ["", "tb", "lr", "t"])
def test_missing_borders_change_no_claim(folder, pen_class, borders):
    parts, limits = {"KX710": (24, 4), "KX720": (26, 6)}, ["largest_cog", "weight"]
    assert claims_of(folder, rows_of(parts, limits), pen_class, "borders.pdf", borders=borders) == truth(parts, limits)


def test_wrapped_headers_and_cells_change_no_claim(folder, pen_class):
    rows = [["Model", "Max. front\ndifference", "Total\ncapacity"], ["KX710", "14T", "37\nT"], ["KX720", "12T", "33T"]]
    assert claims_of(folder, rows, pen_class, "wrapped.pdf") == {
        ("KX710", "front_difference", None, 14, None), ("KX720", "front_difference", None, 12, None),
        ("KX710", "total_capacity", None, 37, None), ("KX720", "total_capacity", None, 33, None)}  # fmt: skip


def test_a_dash_is_no_value(folder, pen_class):
    rows = [["Model", "Weight", "Total capacity"], ["KX710", "–", "37T"], ["KX720", "200 g", "-"]]
    assert claims_of(folder, rows, pen_class, "dash.pdf") == {
        ("KX710", "total_capacity", None, 37, None), ("KX720", "weight", 200, 200, None)}  # fmt: skip


def variants_of(pen, rows, **look):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table(rows, **look)
    return drawn.save()


def keys(reading):
    return {(c.part_code, c.variant, c.limit, c.low, c.high) for c in reading.claims}


def test_variants_keep_their_own_numbers(pen, read):
    rows = [["Model", "Cage", "Total capacity"], ["KX710", "short", "31T"], ["KX710", "long", "39T"]]
    assert keys(read(variants_of(pen, rows))) == {
        ("KX710", "short", "total_capacity", None, 31), ("KX710", "long", "total_capacity", None, 39)}  # fmt: skip


def test_variants_as_columns_keep_their_own_numbers(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleur KX710", 12, bold=True)
    drawn.table(
        [["Cage", "S", "M", "L"], ["Total capacity", "31T", "35T", "39T"], ["Largest cog", "28T", "30T", "34T"]]
    )
    assert keys(read(drawn.save())) == {
        ("KX710", "S", "total_capacity", None, 31), ("KX710", "M", "total_capacity", None, 35),
        ("KX710", "L", "total_capacity", None, 39), ("KX710", "S", "largest_cog", None, 28),
        ("KX710", "M", "largest_cog", None, 30), ("KX710", "L", "largest_cog", None, 34)}  # fmt: skip


def test_equal_values_of_variants_as_columns_are_no_labels(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleur KX710", 12, bold=True)
    drawn.table([["Cage length", "S", "M", "L"], ["Rear speeds", "8", "8", "8"],
                 ["Number of chainrings", "1", "1", "1"],
                 ["Total capacity", "27 teeth max", "36 teeth max", "39 teeth max"]])  # fmt: skip
    found = {k for k in keys(read(drawn.save())) if k[2] == "total_capacity"}
    whole = {("KX710", "S", "total_capacity", None, 27), ("KX710", "M", "total_capacity", None, 36),
             ("KX710", "L", "total_capacity", None, 39)}  # fmt: skip
    assert found <= whole


@pytest.mark.parametrize(
    ("most", "least"),
    [("max.", "min."), ("upper", "lower"), ("highest", "lowest")],
)
def test_bounds_under_one_merged_heading(pen, read, most, least):
    """The lesser number never becomes the greatest cog."""
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.text(55, 134, "Model", 9, bold=True)
    drawn.text(160, 134, "Largest cog", 9, bold=True)
    for x0, y0, x1, y1 in ((50, 120, 290, 120), (130, 142, 290, 142), (50, 164, 290, 164), (50, 186, 290, 186),
                           (50, 208, 290, 208), (50, 120, 50, 208), (130, 120, 130, 208), (210, 142, 210, 208),
                           (290, 120, 290, 208)):  # fmt: skip
        drawn.line(x0, y0, x1, y1)
    for y, cells in ((156, ("", most, least)), (178, ("KX710", "34T", "28T")), (200, ("KX720", "32T", "25T"))):
        for x, text in zip((55, 135, 215), cells, strict=True):
            drawn.text(x, y, text, 9, bold=y == 156)
    found = keys(read(drawn.save()))
    assert not {k for k in found if k[4] in (28, 25)}, found


def test_a_table_that_goes_on_keeps_its_columns(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([["Model", "Total capacity", "Weight"], ["KX710", "37T", "200 g"], ["KX720", "33T", "210 g"]],
                widths=[100, 120, 120])  # fmt: skip
    drawn.page()
    drawn.table([["VB350", "35T", "220 g"], ["VB360", "31T", "230 g"]], widths=[100, 120, 120], y=60)
    found = {(c.page, c.part_code, c.limit, c.high) for c in read(drawn.save()).claims}
    assert {(2, "VB350", "total_capacity", 35), (2, "VB360", "weight", 230)} <= found


@pytest.mark.parametrize("heads", [["Tool", "Code", "Weight"], ["Model", "EUR", "Pcs"], ["Bolt", "Torque", "Tool"]])
def test_tools_prices_and_torques_are_no_limits(pen, read, heads):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([heads, ["KX710", "37.00", "20"], ["KX720", "34.50", "25"]])
    assert not read(drawn.save()).claims


def test_the_box_frames_the_value(pen, read):
    path = variants_of(pen, [["Model", "Total capacity"], ["KX710", "37T"], ["KX720", "33T"]])
    with open_pdf(path) as document, open_page(document, 1, "a.pdf") as page:
        words = {w.text: w.box for w in read_text_page(page, 1).words}
    for claim in read(path).claims:
        printed = words[f"{claim.high:g}T"]
        assert claim.bbox.x0 - 1 <= printed.x0 and printed.x1 <= claim.bbox.x1 + 1
        assert claim.bbox.top - 1 <= printed.top and printed.bottom <= claim.bbox.bottom + 1
