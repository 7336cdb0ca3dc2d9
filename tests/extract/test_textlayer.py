"""Words and rules of a text layer, with pdfplumber as the outside reference and the drawn places as the truth."""

import random

import pdfplumber
import pytest
from reportlab.pdfbase.pdfmetrics import stringWidth

WORDS = "Total capacity 37T max. Kapazität größte 28-32 Capacité totale (double) 43,5 mm Ø31.8 X-240 piñón máx".split()


def page_of_words(drawn, seed, size=9.0):
    rng = random.Random(seed)
    y = 60.0
    while y < 700:
        x = 50.0
        while x < 450:
            words = " ".join(rng.choices(WORDS, k=rng.randint(1, 4)))
            drawn.text(x, y, words, size, bold=rng.random() < 0.3)
            x += stringWidth(words, "Helvetica-Bold", size) + rng.uniform(14, 60)
        y += rng.uniform(14, 30)


def plumbed(path, page=0):
    """Words by pdfplumber: text → boxes."""
    with pdfplumber.open(path) as pdf:
        found = pdf.pages[page].extract_words(keep_blank_chars=False, x_tolerance=1.5, y_tolerance=2)
    return [(w["text"], w["x0"], w["top"], w["x1"], w["bottom"]) for w in found]


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize("seed", range(3))
def test_words_are_those_of_pdfplumber_within_a_point(pen, contents, seed, turn):
    drawn = pen()
    page_of_words(drawn, seed)
    path = drawn.save(turn=0)
    reference = plumbed(path)
    (page,) = contents(path)
    assert sorted(w.text for w in page.words) == sorted(text for text, *_ in reference)
    if turn:
        drawn = pen("turned.pdf")
        page_of_words(drawn, seed)
        (page,) = contents(drawn.save(turn=turn))
        assert sorted(w.text for w in page.words) == sorted(text for text, *_ in reference)
    left = list(page.words)
    for text, x0, top, x1, bottom in reference:
        middle = (top + bottom) / 2
        near = [w for w in left if w.text == text and abs(w.box.x0 - x0) <= 1 and abs(w.box.x1 - x1) <= 1
                and abs((w.box.top + w.box.bottom) / 2 - middle) <= 2]  # fmt: skip
        assert near, (text, x0, top, [w for w in left if w.text == text])
        left.remove(near[0])


SHOWN = {0: lambda x, y, w, h: (x, y), 90: lambda x, y, w, h: (h - y, x), 180: lambda x, y, w, h: (w - x, h - y),
         270: lambda x, y, w, h: (y, w - x)}  # fmt: skip


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_back_leads_to_the_place_on_the_page_as_shown(pen, contents, turn):
    """A Rotate entry turns the page clockwise when displayed (PDF reference, page objects)."""
    drawn = pen(size=(400, 600))
    drawn.text(100, 200, "Gewicht", 10)
    drawn.text(100, 230, "again", 10)
    (page,) = contents(drawn.save(turn=turn))
    word = next(w for w in page.words if w.text == "Gewicht")
    x, y = SHOWN[turn](100 + stringWidth("Gewicht", "Helvetica", 10) / 2, 197, 400, 600)
    box = page.shown(word.box)
    assert abs((box.x0 + box.x1) / 2 - x) < 2 and abs((box.top + box.bottom) / 2 - y) < 3
    assert word.box.x1 - word.box.x0 > 2 * (word.box.bottom - word.box.top)  # it runs from left to right


@pytest.mark.parametrize("angle", [90, 270])
def test_sideways_text_is_turned_upright_and_its_rules_with_it(pen, contents, angle):
    drawn = pen(size=(400, 600))
    canvas = drawn.canvas
    canvas.saveState()
    canvas.translate(200, 300)
    canvas.rotate(angle)
    canvas.setFont("Helvetica", 10)
    for n, words in enumerate(("Total capacity 37T", "Largest cog 32T")):
        canvas.drawString(-100, -20 * n, words)
    canvas.line(-100, -5, 100, -5)
    canvas.restoreState()
    (page,) = contents(drawn.save())
    assert [w.text for w in page.words] == ["Total", "capacity", "37T", "Largest", "cog", "32T"]
    (rule,) = page.rules
    assert rule.horizontal and rule.x1 - rule.x0 == pytest.approx(200, abs=1)
    upper, lower = page.words[0].box, page.words[3].box
    assert upper.bottom - 3 < rule.y0 < lower.bottom and upper.top < lower.top
    assert (page.width, page.height) == (600, 400)
    for word in page.words:
        box = page.shown(word.box)
        assert 0 <= box.x0 < box.x1 <= 400 and 0 <= box.top < box.bottom <= 600
        assert box.bottom - box.top > box.x1 - box.x0 or len(word.text) < 4


def test_a_cropped_page_is_measured_from_the_crop(pen, contents):
    drawn = pen(size=(400, 600))
    drawn.canvas.setCropBox((50, 100, 350, 500))
    drawn.text(150, 200, "word")
    (page,) = contents(drawn.save())
    assert (page.width, page.height) == (300, 400)
    box = page.words[0].box
    assert abs(box.x0 - 100) < 1 and abs(box.bottom - 102) < 2.5  # 200 below the top, 100 of it cut off


