"""Lines of signs are found at any angle, size and brightness, straight or bent, and cut out level."""

import math

import cv2
import numpy as np
import pytest
from cogledger.extract.stamps.heaps import HeapSettings, find_rows
from cogledger.extract.stamps.linebox import CAPITALS_SHARE
from cogledger.extract.stamps.locate import LineBox, LocateSettings, find_lines
from cogledger.extract.stamps.rectify import LIGHTINGS, cut_level, dark_signs, find_contrast, relief, upside_down
from cogledger.extract.stamps.views import Photo, View
from PIL import Image, ImageDraw, ImageFont


def plate(text: str, *, angle: float = 0.0, ink=(20, 20, 20), ground=(150, 150, 155), size: int = 34) -> np.ndarray:
    """A photo of 1000 by 800 with ``text`` in its middle, turned clockwise by ``angle``, and a little noise."""
    picture = Image.new("RGB", (1000, 800), ground)
    ImageDraw.Draw(picture).text((500, 400), text, fill=ink, font=ImageFont.load_default(size), anchor="mm")
    picture = picture.rotate(-angle, resample=Image.Resampling.BICUBIC, fillcolor=ground)
    noise = np.random.default_rng(3).normal(0, 2.0, (800, 1000, 1))
    return np.clip(np.asarray(picture) + noise, 0, 255).astype(np.uint8)


def middle_line(pixels: np.ndarray, at: tuple[float, float] = (500, 400)) -> LineBox:
    lines = find_lines(pixels)
    inside = [line for line in lines if cv2.pointPolygonTest(line.outline().astype(np.float32), at, False) >= 0]
    assert inside, "no line lies over the text"
    return inside[0]


def turned_by(line: LineBox, angle: float) -> float:
    """Degrees between a line and a direction, either way round."""
    return abs((line.angle - angle + 90) % 180 - 90)


def size_of(text: str, size: int) -> tuple[float, float]:
    """Width of the text and height of its capitals as Pillow measures them."""
    font = ImageFont.load_default(size)
    x0, _, x1, _ = font.getbbox(text)
    _, top, _, bottom = font.getbbox("H")
    return x1 - x0, bottom - top


def holds(line: LineBox, text: str, size: int) -> bool:
    """Whether the box is as long and as high as a box of that text should be: no sign cut off, little more."""
    width, capitals = size_of(text, size)
    return (
        -0.1 * capitals < line.length - width < 3 * capitals and 0.75 < line.height * CAPITALS_SHARE / capitals < 1.35
    )


@pytest.mark.parametrize("angle", [0, 17, -40, 75, 90])
@pytest.mark.parametrize("ink", [(20, 20, 20), (240, 240, 240)])
def test_a_line_is_found_at_its_angle(angle, ink):
    line = middle_line(plate("QVX417", angle=angle, ink=ink))
    assert turned_by(line, angle) <= 3
    assert holds(line, "QVX417", 34)


@pytest.mark.parametrize("size", [14, 22, 60, 130])
def test_a_line_is_found_at_its_size(size):
    line = middle_line(plate("QVX417", angle=10, size=size))
    assert turned_by(line, 10) <= 3
    assert holds(line, "QVX417", size)


def test_two_lines_are_told_apart():
    lines = find_lines(plate("QVX417\n50-34T"))
    middles = {round(line.y / 20) for line in lines[:4]}
    assert len(middles) >= 2
    assert all(line.height < 50 for line in lines[:2])


def test_two_lines_of_small_print_are_told_apart():
    lines = find_lines(plate("QVX417\n50-34T", size=14))
    _, capitals = size_of("H", 14)
    above, below = sorted(lines[:2], key=lambda line: line.y)
    assert 1.0 < (below.y - above.y) / capitals < 2.5
    assert all(line.height * CAPITALS_SHARE < 1.4 * capitals for line in (above, below))


def test_a_small_stamp_on_a_large_part_off_the_middle():
    photo = np.full((2000, 2600, 3), (70, 90, 60), np.uint8)
    cv2.ellipse(photo, (1250, 950), (800, 420), 12, 0, 360, (150, 150, 155), -1, cv2.LINE_AA)
    photo[1010:1070, 1500:1640] = plate("QVX417", size=20, angle=8)[370:430, 430:570]
    line = middle_line(photo, (1570, 1040))
    assert turned_by(line, 8) <= 4
    assert holds(line, "QVX417", 20)


