"""Photos with known truth, drawn by others: how much of them has to be read, and that no sure reading is wrong."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cogledger.extract.stamps.known import index_codes
from cogledger.extract.stamps.reader import read_photos
from cogledger.schema.parts import code_key

PHOTOS = Path(__file__).resolve().parents[3] / "shared" / "corpus" / "photos" / "dev"
EVERY = 6
LEAST_EXACT = 0.8
SURE = 0.9


@pytest.mark.slow
@pytest.mark.skipif(not PHOTOS.exists(), reason="the corpus of photos is not beside this tree")
def test_most_stamps_are_read_and_no_sure_reading_is_wrong():
    truths = [json.loads(line) for line in (PHOTOS / "truth.jsonl").read_text(encoding="utf-8").splitlines()][::EVERY]
    known = index_codes((PHOTOS / "known_codes.txt").read_text(encoding="utf-8").split())
    read = [(truth, read_photos([PHOTOS / truth["file"]], known)[0]) for truth in truths]
    coded = [(truth, reading) for truth, reading in read if truth["code"]]
    right = [code_key(truth["code"]) == code_key(reading.code or "") for truth, reading in coded]
    assert len(coded) >= 9 and sum(right) >= LEAST_EXACT * len(coded)
    for truth, reading in read:
        if reading.code and reading.confidence >= SURE:
            assert code_key(reading.code) == code_key(truth["code"] or ""), truth["file"]
        if not truth["code"]:
            assert reading.code is None and reading.advice, truth["file"]
