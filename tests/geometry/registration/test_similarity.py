"""Similarities: Umeyama's example by hand, OpenCV and scikit-image as referees, numbers of a plate there and back."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from plates_on_hero import BRACKET, outline_of
from skimage.transform import SimilarityTransform

from choreo.geometry.registration.similarity import (
    apply,
    apply_area,
    compose,
    correction,
    farthest,
    inverse,
    level_shift,
    origin_px,
    placement,
    similarity,
    start_from_moments,
)
from choreo.model.assembly import Hero, ViewAngle
from choreo.model.registration import IDENTITY, Correction, Similarity

SCALES = st.floats(0.2, 5)
TURNS = st.floats(-180, 180)
SHIFTS = st.tuples(st.floats(-500, 500), st.floats(-500, 500))
TRANSFORMS = st.builds(Similarity, SCALES, TURNS, SHIFTS)
POINTS = np.array([(10, 20), (110, 25), (95, 140), (15, 120), (60, 70)], float)


def close(one, two, tolerance=1e-9):
    points = np.array([(0, 0), (100, 0), (0, 100)], float)
    return np.allclose(apply(one, points), apply(two, points), atol=tolerance * 1000)


def test_umeyamas_example_by_hand():
    # S. Umeyama, IEEE PAMI 13(4), 1991, numerical example: the three points are mirrored, and no mirror may come out.
    # By hand, as complex numbers: means (1 + 2i)/3 and (-1 + 2i)/3; the sum of conj(x) y about them is 2 - 4i/3, that
    # of |x|^2 is 10/3; their ratio 0.6 - 0.4i has modulus sqrt(0.52) and argument -atan(2/3); the shift is
    # (-1 + 2i)/3 - (0.6 - 0.4i)(1 + 2i)/3 = -0.8 + 0.4i.
    one = np.array([(0, 0), (1, 0), (0, 2)], float)
    two = np.array([(0, 0), (-1, 0), (0, 2)], float)
    found = similarity(one, two)
    assert found.scale == pytest.approx(math.sqrt(0.52), abs=1e-12)
    assert found.turn_degrees == pytest.approx(-math.degrees(math.atan2(2, 3)), abs=1e-12)
    assert found.shift_px == pytest.approx((-0.8, 0.4), abs=1e-12)
    # The mean squared error is 8/15: |y|^2 about its mean 10/9, less |2 - 4i/3|^2 / (10/3) / 3 = 52/90.
    assert ((apply(found, one) - two) ** 2).sum(axis=1).mean() == pytest.approx(8 / 15, abs=1e-12)


def test_a_quarter_turn_by_hand():
    # y is down: a quarter turn clockwise takes "right" to "down". Twice as large, and 10 to the right.
    assert apply(Similarity(2, 90, (10, 0)), np.array([(1, 0), (0, 1)])) == pytest.approx(
        np.array([(10, 2), (8, 0)]), abs=1e-12
    )


@given(st.integers(0, 10**6), st.floats(0, 5))
def test_scikit_image_finds_the_same(seed, noise):
    random = np.random.default_rng(seed)
    one = random.uniform(-100, 100, (7, 2))
    two = apply(Similarity(random.uniform(0.5, 2), random.uniform(-180, 180), (3, -8)), one)
    two = two + random.normal(0, noise, two.shape)
    referee = SimilarityTransform.from_estimate(one, two)
    found = similarity(one, two)
    assert apply(found, one) == pytest.approx(referee(one), abs=1e-6)


def test_opencv_finds_the_same():
    # Its least squares are those of a robust search: exact pairs leave nothing to be robust about.
    true = Similarity(1.08, 12.5, (13.25, -7.5))
    matrix, _ = cv2.estimateAffinePartial2D(POINTS, apply(true, POINTS))
    found = similarity(POINTS, apply(true, POINTS))
    assert matrix @ np.array([7.0, 5.0, 1.0]) == pytest.approx(apply(found, np.array([7.0, 5.0])), abs=1e-6)


def test_noisy_pairs_as_the_record_has_them():
    # Pairs fixed by hand, half a pixel off; values that scikit-image and an SVD after Umeyama agree on.
    target = np.array(
        [
            (19.618901215832, 15.925541584322),
            (122.890096069519, 44.573018328085),
            (80.692300703064, 162.822660666583),
            (1.015421348965, 122.034284268541),
            (60.151146447651, 80.333265121456),
        ]
    )
    found = similarity(POINTS, target)
    assert found.scale == pytest.approx(1.0785124840170561, abs=1e-9)
    assert found.turn_degrees == pytest.approx(12.633011521620164, abs=1e-8)
    assert found.shift_px == pytest.approx((13.524962556165768, -7.473290064902656), abs=1e-8)


@given(TRANSFORMS)
def test_exact_pairs_give_the_transform_back(true):
    assert close(similarity(POINTS, apply(true, POINTS)), true)


def test_a_weight_counts_like_so_many_points():
    two = apply(Similarity(1.1, 5, (1, 2)), POINTS) + np.array([(0, 0), (1, 0), (0, 2), (0, 0), (-1, 1)])
    weighted = similarity(POINTS, two, np.array([1.0, 3, 1, 2, 0]))
    repeated = [0, 1, 1, 1, 2, 3, 3]
    assert close(weighted, similarity(POINTS[repeated], two[repeated]))


@pytest.mark.parametrize(
    ("one", "two", "weights"),
    [
        ([(5, 5), (5, 5)], [(0, 0), (1, 0)], None),
        ([(0, 0), (1, 0)], [(3, 3), (3, 3)], None),
        ([(0, 0), (1, 0)], [(0, 0), (1, 0)], [0, 0]),
        ([(0, 0), (1, 0)], [(0, 0), (1, 0)], [0, 1]),
    ],
)
def test_what_has_no_answer_is_refused(one, two, weights):
    with pytest.raises(ValueError):
        similarity(np.array(one, float), np.array(two, float), None if weights is None else np.array(weights, float))


@given(TRANSFORMS, TRANSFORMS)
def test_one_after_the_other_and_back(one, two):
    assert apply(compose(one, two), POINTS) == pytest.approx(apply(one, apply(two, POINTS)), abs=1e-8)
    assert close(compose(inverse(one), one), IDENTITY)


@given(st.floats(0.5, 40), st.floats(-180, 180), SHIFTS, st.floats(0.5, 40), SHIFTS)
def test_the_numbers_of_a_plate_there_and_back(px_per_mm, turn, pivot, hero_px_per_mm, origin):
    numbers = Correction(px_per_mm, pivot, turn)
    place = placement(numbers, hero_px_per_mm, origin)
    # The pivot lies on the origin, and a mm of the plate is a mm of the hero.
    assert apply(place, np.array(pivot)) == pytest.approx(origin, abs=1e-7)
    step = apply(place, np.add(pivot, (px_per_mm, 0))) - apply(place, np.array(pivot))
    assert np.hypot(*step) == pytest.approx(hero_px_per_mm)
    back = correction(place, hero_px_per_mm, origin)
    assert back.px_per_mm == pytest.approx(px_per_mm)
    assert back.pivot_px == pytest.approx(pivot, abs=1e-6)
    assert math.remainder(back.turn_degrees - turn, 360) == pytest.approx(0, abs=1e-9)


def test_where_the_hero_shows_an_origin():
    hero = Hero("hero.png", 10.0, (960.0, 540.0), ViewAngle())
    # 3 mm to the right, 2 up, and toward the viewer, which does not show: 30 px right, 20 px up the picture.
    assert origin_px((3.0, 2.0, 50.0), hero) == pytest.approx((990, 520))
    # From +x (azimuth 90) the depth axis points to the left of the picture.
    side = Hero("hero.png", 10.0, (960.0, 540.0), ViewAngle(90, 0))
    assert origin_px((3.0, 2.0, 5.0), side) == pytest.approx((910, 520))


def test_the_farthest_point_by_hand():
    # A quarter of a degree about the first corner moves the one across, 200 away, by 400 sin(1/8 degree).
    points = np.array([(0, 0), (200, 0), (100, 30)], float)
    off, at = farthest(IDENTITY, Similarity(1, 0.25, (0, 0)), points)
    assert off == pytest.approx(400 * math.sin(math.radians(0.125)))
    assert at == pytest.approx((200 * math.cos(math.radians(0.25)), 200 * math.sin(math.radians(0.25))))


@given(SCALES, st.floats(-179, 179), SHIFTS)
def test_moments_find_a_shape_without_a_start(scale, turn, shift):
    true = Similarity(scale, turn, shift)
    holed = outline_of(BRACKET).difference(outline_of(BRACKET * 0.3 + 50))
    assert close(start_from_moments(holed, apply_area(true, holed)), true, 1e-6)


def test_moments_of_a_square_try_all_turns():
    square = shapely.box(0, 0, 100, 100)
    found = start_from_moments(square, apply_area(Similarity(1.5, 30, (7, 9)), square))
    assert found.scale == pytest.approx(1.5)
    assert math.remainder(found.turn_degrees - 30, 90) == pytest.approx(0, abs=1e-6)


def test_a_still_that_was_shot_askew_by_hand():
    # It lies right when turned 90 degrees clockwise: what is to the right of the pivot then, is above it now.
    hero = Hero("hero.png", 10.0, (960.0, 540.0), ViewAngle(), 90.0)
    assert origin_px((3.0, 2.0, 50.0), hero) == pytest.approx((940, 510))
    numbers = Correction(10.0, (5.0, 5.0), 30.0)
    place = placement(numbers, hero.px_per_mm, (940.0, 510.0), hero.turn)
    assert place.turn_degrees == pytest.approx(-60)
    back = correction(place, hero.px_per_mm, (940.0, 510.0), hero.turn)
    assert (back.px_per_mm, *back.pivot_px, back.turn_degrees) == pytest.approx((10, 5, 5, 30))
    # A shift up the picture is one to the right once it lies right.
    assert level_shift((0.0, -2.0), hero) == pytest.approx((2, 0))
