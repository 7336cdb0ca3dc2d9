"""Small tables of every kind of part, in the words of their trade, read whole."""

import pytest

TABLES = {
    "chains": (
        "Chains",
        [
            ["Model", "Speeds", "Links", "Pin length"],
            ["CN10", "10/11", "114", "5.9 mm"],
            ["CN20", "9", "116 links", "6.6 mm"],
        ],
        {
            ("chain", "CN10", "link_count", None, None, (114,)),
            ("chain", "CN10", "pin_length", 5.9, 5.9, None),
            ("chain", "CN10", "rear_speeds", None, None, (10, 11)),
            ("chain", "CN20", "link_count", None, None, (116,)),
            ("chain", "CN20", "pin_length", 6.6, 6.6, None),
            ("chain", "CN20", "rear_speeds", None, None, (9,)),
        },
    ),
    "extenders": (
        "Hanger extenders",
        [
            ["Model", "Largest cog gain", "Capacity change", "Largest cog"],
            ["EX10", "+4T", "0T", "36T"],
            ["EX20", "+6T", "-2T", "40T"],
        ],
        {
            ("hanger_extender", "EX10", "capacity_change", 0, 0, None),
            ("hanger_extender", "EX10", "largest_cog", None, 36, None),
            ("hanger_extender", "EX10", "largest_cog_gain", 4, 4, None),
            ("hanger_extender", "EX20", "capacity_change", -2, -2, None),
            ("hanger_extender", "EX20", "largest_cog", None, 40, None),
            ("hanger_extender", "EX20", "largest_cog_gain", 6, 6, None),
        },
    ),
    "cranks": (
        "Kurbelgarnituren",
        [
            ["Modell", "Kettenblätter", "Lochkreis", "Kurbellänge"],
            ["KR10", "50-34", "110 mm", "170/172,5/175 mm"],
            ["KR20", "52/36", "110 mm", "165 / 170 mm"],
        ],
        {
            ("crankset", "KR10", "bolt_circle", 110, 110, None),
            ("crankset", "KR10", "crank_length", None, None, (170, 172.5, 175)),
            ("crankset", "KR10", "rings", None, None, (50, 34)),
            ("crankset", "KR20", "bolt_circle", 110, 110, None),
            ("crankset", "KR20", "crank_length", None, None, (165, 170)),
            ("crankset", "KR20", "rings", None, None, (52, 36)),
        },
    ),
    "cassettes": (
        "Cassettes",
        [
            ["Modèle", "Denture", "Poids"],
            ["KC10", "11-12-13-14-16-18-20-22-25-28", "231 g"],
            ["KC20", "11-13-15-17-20-23-26-30-34", "265 g"],
        ],
        {
            ("cassette", "KC10", "cogs", None, None, (11, 12, 13, 14, 16, 18, 20, 22, 25, 28)),
            ("cassette", "KC10", "weight", 231, 231, None),
            ("cassette", "KC20", "cogs", None, None, (11, 13, 15, 17, 20, 23, 26, 30, 34)),
            ("cassette", "KC20", "weight", 265, 265, None),
        },
    ),
    "front": (
        "Dérailleurs avant",
        [
            ["Modèle", "Petit plateau", "Grand plateau", "Différence de plateaux"],
            ["KF71", "34-39", "46-53", "16"],
            ["KF72", "30", "50", "20"],
        ],
        {
            ("front_derailleur", "KF71", "big_ring", 46, 53, None),
            ("front_derailleur", "KF71", "front_difference", None, 16, None),
            ("front_derailleur", "KF71", "small_ring", 34, 39, None),
            ("front_derailleur", "KF72", "big_ring", None, 50, None),
            ("front_derailleur", "KF72", "front_difference", None, 20, None),
            ("front_derailleur", "KF72", "small_ring", 30, None, None),
        },
    ),
    "ditto": (
        "Rear derailleurs",
        [
            ["Model", "Total capacity", "Largest cog"],
            ["KX710", "28T", "26T"],
            ["KX720", '"', '"'],
            ["KX730", "27T", "ditto"],
            ["KX740", "id.", "32T"],
        ],
        {
            ("rear_derailleur", "KX710", "largest_cog", None, 26, None),
            ("rear_derailleur", "KX710", "total_capacity", None, 28, None),
            ("rear_derailleur", "KX720", "largest_cog", None, 26, None),
            ("rear_derailleur", "KX720", "total_capacity", None, 28, None),
            ("rear_derailleur", "KX730", "largest_cog", None, 26, None),
            ("rear_derailleur", "KX730", "total_capacity", None, 27, None),
            ("rear_derailleur", "KX740", "largest_cog", None, 32, None),
            ("rear_derailleur", "KX740", "total_capacity", None, 27, None),
        },
    ),
    "sections": (
        "Products",
        [
            ["Model", "Weight", "Total capacity"],
            ["Rear derailleurs", "", ""],
            ["KX710", "200 g", "37T"],
            ["Front derailleurs", "", ""],
            ["KF71", "90 g", "–"],
        ],
        {
            ("front_derailleur", "KF71", "weight", 90, 90, None),
            ("rear_derailleur", "KX710", "total_capacity", None, 37, None),
            ("rear_derailleur", "KX710", "weight", 200, 200, None),
        },
    ),
}


