"""Fonts and masks of letters: heights, boxes, strokes, dots, and the split of fonts by family."""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest
import reportlab

sys.path.append(str(Path(__file__).resolve().parents[2]))

from training import fonts
from training.dotted import GRIDS, matrix_dots
from training.faces import draw_sign
from training.glyphs import GlyphMask, Style, draw_dots, draw_engraved, draw_text, random_style
from training.strokes import find_strokes, plain_strokes, thinned

FACE = Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"
SIGNS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-./"
WAYS = (draw_text, draw_engraved, draw_dots)
GATHERED = Path(__file__).resolve().parents[2] / ".fonts"


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def height_of(drawn: GlyphMask, index: int) -> tuple[float, float]:
    x0, x1 = drawn.boxes[index]
    rows = np.nonzero(drawn.mask[:, int(x0) : int(x1) + 1].max(axis=1) > 0.5)[0]
    return float(rows[0]), float(rows[-1] + 1)


@pytest.mark.parametrize("cap", [17.5, 24, 32, 64])
def test_capitals_have_the_height_asked_for_and_stand_about_the_middle(cap: float) -> None:
    drawn = draw_text("HEX-17", FACE, cap, rng=rng(), style=Style())
    top, bottom = height_of(drawn, 0)
    assert bottom - top == pytest.approx(cap, abs=1.01)
    assert (top + bottom) / 2 == pytest.approx(drawn.middle, abs=0.8)


@pytest.mark.parametrize("way", WAYS)
def test_same_generator_same_line_and_every_sign_has_its_box(way) -> None:
    for seed in range(40):
        one = way("AB9-28 T", FACE, 32, rng=rng(seed))
        same = way("AB9-28 T", FACE, 32, rng=rng(seed))
        assert np.array_equal(one.mask, same.mask)
        assert one.mask.dtype == np.float32
        assert one.mask.min() >= 0 and 0.55 < one.mask.max() <= 1
        assert len(one.boxes) == 8
        assert all(a[0] < b[0] for a, b in pairwise(one.boxes))
        assert one.boxes[0][0] > 0 and one.boxes[-1][1] < one.mask.shape[1]


@pytest.mark.parametrize("way", WAYS)
def test_nothing_touches_the_border_and_every_sign_leaves_something_in_its_box(way) -> None:
    for seed in range(60):
        generator = rng(seed)
        drawn = way(SIGNS, FACE, 28, rng=generator, style=random_style(generator))
        border = np.concatenate((drawn.mask[0], drawn.mask[-1], drawn.mask[:, 0], drawn.mask[:, -1]))
        assert border.max() < 0.1
        columns = drawn.mask.max(axis=0)
        assert all(columns[int(x0) : int(x1) + 2].max() > 0.3 for x0, x1 in drawn.boxes)


def test_stretch_tracking_and_weight_do_what_they_say() -> None:
    plain = draw_text("NIB", FACE, 40, rng=rng(), style=Style())
    wide = draw_text("NIB", FACE, 40, rng=rng(), style=Style(stretch=1.3))
    loose = draw_text("NIB", FACE, 40, rng=rng(), style=Style(tracking=0.25))
    heavy = draw_text("NIB", FACE, 40, rng=rng(), style=Style(weight=0.03))
    length = plain.boxes[-1][1] - plain.boxes[0][0]
    assert wide.boxes[-1][1] - wide.boxes[0][0] == pytest.approx(1.3 * length, abs=0.1)
    assert loose.boxes[-1][1] - loose.boxes[0][0] == pytest.approx(length + 2 * 0.25 * 40, abs=0.1)
    assert heavy.mask.sum() > 1.05 * plain.mask.sum()


