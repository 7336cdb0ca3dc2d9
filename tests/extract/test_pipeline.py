"""One file → its reading: one bad page never loses a document, every page is told of, and all of it pickles."""

import pickle

import pypdfium2 as pdfium
import pytest
from cogledger.extract import contents, pipeline
from cogledger.extract.pipeline import read_source
from cogledger.extract.settings import ReadSettings
from cogledger.extract.sources import find_sources
from cogledger.schema.errors import CogledgerError, DocumentError
from cogledger.schema.reasons import Reason
from cogledger.schema.validation import validate_claims
from reportlab.lib.pdfencrypt import StandardEncryption


def three_pages(pen, **options):
    drawn = pen("three.pdf", **options)
    for n in range(3):
        drawn.text(50, 50, "Brambel", 16, bold=True)
        drawn.text(50, 90, f"Rear derailleur KX{n + 1}10", 12, bold=True)
        drawn.text(50, 120, f"Total capacity: {31 + n}T", 9)
        drawn.page()
    return drawn.save()


def source_of(path):
    (source,), _ = find_sources([path])
    return source


def test_a_reading_holds_valid_claims_of_all_pages(pen):
    reading = read_source(source_of(three_pages(pen)))
    assert reading.pages == 3 and not reading.failed_pages and reading.seconds > 0
    assert [(c.page, c.part_code, c.high, c.maker) for c in reading.claims] == [
        (1, "KX110", 31, "Brambel"), (2, "KX210", 32, "Brambel"), (3, "KX310", 33, "Brambel")]  # fmt: skip
    assert not validate_claims(reading.claims).held_back


def test_every_page_is_told_of_in_order(pen):
    told = []
    read_source(source_of(three_pages(pen)), lambda done, of: told.append((done, of)))
    assert told == [(1, 3), (2, 3), (3, 3)]


@pytest.mark.parametrize("error", [pdfium.PdfiumError("broken"), ValueError("odd number"), ZeroDivisionError(),
                                   DocumentError(Reason.BROKEN_PAGE, "the page cannot be opened")])  # fmt: skip
def test_one_bad_page_never_loses_a_document(pen, monkeypatch, error):
    whole = contents.read_letters_and_rules

    def failing(page, textpage, text, number, settings):
        if number == 2:
            raise error
        return whole(page, textpage, text, number, settings)

    monkeypatch.setattr(contents, "read_letters_and_rules", failing)
    told = []
    reading = read_source(source_of(three_pages(pen)), lambda done, of: told.append(done))
    assert [c.page for c in reading.claims] == [1, 3] and told == [1, 2, 3]
    (fault,) = reading.failed_pages
    assert (fault.file, fault.where) == ("three.pdf", "page 2") and fault.sentence().endswith(".")


@pytest.mark.parametrize("error", [ValueError("odd number"), KeyError((3, 4)), IndexError("list index out of range")])
def test_an_error_in_a_layout_never_loses_a_document(pen, monkeypatch, error):
    whole = pipeline.read_layouts

    def failing(page, memory, settings):
        if page.number == 2:
            raise error
        return whole(page, memory, settings)

    monkeypatch.setattr(pipeline, "read_layouts", failing)
    reading = read_source(source_of(three_pages(pen)))
    assert [c.page for c in reading.claims] == [1, 3] and len(reading.failed_pages) == 1


@pytest.mark.parametrize("sign", ["(", ":", "'", "()"])
def test_a_stray_sign_in_a_cell_loses_nothing_else(pen, sign):
    drawn = pen()
    drawn.text(50, 90, "Rear derailleurs", 12, bold=True)
    drawn.table([["Model", "Total capacity", "Weight"], ["KX710", "37T", sign], ["KX720", "33T", "210 g"]])
    reading = read_source(source_of(drawn.save()))
    assert {(c.part_code, c.limit, c.high) for c in reading.claims} == {
        ("KX710", "total_capacity", 37), ("KX720", "total_capacity", 33), ("KX720", "weight", 210)}  # fmt: skip


def test_when_no_page_can_be_read_the_document_is_named(pen, monkeypatch):
    def failing(page, textpage, text, number, settings):
        raise ValueError("broken")

    monkeypatch.setattr(contents, "read_letters_and_rules", failing)
    with pytest.raises(DocumentError) as caught:
        read_source(source_of(three_pages(pen)))
    assert caught.value.fault.reason is Reason.BROKEN_PDF


def test_a_document_with_too_many_pages_is_refused(pen):
    with pytest.raises(DocumentError) as caught:
        read_source(source_of(three_pages(pen)), settings=ReadSettings(most_pages=2))
    assert caught.value.fault.reason is Reason.TOO_LARGE


def test_a_locked_document_is_named(pen):
    with pytest.raises(DocumentError) as caught:
        read_source(source_of(three_pages(pen, encrypt=StandardEncryption("secret"))))
    assert caught.value.fault.reason is Reason.LOCKED_PDF


@pytest.mark.parametrize("share", [0.3, 0.5, 0.7, 0.9, 0.99])
def test_a_document_cut_short_gives_what_it_has_or_one_sentence(pen, tmp_path, share):
    """Whatever of it is claimed stood there: a damaged file never gives another number."""
    whole = three_pages(pen)
    wanted = {(c.part_code, c.high) for c in read_source(source_of(whole)).claims}
    cut = tmp_path / "cut.pdf"
    cut.write_bytes(whole.read_bytes()[: int(share * whole.stat().st_size)])
    try:
        reading = read_source(source_of(cut))
    except CogledgerError as error:
        assert error.fault.reason in (Reason.BROKEN_PDF, Reason.BROKEN_PAGE)
    else:
        assert {(c.part_code, c.high) for c in reading.claims} <= wanted


def test_source_and_reading_pickle(pen):
    source = source_of(three_pages(pen))
    reading = read_source(source)
    assert pickle.loads(pickle.dumps(source)) == source
    again = pickle.loads(pickle.dumps(reading))
    assert again.claims == reading.claims and again.held_back == reading.held_back and again.source == source


def test_reading_twice_gives_the_same(pen):
    source = source_of(three_pages(pen))
    first, second = read_source(source), read_source(source)
    assert first.claims == second.claims and first.held_back == second.held_back


def test_a_document_without_limits_gives_none(pen):
    drawn = pen()
    drawn.text(50, 90, "Care of your bicycle", 12, bold=True)
    drawn.text(50, 120, "Clean the chain every 200 km and oil it with 5 drops a link.", 9)
    reading = read_source(source_of(drawn.save()))
    assert reading.claims == () and reading.failed_pages == ()
