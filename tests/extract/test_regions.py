"""Every table of a page by geometry alone, on drawn pages; common shapes of tables, no source."""

import pytest
from cogledger.extract.layouts.regions import find_tables
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

ROWS = [
    ["Region", "Rain mm", "Days"],
    ["North", "812", "131"],
    ["Middle", "640", "109"],
    ["South", "455", "87"],
    ["Islands", "390", "71"],
]
PROSE = (
    "In most of the country it rained a little less than in other years",
    "and the rain fell on fewer days than before so that the wells sank",
    "by half a metre or more until the first snow came in late November",
    "which the stations on the islands did not see before the new year at",
    "all while the north had it lying for some weeks from the middle on.",
)


def texts(grid):
    return [[grid.at(r, c).text for c in range(grid.cols)] for r in range(grid.rows)]


def drawn_rows(pen, rows, xs, y=120, step=16):
    for r, row in enumerate(rows):
        for x, cell in zip(xs, row, strict=True):
            pen.text(x, y + r * step, cell, 9, bold=r == 0)


def tables_of(pen, contents):
    (page,) = contents(pen.save())
    return find_tables(page)


def test_lines_under_the_head_only(pen, contents):
    drawn = pen()
    drawn_rows(drawn, ROWS, [60, 160, 260])
    for y in (108, 124, 190):
        drawn.line(55, y, 320, y)
    (grid,) = tables_of(drawn, contents)
    assert texts(grid) == ROWS


def test_columns_drawn_and_rows_not(pen, contents):
    drawn = pen()
    drawn_rows(drawn, ROWS, [60, 160, 260])
    for y in (108, 124, 190):
        drawn.line(55, y, 320, y)
    for x in (55, 150, 250, 320):
        drawn.line(x, 108, x, 190)
    (grid,) = tables_of(drawn, contents)
    assert texts(grid) == ROWS


def test_rows_drawn_and_columns_in_the_head_only(pen, contents):
    drawn = pen()
    drawn_rows(drawn, ROWS, [60, 160, 260])
    for y in (108, 124, 140, 156, 172, 190):
        drawn.line(55, y, 320, y)
    for x in (55, 320):
        drawn.line(x, 108, x, 190)
    for x in (150, 250):
        drawn.line(x, 108, x, 124)
    (grid,) = tables_of(drawn, contents)
    assert texts(grid) == ROWS


def test_two_columns_in_one_drawn_column(pen, contents):
    drawn = pen()
    drawn_rows(drawn, ROWS, [60, 160, 260])
    for y in (108, 124, 140, 156, 172, 190):
        drawn.line(55, y, 320, y)
    for x in (55, 150, 320):
        drawn.line(x, 108, x, 190)
    (grid,) = tables_of(drawn, contents)
    assert texts(grid) == ROWS


def test_words_that_wrap_in_a_drawn_row_stay_one_cell(pen, contents):
    drawn = pen()
    drawn.table([["Region", "What was seen"], ["North", "rain on 131 days and\nsnow on 20 days"], ["South", "87 days"]],
                widths=[90, 110])  # fmt: skip
    (grid,) = tables_of(drawn, contents)
    assert texts(grid)[1] == ["North", "rain on 131 days and snow on 20 days"]


def test_a_wide_word_in_one_row_does_not_close_the_gap_between_columns(pen, contents):
    drawn = pen()
    for r in range(8):
        drawn.text(60, 120 + 14 * r, f"Row {r}", 9)
        drawn.text(160 - (14 if r == 3 else 0), 120 + 14 * r, "(1,234-5,678)" if r == 3 else "(12-56)", 9)
        drawn.right(236 + (4 if r == 5 else 0), 120 + 14 * r, "987,654" if r == 5 else f"{r}4", 9)
    (grid,) = tables_of(drawn, contents)
    assert (grid.rows, grid.cols) == (8, 3)
    assert [grid.at(r, 2).text for r in range(8)] == [("987,654" if r == 5 else f"{r}4") for r in range(8)]


def test_a_group_line_heads_the_rows_below_and_joins_none(pen, contents):
    drawn = pen()
    drawn_rows(drawn, ROWS[:1], [60, 160, 260])
    rows = [("Coast", "", ""), *ROWS[1:3], ("Inland", "", ""), *ROWS[3:]]
    for r, row in enumerate(rows):
        for x, cell in zip((60, 160, 260), row, strict=True):
            drawn.text(x, 134 + 12 * r, cell, 9, bold=not row[1])
    (grid,) = tables_of(drawn, contents)
    assert texts(grid)[1:] == [list(row) for row in rows]


def test_columns_of_prose_are_no_table_and_a_table_beside_them_is(pen, contents):
    drawn = pen()
    for n, words in enumerate(PROSE * 3):
        drawn.text(40, 100 + 12 * n, words[:46], 9)
        drawn.text(310, 100 + 12 * n, words[20:], 9)
    drawn_rows(drawn, ROWS, [60, 160, 260], y=400)
    (grid,) = tables_of(drawn, contents)
    assert texts(grid) == ROWS


@pytest.mark.parametrize("marker", ["•", "-", "1.", "(a)", "2.1."])
def test_a_list_is_no_table(pen, contents, marker):
    drawn = pen()
    for n, words in enumerate(PROSE):
        drawn.text(40, 100 + 20 * n, marker, 9)
        drawn.text(70, 100 + 20 * n, words[:30], 9)
    assert tables_of(drawn, contents) == []


def test_stripes_hold_rows_of_several_lines_together(pen, contents):
    drawn = pen()
    tops = [100, 120, 150, 170, 200]
    for n in (1, 3):
        drawn.canvas.setFillGray(0.9)
        drawn.canvas.rect(50, drawn.height - tops[n + 1], 300, tops[n + 1] - tops[n], stroke=0, fill=1)
    drawn.canvas.setFillGray(0)
    for x, words in zip((60, 160, 260), ROWS[0], strict=True):
        drawn.text(x, 114, words, 9, bold=True)
    for x, words in zip((60, 260), ("North", "131"), strict=True):
        drawn.text(x, 139, words, 9)
    drawn.text(160, 133, "812 and", 9)
    drawn.text(160, 145, "more", 9)
    for x, words in zip((60, 160, 260), ROWS[3], strict=True):
        drawn.text(x, 164, words, 9)
    for x, words in zip((60, 160, 260), ROWS[4], strict=True):
        drawn.text(x, 189, words, 9)
    (grid,) = tables_of(drawn, contents)
    assert texts(grid) == [ROWS[0], ["North", "812 and more", "131"], ROWS[3], ROWS[4]]


@given(st.integers(3, 9), st.integers(2, 6), st.data())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_permuting_rows_permutes_the_grid(pen_class, contents, tmp_path, rows, cols, data):
    cells = [[f"{r * 7 + c * 3 + 10}" for c in range(cols)] for r in range(rows)]
    order = data.draw(st.permutations(range(rows)))
    xs = [60 + 70 * c for c in range(cols)]
    found = []
    for n, body in enumerate((cells, [cells[r] for r in order])):
        drawn = pen_class(tmp_path / f"{n}.pdf")
        drawn_rows(drawn, body, xs)
        (grid,) = tables_of(drawn, contents)
        found.append(texts(grid))
    assert found[0] == cells and found[1] == [cells[r] for r in order]
