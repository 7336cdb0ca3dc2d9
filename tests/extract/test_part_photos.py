"""Pages of print, straight, as photographed and turned, are told from photos of parts, and none is lost."""

from __future__ import annotations

import random
from pathlib import Path

import cv2
import numpy as np
import pypdfium2 as pdfium
import pytest
from cogledger.extract.part_photos import Marks, Shown, find_marks, find_shown
from cogledger.extract.photos import read_photo
from PIL import Image

SCENARIO = Path(__file__).resolve().parent.parent.parent / "desk" / "scenario"
MANUALS = sorted((SCENARIO / "manuals").glob("*.pdf"))
PHOTOS = sorted((SCENARIO / "photos").glob("*.jpg"))


def page_of(path: Path) -> np.ndarray:
    with pdfium.PdfDocument(path) as document:
        return np.array(document[0].render(scale=200 / 72).to_pil().convert("RGB"))


def photographed(page: np.ndarray, seed: int) -> np.ndarray:
    """The page on a table, seen at a slant, in uneven light, with noise and a little out of focus."""
    rng = random.Random(seed)
    height, width = page.shape[:2]
    wide, high = int(width * 1.25), int(height * 1.25)
    corners = np.array([(0, 0), (width, 0), (width, height), (0, height)], np.float32)
    seen = np.array([(wide * (x + rng.uniform(-0.05, 0.05)), high * (y + rng.uniform(-0.05, 0.05)))
                     for x, y in ((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9))], np.float32)  # fmt: skip
    table = rng.choice([(90, 70, 50), (40, 42, 45), (150, 140, 130)])
    matrix = cv2.getPerspectiveTransform(corners, seen)
    shown = cv2.warpPerspective(page, matrix, (wide, high), borderValue=table).astype(float)
    shown *= np.linspace(rng.uniform(0.5, 1), rng.uniform(0.5, 1), wide)[None, :, None]
    shown += np.random.default_rng(seed).normal(0, 4, shown.shape)
    return cv2.GaussianBlur(np.clip(shown, 0, 255).astype(np.uint8), (0, 0), rng.uniform(0.5, 1.5))


@pytest.mark.parametrize("path", MANUALS, ids=lambda path: path.stem)
def test_a_page_is_a_page_however_it_is_taken(path):
    page = page_of(path)
    for seen in (page, photographed(page, 3), photographed(page, 4), np.rot90(page).copy()):
        assert find_marks(seen).shown is Shown.PAGE


@pytest.mark.parametrize("path", PHOTOS, ids=lambda path: path.stem)
def test_a_photo_of_a_part_is_no_page(path):
    assert find_shown(path) is Shown.PART


def test_many_marks_without_rows_are_no_page():
    rng = np.random.default_rng(5)
    dirt = np.full((1500, 2000, 3), 170, np.uint8)
    for x, y, size in zip(
        rng.integers(0, 1990, 400), rng.integers(0, 1490, 400), rng.integers(3, 10, 400), strict=True
    ):
        cv2.circle(dirt, (int(x), int(y)), int(size), (60, 60, 60), -1)
    assert find_marks(dirt).shown is not Shown.PAGE
    dark = np.clip(rng.normal(12, 8, (900, 1200, 3)), 0, 255).astype(np.uint8)
    assert find_marks(dark).shown is Shown.PART
    teeth = np.full((1200, 1200, 3), 150, np.uint8)
    for turn in np.linspace(0, 2 * np.pi, 50, endpoint=False):
        at = (int(600 + 480 * np.cos(turn)), int(600 + 480 * np.sin(turn)))
        cv2.circle(teeth, at, 14, (40, 40, 40), -1)
    assert find_marks(teeth).shown is not Shown.PAGE


def test_pictures_of_few_pixels_are_looked_at_too():
    assert find_marks(np.full((8, 9, 3), 200, np.uint8)).shown is Shown.PART
    assert find_marks(np.zeros((20, 4000, 3), np.uint8)).shown is Shown.PART


def test_between_the_two_nothing_is_decided():
    assert Marks(100, 40, 0.8).shown is Shown.EITHER
    assert Marks(100, 70, 0.9).shown is Shown.PAGE
    assert Marks(100, 20, 0.9).shown is Shown.PART


def test_a_page_too_poor_to_tell_is_read_as_a_page_and_then_as_a_part(tmp_path, monkeypatch):
    from cogledger.extract import pipeline
    from cogledger.extract.sources import find_sources

    path = tmp_path / "bare.png"
    Image.new("RGB", (300, 200), "white").save(path)
    (source,), _ = find_sources([path])
    monkeypatch.setattr(pipeline, "find_shown", lambda path: Shown.EITHER)
    assert pipeline.read_source(source).part_photo
    monkeypatch.setattr(pipeline, "find_shown", lambda path: Shown.PAGE)
    assert not pipeline.read_source(source).part_photo
    assert read_photo(path).shape == (200, 300, 3)
