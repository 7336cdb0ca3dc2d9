"""Backdrops, parts and surfaces of synthetic photos: the same for one seed, in range, with places that are free."""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

sys.path.append(str(Path(__file__).resolve().parents[2]))

from training.backdrop import draw_backdrop, draw_foreground
from training.bodies import BODIES
from training.fields import draw_clouds, draw_field, draw_rings, draw_streaks
from training.grounds import GROUNDS
from training.parts import SMALLEST_SHARE, draw_part, flat_places
from training.places import Place, find_places, outline_of, straight
from training.rows import ROWS, draw_row_marks
from training.textures import SURFACES, draw_surface

SIZES = [(160, 160), (97, 240), (256, 131)]
SEEDS = range(24)


def spread(values):
    """How far apart the pictures of several seeds lie: the mean over pixels of their standard deviation."""
    return float(np.std(np.stack(values), axis=0).mean())


@pytest.mark.parametrize(("height", "width"), SIZES)
def test_backdrop_is_a_picture_of_the_size_asked_for(height, width):
    for seed in range(8):
        picture = draw_backdrop(np.random.default_rng(seed), height, width)
        assert picture.shape == (height, width, 3)
        assert picture.dtype == np.float32
        assert 0.0 <= picture.min() <= picture.max() <= 1.0


def test_one_seed_gives_one_window_and_another_seed_another():
    def window(seed):
        rng = np.random.default_rng(seed)
        part = draw_part(rng, 120, 160)
        surface = draw_surface(rng, 120, 160)
        return draw_backdrop(rng, 120, 160), part, surface, flat_places(part, rng)

    for seed in range(6):
        first, again, other = window(seed), window(seed), window(seed + 100)
        assert np.array_equal(first[0], again[0])
        for name in ("mask", "height_map", "albedo", "room"):
            assert np.array_equal(getattr(first[1], name), getattr(again[1], name))
        assert all(np.array_equal(a, b) for a, b in zip(first[2], again[2], strict=True))
        assert first[3] == again[3]
        assert not np.array_equal(first[0], other[0])
        assert not np.array_equal(first[1].height_map, other[1].height_map)


def test_backdrops_differ_in_colour_contrast_and_sharpness():
    pictures = [draw_backdrop(np.random.default_rng(seed), 96, 96) for seed in range(40)]
    assert spread(pictures) > 0.1
    contrasts = [float(picture.std()) for picture in pictures]
    assert max(contrasts) > 4 * min(contrasts)
    edges = [float(np.abs(cv2.Laplacian(picture, cv2.CV_32F)).mean()) for picture in pictures]
    assert max(edges) > 10 * min(edges)


@pytest.mark.parametrize(("height", "width"), SIZES)
def test_a_foreground_covers_a_part_of_the_window_from_its_side(height, width):
    covered = []
    for seed in SEEDS:
        cover, picture = draw_foreground(np.random.default_rng(seed), height, width)
        assert cover.shape == (height, width)
        assert picture.shape == (height, width, 3)
        assert 0.0 <= cover.min() <= cover.max() <= 1.0
        assert 0.0 <= picture.min() <= picture.max() <= 1.0
        covered.append(float(cover.mean()))
    assert 0.01 < np.median(covered) < 0.4
    assert max(covered) < 0.8


@pytest.mark.parametrize("name", GROUNDS)
@pytest.mark.parametrize(("height", "width"), SIZES)
def test_every_ground_fills_the_window(name, height, width):
    for seed in range(4):
        picture = GROUNDS[name][0](np.random.default_rng(seed), height, width)
        assert picture.shape == (height, width, 3)
        assert picture.dtype == np.uint8
        assert picture.std() > 0


@pytest.mark.parametrize(("height", "width"), SIZES)
def test_part_maps_have_the_ranges_that_the_renderer_expects(height, width):
    for seed in SEEDS:
        part = draw_part(np.random.default_rng(seed), height, width)
        assert part.mask.shape == part.height_map.shape == (height, width)
        assert part.albedo.shape == (height, width, 3)
        assert {a.dtype for a in (part.mask, part.height_map, part.albedo)} == {np.dtype(np.float32)}
        assert 0.0 <= part.mask.min() <= part.mask.max() <= 1.0
        assert 0.0 <= part.albedo.min() <= part.albedo.max() <= 1.0
        assert np.isfinite(part.height_map).all()
        assert np.abs(part.height_map).max() < max(height, width)
        assert part.kind in BODIES
        assert part.mask.mean() > SMALLEST_SHARE * 0.8


def test_every_kind_of_body_comes_up():
    assert {draw_part(np.random.default_rng(seed), 64, 64).kind for seed in range(150)} == set(BODIES)


@pytest.mark.parametrize(("height", "width"), [*SIZES, (512, 512)])
def test_flat_places_lie_inside_the_mask_and_the_window(height, width):
    seen = 0
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        part = draw_part(rng, height, width)
        places = flat_places(part, rng)
        sizes = [place.length * place.height for place in places]
        assert sizes == sorted(sizes, reverse=True)
        for place in places:
            outline = outline_of(place)
            assert outline.min() >= 0
            assert (outline.max(axis=0) <= (width, height)).all()
            layer = np.zeros((height, width), np.uint8)
            cv2.fillPoly(layer, [np.floor(outline).astype(np.int32)], (1,))
            assert part.mask[layer > 0].min() > 0.99, place
            seen += 1
    assert seen >= 10


