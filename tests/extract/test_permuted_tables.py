"""A table says the same in whatever order its rows and columns stand."""

import pytest

HEAD = ["Model", "Total capacity", "Largest cog", "Speeds", "Weight"]
ROWS = [["KX710", "37T", "28-34T", "11", "231 g"], ["KX720", "39T", "30-36T", "10", "245 g"],
        ["KX730", "41T", "32-40T", "12", "262 g"]]  # fmt: skip
ORDERS = [((2, 0, 1), (0, 1, 2, 3, 4)), ((0, 1, 2), (0, 4, 2, 1, 3)), ((1, 2, 0), (0, 3, 4, 2, 1))]


def told(reading):
    return {(c.part_code, c.variant, c.limit, c.low, c.high, c.values) for c in reading.claims}


@pytest.fixture
def drawn(pen, read):
    def of(rows, columns, ruled, name):
        page = pen(name)
        page.text(50, 90, "Rear derailleurs", 12, bold=True)
        page.table([[line[n] for n in columns] for line in [HEAD, *(ROWS[n] for n in rows)]], ruled=ruled)
        return told(read(page.save()))

    return of


@pytest.mark.parametrize("ruled", [True, False])
def test_the_order_of_rows_and_columns_changes_no_claim(drawn, ruled):
    straight = drawn((0, 1, 2), (0, 1, 2, 3, 4), ruled, "straight.pdf")
    assert len(straight) == 12
    for n, (rows, columns) in enumerate(ORDERS):
        assert drawn(rows, columns, ruled, f"order{n}.pdf") == straight
