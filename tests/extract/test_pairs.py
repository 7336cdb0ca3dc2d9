"""``Label: value`` lines, leaders, cards and headings of variants, drawn on pages."""

import pytest


def told(reading):
    return {(c.part_code, c.variant, c.limit, c.low, c.high, c.values, c.text) for c in reading.claims}


def sheet(pen, rows, head="Rear derailleur KX710", gap=None):
    drawn = pen()
    drawn.text(60, 90, head, 12, bold=True)
    for n, row in enumerate(rows):
        if isinstance(row, tuple):
            drawn.text(60, 120 + 16 * n, row[0], 9)
            drawn.text(gap or 260, 120 + 16 * n, row[1], 9)
        else:
            drawn.text(60, 120 + 16 * n, row, 9)
    return drawn.save()


WANTED = {
    ("KX710", None, "total_capacity", None, 37, None, None),
    ("KX710", None, "largest_cog", 28, 34, None, None),
    ("KX710", None, "weight", 231, 231, None, None),
    ("KX710", None, "rear_speeds", None, None, (10, 11), None),
}


@pytest.mark.parametrize(
    "rows",
    [
        ["Total capacity: 37T", "Largest cog: 28-34T", "Weight: 231 g", "Rear speeds: 10/11"],
        ["Total capacity : 37T", "Largest cog : 28-34T", "Weight : 231 g", "Rear speeds : 10/11"],
        ["Total capacity ............ 37T", "Largest cog ..... 28-34T", "Weight ......... 231 g",
         "Rear speeds .... 10/11"],
        ["Total capacity............37T", "Largest cog.....28-34T", "Weight.........231 g", "Rear speeds....10/11"],
        [("Total capacity", "37T"), ("Largest cog", "28-34T"), ("Weight", "231 g"), ("Rear speeds", "10/11")],
        [("Total capacity:", "37T"), ("Largest cog:", "28-34T"), ("Weight:", "231 g"), ("Rear speeds:", "10/11")],
        ["Weight: 231 g", "Rear speeds: 10/11", "Torque: 5 Nm", "Total capacity: 37T", "Price: 39.90",
         "Largest cog: 28-34T"],
    ],
)  # fmt: skip
def test_lists_in_many_looks(pen, read, rows):
    assert told(read(sheet(pen, rows))) == WANTED


def test_a_german_list(pen, read):
    rows = ["Gesamtkapazität: 37 Zähne", "Größtes Ritzel: 28 bis 34 Zähne", "Gewicht: 231 g", "Gänge hinten: 10/11"]
    assert told(read(sheet(pen, rows, head="Schaltwerk KX710"))) == WANTED


def test_a_list_under_a_heading_in_another_language(pen, read):
    rows = ["Gesamtkapazität: 37 Zähne", "Größtes Ritzel: 28 bis 34 Zähne", "Gewicht: 231 g", "Gänge hinten: 10/11"]
    assert told(read(sheet(pen, rows, head="Rear derailleur KX710"))) == WANTED


def test_several_pairs_on_one_line(pen, read):
    found = told(read(sheet(pen, ["Total capacity: 37T, Largest cog: 28-34T, Weight: 231 g, Rear speeds: 10/11"])))
    assert found <= WANTED and len(found) >= 3


def test_each_heading_has_its_own_numbers(pen, read):
    drawn = pen()
    for n, (code, capacity) in enumerate((("KX710", 37), ("KX720", 33))):
        drawn.text(60, 90 + 100 * n, f"Rear derailleur {code}", 12, bold=True)
        drawn.text(60, 110 + 100 * n, f"Total capacity: {capacity}T", 9)
        drawn.text(60, 126 + 100 * n, f"Weight: {200 + n} g", 9)
    assert {(c.part_code, c.limit, c.high) for c in read(drawn.save()).claims} == {
        ("KX710", "total_capacity", 37), ("KX710", "weight", 200), ("KX720", "total_capacity", 33),
        ("KX720", "weight", 201)}  # fmt: skip


def test_cards_side_by_side_do_not_mix(pen, read):
    drawn = pen()
    for n, (code, capacity) in enumerate((("KX710", 37), ("KX720", 33))):
        x = 60 + 260 * n
        drawn.canvas.rect(x - 8, drawn.height - 180, 220, 110, stroke=1, fill=0)
        drawn.text(x, 90, f"Rear derailleur {code}", 11, bold=True)
        drawn.text(x, 110, f"Total capacity: {capacity}T", 9)
        drawn.text(x, 126, f"Largest cog: {capacity - 5}T", 9)
        drawn.text(x, 142, f"Weight: {200 + n} g", 9)
    found = {(c.part_code, c.limit, c.high) for c in read(drawn.save()).claims}
    assert found == {
        ("KX710", "total_capacity", 37), ("KX710", "largest_cog", 32), ("KX710", "weight", 200),
        ("KX720", "total_capacity", 33), ("KX720", "largest_cog", 28), ("KX720", "weight", 201)}  # fmt: skip


def test_a_heading_of_a_variant_gives_its_numbers_to_that_variant(pen, read):
    rows = ["Weight: 231 g", "Short cage", "Total capacity: 31T", "Largest cog: 28T", "Long cage"]
    rows += ["Total capacity: 39T", "Largest cog: 34T"]
    drawn = pen()
    drawn.text(60, 90, "Rear derailleur KX710", 12, bold=True)
    for n, row in enumerate(rows):
        drawn.text(60, 120 + 16 * n, row, 9, bold=row.endswith("cage"))
    found = {(c.variant, c.limit, c.high) for c in read(drawn.save()).claims}
    wanted = {(None, "weight", 231), ("Short cage", "total_capacity", 31), ("Short cage", "largest_cog", 28),
              ("Long cage", "total_capacity", 39), ("Long cage", "largest_cog", 34)}  # fmt: skip
    assert found <= wanted and ("Long cage", "total_capacity", 39) in found


def test_pairs_without_a_part_are_held_back_and_not_claimed(pen, read):
    reading = read(sheet(pen, ["Total capacity: 37T", "Weight: 231 g"], head="General hints"))
    assert not reading.claims


def test_no_value_is_no_claim(pen, read):
    assert not read(sheet(pen, ["Total capacity: –", "Weight: n/a", "Largest cog:"])).claims
