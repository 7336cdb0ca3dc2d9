"""Lines of signs are found at any angle and brightness, and cut out level."""

import cv2
import numpy as np
import pytest
from cogledger.extract.stamps.locate import LineBox, find_lines
from cogledger.extract.stamps.rectify import LIGHTINGS, cut_level, dark_signs, find_contrast, relief, upside_down
from PIL import Image, ImageDraw, ImageFont


def plate(text: str, *, angle: float = 0.0, ink=(20, 20, 20), ground=(150, 150, 155), size: int = 34) -> np.ndarray:
    """A photo of 1000 by 800 with ``text`` in its middle, turned clockwise by ``angle``, and a little noise."""
    picture = Image.new("RGB", (1000, 800), ground)
    ImageDraw.Draw(picture).text((500, 400), text, fill=ink, font=ImageFont.load_default(size), anchor="mm")
    picture = picture.rotate(-angle, resample=Image.Resampling.BICUBIC, fillcolor=ground)
    noise = np.random.default_rng(3).normal(0, 2.0, (800, 1000, 1))
    return np.clip(np.asarray(picture) + noise, 0, 255).astype(np.uint8)


def middle_line(pixels: np.ndarray) -> LineBox:
    lines = find_lines(pixels)
    inside = [line for line in lines if cv2.pointPolygonTest(line.corners(), (500, 400), False) >= 0]
    assert inside, "no line lies over the text"
    return inside[0]


@pytest.mark.parametrize("angle", [0, 17, -40, 75, 90])
@pytest.mark.parametrize("ink", [(20, 20, 20), (240, 240, 240)])
def test_a_line_is_found_at_its_angle(angle, ink):
    line = middle_line(plate("QVX417", angle=angle, ink=ink))
    off = abs((line.angle - angle + 90) % 180 - 90)
    assert off <= 6
    assert 0.6 < line.length / 130 < 1.8 and line.height < 90


def test_two_lines_are_told_apart():
    lines = find_lines(plate("QVX417\n50-34T"))
    middles = {round(line.y / 20) for line in lines[:4]}
    assert len(middles) >= 2
    assert all(line.height < 70 for line in lines[:2])


def test_signs_that_differ_in_colour_only():
    ink, ground = (200, 90, 90), (90, 139, 90)
    assert abs(np.dot(np.subtract(ink, ground), (0.299, 0.587, 0.114))) < 5  # equal luma by ITU-R BT.601
    line = middle_line(plate("QVX417", ink=ink, ground=ground))
    contrast = find_contrast(cut_level(plate("QVX417", ink=ink, ground=ground), line))
    assert np.percentile(np.abs(contrast), 98) > 30


def test_an_even_photo_has_no_lines():
    assert find_lines(np.full((600, 800, 3), 127, np.uint8)) == []
    assert find_lines(np.full((20, 20, 3), 127, np.uint8)) == []


def test_a_cut_is_level_and_of_the_height_asked_for():
    pixels = plate("IIIIIIIIII", angle=30)
    line = LineBox(500, 400, 200, 50, 30, 1)
    cut = cut_level(pixels, line, 60)
    assert cut.shape == (60, 240, 3)
    dark = 255 - dark_signs(find_contrast(cut)).astype(float)
    assert dark.sum(axis=0).std() > 3 * dark[15:45].sum(axis=1).std() / 240 * 30  # upright strokes vary along the line


def test_a_cut_of_a_large_line_is_the_same_as_of_a_small_one():
    small, large = plate("QVX417"), cv2.resize(plate("QVX417"), None, fx=4, fy=4, interpolation=cv2.INTER_CUBIC)
    first = cut_level(small, LineBox(500, 400, 160, 50, 0, 1), 50).astype(float)
    second = cut_level(large, LineBox(2001.5, 1601.5, 640, 200, 0, 1), 50).astype(float)
    assert np.corrcoef(first.ravel(), second.ravel())[0, 1] > 0.95


def test_a_line_at_the_edge_of_the_photo_can_be_cut():
    assert cut_level(plate("QVX417"), LineBox(2, 3, 160, 50, 20, 1), 60).shape[0] == 60


def test_lightings_give_dark_signs_on_light_ground():
    for ink, name in (((20, 20, 20), "dark"), ((240, 240, 240), "light")):
        contrast = find_contrast(cut_level(plate("QVX417", ink=ink), LineBox(500, 400, 160, 50, 0, 1)))
        level = LIGHTINGS[name](contrast)
        assert level.dtype == np.uint8 and np.median(level) > 128
        assert np.median(relief(contrast)) > 128


def test_upside_down_twice_is_the_same():
    cut = cut_level(plate("QVX417"), LineBox(500, 400, 160, 50, 0, 1))
    assert np.array_equal(upside_down(upside_down(cut)), cut)
    assert not np.array_equal(upside_down(cut), cut)


def test_the_upright_box_holds_the_corners():
    box = LineBox(100, 50, 80, 20, 90, 1).upright()
    assert box.as_list() == pytest.approx([90, 10, 110, 90], abs=0.2)
    assert LineBox(0, 0, 80, 20, 0, 1).upright().x0 == 0
