"""Words, blocks and marks of the training generator: what is drawn is what the label says, where it says."""

from __future__ import annotations

import re
import sys
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest
import reportlab
from cogledger.extract.stamps.grids import ALPHABET
from cogledger.extract.stamps.teeth import parse_teeth
from cogledger.schema.parts import code_key

sys.path.append(str(Path(__file__).resolve().parents[2]))

from training import lines
from training.blocks import CAP_PX, draw_marked_block, flat_block
from training.fonts import SIGNS
from training.glyphs import draw_text
from training.lines import Words, draw_block, draw_code, draw_lot, draw_name, draw_sign, draw_teeth, draw_words
from training.marks import PROCESSES, draw_mark

FONTS = [Path(reportlab.__file__).parent / "fonts" / name for name in ("Vera.ttf", "VeraBd.ttf")]
GREY = np.array((0.5, 0.48, 0.46))


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


# Words


def test_codes_have_letters_and_digits_and_signs_of_the_alphabet_only() -> None:
    generator = rng()
    codes = [draw_code(generator) for _ in range(3000)]
    both = [any(c.isalpha() for c in code) and any(c.isdigit() for c in code) for code in codes]
    assert np.mean(both) > 0.95, "codes of a wholly random shape may lack one of the two; all others may not"
    assert all(set(code) <= set(ALPHABET) for code in codes)
    assert all(3 <= len(code_key(code)) <= 12 for code in codes)
    assert len(set(codes)) > 2900
    assert set("".join(codes)) >= set(lines.LETTERS + lines.DIGITS)


@pytest.mark.parametrize("role", lines.ROLES)
def test_labels_hold_signs_that_the_reader_tells_and_are_as_long_as_what_is_shown(role: str) -> None:
    generator = rng(2)
    for _ in range(800):
        words = draw_words(generator, role)
        assert words.role == role
        assert words.label and set(words.label) <= set(ALPHABET), words
        assert len(words.label) == len(words.shown)
        assert set(words.shown) <= set(SIGNS), "a sign that the gathered faces do not keep"
        for shown, read in zip(words.shown, words.label, strict=True):
            assert read == shown.upper() or (read == "*" and not shown.isalnum() and shown not in "-./ ")


def test_tooth_counts_are_such_as_parts_have() -> None:
    generator = rng(3)
    for _ in range(1500):
        text = draw_teeth(generator)
        counts = re.findall(r"\d+", text)
        assert re.fullmatch(r"\d{1,2}T|\d{1,2}[-/]\d{2}T?", text), text
        if all(len(count) == 2 for count in counts):
            assert parse_teeth(text) == tuple(map(int, counts)), text


def test_names_and_lots_are_no_codes() -> None:
    generator = rng(4)
    for _ in range(500):
        name, lot = draw_name(generator), draw_lot(generator)
        assert name.isalpha() and 4 <= len(name) <= 9
        assert any(sign.isdigit() for sign in lot)


@pytest.mark.parametrize(("kind", "pool"), [("A", lines.LETTERS), ("9", lines.DIGITS), ("?", None), ("C", None)])
def test_signs_come_from_their_pool_and_each_comes_up(kind: str, pool: str | None) -> None:
    generator = rng(5)
    drawn = {draw_sign(generator, kind) for _ in range(2000)}
    assert drawn == set(pool or lines.LETTERS + lines.DIGITS)


def test_blocks_hold_a_code_or_tooth_counts_and_few_other_lines() -> None:
    generator = rng(6)
    for _ in range(300):
        block = draw_block(generator)
        assert 1 <= len(block) <= 4
        assert {"code", "teeth"} & {line.role for line in block}


# Blocks


def test_the_same_generator_draws_the_same_block() -> None:
    for seed in range(4):
        one, other = (draw_marked_block(rng(seed), FONTS, GREY) for _ in range(2))
        assert one.process == other.process
        assert np.array_equal(one.mark.height, other.mark.height)
        assert np.array_equal(one.mark.cover, other.mark.cover)
        assert [line.words for line in one.lines] == [line.words for line in other.lines]


