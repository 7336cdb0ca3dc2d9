"""Opening documents and pages: every failure is one sentence that names the file and what to do."""

import pytest
from cogledger.extract.pages import draw_page, open_page, open_pdf, render_page
from cogledger.schema.errors import DocumentError
from cogledger.schema.reasons import Reason
from PIL import Image
from reportlab.lib.pdfencrypt import StandardEncryption


def reason_of(path):
    with pytest.raises(DocumentError) as caught, open_pdf(path):
        pass
    assert caught.value.fault.file == str(path) and caught.value.fault.sentence().endswith(".")
    return caught.value.fault.reason


def test_a_locked_pdf_is_named_as_locked(pen):
    drawn = pen("locked.pdf", encrypt=StandardEncryption("secret", canPrint=0))
    drawn.text(50, 50, "Total capacity 37T")
    assert reason_of(drawn.save()) is Reason.LOCKED_PDF


def test_a_pdf_that_only_forbids_printing_is_read(pen, contents):
    drawn = pen("owner.pdf", encrypt=StandardEncryption("", ownerPassword="owner", canPrint=0))
    drawn.text(50, 50, "Weight 200 g")
    (page,) = contents(drawn.save())
    assert [w.text for w in page.words] == ["Weight", "200", "g"]


@pytest.mark.parametrize("share", [0.02, 0.1])
def test_a_truncated_pdf_is_named_as_broken_or_keeps_what_it_has(pen, tmp_path, share):
    drawn = pen("whole.pdf")
    drawn.text(50, 50, "Weight 200 g")
    whole = drawn.save().read_bytes()
    cut = tmp_path / "cut.pdf"
    cut.write_bytes(whole[: int(share * len(whole))])
    assert reason_of(cut) is Reason.BROKEN_PDF


def test_what_is_no_pdf_is_named_as_broken(tmp_path):
    path = tmp_path / "no.pdf"
    path.write_bytes(b"%PDF-1.4 and then nothing of the kind")
    assert reason_of(path) is Reason.BROKEN_PDF


def test_a_missing_file_is_named_as_missing(tmp_path):
    assert reason_of(tmp_path / "gone.pdf") is Reason.NOT_FOUND


def test_a_page_beyond_the_last_is_named(pen):
    drawn = pen()
    drawn.text(50, 50, "one page")
    with open_pdf(drawn.save()) as document, pytest.raises(DocumentError) as caught, open_page(document, 2, "a.pdf"):
        pass
    assert caught.value.fault.reason is Reason.BROKEN_PAGE and caught.value.fault.where == "page 2"


def test_a_page_is_drawn_at_the_resolution_asked_for(pen):
    drawn = pen(size=(200, 100))
    drawn.text(20, 50, "word")
    path = drawn.save()
    picture = render_page(path, 1, dpi=144)
    assert picture.mode == "RGB" and picture.size == (400, 200)
    assert min(picture.convert("L").tobytes()) < 80  # ink


def test_a_turned_page_is_drawn_as_it_is_shown(pen):
    drawn = pen(size=(200, 100))
    drawn.text(20, 50, "word")
    assert render_page(drawn.save(turn=90), 1, dpi=72).size == (100, 200)


def test_an_enormous_page_is_drawn_smaller(pen):
    drawn = pen(size=(14000, 14000))
    drawn.text(50, 50, "poster")
    with open_pdf(drawn.save()) as document, open_page(document, 1, "a.pdf") as page:
        picture = draw_page(page, 300, grey=True)
    assert picture.width * picture.height <= 51_000_000


def test_a_picture_comes_in_its_own_pixels_and_upright(tmp_path):
    path = tmp_path / "photo.jpg"
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by 90 degrees, EXIF 2.3
    Image.new("RGB", (60, 30), "white").save(path, exif=exif)
    assert render_page(path, 1).size == (30, 60)
