"""Tables without upright lines as printers draw them: common shapes of tables, no source."""

import itertools

import pytest
from cogledger.extract.layouts.regions import find_tables

XS = (50, 130, 190, 250, 330)
HEAD = ("Model", "Cage", "Weight", "Capacity")
BODY = [("KX710", "Short", "200 g", "33T"), ("KX720", "Mid", "210 g", "37T"), ("KX730", "Long", "221 g", "43T")]


def texts(grid):
    return [[grid.at(r, c).text for c in range(grid.cols)] for r in range(grid.rows)]


def tables_of(pen, contents):
    (page,) = contents(pen.save())
    return find_tables(page)


def pieces(pen, y, xs=XS):
    """A line across, drawn anew under each cell."""
    for left, right in itertools.pairwise(xs):
        pen.line(left, y, right, y)


def row(pen, y, cells, xs=XS, bold=False, size=9):
    for x, cell in zip(xs, cells, strict=False):
        pen.text(x + 4, y, cell, size, bold=bold)


def test_lines_drawn_cell_by_cell_tell_columns_closer_than_their_words(pen, contents):
    xs = (50, 92, 122, 160, 210)
    drawn = pen()
    for n, cells in enumerate((HEAD, *BODY)):
        row(drawn, 114 + 20 * n, cells, xs, bold=n == 0, size=8)
    for n in range(5):
        pieces(drawn, 100 + 20 * n, xs)
    (grid,) = tables_of(drawn, contents)
    assert texts(grid) == [list(HEAD), *map(list, BODY)]


def test_a_piece_over_two_columns_is_the_line_under_a_spanning_head(pen, contents):
    drawn = pen()
    drawn.text(194, 112, "Large sprocket", 9, bold=True)
    row(drawn, 130, ("Model", "Cage", "max.", "min."), bold=True)
    for n, cells in enumerate((("KX710", "S", "28T", "25T"), ("KX720", "M", "34T", "30T"))):
        row(drawn, 150 + 20 * n, cells)
    pieces(drawn, 100, (50, 130, 190, 330))
    drawn.line(190, 118, 330, 118)
    for y in (136, 156, 176):
        pieces(drawn, y)
    (grid,) = tables_of(drawn, contents)
    head = grid.at(0, 2)
    assert (head.text, head.col_span) == ("Large sprocket", 2) and head is grid.at(0, 3)
    assert texts(grid)[-1] == ["KX720", "M", "34T", "30T"]


def test_two_tables_of_one_width_do_not_share_their_columns(pen, contents):
    drawn = pen()
    for top, xs in ((100, XS), (240, (50, 100, 170, 280, 330))):
        for n, cells in enumerate((HEAD, *BODY)):
            row(drawn, top + 14 + 20 * n, cells, xs, bold=n == 0)
        for n in range(5):
            pieces(drawn, top + 20 * n, xs)
    drawn.text(50, 220, "Derailleurs of last year", 12, bold=True)
    grids = tables_of(drawn, contents)
    assert [texts(g) for g in grids] == [[list(HEAD), *map(list, BODY)]] * 2


def test_dashes_are_no_pieces(pen, contents):
    drawn = pen()
    for n, cells in enumerate((HEAD, *BODY)):
        row(drawn, 114 + 20 * n, cells, bold=n == 0)
    for n in range(5):
        for x in range(50, 330, 7):
            drawn.line(x, 100 + 20 * n, x + 4, 100 + 20 * n)
    (grid,) = tables_of(drawn, contents)
    assert texts(grid) == [list(HEAD), *map(list, BODY)]


def shared_models(pen, rows, *, step=22, top=120):
    """Rows of a variant each, their model once in the middle of its rows."""
    row(pen, top - step, HEAD, bold=True)
    y = top
    for model, variants in rows:
        for n, cells in enumerate(variants):
            for x, cell in zip(XS[1:], cells, strict=False):
                pen.text(x + 4, y + n * step, cell, 9)
        pen.text(54, y + (len(variants) - 1) * step / 2, model, 9, bold=True)
        y += len(variants) * step


