"""Blocks on surfaces, lit and photographed: letters stand where the truth says, and only what is marked shows."""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
import reportlab
from cogledger.extract.stamps.rectify import cut_level, find_contrast

sys.path.append(str(Path(__file__).resolve().parents[2]))

from training.blocks import CAP_PX, Block, draw_marked_block
from training.camera import take
from training.cuts import jittered
from training.lines import Words
from training.marks import PROCESSES, Mark
from training.scenes import (
    CAPITALS_SHARE,
    LEAST_VISIBLE,
    Canvas,
    Shown,
    bare_canvas,
    draw_patch,
    lay,
    light,
    placement,
    scaled,
    shown_line,
    visibility,
)

FONTS = [Path(reportlab.__file__).parent / "fonts" / name for name in ("Vera.ttf", "VeraBd.ttf")]
BASE = np.array((0.45, 0.46, 0.5))
WORDS = [Words("HENX-280", "HENX-280", "code"), Words("KM 0417", "KM 0417", "lot")]
SIDE = 520


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def plain_canvas() -> Canvas:
    shape = (SIDE, SIDE)
    return Canvas(np.zeros(shape, np.float32), np.ones((*shape, 3), np.float32) * np.float32(BASE), np.ones(shape))


def laid(seed: int, process: str, angle: float, cap: float = 26) -> tuple[Block, Canvas, list[Shown]]:
    """A block of two lines on a plain canvas, turned by an angle."""
    generator = rng(seed)
    block = draw_marked_block(generator, FONTS, BASE, WORDS, process)
    cap = min(cap, 0.9 * SIDE * CAP_PX / block.mark.height.shape[1])
    canvas = plain_canvas()
    matrix = placement(generator, block, SIDE / 2, SIDE / 2, angle, cap)
    lay(canvas, block, matrix, cap / CAP_PX)
    return block, canvas, [shown_line(line, matrix) for line in block.lines]


def flat_cut(block: Block, line: int, size: tuple[int, ...]) -> np.ndarray:
    """The letters of one line straight from the flat block, where it is not bent, at the size of a level cut."""
    flat = block.lines[line]
    half = flat.cap / CAPITALS_SHARE / 2
    (x0, y), (x1, _) = flat.points[0], flat.points[-1]
    strength = np.maximum(block.mark.cover, np.abs(block.mark.height) / max(1e-6, np.abs(block.mark.height).max()))
    piece = strength[max(0, round(y - half)) : round(y + half), max(0, round(x0)) : round(x1)]
    return cv2.resize(piece, (size[1], size[0]), interpolation=cv2.INTER_AREA)


def alike(one: np.ndarray, other: np.ndarray) -> float:
    soft = [cv2.GaussianBlur(values.astype(np.float32), (0, 0), 1.5).ravel() for values in (one, other)]
    return float(np.corrcoef(*soft)[0, 1])


@pytest.mark.parametrize("angle", [0, 33, 90, 180, 271])
def test_the_box_of_a_line_cut_level_holds_its_letters(angle: float) -> None:
    found = []
    for seed in range(14):
        block, canvas, lines = laid(seed, "printed", angle)
        if np.ptp(block.lines[0].points[:, 1]) > 0:
            continue
        for number, line in enumerate(lines):
            cut = cut_level((canvas.albedo * 255).astype(np.uint8), line.box, 40)
            ink = np.abs(cut.astype(np.float32) - BASE * 255).max(axis=2)
            found.append(alike(ink, flat_cut(block, number, ink.shape)))
    assert len(found) >= 10
    assert np.median(found) > 0.85
    assert min(found) > 0.6


def test_bent_lines_are_cut_level_too() -> None:
    bent = []
    for seed in range(90):
        block, canvas, lines = laid(seed, "printed", 17)
        flat = block.lines[0]
        if np.ptp(flat.points[:, 1]) < 0.4 * CAP_PX:
            continue
        ink = np.abs(canvas.albedo - np.float32(BASE)).max(axis=2)
        cut = cut_level(np.repeat((ink / ink.max() * 255).astype(np.uint8)[:, :, None], 3, 2), lines[0].box, 40)
        rows = cut[:, :, 0].astype(float).sum(axis=1)
        middle = float((rows * np.arange(40)).sum() / rows.sum())
        capitals = rows[6:34].sum() / rows.sum()
        bent.append((abs(middle - 19.5), capitals))
        assert np.sign(lines[0].box.bend) == np.sign(flat.points[0, 1] - flat.points[4, 1])
    assert len(bent) >= 5
    far, held = np.array(bent).T
    assert far.max() < 4
    assert held.min() > 0.85


def test_the_angle_of_a_box_is_the_direction_of_reading() -> None:
    for angle in (0, 45, 135, 200, 300):
        _, _, lines = laid(2, "printed", angle)
        assert all((line.box.angle - angle + 180) % 360 - 180 == pytest.approx(0, abs=12) for line in lines)
        up = np.array((np.sin(np.deg2rad(angle)), -np.cos(np.deg2rad(angle))))
        step = np.array((lines[0].box.x - lines[1].box.x, lines[0].box.y - lines[1].box.y))
        assert step @ up > 0, "the first line stands above the second as one reads"


