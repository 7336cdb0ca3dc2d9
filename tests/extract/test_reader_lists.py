"""The lists that readers stand in: their order, what each gets, and a language that has only just begun."""

import numpy as np
import pytest
from cogledger.extract import layouts
from cogledger.extract.context import DocumentMemory
from cogledger.extract.engines import lines
from cogledger.extract.engines.lines import LineReader
from cogledger.extract.engines.signs import Sign
from cogledger.extract.labels import words
from cogledger.extract.layouts import read_layouts
from cogledger.extract.layouts.findings import Found
from cogledger.extract.records import PageContent, Word
from cogledger.schema.claims import Box


def page_of(*texts):
    """A page with a line for each text."""
    found = [
        Word(word, Box(50 + 60 * col, 100 + 20 * row, 100 + 60 * col, 112 + 20 * row), size=12)
        for row, text in enumerate(texts)
        for col, word in enumerate(text.split())
    ]
    return PageContent(1, 595, 842, tuple(found))


def labels_of(page):
    return [entry.label for entry in read_layouts(page, DocumentMemory()).entries]


def test_a_reader_that_comes_first_takes_its_words_from_the_others(monkeypatch):
    page = page_of("Total capacity: 37T", "Largest cog: 34T")
    assert labels_of(page) == ["Total capacity", "Largest cog"]
    seen = []

    def first(region):
        seen.append(len(region.words))
        return Found(used=frozenset(w for w in region.words if w.box.top < 110))

    monkeypatch.setattr(layouts, "REGION_READERS", (first, *layouts.REGION_READERS))
    assert labels_of(page) == ["Largest cog"]
    assert seen[0] == 6


@pytest.mark.parametrize(("there", "name"), [((True, True), "one"), ((False, True), "two")])
def test_the_first_line_reader_that_is_installed_reads(monkeypatch, there, name):
    def reader(own, installed):
        return LineReader(own, lambda: installed, lambda cuts, dpi, timeout_s: [[Sign(own, 1.0, 0.0)] for _ in cuts])

    monkeypatch.setattr(lines, "LINE_READERS", (reader("one", there[0]), reader("two", there[1])))
    assert lines.engine_name() == name
    assert lines.find_signs_each([np.zeros((8, 8))], 300, 1.0) == [[Sign(name, 1.0, 0.0)]]


def test_a_language_may_begin_small_but_not_with_a_table_that_nobody_reads(monkeypatch, tmp_path):
    monkeypatch.setattr(words, "files", lambda package: tmp_path)
    (tmp_path / "xx.toml").write_text('[concepts]\nbig = ["grawl"]\n', encoding="utf-8")
    (tmp_path / "yy.toml").write_text('[concept]\nbig = ["grawl"]\n', encoding="utf-8")
    read = words.read_language.__wrapped__
    assert read("xx")["concepts"] == {"big": ["grawl"]} and read("xx")["units"] == {}
    with pytest.raises(ValueError, match=r"yy\.toml: nothing reads concept;"):
        read("yy")
