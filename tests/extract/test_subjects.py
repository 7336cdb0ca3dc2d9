"""What names a part and what never does: codes of many shapes, and the numbers with units that stand beside them."""

import pytest
from cogledger.extract.subjects import (
    Subject,
    find_codes,
    find_kinds,
    is_code,
    parse_heading,
    parse_model_cell,
    parse_variant,
)
from cogledger.schema.limits import PartKind
from hypothesis import given, settings
from hypothesis import strategies as st

CODES = ["KX710", "KX-710", "KX.710", "QX123", "H1.714", "J1-H310-M", "VB3A", "CBT.85.441", "RZ-70-GS", "M6100X",
         "AB12-11",
         "ZQ500S", "LT-9", "F20-D"]  # fmt: skip
NO_CODES = ["11-28T", "28T", "11-28", "50/34T", "43.5mm", "31,8", "28.6mm", "170mm", "231g", "5Nm", "M5", "M6x1",
            "M8x0.75",
            "25-622", "28-622", "700x25", "26x1.95", "12.03.2024", "2024", "2024/32", "10-speed", "11-fach",
            "9-vitesses",
            "2x11", "1x", "3.7V", "7.4V", "36V", "250W", "500mAh", "120km", "IP67", "A4", "66-69°", "65%", "199,90",
            "370.90",
            "4.1.0", "V4.1", "1/2x3/32", "ISO-4210", "EN15194", "T25", "H8", "1st", "40Nm", "5-7Nm", "240mm",
            "100x"]  # fmt: skip


@pytest.mark.parametrize("text", CODES)
def test_codes_of_many_shapes_are_codes(text):
    assert is_code(text)


@pytest.mark.parametrize("text", NO_CODES)
def test_sizes_units_dates_screws_tyres_and_prices_are_no_codes(text):
    assert not is_code(text) and find_codes(f"with {text} as usual") == ()


UNITS = ["T", "Z", "mm", "cm", "g", "kg", "Nm", "°", "%", "V", "W", "h", "km", "mm."]
SIZES = st.builds("{}{}{}".format, st.integers(1, 999), st.sampled_from(["", ",5", ".25"]), st.sampled_from(UNITS))


@given(SIZES)
@settings(max_examples=150, deadline=None)
def test_no_number_with_a_unit_is_a_code(text):
    assert find_codes(text) == () and not is_code(text)


@given(st.from_regex(r"[A-Z]{2,4}-?[0-9]{3,4}", fullmatch=True))
@settings(max_examples=150, deadline=None)
def test_letters_and_digits_are_found_in_a_sentence(code):
    if code[:2] in ("IS", "EN", "DI", "UN", "CR", "US", "IP") or code.startswith(("ISO", "DIN", "USB")):
        return  # standards and protection classes
    assert find_codes(f"The {code} takes 28T, weighs 231 g and costs 19,90.") == (code,)


@pytest.mark.parametrize(
    ("text", "subjects"),
    [
        ("KX710", [Subject(None, "KX710", None)]),
        ("KX710 (long)", [Subject(None, "KX710", "long")]),
        ("KX710, short cage", [Subject(None, "KX710", "short cage")]),
        ("KX710 S", [Subject(None, "KX710", "S")]),
        ("KX 710", [Subject(None, "KX 710", None)]),
        ("KX710 / KX720", [Subject(None, "KX710", None), Subject(None, "KX720", None)]),
        ("KX710 und KX720", [Subject(None, "KX710", None), Subject(None, "KX720", None)]),
        ("4210", [Subject(None, "4210", None)]),
        ("KX710^{2}", [Subject(None, "KX710", None)]),
        ("Schaltwerk KX710", [Subject(PartKind.REAR_DERAILLEUR, "KX710", None)]),
        ("28T", []), ("28T min", []), ("11-28", []), ("43,5 mm", []), ("–", []), ("", []),
    ],
)  # fmt: skip
def test_a_model_cell(text, subjects):
    assert list(parse_model_cell(text)) == subjects


@pytest.mark.parametrize(
    ("text", "variant"),
    [
        ("short", "short"), ("Short cage", "Short cage"), ("langer Käfig", "langer Käfig"),
        ("chape longue", "chape longue"),
        ("S", "S"), ("L", "L"), ("gabbia media", "gabbia media"), ("caja corta", "caja corta"),
        ("lange kooi", "lange kooi"),
        ("KX710", None), ("28T", None), ("cage length", None), ("short or long", None), ("", None), ("weight", None),
    ],
)  # fmt: skip
def test_variants_as_printed(text, variant):
    assert parse_variant(text) == variant


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Rear derailleur", PartKind.REAR_DERAILLEUR), ("Umwerfer", PartKind.FRONT_DERAILLEUR),
        ("dérailleur avant", PartKind.FRONT_DERAILLEUR), ("cambio posteriore", PartKind.REAR_DERAILLEUR),
        ("desviador delantero", PartKind.FRONT_DERAILLEUR), ("achterderailleur", PartKind.REAR_DERAILLEUR),
        ("Kassette", PartKind.CASSETTE), ("roue libre", PartKind.FREEWHEEL), ("guarnitura", PartKind.CRANKSET),
        ("ketting", PartKind.CHAIN), ("mando", PartKind.SHIFTER), ("hanger extender", PartKind.HANGER_EXTENDER),
        ("Kettenblatt", PartKind.CHAINRING),
    ],
)  # fmt: skip
def test_kinds_in_six_languages(text, kind):
    """Names of parts as common in the trade; ISO 8090 for those that it has."""
    assert kind in [k for k, _ in find_kinds(text)]


@pytest.mark.parametrize(
    ("text", "subject"),
    [
        ("Rear derailleur KX710 (long)", Subject(PartKind.REAR_DERAILLEUR, "KX710", "long")),
        ("KX710 – Schaltwerk", Subject(PartKind.REAR_DERAILLEUR, "KX710", None)),
        ("KX710", Subject(None, "KX710", None)),
        ("Cassette", Subject(PartKind.CASSETTE, None, None)),
        ("Technical data 2024", Subject()),
        ("Crankset 4210", Subject(PartKind.CRANKSET, "4210", None)),
        ("Torque 5 Nm", Subject()),
    ],
)
def test_headings(text, subject):
    assert parse_heading(text) == subject


@pytest.mark.parametrize("code", ["901-OY", "332-ON"])
def test_a_code_that_might_be_a_size_counts_beside_the_name_of_a_part(code):
    assert parse_heading(f"Chain {code}") == Subject(PartKind.CHAIN, code, None)
    assert find_codes(f"with {code} only") == ()


def test_what_is_lacking_comes_from_the_other_but_no_variant_of_another_code():
    above = Subject(PartKind.CHAIN, "AB12", "L")
    assert Subject(None, "AB13", None).filled_from(above) == Subject(PartKind.CHAIN, "AB13", None)
    assert Subject().filled_from(above) == above
    assert Subject(None, "AB12", None).filled_from(above) == above
    assert Subject(PartKind.CASSETTE, None, "S").filled_from(above) == Subject(PartKind.CASSETTE, "AB12", "S")