def test_stencil_cuts_rings_open() -> None:
    def rings(style: Style) -> int:
        mask = draw_text("O", FACE, 48, rng=rng(), style=style).mask
        _, tree = cv2.findContours((mask > 0.5).astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
        return sum(1 for row in tree[0] if row[3] >= 0)

    assert rings(Style()) == 1
    assert rings(Style(stencil=0.12)) == 0


def test_a_cutter_leaves_strokes_of_its_own_width() -> None:
    for cutter in (0.1, 0.16):
        drawn = draw_engraved("I", FACE, 64, rng=rng(), style=Style(cutter=cutter, plain=True))
        middle = drawn.mask[round(drawn.middle)]
        assert middle.sum() == pytest.approx(cutter * 64, abs=1.0)


def test_thinning_leaves_lines_one_pixel_wide_that_hang_together() -> None:
    for sign in "ABEHKMQRSTWXY03468":
        solid = np.pad(draw_sign(str(FACE), sign, 64).picture > 127, 2)
        thin = thinned(solid)
        assert not (thin & ~solid).any()
        blocks = thin[:-1, :-1] & thin[1:, :-1] & thin[:-1, 1:] & thin[1:, 1:]
        assert blocks.sum() <= 2
        assert cv2.connectedComponents(thin.astype(np.uint8), connectivity=8)[0] == 2
        holes = cv2.connectedComponents((~solid).astype(np.uint8), connectivity=4)[0]
        assert cv2.connectedComponents((~thin).astype(np.uint8), connectivity=4)[0] == holes


def test_strokes_cover_the_letter_and_stay_inside_it() -> None:
    for sign in SIGNS.replace(".", ""):
        drawn = draw_sign(str(FACE), sign, 64).picture / 255
        depth = cv2.distanceTransform((drawn > 0.5).astype(np.uint8), cv2.DIST_L2, 5)
        canvas = np.zeros(drawn.shape, np.uint8)
        for line in find_strokes(drawn):
            points = np.round(line).astype(np.int32)
            cv2.polylines(canvas, [points], False, 255, max(1, round(2 * float(np.percentile(depth[depth > 0], 90)))))
        both, either = (canvas > 0) & (drawn > 0.5), (canvas > 0) | (drawn > 0.5)
        assert both.sum() / either.sum() > 0.6, sign


def test_dots_lie_on_the_line_at_their_step() -> None:
    drawn = draw_dots("L", FACE, 40, rng=rng(), style=Style(dot=0.1, dot_step=1.2, plain=True, rounds=0))
    spots = drawn.dots[:, :2]
    gaps = np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1)) + 1e6 * np.eye(len(spots))
    assert gaps.min(axis=1) == pytest.approx(0.12 * 40, rel=0.12)
    for x, y in spots:
        assert drawn.mask[round(float(y)), round(float(x))] > 0.9


def test_matrix_letters_differ_and_fit_their_grid() -> None:
    for columns, rows in GRIDS:
        shapes = {sign: matrix_dots(sign, columns, rows, False).tobytes() for sign in SIGNS}
        alike = {frozenset((a, b)) for a in SIGNS for b in SIGNS if a != b and shapes[a] == shapes[b]}
        assert alike <= {frozenset("O0"), frozenset("S5"), frozenset("I1")}, (columns, rows)
        for sign in SIGNS:
            dots = matrix_dots(sign, columns, rows)
            assert len(dots) and dots.min() >= 0 and dots[:, 0].max() < columns and dots[:, 1].max() < rows


def test_single_stroke_letters_keep_their_height_when_rounded() -> None:
    for sign in "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789":
        for rounds in (0, 1, 3):
            rows = np.vstack(plain_strokes(sign, rounds))[:, 1]
            assert rows.min() < 0.4 and rows.max() > 5.6, (sign, rounds)


def test_fonts_are_split_by_family_and_families_of_one_design_stay_together(tmp_path: Path) -> None:
    names = [f"{fonts.name_family(word)}__{k}.ttf" for word in ("Arimo", "Play", "Lato", "Go", "Dosis") for k in "ab"]
    for name in names:
        (tmp_path / name).touch()
    held, taught = fonts.find_fonts(tmp_path, True), fonts.find_fonts(tmp_path)
    assert {path.name for path in held} | {path.name for path in taught} == set(names)
    assert not {p.name.split("__")[0] for p in held} & {p.name.split("__")[0] for p in taught}
    assert fonts.name_family("Liberation Sans") == fonts.name_family("Arimo")
    share = np.mean([fonts.is_held_out(f"family{k}") for k in range(4000)])
    assert share == pytest.approx(1 / fonts.HELD_OUT_SHARE, abs=0.02)


def test_a_folder_without_fonts_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(fonts.FontsMissing, match=r"python -m training\.fonts --out"):
        fonts.find_fonts(tmp_path)


def test_without_apt_one_sentence_says_why(monkeypatch, capsys, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert fonts.main(["--out", str(tmp_path / "out")]) == 1
    assert "Debian or Ubuntu" in capsys.readouterr().err


def test_every_package_states_a_licence_and_no_face_is_listed_twice() -> None:
    packages = fonts.read_packages()
    faces = [face for package in packages for face in package.faces]
    assert len(faces) == len(set(faces)) >= 250
    assert all(package.licence and package.faces for package in packages)


@pytest.mark.skipif(not GATHERED.is_dir(), reason="the fonts are not gathered here")
def test_every_gathered_face_draws_every_sign() -> None:
    for held_out in (True, False):
        for face in fonts.find_fonts(GATHERED, held_out):
            assert all(draw_sign(str(face), sign, 24).picture.max(initial=0) > 100 for sign in SIGNS), face.name
