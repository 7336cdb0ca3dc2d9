"""Pages that are pictures: straightened, read through an engine, and no wrong number that is sure of itself."""

import numpy as np
import pytest
from cogledger.extract.engines.lines import engine_name
from cogledger.extract.pages import render_page
from cogledger.extract.pipeline import read_source
from cogledger.extract.records import Rule
from cogledger.extract.scan_clean import find_skew, flatten
from cogledger.extract.scan_rules import find_dashed_rules, find_drawn_rules, without_rules
from cogledger.extract.scans import read_picture
from cogledger.extract.sources import find_sources
from PIL import Image

ROWS = [["Model", "Largest cog", "Total capacity", "Weight"], ["KX710", "28-32T", "37T", "231 g"],
        ["KX720", "28-34T", "39T", "245 g"], ["VB350", "25-30T", "33T", "219 g"]]  # fmt: skip
TRUTH = {
    ("KX710", "largest_cog", 28, 32), ("KX710", "total_capacity", None, 37), ("KX710", "weight", 231, 231),
    ("KX720", "largest_cog", 28, 34), ("KX720", "total_capacity", None, 39), ("KX720", "weight", 245, 245),
    ("VB350", "largest_cog", 25, 30), ("VB350", "total_capacity", None, 33), ("VB350", "weight", 219, 219),
}  # fmt: skip


@pytest.fixture
def printed(pen):
    """The table as print, and its picture at 200 dpi."""
    drawn = pen("print.pdf")
    drawn.text(50, 90, "Rear derailleurs", 14, bold=True)
    drawn.table(ROWS, size=11, row_height=26)
    path = drawn.save()
    return path, render_page(path, 1, dpi=200)


def as_scan(pen, picture, name="scan.pdf"):
    drawn = pen(name)
    drawn.picture(picture, (0, 0, drawn.width, drawn.height))
    return drawn.save()


def reading_of(path):
    (source,), _ = find_sources([path])
    return read_source(source)


def told(claims):
    return {(c.part_code, c.limit, c.low, c.high) for c in claims}


@pytest.mark.slow
@pytest.mark.parametrize("skew", [0.0, 1.2, -2.0])
def test_a_skewed_scan_reads_back_most_numbers_and_none_wrong_for_sure(pen, printed, skew):
    _, picture = printed
    turned = picture.rotate(skew, resample=Image.Resampling.BICUBIC, fillcolor="white")
    claims = reading_of(as_scan(pen, turned)).claims
    assert len(told(claims) & TRUTH) >= 6
    assert told(c for c in claims if c.confidence >= 0.9) <= TRUTH
    assert all(c.method.startswith(f"{engine_name()}/") for c in claims)


@pytest.mark.slow
def test_boxes_of_a_scan_lie_where_the_print_has_them(pen, printed):
    path, picture = printed
    turned = picture.rotate(1.5, resample=Image.Resampling.BICUBIC, fillcolor="white")
    text = {(c.part_code, c.limit): c.bbox for c in reading_of(path).claims}
    angle = np.deg2rad(1.5)
    compared = 0
    for claim in reading_of(as_scan(pen, turned)).claims:
        if (claim.part_code, claim.limit) not in text:
            continue
        box = text[claim.part_code, claim.limit]
        x, y = (box.x0 + box.x1) / 2 - 595.3 / 2, (box.top + box.bottom) / 2 - 841.9 / 2
        shown = (x * np.cos(angle) + y * np.sin(angle) + 595.3 / 2, -x * np.sin(angle) + y * np.cos(angle) + 841.9 / 2)
        assert claim.bbox.x0 - 6 <= shown[0] <= claim.bbox.x1 + 6, (claim.limit, box, claim.bbox)
        assert claim.bbox.top - 6 <= shown[1] <= claim.bbox.bottom + 6, (claim.limit, box, claim.bbox)
        compared += 1
    assert compared >= 6


