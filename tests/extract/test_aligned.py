"""Tables that only their alignment tells, drawn on pages."""

import pytest
from cogledger.extract.layouts.aligned import find_aligned_grids
from cogledger.extract.lines import find_lines


def grid_of(pen, contents, rows, xs, *, y=120, step=18, align="left"):
    drawn = pen()
    for r, row in enumerate(rows):
        for x, cell in zip(xs, row, strict=True):
            if align == "left":
                drawn.text(x, y + r * step, cell, 9)
            else:
                drawn.right(x + 60, y + r * step, cell, 9)
    (page,) = contents(drawn.save())
    return find_aligned_grids(page.words, page.rules)


ROWS = [
    ["Model", "Weight", "Capacity"],
    ["KX710", "200 g", "37T"],
    ["KX720", "1210 g", "33T"],
    ["VB350", "95 g", "35T"],
]


@pytest.mark.parametrize("align", ["left", "right"])
def test_columns_are_told_by_the_gaps_between_them(pen, contents, align):
    (grid,) = grid_of(pen, contents, ROWS, [60, 160, 260], align=align)
    assert (grid.rows, grid.cols) == (4, 3)
    assert [[grid.at(r, c).text for c in range(3)] for r in range(4)] == ROWS


def test_an_empty_place_stays_empty(pen, contents):
    rows = [list(row) for row in ROWS]
    rows[2][1] = ""
    (grid,) = grid_of(pen, contents, rows, [60, 160, 260])
    assert grid.at(2, 1).text == "" and grid.at(2, 2).text == "33T"


def test_a_header_of_two_lines_is_one_cell_or_two_rows_but_never_shifted(pen, contents):
    drawn = pen()
    for x, pieces in ((60, ("Model", "")), (160, ("Total", "capacity")), (260, ("Weight", ""))):
        for n, piece in enumerate(pieces):
            drawn.text(x, 120 + 11 * n, piece, 9, bold=True)
    for r, row in enumerate((("KX710", "37T", "200 g"), ("KX720", "33T", "210 g"), ("VB350", "35T", "220 g"))):
        for x, cell in zip((60, 160, 260), row, strict=True):
            drawn.text(x, 155 + 20 * r, cell, 9)
    (page,) = contents(drawn.save())
    (grid,) = find_aligned_grids(page.words, page.rules)
    column = [grid.at(r, 1).text for r in range(grid.rows)]
    assert " ".join(filter(None, column)) == "Total capacity 37T 33T 35T"


def test_a_paragraph_is_no_table(pen, contents):
    drawn = pen()
    sentences = [
        "The derailleur takes cogs up to the size that is",
        "stamped on its cage, and its chain wraps",
        "as many teeth as the table on the next page says",
        "for bikes of every size and shape.",
    ]
    for n, words in enumerate(sentences):
        drawn.text(60, 120 + 13 * n, words, 10)
    (page,) = contents(drawn.save())
    assert find_aligned_grids(page.words, page.rules) == []


def test_two_tables_under_each_other_are_two(pen, contents):
    drawn = pen()
    for top in (100, 400):
        for r, row in enumerate(ROWS):
            for x, cell in zip((60, 160, 260), row, strict=True):
                drawn.text(x, top + 18 * r, cell, 9)
    (page,) = contents(drawn.save())
    grids = find_aligned_grids(page.words, page.rules)
    assert [(g.rows, g.cols) for g in grids] == [(4, 3), (4, 3)] and grids[0].box.bottom < grids[1].box.top


def test_no_word_of_a_table_is_lost_or_doubled(pen, contents):
    (grid,) = grid_of(pen, contents, ROWS, [60, 140, 220])
    said = sorted(w.text for w in grid.words)
    assert said == sorted(" ".join(" ".join(r) for r in ROWS).split())
    assert len(find_lines(grid.words)) == 4


def test_rules_above_and_below_hold_a_table_together(pen, contents):
    drawn = pen()
    for y in (108, 126, 182):
        drawn.line(55, y, 330, y)
    for r, row in enumerate(ROWS):
        for x, cell in zip((60, 160, 260), row, strict=True):
            drawn.text(x, 120 + r * 18, cell, 9)
    (page,) = contents(drawn.save())
    (grid,) = find_aligned_grids(page.words, page.rules)
    assert grid.at(3, 1).text == "95 g"