@pytest.mark.parametrize("sizes", [(2, 2), (1, 2, 2), (2, 1), (3, 2), (2, 3, 1)])
def test_a_model_in_the_middle_of_its_rows_covers_them_all(pen, contents, sizes):
    variants = [("Short", "200 g", "33T"), ("Mid", "210 g", "37T"), ("Long", "221 g", "43T")]
    drawn = pen()
    shared_models(drawn, [(f"KX7{n}0", variants[:size]) for n, size in enumerate(sizes)])
    (grid,) = tables_of(drawn, contents)
    column = [grid.at(r, 0).text for r in range(1, grid.rows)]
    assert column == [f"KX7{n}0" for n, size in enumerate(sizes) for _ in range(size)]


def test_models_that_do_not_stand_in_the_middle_are_left_where_they_are(pen, contents):
    drawn = pen()
    row(drawn, 98, HEAD, bold=True)
    for n, cells in enumerate((("Short", "200 g", "33T"), ("Mid", "210 g", "37T"), ("Long", "221 g", "43T"))):
        for x, cell in zip(XS[1:], cells, strict=False):
            drawn.text(x + 4, 120 + 22 * n, cell, 9)
    drawn.text(54, 131, "KX710", 9, bold=True)
    (grid,) = tables_of(drawn, contents)
    assert all(cell.row_span == 1 for cell in grid.cells)


def test_a_head_left_aligned_with_its_column_covers_no_other(pen, contents):
    drawn = pen()
    for y, cells in ((100, ("", "", "Greatest", "")), (111, ("Model", "Cage", "weight", "Capacity"))):
        row(drawn, y, cells, bold=True)
    for n, cells in enumerate(BODY):
        row(drawn, 132 + 20 * n, cells)
    (grid,) = tables_of(drawn, contents)
    column = [grid.at(r, 2).text for r in range(grid.rows)]
    assert " ".join(filter(None, column)) == "Greatest weight 200 g 210 g 221 g"
    assert all(cell.col_span == 1 for cell in grid.cells)


def test_a_value_over_two_lines_between_stripes_is_one_cell(pen, contents):
    drawn = pen()
    tops = (100, 120, 150, 180)
    drawn.canvas.setFillGray(0.9)
    for n in (0, 2):
        drawn.canvas.rect(48, drawn.height - tops[n + 1], 290, tops[n + 1] - tops[n], stroke=0, fill=1)
    drawn.canvas.setFillGray(0)
    row(drawn, 114, HEAD, bold=True)
    for top, (model, cage, weight, capacity) in zip(tops[1:], BODY[:2], strict=False):
        row(drawn, top + 18, (model, cage, weight, ""))
        drawn.text(XS[3] + 4, top + 12, capacity[:-1], 9)
        drawn.text(XS[3] + 4, top + 24, "teeth", 9)
    (grid,) = tables_of(drawn, contents)
    assert texts(grid)[1:] == [["KX710", "Short", "200 g", "33 teeth"], ["KX720", "Mid", "210 g", "37 teeth"]]


def test_a_variant_below_its_code_does_not_end_the_table(pen, said):
    drawn = pen()
    drawn.text(50, 80, "Rear derailleurs", 13, bold=True)
    for y in (96, 112, 142, 172, 202):
        drawn.line(50, y, 330, y)
    row(drawn, 108, ("Model", "Largest cog", "Capacity", "Weight"), (50, 120, 200, 270), bold=True)
    cells = (
        ("KX710", "S", "28T", "33T", "200 g"),
        ("KX710", "M", "34T", "37T", "210 g"),
        ("KX720", "L", "36T", "43T", "221 g"),
    )
    for n, (model, variant, *values) in enumerate(cells):
        drawn.text(54, 124 + 30 * n, model, 9, bold=True)
        drawn.text(54, 135 + 30 * n, variant, 9, bold=True)
        row(drawn, 129 + 30 * n, values, (120, 200, 270))
    found = {
        (code, variant, high) for _, code, variant, limit, _, high, *_ in said(drawn.save()) if limit == "largest_cog"
    }
    assert found == {("KX710", "S", 28), ("KX710", "M", 34), ("KX720", "L", 36)}