def told(reading):
    return {(c.part_kind, c.part_code, c.limit, c.low, c.high, c.values) for c in reading.claims}


@pytest.mark.parametrize("name", TABLES)
def test_a_table_of_parts(pen, read, name):
    head, rows, wanted = TABLES[name]
    drawn = pen()
    drawn.text(50, 90, head, 12, bold=True)
    drawn.table(rows)
    assert told(read(drawn.save())) == wanted


@pytest.mark.parametrize(
    ("head", "lines", "wanted"),
    [
        # in French and Italian the long development is the small cog: common practice
        ("Cambio posteriore KX710",
         ["Rapporto massimo: 34 denti", "Rapporto lungo: 11 denti", "Capacità totale: 37 denti"],
         {("largest_cog", None, 34), ("smallest_cog", 11, None), ("total_capacity", None, 37)}),
        ("Dérailleur arrière KX710",
         ["Grand développement: 11 dents", "Petit développement: 34 dents", "Capacité totale: 37 dents"],
         {("largest_cog", None, 34), ("smallest_cog", 11, None), ("total_capacity", None, 37)}),
        ("Schaltwerk KX710", ["Gesamtkapazität: 37 Zähne", "Größtes Ritzel: 34 Zähne", "Kleinstes Ritzel: 11 Zähne"],
         {("largest_cog", None, 34), ("smallest_cog", 11, None), ("total_capacity", None, 37)}),
        ("Achterderailleur KX710", ["Totale capaciteit: 37 tanden", "Grootste tandwiel: 34 tanden", "Gewicht: 231 g"],
         {("largest_cog", None, 34), ("weight", 231, 231), ("total_capacity", None, 37)}),
        ("Cambio trasero KX710", ["Capacidad total: 37 dientes", "Piñón mayor: 34 dientes", "Peso: 231 g"],
         {("largest_cog", None, 34), ("weight", 231, 231), ("total_capacity", None, 37)}),
    ],
)  # fmt: skip
def test_lists_in_other_languages(pen, read, head, lines, wanted):
    drawn = pen()
    drawn.text(60, 90, head, 12, bold=True)
    for n, line in enumerate(lines):
        drawn.text(60, 120 + 16 * n, line, 9)
    found = {(limit, low, high) for _, code, limit, low, high, _ in told(read(drawn.save())) if code == "KX710"}
    assert found == wanted


@pytest.mark.parametrize(
    "line",
    [
        "Largest cog: ca. 34T",
        "Total capacity: approx. 37T",
        "Max. front difference: under 16T",
    ],
)
def test_a_vague_number_is_no_other_number(pen, read, line):
    drawn = pen()
    drawn.text(60, 90, "Rear derailleur KX710", 12, bold=True)
    drawn.text(60, 120, line, 9)
    drawn.text(60, 136, "Weight: 231 g", 9)
    for _, _, limit, low, high, _ in told(read(drawn.save())):
        assert (limit, low, high) in {("weight", 231, 231), ("largest_cog", None, 34), ("total_capacity", None, 37),
                                      ("front_difference", None, 15)}  # fmt: skip


def test_parts_may_be_named_by_their_order_number(pen, read):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([["Order no.", "Cage", "Total capacity"], ["H1.652", "M", "35T"], ["H1.652", "L", "38T"]])
    assert {(c.part_code, c.variant, c.high) for c in read(drawn.save()).claims} == {
        ("H1.652", "M", 35), ("H1.652", "L", 38)}  # fmt: skip
