"""Faults that were reported: each file of reported/ is a page drawn anew, and all that may be read of it.

A file holds ``text`` (x, y, words, size, bold), any number of ``[[table]]`` (rows, x, y, ruled), and the ``[[claims]]``
in the fields of the vocabulary, of which those left out are null. All makers and codes are invented.
"""

import tomllib
from pathlib import Path

import pytest
from cogledger.extract.pipeline import read_source
from cogledger.extract.sources import find_sources
from cogledger.schema.claims import plain
from cogledger.schema.limits import LIMITS

FILES = sorted(Path(__file__).with_name("reported").glob("*.toml"))
FIELDS = ("part_code", "variant", "limit", "low", "high", "values", "text", "condition")


def comparable(record):
    """What a claim says, without where and how surely."""
    row = {field: record.get(field) for field in FIELDS}
    return {field: plain(value) if isinstance(value, float | int) else value for field, value in row.items()}


def in_order(records):
    return sorted((comparable(record) for record in records), key=lambda row: [str(value) for value in row.values()])


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_reported_page_reads_as_it_is_printed(pen, file):
    told = tomllib.loads(file.read_text(encoding="utf-8"))
    assert file.read_text(encoding="utf-8").startswith("# What "), "say in the first line what was wrong"
    assert all(claim["limit"] in LIMITS for claim in told["claims"])
    drawn = pen(f"{file.stem}.pdf")
    for piece in told.get("text", ()):
        drawn.text(**piece)
    for table in told.get("table", ()):
        drawn.table(**table)
    (source,), _ = find_sources([drawn.save()])
    assert in_order(claim.as_json() for claim in read_source(source).claims) == in_order(told["claims"])
