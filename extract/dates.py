"""The date that a PDF bears → a moment in UTC."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone

import pypdfium2 as pdfium

_DATE = re.compile(
    r"(?:D:)?(?P<year>\d{4})(?P<month>\d\d)?(?P<day>\d\d)?(?P<hour>\d\d)?(?P<minute>\d\d)?(?P<second>\d\d)?"
    r"(?:Z|(?P<sign>[+-])(?P<east>\d\d)'?(?P<rest>\d\d)?)?"
)
_EARLIEST, _LATEST = 1980, 2200


def find_date(document: pdfium.PdfDocument) -> datetime | None:
    """When a PDF was made, as it says itself; ``None`` where it says nothing that can be a date."""
    try:
        return parse_pdf_date(document.get_metadata_value("CreationDate"))
    except (pdfium.PdfiumError, ValueError):
        return None


def parse_pdf_date(written: str) -> datetime | None:
    """``"D:20210304120000+01'00'"`` → the moment in UTC, without a zone; what is left out is the earliest it can be.

    The form is that of ISO 32000-1, 7.9.4, Dates.

    >>> parse_pdf_date("D:20210304120000+01'00'")
    datetime.datetime(2021, 3, 4, 11, 0)
    >>> parse_pdf_date("D:1999"), parse_pdf_date("yesterday")
    (datetime.datetime(1999, 1, 1, 0, 0), None)
    """
    found = _DATE.match(written.strip())
    if not found or not _EARLIEST <= int(found["year"]) <= _LATEST:
        return None
    numbers = [int(found[name] or least) for name, least in
               (("year", 1), ("month", 1), ("day", 1), ("hour", 0), ("minute", 0), ("second", 0))]  # fmt: skip
    east = timedelta(hours=int(found["east"] or 0), minutes=int(found["rest"] or 0))
    try:
        moment = datetime(*numbers, tzinfo=timezone(-east if found["sign"] == "-" else east))  # type: ignore[arg-type]
    except (ValueError, OverflowError):
        return None
    return moment.astimezone(UTC).replace(tzinfo=None)
