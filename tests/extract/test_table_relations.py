"""The benchmark's measure of tables, on cases worked out by hand from its published definition."""

import importlib.util
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent.parent.parent / "benchmarks"


@pytest.fixture(scope="module")
def relations():
    spec = importlib.util.spec_from_file_location("table_relations", HERE / "relations.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def table(relations, rows, page=1, spans=()):
    spans = {(r, c): (down, right) for r, c, down, right in spans}
    cells = [relations.PlacedCell(text, r, c, *spans.get((r, c), (1, 1)))
             for r, row in enumerate(rows) for c, text in enumerate(row) if text]  # fmt: skip
    return relations.PlacedTable(page, tuple(cells))


def test_a_square_of_four_has_four_relations(relations):
    bag = relations.bag_of(table(relations, [["a", "b"], ["c", "d"]]))
    assert bag == {("A", "B", False, 0): 1, ("C", "D", False, 0): 1, ("A", "C", True, 0): 1, ("B", "D", True, 0): 1}


def test_blank_places_between_are_counted_and_blanks_have_no_relations(relations):
    bag = relations.bag_of(table(relations, [["a", "", "", "b"]]))
    assert bag == {("A", "B", False, 2): 1}


def test_a_spanning_cell_has_one_relation_to_each_neighbour(relations):
    bag = relations.bag_of(table(relations, [["head", ""], ["a", "b"]], spans=[(0, 0, 1, 2)]))
    assert bag == {("HEAD", "A", True, 0): 1, ("HEAD", "B", True, 0): 1, ("A", "B", False, 0): 1}


def test_equal_relations_are_counted_not_merged(relations):
    assert relations.bag_of(table(relations, [["a", "b"], ["a", "b"]]))[("A", "B", False, 0)] == 2


@pytest.mark.parametrize(("one", "other"), [("½ – 3 μm", "1⁄2-3ΜM"), ("a  b", "AB"), ("28–32", "28-32")])
def test_words_that_count_as_equal(relations, one, other):
    assert relations.comparable(one) == relations.comparable(other)


def test_a_split_table_loses_the_half_that_is_not_paired(relations):
    whole = table(relations, [["a", "b"], ["c", "d"], ["e", "f"]])
    halves = [table(relations, [["a", "b"], ["c", "d"]]), table(relations, [["e", "f"]])]
    score = relations.score_tables([whole], halves)
    assert (score.right, score.found, score.true, score.whole) == (4, 5, 7, 0)
    assert relations.score_tables([whole], [whole]).f1 == 1.0


def test_tables_pair_on_their_own_page_only(relations):
    one, other = table(relations, [["a", "b"]], page=1), table(relations, [["a", "b"]], page=2)
    assert relations.score_tables([one], [other]).right == 0


def test_the_better_of_two_true_readings_counts(relations):
    found = table(relations, [["a", "b"]])
    assert relations.best_score([[table(relations, [["x", "y"]])], [found]], [found]).f1 == 1.0


def test_the_truth_is_read_from_the_form_of_the_competition(relations, tmp_path):
    for letter in "ab":
        (tmp_path / f"x-001{letter}-str.xml").write_text(
            "<document><table><region page='2'>"
            "<cell start-row='0' start-col='0' end-col='1'><content>Head</content></cell>"
            f"<cell start-row='1' start-col='0'><content>{letter}</content></cell></region></table></document>",
            encoding="utf-8",
        )
    (tmp_path / "x-001.pdf").write_bytes(b"")
    readings = relations.read_truths(tmp_path)
    assert list(readings) == ["x-001"] and len(readings["x-001"]) == 2
    (first,) = readings["x-001"][0]
    assert first.page == 2 and first.cells[0] == relations.PlacedCell("Head", 0, 0, 1, 2)
