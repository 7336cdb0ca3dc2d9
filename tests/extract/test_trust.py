"""Text layers that say other than the page shows, and pictures of tables on pages with a sound text layer."""

import re
from pathlib import Path

import numpy as np
import pytest
import reportlab
from cogledger.extract.pages import render_page
from cogledger.extract.pipeline import read_source
from cogledger.extract.sources import find_sources
from PIL import Image
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

LINES = ["Largest cog: 28-32T", "Total capacity: 37T", "Weight: 231 g", "Front difference: 16T"]
TRUTH = {("KX710", "largest_cog", 28, 32), ("KX710", "total_capacity", None, 37), ("KX710", "weight", 231, 231),
         ("KX710", "front_difference", None, 16)}  # fmt: skip
ROWS = [["Model", "Largest cog", "Total capacity", "Weight"], ["VB350", "25-30T", "33T", "219 g"],
        ["VB360", "28-34T", "39T", "245 g"]]  # fmt: skip
PICTURED = {
    ("VB350", "largest_cog", 25, 30), ("VB350", "total_capacity", None, 33), ("VB350", "weight", 219, 219),
    ("VB360", "largest_cog", 28, 34), ("VB360", "total_capacity", None, 39), ("VB360", "weight", 245, 245),
}  # fmt: skip


def told(path):
    (source,), _ = find_sources([path])
    reading = read_source(source)
    return {(c.part_code, c.limit, c.low, c.high) for c in reading.claims}, {c.method for c in reading.claims}


def printed(path, remap=None):
    """A sheet set in an embedded font; ``remap`` changes which letters its codes say."""
    pdfmetrics.registerFont(TTFont("TrustVera", str(Path(reportlab.__file__).parent / "fonts" / "Vera.ttf")))
    canvas = Canvas(str(path), invariant=1, pageCompression=0)
    canvas.setFont("TrustVera", 13)
    canvas.drawString(50, 780, "Rear derailleur KX710")
    canvas.setFont("TrustVera", 11)
    for n, line in enumerate(LINES):
        canvas.drawString(50, 740 - 20 * n, line)
    canvas.save()
    if remap:
        data = path.read_bytes()
        changed = re.sub(rb"<(3[0-9])> <00(3[0-9])>", lambda m: b"<%s> <00%s>" % (m[1], remap(m[2])), data)
        assert changed != data
        path.write_bytes(changed)
    return path


def test_an_embedded_font_that_says_what_it_shows_is_read_from_the_text(tmp_path):
    claims, methods = told(printed(tmp_path / "sound.pdf"))
    assert claims == TRUTH and all(m.startswith("text/") for m in methods)


def test_digits_mapped_to_other_digits_are_noticed_and_read_from_the_picture(tmp_path):
    path = printed(tmp_path / "shifted.pdf", remap=lambda code: b"3%d" % ((int(code[1:]) + 1) % 10))
    claims, methods = told(path)
    assert claims == TRUTH and not any(m.startswith("text/") for m in methods)


@pytest.fixture
def table_picture(pen):
    drawn = pen("table.pdf")
    drawn.table(ROWS, size=11, row_height=26)
    page = np.asarray(render_page(drawn.save(), 1, dpi=200).convert("L"))
    inked = np.argwhere(page < 200)
    (top, left), (bottom, right) = inked.min(axis=0) - 8, inked.max(axis=0) + 8
    return Image.fromarray(page[top:bottom, left:right])


def test_a_picture_of_a_table_on_a_page_with_text_is_read(pen, table_picture):
    drawn = pen("pasted.pdf")
    drawn.text(50, 60, "Rear derailleurs", 14, bold=True)
    drawn.text(50, 90, "All figures hold for new parts. Have a mechanic check the fitting.", 9)
    width, height = (0.36 * side for side in table_picture.size)
    drawn.picture(table_picture, (50, 120, 50 + width, 120 + height))
    claims, methods = told(drawn.save())
    assert claims == PICTURED and all("ppocr" in m for m in methods)


def test_boxes_of_a_pictured_table_lie_where_it_stands(pen, table_picture):
    drawn = pen("placed.pdf")
    drawn.text(50, 60, "Rear derailleurs", 14, bold=True)
    width, height = (0.36 * side for side in table_picture.size)
    drawn.picture(table_picture, (50, 120, 50 + width, 120 + height))
    (source,), _ = find_sources([drawn.save()])
    boxes = [c.bbox for c in read_source(source).claims]
    assert boxes and all(50 < b.x0 < b.x1 < 50 + width and 120 < b.top < b.bottom < 120 + height for b in boxes)


def test_a_photo_on_a_page_with_text_adds_nothing(pen):
    drawn = pen("photo.pdf")
    drawn.text(50, 60, "Rear derailleur KX710", 14, bold=True)
    for n, line in enumerate(LINES):
        drawn.text(50, 90 + 20 * n, line, 11)
    waves = np.add.outer(np.sin(np.arange(300) / 9), np.cos(np.arange(400) / 13))
    grain = np.random.default_rng(5).normal(0, 12, waves.shape)
    photo = Image.fromarray(np.clip(120 + 55 * waves + grain, 0, 255).astype(np.uint8))
    drawn.picture(photo, (50, 250, 350, 475))
    claims, methods = told(drawn.save())
    assert claims == TRUTH and all(m.startswith("text/") for m in methods)
