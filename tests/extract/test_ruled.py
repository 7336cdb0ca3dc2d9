"""Drawn lines → grids, on pages and on hand-made rules."""

import pytest
from cogledger.extract.layouts.ruled import find_ruled_grids, merge_rules
from cogledger.extract.records import PageContent, Rule, Word
from cogledger.schema.claims import Box
from hypothesis import given, settings
from hypothesis import strategies as st


def word(text, x, y):
    return Word(text, Box(x - 4, y - 4, x + 4, y + 4), size=8)


def lattice(xs, ys):
    return [Rule(xs[0], y, xs[-1], y) for y in ys] + [Rule(x, ys[0], x, ys[-1]) for x in xs]


def page(rules, words=()):
    return PageContent(1, 600, 800, tuple(words) or (word("x", 100, 100),), tuple(rules))


def spans(grid):
    return {(c.row, c.col, c.row_span, c.col_span) for c in grid.cells}


@given(st.integers(1, 6), st.integers(1, 6), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_a_full_lattice_gives_every_cell_once(rows, cols, rng):
    xs = [50 + 60 * n + rng.uniform(-10, 10) for n in range(cols + 1)]
    ys = [50 + 30 * n + rng.uniform(-5, 5) for n in range(rows + 1)]
    places = [(r, c) for r in range(rows) for c in range(cols)]
    words = [word(f"{r}.{c}", (xs[c] + xs[c + 1]) / 2, (ys[r] + ys[r + 1]) / 2) for r, c in places]
    rules = lattice(xs, ys)
    rng.shuffle(rules)
    (grid,) = find_ruled_grids(page(rules, words))
    assert (grid.rows, grid.cols) == (rows, cols)
    assert {(c.row, c.col): c.text for c in grid.cells} == {(r, c): f"{r}.{c}" for r, c in places}


def test_rules_in_pieces_are_one():
    pieces = [Rule(50, 100, 120, 100), Rule(121, 100.5, 200, 100.5), Rule(300, 100, 400, 100)]
    merged = merge_rules(pieces, 2.0)
    assert [(r.x0, r.x1) for r in merged] == [(50, 200), (300, 400)]


def test_cells_merged_across_and_down():
    xs, ys = [50, 150, 250, 350], [50, 80, 110, 140]
    rules = [r for r in lattice(xs, ys)]
    rules = [r for r in rules if not (r.x0 == r.x1 == 150)] + [Rule(150, 80, 150, 140)]  # first row: two cells in one
    rules = [r for r in rules if not (r.y0 == r.y1 == 110)] + [Rule(50, 110, 250, 110)]  # last column: two rows in one
    (grid,) = find_ruled_grids(page(rules))
    assert (0, 0, 1, 2) in spans(grid) and (1, 2, 2, 1) in spans(grid)
    assert sum(c.row_span * c.col_span for c in grid.cells) == 9


@pytest.mark.parametrize("missing", ["left", "right", "top", "bottom"])
def test_a_missing_border_loses_no_cell(missing):
    xs, ys = [50, 150, 250], [50, 80, 110]
    gone = {"left": ("x", 50), "right": ("x", 250), "top": ("y", 50), "bottom": ("y", 110)}[missing]
    rules = [r for r in lattice(xs, ys) if not (gone == ("x", r.x0) and r.x0 == r.x1)
             and not (gone == ("y", r.y0) and r.y0 == r.y1)]  # fmt: skip
    words = [word(f"{r}.{c}", xs[c] + 50, ys[r] + 15) for r in range(2) for c in range(2)]
    (grid,) = find_ruled_grids(page(rules, words))
    assert (grid.rows, grid.cols) == (2, 2) and sorted(c.text for c in grid.cells) == ["0.0", "0.1", "1.0", "1.1"]


def test_two_frames_are_two_grids_from_top_to_bottom():
    rules = lattice([50, 150, 250], [300, 330, 360]) + lattice([50, 150, 250], [100, 130, 160])
    words = [word("low", 100, 315), word("high", 100, 115)]
    grids = find_ruled_grids(page(rules, words))
    assert [g.words[0].text for g in grids] == ["high", "low"]


def test_a_cell_of_an_odd_shape_falls_back_to_single_cells():
    xs, ys = [50, 150, 250], [50, 80, 110]
    rules = [Rule(50, 50, 250, 50), Rule(50, 110, 250, 110), Rule(50, 50, 50, 110), Rule(250, 50, 250, 110),
             Rule(150, 50, 150, 80), Rule(50, 80, 150, 80)]  # fmt: skip
    words = [word(f"{r}{c}", xs[c] + 50, ys[r] + 15) for r in range(2) for c in range(2)]
    (grid,) = find_ruled_grids(page(rules, words))
    assert sum(c.row_span * c.col_span for c in grid.cells) == grid.rows * grid.cols
    assert sorted(w.text for w in grid.words) == ["00", "01", "10", "11"]


def test_rules_of_one_direction_make_no_frame():
    assert find_ruled_grids(page([Rule(50, y, 250, y) for y in (50, 80, 110)])) == []


def test_an_empty_frame_is_kept_only_when_asked_for():
    content = page(lattice([50, 150, 250], [300, 330, 360]))
    assert find_ruled_grids(content) == [] and len(find_ruled_grids(content, keep_empty=True)) == 1


def test_turning_a_grid_over_twice_gives_it_back():
    (grid,) = find_ruled_grids(page(lattice([50, 150, 250, 350], [90, 110, 140])))
    again = grid.turned().turned()
    assert spans(again) == spans(grid) and (grid.turned().rows, grid.turned().cols) == (grid.cols, grid.rows)
