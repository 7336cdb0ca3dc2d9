"""Dates of PDFs, by the forms that ISO 32000-1, 7.9.4 gives, and what real producers write instead."""

from __future__ import annotations

import doctest
from datetime import datetime
from pathlib import Path

import pytest
from cogledger.extract import dates
from cogledger.extract.dates import parse_pdf_date
from cogledger.extract.pipeline import read_source
from cogledger.extract.sources import find_sources
from hypothesis import given
from hypothesis import strategies as st
from reportlab.pdfgen.canvas import Canvas


@pytest.mark.parametrize(
    ("written", "moment"),
    [
        ("D:199812231952-08'00", datetime(1998, 12, 24, 3, 52)),  # the example in that clause, from memory
        ("D:20240229235959Z", datetime(2024, 2, 29, 23, 59, 59)),
        ("20240229", datetime(2024, 2, 29)),
        ("D:20230229", None),
        ("D:20240101250000", None),
        ("D:00000000000000", None),
        ("D:20240101000000+99'99'", None),
        ("", None),
    ],
)
def test_forms(written: str, moment: datetime | None) -> None:
    assert parse_pdf_date(written) == moment


@given(st.text(max_size=30) | st.from_regex(r"D:\d{0,16}[+\-Z]?\d{0,5}'?\d{0,3}", fullmatch=True))
def test_nothing_raises(written: str) -> None:
    found = parse_pdf_date(written)
    assert found is None or found.tzinfo is None


def test_a_reading_bears_the_date_of_its_document(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    canvas = Canvas(str(path), invariant=1)
    canvas.drawString(72, 700, "Largest cog 34T")
    canvas.save()
    (source,), _ = find_sources([path])
    assert read_source(source).dated == datetime(2000, 1, 1)


def test_examples() -> None:
    result = doctest.testmod(dates)
    assert result.attempted and not result.failed
