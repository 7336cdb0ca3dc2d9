"""Which pages are let go by their bare text: none that states a limit, most of those that do not."""

import json
from pathlib import Path

import pytest
from cogledger.extract.contents import open_pages
from cogledger.extract.pipeline import read_source
from cogledger.extract.sources import find_sources
from cogledger.extract.triage import find_outlook

DOCUMENTS = Path(__file__).resolve().parents[2] / "fixtures" / "documents"


def source_of(path):
    (source,), faults = find_sources([path])
    assert not faults
    return source


def pages_with_truth():
    truth = [json.loads(line) for line in (DOCUMENTS / "truth.jsonl").read_text(encoding="utf-8").splitlines()]
    return sorted({(row["document"], row["page"]) for row in truth})


@pytest.mark.parametrize(("name", "page"), pages_with_truth())
def test_no_page_that_states_a_limit_is_let_go(name, page):
    with open_pages(source_of(DOCUMENTS / name)) as pages:
        assert pages.outlook(page).limits


@pytest.mark.parametrize(
    "text",
    [
        "Model  Max. cog  Min. cog\r\nQX-100  34  11\r\nQX-200  36  11",
        "model largest cog in teeth smallest cog in teeth total capacity in teeth weight\r\nQX-100 34 11 37 231\r\n"
        "QX-200 36 11 41 240",
        "Max.  Min.  Total\r\ncog  cog  capacity\r\nQX-100  34  11  37",
        "QX-100\r\nGesamtkapazität .......... 37 Z",
        "The QX-100 is made for wide gears. Its total capacity must not exceed 37 teeth in any combination of rings.",
        "Das Schaltwerk QX-100 darf mit Kassetten benutzt werden, deren größtes Ritzel höchstens 34 Zähne hat.",
        "Le plus grand pignon du dérailleur arrière QX-100 peut compter de 28 à 34 dents au plus dans tous les cas.",
        "Il pignone più grande del cambio QX-100 può avere da 28 a 34 denti e non di più in nessun caso.",
        "El piñón más grande del cambio QX-100 puede tener entre 28 y 34 dientes como máximo en todos los casos.",
        "Het grootste tandwiel van de derailleur QX-100 mag 28 tot 34 tanden hebben en in geen geval meer dan dat.",
        "Compatible series\r\nQX-100  Norda\r\nQX-200  Velta",
        "T o t a l c a p a c i t y 3 7",
        "Chainline 43.5 mm",
    ],
)  # fmt: skip
def test_words_beside_a_value_that_they_can_have_keep_a_page(text):
    assert find_outlook(text).limits


@pytest.mark.parametrize(
    "text",
    [
        "",
        "The workshop was opened in 1987 and has seen 412 bicycles a week since then, each of them clean.",
        "Keep the chain dry, wipe it every 200 km and use oil sparingly. A clean chain lasts for many thousand miles.",
        "Contents\r\nIntroduction  3\r\nSafety  5\r\nWarranty  12",
        "Der Laden hat montags bis freitags von 9 bis 18 Uhr geöffnet und liegt 300 m vom Bahnhof der Stadt entfernt.",
        "A cog with 40 teeth is about 169 mm across; more teeth make for an easier gear on every road.",
    ],
)
def test_pages_without_such_words_are_let_go(text):
    assert not find_outlook(text).limits


def test_a_heading_on_the_page_before_that_was_let_go_is_still_used(pen):
    drawn = pen("apart.pdf")
    drawn.text(50, 780, "Rear derailleur QX-100", 14, bold=True)
    drawn.canvas.showPage()
    drawn.text(50, 80, "Total capacity: 37T")
    reading = read_source(source_of(drawn.save()))
    assert [(c.page, c.part_code, c.high) for c in reading.claims] == [(2, "QX-100", 37)]


def test_a_heading_farther_back_is_not(pen):
    drawn = pen("far.pdf")
    drawn.text(50, 780, "Rear derailleur QX-100", 14, bold=True)
    drawn.canvas.showPage()
    drawn.text(50, 80, "Wash your hands when the work is done.")
    drawn.canvas.showPage()
    drawn.text(50, 80, "Total capacity: 37T")
    assert not read_source(source_of(drawn.save())).claims


def test_a_table_goes_on_over_a_page_without_its_header(pen):
    drawn = pen("on.pdf")
    drawn.text(50, 60, "Rear derailleurs", 14, bold=True)
    drawn.table([["Model", "Largest cog", "Total capacity"], ["QX-100", "34T", "37T"], ["QX-200", "36T", "41T"]], y=700)
    drawn.canvas.showPage()
    drawn.table([["QX-300", "40T", "45T"], ["QX-400", "42T", "47T"]], y=60, widths=(54, 75, 81))
    found = {(c.page, c.part_code, c.limit, c.high) for c in read_source(source_of(drawn.save())).claims}
    assert {(2, "QX-300", "largest_cog", 40), (2, "QX-400", "total_capacity", 47)} <= found


def test_text_that_is_no_language_does_not_settle_a_page(pen):
    drawn = pen("odd.pdf")
    for n in range(12):
        drawn.text(50, 80 + 14 * n, "Wkqtr bnmvx zxcvb qwrtp lkjhg")
    with open_pages(source_of(drawn.save())) as pages:
        assert pages.outlook(1).limits
