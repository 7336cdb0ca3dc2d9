"""Photos of known good state, spoilt on purpose: the advice names what was done to them, and nothing on good ones."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from cogledger.extract.photos import read_photo
from cogledger.extract.stamps import advise
from cogledger.extract.stamps.linebox import LineBox

SCENARIO = Path(__file__).resolve().parent.parent.parent / "desk" / "scenario" / "photos"
GOOD = sorted(path for path in SCENARIO.glob("*.jpg") if "blurred" not in path.stem)


@pytest.fixture(params=GOOD, ids=lambda path: path.stem)
def good(request):
    return read_photo(request.param)


def middle(pixels, height=80.0):
    rows, columns = pixels.shape[:2]
    return LineBox(columns / 2, rows / 2, 0.4 * columns, height, 0.0, 1.0)


def darkened(pixels, share, seed=3):
    noise = np.random.default_rng(seed).normal(0, 2.5, pixels.shape)
    return np.clip(pixels * share + noise, 0, 255).astype(np.uint8)


def glaring(pixels, reach):
    rows, columns = pixels.shape[:2]
    x, y = np.arange(columns) - columns / 2, np.arange(rows) - rows / 2
    spot = np.exp(-((x[None, :] / (reach * columns)) ** 2) - (y[:, None] / (reach * columns)) ** 2)
    return np.clip(pixels + spot[..., None] * 420, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("at_line", [True, False])
def test_a_good_photo_has_no_defect(good, at_line):
    assert advise.find_defects(good, middle(good) if at_line else None) == {}
    assert advise.advise(good, None) == advise.NOTHING


@pytest.mark.parametrize("at_line", [True, False])
@pytest.mark.parametrize("smear", [6, 9, 14])
def test_blur(good, smear, at_line):
    spoilt = cv2.GaussianBlur(good, (0, 0), smear * max(good.shape) / 1600)
    assert advise.advise(spoilt, middle(spoilt) if at_line else None).startswith(advise.BLUR)


@pytest.mark.parametrize("at_line", [True, False])
@pytest.mark.parametrize("share", [0.06, 0.12])
def test_darkness(good, share, at_line):
    spoilt = darkened(good, share)
    assert advise.advise(spoilt, middle(spoilt) if at_line else None).startswith(advise.DARK)


def test_darkness_beside_a_lamp(good):
    spoilt = glaring(darkened(good, 0.08), 0.08)
    assert advise.DARK in advise.advise(spoilt, None)


@pytest.mark.parametrize("at_line", [True, False])
@pytest.mark.parametrize("reach", [0.14, 0.25])
def test_glare(good, reach, at_line):
    spoilt = glaring(good, reach)
    assert advise.advise(spoilt, middle(spoilt) if at_line else None).startswith(advise.GLARE)


def test_a_white_table_is_no_glare(good):
    framed = cv2.copyMakeBorder(good, 200, 200, 200, 200, cv2.BORDER_CONSTANT, value=(255, 255, 255))
    assert advise.GLARE not in advise.find_defects(framed, None)


def test_too_small(good):
    small = cv2.resize(good, None, fx=0.3, fy=0.3, interpolation=cv2.INTER_AREA)
    assert advise.SMALL in advise.advise(small, None)
    assert advise.SMALL in advise.advise(good, middle(good, height=10.0))
    assert advise.SMALL not in advise.advise(good, middle(good, height=40.0))


def test_cut_off_at_the_edge(good):
    rows, columns = good.shape[:2]
    for line in (LineBox(40, rows / 2, 300, 80, 0, 1), LineBox(columns / 2, rows - 20, 300, 80, 180, 1)):
        assert advise.CUT_OFF in advise.advise(good, line)


def test_a_stamp_that_hardly_stands_out():
    plate = np.full((900, 1200, 3), 150, np.uint8)
    cv2.putText(plate, "QX417", (400, 470), cv2.FONT_HERSHEY_SIMPLEX, 3, (146, 146, 146), 8)
    plate[100:110] = 40
    flat = np.clip(plate + np.random.default_rng(4).normal(0, 2.0, plate.shape), 0, 255).astype(np.uint8)
    assert advise.FLAT in advise.advise(flat, LineBox(560, 440, 400, 120, 0, 1))


def test_the_worst_comes_first_and_two_sentences_are_enough(good):
    spoilt = glaring(cv2.GaussianBlur(good, (0, 0), 12), 0.2)
    found = advise.find_defects(spoilt, LineBox(10, 10, 60, 9, 0, 1))
    assert len(found) >= 3
    told = advise.advise(spoilt, LineBox(10, 10, 60, 9, 0, 1))
    assert told == " ".join(sorted(found, key=lambda words: -found[words])[:2])


@pytest.mark.parametrize("smear", [1.5, 3.0, 5.0])
def test_the_smear_of_a_lone_edge_is_measured(smear):
    """An ideal step convolved with a Gaussian has that Gaussian's deviation as its smear, by definition."""
    step = np.full((200, 400), 40, np.float32)
    step[:, 200:] = 200
    smeared = cv2.GaussianBlur(step, (0, 0), smear)
    assert advise.find_spread(smeared.astype(np.uint8)) == pytest.approx(smear, rel=0.12)


def test_pictures_without_anything_to_measure():
    for value in (0, 128, 255):
        plain = np.full((700, 700, 3), value, np.uint8)
        assert advise.advise(plain, LineBox(350, 350, 300, 60, 0, 1))
    assert advise.advise(np.zeros((9, 12, 3), np.uint8), LineBox(6, 4, 4, 2, 0, 1))
    assert advise.advise(np.full((40, 900, 3), 120, np.uint8), LineBox(5000, 5000, 10, 10, 45, 1))
