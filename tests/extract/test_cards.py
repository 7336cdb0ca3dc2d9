"""Parts side by side on a catalogue page, at different heights and with headings of different forms."""

from itertools import count

CARDS = {
    (50, 100): ("KX10 Rear derailleur", ["Total capacity", "33T", "Largest sprocket", "28T"]),
    (230, 100): ("Rear derailleur: KX20", ["Weight", "231 g", "Total capacity", "37T"]),
    (410, 100): ("Rear derailleur KX30", ["Largest sprocket", "34T", "Weight", "265 g"]),
    (50, 200): ("KX40 – Rear derailleur", ["Total capacity", "39T", "Weight", "240 g"]),
    (230, 216): ("Rear derailleur KX50", ["Largest sprocket", "36T", "Total capacity", "41T"]),
    (410, 200): ("Rear derailleur: KX60", ["Weight", "251 g", "Largest sprocket", "30T"]),
}


def test_a_catalogue_page_with_parts_at_different_heights(pen, read):
    drawn = pen()
    for (x, y), (heading, words) in CARDS.items():
        drawn.text(x, y, heading, 11, bold=True)
        for n, label, value in zip(count(), words[::2], words[1::2], strict=False):
            drawn.text(x, y + 18 + 12 * n, label, 8, bold=True)
            drawn.text(x + 90, y + 18 + 12 * n, value, 8)
    found = {(c.part_code, c.limit, int(c.high or 0)) for c in read(drawn.save()).claims}
    assert found == {
        ("KX10", "total_capacity", 33), ("KX10", "largest_cog", 28), ("KX20", "weight", 231),
        ("KX20", "total_capacity", 37), ("KX30", "largest_cog", 34), ("KX30", "weight", 265),
        ("KX40", "total_capacity", 39), ("KX40", "weight", 240), ("KX50", "largest_cog", 36),
        ("KX50", "total_capacity", 41), ("KX60", "weight", 251), ("KX60", "largest_cog", 30),
    }  # fmt: skip


def test_a_table_across_the_page_below_them_stays_whole(pen, read):
    drawn = pen()
    for x, code in ((50, "KX10"), (300, "KX20")):
        drawn.text(x, 100, f"Rear derailleur {code}", 11, bold=True)
        drawn.text(x, 118, "Total capacity", 8, bold=True)
        drawn.text(x + 90, 118, "37T", 8)
        drawn.text(x, 130, "Weight", 8, bold=True)
        drawn.text(x + 90, 130, "231 g", 8)
    drawn.text(50, 180, "Cassettes", 11, bold=True)
    drawn.table([["Model", "Speeds", "Weight", "Smallest and largest sprocket of the set"],
                 ["KC10", "9", "231 g", "11-12-13-15-17-19-21-24-28"],
                 ["KC20", "9", "265 g", "11-13-15-17-20-23-26-30-34"]], y=200, ruled=False,
                widths=[110, 110, 120, 200])  # fmt: skip
    found = {(c.part_code, c.limit) for c in read(drawn.save()).claims}
    assert found >= {("KX10", "total_capacity"), ("KX20", "total_capacity"), ("KC10", "rear_speeds"),
                     ("KC20", "rear_speeds"), ("KC10", "weight"), ("KC20", "weight")}  # fmt: skip
