"""Which images of a page can be print: even ground with something on it, whatever the picture is called."""

import numpy as np
import pypdfium2 as pdfium
import pytest
from cogledger.extract.contents import open_pages
from cogledger.extract.drawn import find_images
from cogledger.extract.print_check import PrintCheck
from cogledger.extract.sources import find_sources
from cogledger.extract.textlayer import shown_matrix
from PIL import Image, ImageDraw

SENTENCE = "Wash your hands when the work is done, and keep the rags away from every flame in the room."


def table(ground=255, ink=0):
    image = Image.new("L", (900, 500), ground)
    pen = ImageDraw.Draw(image)
    for row in range(8):
        for column in range(4):
            pen.text((30 + 220 * column, 30 + 55 * row), f"cell {row}{column}", fill=ink, font_size=26)
    return image


def landscape():
    rows = np.linspace(0, 3, 500)[:, None] + np.sin(np.linspace(0, 6, 900))[None, :] / 2
    return Image.fromarray((60 + 45 * np.floor(rows).clip(0, 3)).astype(np.uint8))


def part_on_white():
    image = Image.new("L", (900, 500), 250)
    ImageDraw.Draw(image).ellipse((80, 20, 820, 480), fill=90)
    return image


@pytest.mark.parametrize(
    ("image", "print_like"),
    [(table(), True), (table(235, 40), True), (table(30, 240), True), (landscape(), False), (part_on_white(), False),
     (Image.new("L", (900, 500), 255), False)],
)  # fmt: skip
@pytest.mark.parametrize("turn", [0, 90])
def test_even_ground_with_marks_on_it_can_be_print(pen, image, print_like, turn):
    drawn = pen("image.pdf")
    drawn.picture(image, (60, 200, 360, 366))
    with pdfium.PdfDocument(drawn.save(turn=turn)) as document:
        page = document[0]
        ((item, box),) = find_images(page, shown_matrix(page))
        assert PrintCheck().can_hold_print(page, item, box) == print_like


@pytest.mark.parametrize(("image", "kept"), [(table(), True), (landscape(), False)])
def test_a_page_of_sentences_is_kept_for_a_picture_of_print_only(pen, image, kept):
    drawn = pen("page.pdf")
    for line in range(6):
        drawn.text(50, 60 + 14 * line, SENTENCE)
    drawn.picture(image, (60, 200, 360, 366))
    (source,), _ = find_sources([drawn.save()])
    with open_pages(source) as pages:
        assert pages.outlook(1).limits == kept


def test_a_picture_over_half_the_page_is_always_looked_at(pen):
    drawn = pen("scan.pdf")
    drawn.picture(landscape(), (0, 0, drawn.width, drawn.height))
    for line in range(6):
        drawn.text(50, 60 + 14 * line, SENTENCE)
    (source,), _ = find_sources([drawn.save()])
    with open_pages(source) as pages:
        assert pages.outlook(1).limits