def test_a_bent_line_is_followed():
    flat = plate("TOMQVX-417-50")
    radius, (rows, columns) = 260.0, flat.shape[:2]
    x, y = np.meshgrid(np.arange(columns, dtype=np.float32), np.arange(rows, dtype=np.float32))
    dx, dy = x - 500, y - (400 + radius)  # the text runs round a circle whose centre is below it
    around = np.arctan2(dx, -dy)
    bent = cv2.remap(
        flat, (500 + around * radius).astype(np.float32), (400 + radius - np.hypot(dx, dy)).astype(np.float32),
        cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    line = middle_line(bent)
    half = size_of("TOMQVX-417-50", 34)[0] / 2
    drop = radius * (1 - math.cos(half / radius))  # how far an arc's ends lie below its middle
    at_end = line.bend * (2 * radius * math.sin(half / radius) / line.length) ** 2
    downwards = at_end * math.cos(math.radians(line.angle))
    assert 0.7 < downwards / drop < 1.3
    assert turned_by(line, 0) <= 4


def test_the_clearest_line_comes_first_and_no_more_than_asked_for():
    photo = np.vstack((plate("QVX417"), plate("TWENTY FIVE")))
    lines = find_lines(photo)
    assert [line.score for line in lines] == sorted((line.score for line in lines), reverse=True)
    assert len(lines) >= 2
    assert find_lines(photo, LocateSettings(most=1)) == lines[:1]


def test_the_search_keeps_within_its_budget(monkeypatch):
    from cogledger.extract.stamps import locate

    looked = []
    monkeypatch.setattr(
        locate, "find_map", lambda pixels: looked.append(pixels.shape) or np.zeros(pixels.shape[:2], np.float32)
    )
    grass = np.random.default_rng(1).integers(0, 255, (3000, 4000, 3), np.uint8)
    assert find_lines(grass) == []
    assert len(looked) > 1  # nothing was seen at first, so there was a closer look
    assert sum(rows * columns for rows, columns, _ in looked) <= LocateSettings().budget_px


def test_a_heap_gives_back_the_line_that_it_is_the_kernel_of():
    share, settings = np.zeros((200, 400), np.float32), HeapSettings()
    capitals = 26.0
    thick = round(settings.kernel_share * capitals + settings.kernel_more_px)
    share[100 : 100 + thick, 80:280] = 0.9
    (found,) = find_rows(share, settings)
    assert found.capitals_px == pytest.approx(capitals, rel=0.05)
    assert found.line.length == pytest.approx(200 + 2 * (settings.short_by + settings.margin) * capitals, rel=0.02)
    assert (found.line.x, found.line.y) == pytest.approx((179.5, 99.5 + thick / 2), abs=0.1)
    assert found.full > 0.9


def test_heaps_of_one_row_are_one_line_and_those_of_two_rows_are_two():
    share = np.zeros((200, 400), np.float32)
    share[60:76, 40:140] = share[60:76, 165:260] = 0.9
    share[120:136, 40:140] = 0.9
    found = sorted(find_rows(share, HeapSettings()), key=lambda each: each.line.y)
    assert [round(each.line.y / 10) for each in found] == [7, 13]
    assert found[0].line.length > 220 > found[1].line.length


def test_a_view_and_the_way_back():
    photo = Photo(plate("QVX417", angle=30))
    view = View(500, 400, 30, 0.5, 160, 60)
    assert view.places(np.array([[79.5, 29.5]])) == pytest.approx(np.array([[500, 400]]))
    back = view.to_photo(LineBox(79.5, 29.5, 65, 20, 0, 1, bend=2))
    assert (back.x, back.y, back.length, back.height, back.angle, back.bend) == pytest.approx(
        (500, 400, 130, 40, 30, 4)
    )
    level, straight = photo.cut(view), Photo(plate("QVX417")).cut(View(500, 400, 0, 0.5, 160, 60))
    assert np.corrcoef(level.ravel(), straight.ravel())[0, 1] > 0.9


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
