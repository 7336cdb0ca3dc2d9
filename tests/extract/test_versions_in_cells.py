"""Cells that give each version of a part a value of its own. The forms are common practice, without a source."""

import pytest
from cogledger.extract.labels import LANGUAGES
from cogledger.extract.layouts.versions import find_version_values


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("KC: 33T / LC: 39T", [("KC", "33T"), ("LC", "39T")]),
        ("CC: 27 T CM: 34 T", [("CC", "27 T"), ("CM", "34 T")]),
        ("Touring cage = 27; Race cage = 35", [("Touring cage", "27"), ("Race cage", "35")]),
        ("short = 23 - 27 long = <= 38", [("short", "23 - 27"), ("long", "<= 38")]),
        ("S: <= 30T. L: 30~36T.", [("S", "<= 30 T."), ("L", "30~36T.")]),
        ("33T (KC), 39T (LC)", [("KC", "33T"), ("LC", "39T")]),
        ("Short 27 T / Long 38 T", [("Short", "27 T"), ("Long", "38 T")]),
        ("Chape C 29 à 35 dents Chape M 33 à 36 dents", [("Chape C", "29 à 35 dents"), ("Chape M", "33 à 36 dents")]),
    ],
)
def test_names_with_a_value_each(text, wanted):
    assert [(v.name, v.value) for v in find_version_values(text, LANGUAGES)] == wanted


@pytest.mark.parametrize(
    "text",
    ["max. 33 / min. 28", "Top: 11 / Low: 34", "10/11", "48-38-28T", "28T max / 11T min", "HG 11 / HG 12", "11 to 34",
     "37T (total)", "Largest: 34T", "9 speed / 10 speed"],
)  # fmt: skip
def test_what_names_no_versions(text):
    assert not find_version_values(text, LANGUAGES)


@pytest.mark.parametrize("ruled", [True, False])
def test_a_table_with_a_value_for_each_cage(pen, read, ruled):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([["Model", "Total capacity", "Largest sprocket", "Weight"],
                 ["KX10", "KC: 33T / LC: 39T", "KC: 28T / LC: 34T", "231 g"],
                 ["KX20", "KC: 31T / LC: 37T", "KC: 27T / LC: 36T", "265 g"]], ruled=ruled)  # fmt: skip
    found = {(c.part_code, c.variant, c.limit, c.high) for c in read(drawn.save()).claims}
    assert found == {
        ("KX10", "KC", "total_capacity", 33), ("KX10", "LC", "total_capacity", 39), ("KX10", "KC", "largest_cog", 28),
        ("KX10", "LC", "largest_cog", 34), ("KX10", None, "weight", 231), ("KX20", "KC", "total_capacity", 31),
        ("KX20", "LC", "total_capacity", 37), ("KX20", "KC", "largest_cog", 27), ("KX20", "LC", "largest_cog", 36),
        ("KX20", None, "weight", 265),
    }  # fmt: skip


def test_a_name_met_once_is_not_sure_to_be_a_version(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([["Model", "Total capacity", "Weight"], ["KX10", "Zorn: 33T / Pell: 39T", "231 g"],
                 ["KX20", "37T", "265 g"]])  # fmt: skip
    assert {(c.part_code, c.variant, c.limit) for c in read(drawn.save()).claims} == {
        ("KX10", None, "weight"), ("KX20", None, "weight"), ("KX20", None, "total_capacity")}  # fmt: skip