def test_a_page_with_text_never_reaches_the_engine(printed, monkeypatch):
    from cogledger.extract import scans

    def refuse(*_args, **_kwargs):
        raise AssertionError("a sound text layer was read by the engine")

    monkeypatch.setattr(scans, "find_signs_each", refuse)
    assert told(reading_of(printed[0]).claims) == TRUTH


def test_a_blank_scan_is_read_as_nothing(pen):
    reading = reading_of(as_scan(pen, Image.new("RGB", (800, 1100), "white")))
    assert reading.claims == () and reading.failed_pages == ()


def test_noise_is_read_as_nothing(pen):
    grains = np.random.default_rng(3).integers(0, 256, (120, 100), dtype=np.uint8)
    assert reading_of(as_scan(pen, Image.fromarray(grains))).claims == ()


@pytest.mark.parametrize("skew", [-3.0, -0.8, 0.0, 0.5, 2.0, 4.5])
def test_the_skew_is_found_within_a_tenth_of_a_degree(printed, skew):
    picture = printed[1].convert("L").rotate(skew, resample=Image.Resampling.BICUBIC, fillcolor=255)
    assert find_skew(np.asarray(picture)) == pytest.approx(-skew, abs=0.11)


def test_a_blank_page_has_no_skew():
    assert find_skew(np.full((400, 300), 255, np.uint8)) == 0.0


def test_uneven_light_is_taken_out():
    shade = np.tile(np.linspace(120, 250, 800), (600, 1)).astype(np.uint8)
    shade[200:400, 300:310] = 20
    flat = flatten(shade)
    assert flat[50:150, 50:-50].min() > 235 and flat[300, 305] < 90


def test_drawn_rules_are_found_and_signs_are_not(printed):
    grey = np.asarray(printed[1].convert("L"))
    rules = find_drawn_rules(grey, 200)
    assert sum(r.horizontal for r in rules) == 5 and sum(not r.horizontal for r in rules) == 5


def test_rules_are_painted_over_and_nothing_else():
    grey = np.full((100, 200), 255, np.uint8)
    grey[50, 20:180] = 0
    grey[10:20, 10:20] = 0
    bare = without_rules(grey, [Rule(20, 50, 180, 50)])
    assert bare[50].min() == 255 and bare[15, 15] == 0 and grey[50, 100] == 0


def test_the_stems_of_tall_letters_are_no_rules(pen):
    drawn = pen("tall.pdf")
    drawn.text(50, 60, "Rear derailleur KX710 till all", 14)
    drawn.text(50, 100, "Illustration III", 18, bold=True)
    grey = np.asarray(render_page(drawn.save(), 1, dpi=300).convert("L"))
    assert find_drawn_rules(grey, 300) == []


def test_dashed_rules_are_found_and_leader_dots_are_not():
    grey = np.full((200, 900), 255, np.uint8)
    for x in range(50, 850, 20):
        grey[60:63, x : x + 12] = 0
        grey[150:154, x : x + 4] = 0
    (rule,) = find_dashed_rules(grey, 300)
    assert rule.horizontal and abs(rule.y0 - 61) < 3 and rule.x0 < 55 and rule.x1 > 830
    assert without_rules(grey, [rule], dashed=True)[55:70].min() == 255


def test_digits_over_each_other_are_no_dashed_rule(pen):
    drawn = pen("column.pdf")
    for n in range(12):
        drawn.text(60, 60 + 11 * n, f"{1 + n % 3}{n} teeth", 10)
    grey = np.asarray(render_page(drawn.save(), 1, dpi=300).convert("L"))
    assert find_dashed_rules(grey, 300) == []


@pytest.mark.slow
def test_a_picture_file_is_read_in_its_own_pixels(printed, tmp_path):
    path = tmp_path / "page.png"
    printed[1].save(path)
    content = read_picture(path)
    assert (content.width, content.height) == printed[1].size and content.origin == engine_name()
    assert {"KX710", "KX720", "VB350"} <= {w.text for w in content.words}