def test_resizing_a_photo_moves_its_boxes_along() -> None:
    _, canvas, lines = laid(3, "printed", 10)
    half = cv2.resize(canvas.albedo, (SIDE // 2, SIDE // 2), interpolation=cv2.INTER_AREA)
    one = cut_level((canvas.albedo * 255).astype(np.uint8), lines[0].box, 40)
    other = cut_level((half * 255).astype(np.uint8), scaled(lines[0], 0.5).box, 40)
    assert one.shape == other.shape
    assert alike(one[:, :, 0], other[:, :, 0]) > 0.97


@pytest.mark.parametrize("process", PROCESSES)
def test_what_is_marked_shows_under_the_lamp_and_nothing_else_does(process: str) -> None:
    seen = []
    for seed in range(8):
        _, canvas, lines = laid(seed, process, 20)
        bare = plain_canvas()
        lit, change = light(rng(seed), bare, canvas, 26)
        assert lit.dtype == np.float32 and np.isfinite(lit).all()
        inside = np.zeros(change.shape, np.uint8)
        for line in lines:
            cv2.fillPoly(inside, [line.box.outline().astype(np.int32)], 1)
        far = cv2.dilate(inside, np.ones((41, 41), np.uint8)) == 0
        assert change[far].max() < 1e-3
        seen.append(max(visibility(line, lit, change) for line in lines))
    assert np.median(seen) > LEAST_VISIBLE


def test_marks_without_height_and_colour_are_not_visible() -> None:
    for seed in range(6):
        block, _, lines = laid(seed, "stamped", 0)
        nothing = np.zeros_like(block.mark.height)
        empty = Block(Mark(nothing, nothing, block.mark.colour, np.ones_like(nothing)), block.lines, block.process)
        bare = bare_canvas(rng(seed), SIDE, SIDE, BASE, 26)
        same = bare.copy()
        lay(same, empty, placement(rng(seed), empty, SIDE / 2, SIDE / 2, 0, 20), 20 / CAP_PX)
        lit, change = light(rng(seed), bare, same, 26)
        assert all(visibility(line, lit, change) < 1e-3 for line in lines)


def test_weaker_marks_are_less_visible() -> None:
    for seed in range(6):
        block, strong, lines = laid(seed, "printed", 0)
        bare = plain_canvas()
        weak = Canvas(strong.height * 0.2, bare.albedo + 0.2 * (strong.albedo - bare.albedo), bare.gloss)
        shown = [visibility(lines[0], *light(rng(seed), bare, canvas, 26)) for canvas in (weak, strong)]
        assert 0 < shown[0] < shown[1], block.process


def test_patches_are_the_same_for_one_seed_and_their_lines_lie_on_them() -> None:
    shown = 0
    for seed in range(9):
        photo, same = draw_patch(rng(seed), FONTS), draw_patch(rng(seed), FONTS)
        assert np.array_equal(photo.pixels, same.pixels) and photo.lines == same.lines
        assert photo.pixels.dtype == np.uint8 and photo.pixels.ndim == 3
        assert photo.process in PROCESSES
        high, wide = photo.pixels.shape[:2]
        for line in photo.lines:
            shown += 1
            outline = line.box.outline()
            reach = line.box.height
            assert (outline > -reach).all() and (outline < (wide + reach, high + reach)).all()
            assert 7 * 0.4 < line.box.height * CAPITALS_SHARE < 42 * 1.3
    assert shown >= 6


def test_letters_of_a_whole_patch_are_found_in_their_box() -> None:
    """After lamp, blur, noise and JPEG the strongest contrast of a printed line is still that of its letters."""
    found = []
    for seed in range(20):
        block, canvas, lines = laid(seed, "printed", 65)
        if np.ptp(block.lines[0].points[:, 1]) > 0:
            continue
        lit, _ = light(rng(seed), plain_canvas(), canvas, 26)
        cut = cut_level(take(rng(seed), lit, 1.0), lines[0].box, 40)
        found.append(abs(alike(find_contrast(cut), flat_cut(block, 0, cut.shape))))
    assert len(found) >= 10
    assert np.median(found) > 0.7


def test_a_finder_s_box_still_holds_the_line() -> None:
    _, _, lines = laid(1, "printed", 40)
    box = lines[0].box
    boxes = [jittered(rng(seed), box) for seed in range(300)]
    cap = box.height * CAPITALS_SHARE
    assert np.std([b.height for b in boxes]) > 0.05 * box.height
    assert all(b.length > box.length - 0.15 * cap for b in boxes)
    assert all(np.hypot(b.x - box.x, b.y - box.y) < 1.2 * cap for b in boxes)
    assert np.mean([b.height * 0.5 > 0.35 * cap for b in boxes]) == 1.0
    assert max(abs(b.angle - box.angle) for b in boxes) < 8


# The telephone


def test_photos_are_bytes_and_the_same_for_one_seed() -> None:
    scene = rng().random((80, 120, 3), dtype=np.float32)
    for seed in range(30):
        photo = take(rng(seed), scene, 0.6)
        assert photo.shape == scene.shape and photo.dtype == np.uint8
        assert np.array_equal(photo, take(rng(seed), scene, 0.6))
    assert not np.array_equal(take(rng(1), scene, 0.6), take(rng(2), scene, 0.6))


def test_blur_takes_detail_away() -> None:
    scene = np.zeros((96, 96, 3), np.float32) + 0.25
    scene[:, ::8] = scene[:, 1::8] = 0.7

    def detail(blur: float) -> float:
        photos = [take(rng(seed), scene, blur, 0.0) for seed in range(15)]
        return float(np.median([cv2.Laplacian(photo[:, :, 1], cv2.CV_64F).std() for photo in photos]))

    assert detail(0.0) > 1.5 * detail(1.2) > 1.5 * detail(4.0)


def test_exposure_brings_dark_and_bright_scenes_near_each_other() -> None:
    scene = 0.5 + 0.2 * rng().random((60, 60, 3), dtype=np.float32)
    dark = np.median([take(rng(seed), scene * 0.15, 0.5).mean() for seed in range(40)])
    bright = np.median([take(rng(seed), scene * 1.5, 0.5).mean() for seed in range(40)])
    assert 30 < dark < bright < 190
    assert bright / dark < 4 < 1.5 / 0.15