def middles(mask: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """The middle row of the ink near each column, NaN where there is none."""
    found = []
    for column in columns:
        rows = np.flatnonzero(mask[:, max(0, int(column) - 14) : int(column) + 15].max(axis=1) > 0.5)
        found.append((rows[0] + rows[-1]) / 2 if len(rows) else np.nan)
    return np.array(found)


def test_ink_follows_the_points_of_its_line_straight_or_bent() -> None:
    """Lines of capitals alone, whose ink is as high above their middle as below."""
    words = [Words("HENXHMNKHE", "HENXHMNKHE", "code")]
    bent = straight = 0
    for seed in range(120):
        mask, (line,) = flat_block(rng(seed), FONTS, "printed", words)
        bow = float(np.ptp(line.points[:, 1]))
        if bow > 8:
            bent += 1
        elif bow == 0:
            straight += 1
        else:
            continue
        if straight > 12 and not bow:
            continue
        inner = line.points[1:-1]
        assert np.nanmax(np.abs(middles(mask, inner[:, 0]) - inner[:, 1])) < 0.16 * CAP_PX + 0.1 * bow, seed
        ink = np.flatnonzero(mask.max(axis=0) > 0.5)
        assert ink[0] == pytest.approx(line.points[0, 0], abs=0.3 * CAP_PX)
        assert ink[-1] == pytest.approx(line.points[-1, 0], abs=0.3 * CAP_PX)
    assert bent >= 5 and straight >= 12


def test_lines_stand_below_each_other_and_keep_their_words() -> None:
    words = [Words(text, text, "lot") for text in ("HNE 1200", "XKM", "TEN 9")]
    for seed in range(30):
        mask, found = flat_block(rng(seed), FONTS, "moulded", words)
        assert [line.words for line in found] == words
        tops = [line.points[4, 1] for line in found]
        assert all(b - a > 0.4 * CAP_PX for a, b in pairwise(tops))
        for line in found:
            assert 0.5 * CAP_PX < line.cap < 1.2 * CAP_PX
            assert (line.points >= 0).all() and (line.points < mask.shape[::-1]).all()


# Marks


@pytest.mark.parametrize("process", PROCESSES)
def test_every_process_changes_something_within_the_letters_and_nothing_far_off(process: str) -> None:
    mask = draw_text("RX-28", FONTS[0], 32, rng=rng()).mask
    near = cv2.dilate((mask > 0.02).astype(np.uint8), np.ones((25, 25), np.uint8)) > 0
    for seed in range(25):
        mark = draw_mark(rng(seed), mask, 32, process, GREY)
        changed = (np.abs(mark.height) > 1e-3) | (mark.cover > 0.02) | (np.abs(mark.gloss - 1) > 0.02)
        assert (changed & (mask > 0.5)).sum() > 0.3 * (mask > 0.5).sum(), seed
        assert not (changed & ~near).any()
        assert mark.height.shape == mark.cover.shape == mark.gloss.shape == mask.shape
        assert 0 <= mark.cover.min() <= mark.cover.max() <= 1
        assert 0 <= mark.colour.min() <= mark.colour.max() <= 1
        assert all(np.isfinite(part).all() for part in (mark.height, mark.cover, mark.gloss))


@pytest.mark.parametrize(("process", "raised"), [("moulded", 0.8), ("stamped", 0), ("engraved", 0), ("dot_peen", 0)])
def test_cast_letters_mostly_stand_up_and_cut_ones_lie_down(process: str, raised: float) -> None:
    mask = draw_text("HENX", FONTS[1], 40, rng=rng()).mask
    deepest = cv2.erode(mask, np.ones((5, 5))) > 0.9
    marks = [draw_mark(rng(seed), mask, 40, process, GREY) for seed in range(80)]
    up = [bool(mark.height[deepest].mean() > 0) for mark in marks]
    assert np.mean(up) == pytest.approx(raised, abs=0.15 if raised else 0)
    assert all(0.01 * 40 < np.abs(mark.height[deepest]).mean() < 0.25 * 40 for mark in marks)


@pytest.mark.parametrize("process", ["etched", "printed"])
def test_etched_and_printed_letters_differ_from_their_ground_by_colour(process: str) -> None:
    mask = draw_text("HENX", FONTS[1], 40, rng=rng()).mask
    for seed in range(60):
        base = rng(seed).uniform(0.05, 0.95, 3)
        mark = draw_mark(rng(seed), mask, 40, process, base)
        assert np.abs(mark.colour - base).max() > 0.09
        assert np.abs(mark.height).max() < 0.05 * 40
        assert mark.cover[mask > 0.9].mean() > 0.1