def test_places_in_a_plain_square_use_most_of_it_and_do_not_overlap():
    free = np.zeros((130, 130), np.uint8)
    free[1:-1, 1:-1] = 1
    room = cv2.distanceTransform(free, cv2.DIST_L2, 5)[1:-1, 1:-1] * 4.0
    places = find_places(room, (), 0.0, np.random.default_rng(3))
    assert places[0].length * places[0].height > 0.25 * 512**2
    used = np.zeros((512, 512), np.int32)
    for place in places:
        layer = np.zeros((512, 512), np.uint8)
        cv2.fillPoly(layer, [np.round(outline_of(place)).astype(np.int32)], (1,))
        used += cv2.erode(layer, np.ones((13, 13), np.uint8))
    assert used.max() == 1


def test_bands_on_a_ring_follow_its_circle():
    layer = np.zeros((128, 128), np.uint8)
    cv2.circle(layer, (64, 64), 56, (1,), -1)
    cv2.circle(layer, (64, 64), 36, (0,), -1)
    room = cv2.distanceTransform(layer, cv2.DIST_L2, 5) * 4.0 - 4.0
    places = find_places(room, ((258.0, 258.0, 184.0),), 0.0, np.random.default_rng(1))
    bent = [place for place in places if place.radius]
    assert bent
    for place in bent:
        way = np.deg2rad(place.angle)
        centre = np.array([place.x, place.y]) + place.radius * np.array([-np.sin(way), np.cos(way)])
        assert np.allclose(centre, 258.0, atol=1e-6)
        far = np.hypot(*(outline_of(place) - 258.0).T)
        assert far.min() > 36 * 4
        assert far.max() < 57 * 4


@pytest.mark.parametrize("radius", [90.0, -90.0, 400.0])
@pytest.mark.parametrize("length", [30.0, 80.0, 250.0])
def test_the_straight_part_of_a_bent_place_lies_within_it(radius, length):
    place = Place(200.0, 300.0, 37.0, length, 40.0, radius)
    inside = straight(place)
    assert inside.radius == 0.0
    assert inside.height >= 19.9
    way = np.deg2rad(place.angle)
    centre = np.array([place.x, place.y]) + radius * np.array([-np.sin(way), np.cos(way)])
    corners = outline_of(inside)
    edges = np.concatenate([corners + (np.roll(corners, -1, axis=0) - corners) * t for t in np.linspace(0, 1, 20)])
    far = np.hypot(*(edges - centre).T)
    assert far.min() > abs(radius) - 20.001
    assert far.max() < abs(radius) + 20.001
    middle = np.array([place.x, place.y]) - centre
    turns = np.arccos(np.clip((edges - centre) @ middle / far / abs(radius), -1, 1))
    assert turns.max() <= length / abs(radius) / 2 + 1e-6
    assert straight(inside) == inside


def test_outline_of_a_place_turns_clockwise_in_the_picture():
    corners = outline_of(Place(50.0, 40.0, 90.0, 20.0, 6.0))
    assert np.allclose(corners, [[53, 30], [53, 50], [47, 50], [47, 30]])


@pytest.mark.parametrize("kind", SURFACES)
@pytest.mark.parametrize(("height", "width"), SIZES)
def test_surface_maps_have_the_ranges_that_the_renderer_expects(kind, height, width):
    for seed in range(5):
        surface = draw_surface(np.random.default_rng(seed), height, width, kind)
        assert surface.height_map.shape == surface.roughness.shape == (height, width)
        assert surface.albedo.shape == (height, width, 3)
        assert all(part.dtype == np.float32 for part in surface)
        assert all(np.isfinite(part).all() for part in surface)
        assert 0.0 < surface.roughness.min() <= surface.roughness.max() <= 1.0
        assert surface.albedo.min() > 0.0
        assert surface.height_map.std() > 0.0


def test_an_unknown_surface_is_refused():
    with pytest.raises(KeyError):
        draw_surface(np.random.default_rng(0), 32, 32, "velvet")


@pytest.mark.parametrize("grain", [1.0, 3.0, 8.0, 30.0])
def test_fields_have_unit_spread_and_the_grain_asked_for(grain):
    field = np.concatenate([draw_field(np.random.default_rng(s), 512, 512, grain) for s in range(4)])
    assert abs(float(field.mean())) < 0.35
    assert 0.6 < float(field.std()) < 1.3
    # Autocorrelation one pixel on: none in white noise, nearly one within a wide grain.
    near = float((field[:, 1:] * field[:, :-1]).mean() / field.var())
    assert near < 0.1 if grain == 1.0 else near > 1.0 - 3.0 / grain


def test_fields_of_any_size_are_whole():
    rng = np.random.default_rng(5)
    for height, width in ((4, 3000), (1700, 5), (33, 17)):
        for field in (
            draw_field(rng, height, width, 2.0),
            draw_clouds(rng, height, width, 50.0),
            draw_streaks(rng, height, width, 30.0, 20.0),
            draw_rings(rng, height, width, (3.0, 4.0), 2.0),
        ):
            assert field.shape == (height, width)
            assert np.isfinite(field).all()


@pytest.mark.parametrize("kind", ROWS)
def test_rows_run_along_and_keep_their_height(kind):
    for seed in range(6):
        marks = np.concatenate(draw_row_marks(np.random.default_rng(seed), 20.0, kind))
        wide, high = np.ptp(marks, axis=0)
        assert high <= 41.0
        assert wide > high