def test_superscripts_become_words_of_their_own(pen, contents):
    drawn = pen()
    drawn.text(50, 100, "37T", 10)
    drawn.text(50 + stringWidth("37T", "Helvetica", 10), 96, "2", 6)
    (page,) = contents(drawn.save())
    mark, number = sorted(page.words, key=lambda w: w.size)
    assert (mark.text, number.text) == ("2", "37T") and mark.size < 0.8 * number.size


def test_leader_dots_part_label_and_value(pen, contents):
    drawn = pen()
    drawn.text(50, 100, "Total capacity........................37T")
    drawn.text(50, 120, "Weight . . . . . . . . . . . 231 g")
    (page,) = contents(drawn.save())
    letters = [w.text for w in page.words if any(c.isalnum() for c in w.text)]
    assert letters == ["Total", "capacity", "37T", "Weight", "231", "g"]


def test_three_dots_within_a_value_stay(pen, contents):
    drawn = pen()
    drawn.text(50, 100, "28...32T")
    (page,) = contents(drawn.save())
    assert "".join(w.text for w in page.words) == "28...32T"


def test_letters_placed_one_by_one_make_words(pen, contents):
    drawn = pen()
    x = 50.0
    for letter in "Total capacity":
        if letter != " ":
            drawn.text(x, 100, letter)
        x += stringWidth(letter, "Helvetica", 10)
    (page,) = contents(drawn.save())
    assert [w.text for w in page.words] == ["Total", "capacity"]


def test_ligatures_are_taken_apart(pen, contents):
    from pathlib import Path

    import reportlab
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    pdfmetrics.registerFont(TTFont("Vera", str(Path(reportlab.__file__).parent / "fonts" / "Vera.ttf")))
    drawn = pen()
    drawn.text(50, 100, "Kä\ufb01g \ufb02ach", font="Vera")
    (page,) = contents(drawn.save())
    assert [w.text for w in page.words] == ["Käfig", "flach"]


def test_bold_and_size_are_known(pen, contents):
    drawn = pen()
    drawn.text(50, 100, "Heading", 14, bold=True)
    drawn.text(50, 130, "body", 9)
    (page,) = contents(drawn.save())
    heading, body = page.words
    assert heading.bold and not body.bold and heading.size / body.size == pytest.approx(14 / 9, rel=0.1)


def test_text_drawn_twice_for_boldness_is_one_word(pen, contents):
    drawn = pen()
    for shift in (0.0, 0.2):
        drawn.text(50 + shift, 100, "37T")
    (page,) = contents(drawn.save())
    assert [w.text for w in page.words] == ["37T"]


def test_rules_are_those_of_pdfplumber(pen, contents):
    drawn = pen()
    drawn.table([["Model", "Weight"], ["AB12", "200 g"], ["AB13", "210 g"]])
    drawn.canvas.rect(50, 100, 200, 0.8, stroke=0, fill=1)  # a thin filled shape is a rule
    drawn.canvas.rect(300, 100, 100, 60, stroke=1, fill=0)  # a frame is four
    path = drawn.save()
    (page,) = contents(path)
    with pdfplumber.open(path) as pdf:
        shown = pdf.pages[0]
        edges = [(e["orientation"], round(e["x0"]), round(e["top"]), round(e["x1"]), round(e["bottom"]))
                 for e in shown.edges if e["width"] > 6 or e["height"] > 6]  # fmt: skip
    ours = {("h" if r.horizontal else "v", round(r.x0), round(r.y0), round(r.x1), round(r.y1)) for r in page.rules}
    for direction, x0, top, x1, bottom in edges:
        assert any(d == direction and max(abs(a - x0), abs(b - top), abs(c - x1), abs(e - bottom)) <= 1
                   for d, a, b, c, e in ours), (direction, x0, top, x1, bottom)  # fmt: skip
    assert len(page.rules) == 4 + 3 + 1 + 4


def test_rules_within_a_form_are_found_at_their_place(pen, contents):
    drawn = pen()
    canvas = drawn.canvas
    canvas.beginForm("frame")
    canvas.line(0, 0, 100, 0)
    canvas.endForm()
    canvas.saveState()
    canvas.translate(200, 400)
    canvas.doForm("frame")
    canvas.restoreState()
    (page,) = contents(drawn.save())
    (rule,) = page.rules
    assert (rule.x0, rule.x1) == (pytest.approx(200, abs=0.5), pytest.approx(300, abs=0.5))
    assert rule.y0 == pytest.approx(drawn.height - 400, abs=0.5)


def test_curves_and_slanted_lines_are_no_rules(pen, contents):
    drawn = pen()
    drawn.canvas.circle(200, 400, 50)
    drawn.line(50, 100, 200, 300)
    (page,) = contents(drawn.save())
    assert page.rules == ()


def test_a_broad_fill_is_a_fill_and_no_rule(pen, contents):
    drawn = pen()
    drawn.canvas.rect(50, drawn.height - 120, 200, 20, stroke=0, fill=1)
    (page,) = contents(drawn.save())
    assert page.rules == () and [fill.as_list() for fill in page.fills] == [[50, 100, 250, 120]]


def test_an_empty_page_is_empty(pen, contents):
    drawn = pen()
    drawn.page()
    (page,) = contents(drawn.save())
    assert page.words == () and page.rules == ()
