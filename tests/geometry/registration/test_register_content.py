"""Pictures laid on pictures: a texture known at every place comes back, and plain is plain."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plates_on_hero import farthest_apart, painted, pixel_centres, texture

from choreo.geometry.registration.content import register_content
from choreo.geometry.registration.pixels import blurred, cubic_at, eroded, halved, linear_at
from choreo.geometry.registration.similarity import apply, compose, inverse
from choreo.model.registration import Similarity

SIZE, HERO_SIZE = (120, 100), (190, 170)
ENDS = np.array([(12, 50), (108, 50), (60, 12), (60, 88)], float)
OFF = compose(Similarity(1, 0, (2.7, -3.1)), Similarity(1.01, 0.8, (0, 0)))
"""What a start is off by: some 4 px."""


def disc_matte():
    alpha = np.zeros(SIZE[::-1])
    cv2.ellipse(alpha, (60, 50), (50, 42), 0, 0, 360, 1, -1)
    return cv2.GaussianBlur(alpha, (0, 0), 0.7)


def hero_of(true, noise=0.0, seed=1):
    """The plate's texture at a true place, darker and with less contrast, as another exposure has it."""
    return painted(HERO_SIZE, lambda p: texture(apply(inverse(true), p)) * (0.8, 0.7, 0.9) + 0.04, noise, seed)


@pytest.mark.parametrize(
    "true",
    [
        Similarity(1, 0, (3.3, -2.2)),
        Similarity(1.02, 1.5, (15, 14)),
        Similarity(0.75, -2, (20, 20)),
        Similarity(1.35, 2, (5, 5)),
    ],
    ids=str,
)
def test_known_places_come_back_through_noise_and_what_hides(true):
    hero = hero_of(true, 0.02)
    hidden = apply(true, np.array([60.0, 40.0])).astype(int)
    hero[hidden[1] : hidden[1] + 18, hidden[0] : hidden[0] + 25] = 0.2
    found = register_content(painted(SIZE, texture, 0.02), disc_matte(), hero, compose(OFF, true))
    assert farthest_apart(found.transform, true, ENDS) < 0.08
    assert found.transform.turn_degrees == pytest.approx(true.turn_degrees, abs=0.05)
    assert found.trouble == ""
    assert found.confidence > 0.95
    assert found.held == ()
    assert 0.6 < found.used_share < 0.98
    assert found.sd_px < 0.05


def test_without_noise_it_is_exact_to_a_hundredth():
    true = Similarity(1.0, 0.5, (20.37, 18.61))
    found = register_content(painted(SIZE, texture), disc_matte(), hero_of(true), compose(OFF, true))
    assert farthest_apart(found.transform, true, ENDS) < 0.01


@settings(max_examples=10)
@given(st.floats(0.95, 1.05), st.floats(-3, 3), st.floats(-4, 4), st.floats(-4, 4), st.integers(0, 10**6))
def test_any_place_near_the_start_comes_back(scale, turn, x, y, seed):
    middle = np.array([60.0, 50.0])
    about = apply(Similarity(scale, turn, (0, 0)), middle)
    true = Similarity(scale, turn, (float(95 + x - about[0]), float(85 + y - about[1])))
    plate = painted(SIZE, texture, 0.02, seed)
    found = register_content(plate, disc_matte(), hero_of(true, 0.02, seed + 1), Similarity(1, 0, (35, 35)))
    assert farthest_apart(found.transform, true, ENDS) < 0.1


def test_a_start_that_is_an_eighth_of_the_part_off():
    true = Similarity(1, 0, (35, 35))
    plate = painted(SIZE, texture, 0.02)
    found = register_content(plate, disc_matte(), hero_of(true, 0.02), Similarity(1, 0, (43.5, 27)))
    assert farthest_apart(found.transform, true, ENDS) < 0.1


def test_a_third_hidden_needs_the_mask():
    true = Similarity(1, 0, (30, 30))
    hero = hero_of(true, 0.02)
    visible = np.ones(HERO_SIZE[::-1], bool)
    # What hides it is a copy of the texture 3 px off: it fits as well, and there is nearly as much of it.
    decoy = hero_of(Similarity(1, 0, (33, 30)), 0.02)
    hero[:, 88:] = decoy[:, 88:]
    visible[:, 88:] = False
    plate = painted(SIZE, texture, 0.02)
    found = register_content(plate, disc_matte(), hero, Similarity(1, 0, (31.5, 30)), visible=visible)
    assert farthest_apart(found.transform, true, ENDS) < 0.15


def stripes(places):
    return np.repeat(0.5 + 0.2 * np.sin(places[:, :1] * 0.4) + 0.1 * np.sin(places[:, :1] * 0.13), 3, axis=1)


def test_stripes_do_not_tell_the_shift_along_them():
    hero = painted(HERO_SIZE, lambda p: stripes(p - (32, 30)), 0.02, 5)
    found = register_content(painted(SIZE, stripes, 0.02, 6), disc_matte(), hero, Similarity(1, 0, (31, 31.5)))
    assert [held.words for held in found.held] == ["shift along y"]
    assert found.determined == ("shift x", "size", "turn")
    middle = apply(found.transform, np.array([60.0, 50.0]))
    assert middle == pytest.approx((92, 81.5), abs=0.05)


def rings(places):
    far = np.hypot(*(places - (60, 50)).T)[:, None]
    return np.repeat(0.5 + 0.2 * np.cos(far * 0.35), 3, axis=1)


def test_rings_do_not_tell_the_turn():
    hero = painted(HERO_SIZE, lambda p: rings(p - (32, 30)), 0.01, 5)
    found = register_content(painted(SIZE, rings, 0.01, 6), disc_matte(), hero, Similarity(1, 2, (31, 31.5)))
    assert [held.kind for held in found.held] == ["turn"]
    assert found.transform.turn_degrees == pytest.approx(2, abs=1e-6)


@pytest.mark.parametrize(
    ("paint", "noise", "word"),
    [(lambda p: np.full((len(p), 3), 0.5), 0.0, "plain"), (lambda p: np.full((len(p), 3), 0.5), 0.03, "not what")],
)
def test_a_plain_part_is_not_measured(paint, noise, word):
    hero = painted(HERO_SIZE, paint, noise, 5)
    start = Similarity(1, 0, (31, 31))
    found = register_content(painted(SIZE, paint, noise, 6), disc_matte(), hero, start)
    assert word in found.trouble
    assert found.transform == start
    assert found.determined == ()


def test_another_picture_is_not_measured():
    found = register_content(
        painted(SIZE, texture), disc_matte(), hero_of(Similarity(1, 140, (150, 150))), Similarity(1, 0, (30, 30))
    )
    assert "not what the hero shows" in found.trouble


def test_too_small_or_beside_the_hero():
    plate = painted(SIZE, texture)
    tiny = np.zeros(SIZE[::-1])
    tiny[40:52, 40:52] = 1
    hero = hero_of(Similarity(1, 0, (30, 30)))
    assert "few pixels" in register_content(plate, tiny, hero, Similarity(1, 0, (30, 30))).trouble
    assert "few pixels" in register_content(plate, disc_matte(), hero, Similarity(1, 0, (900, 30))).trouble
    assert "few pixels" in register_content(plate, tiny * 0, hero, Similarity(1, 0, (30, 30))).trouble


def test_same_input_same_answer():
    true = Similarity(1.02, 1.5, (15, 14))
    one, two = (
        register_content(painted(SIZE, texture, 0.02), disc_matte(), hero_of(true, 0.02), compose(OFF, true))
        for _ in range(2)
    )
    assert one == two


def test_opencv_aligns_to_the_same_place():
    # It maximises a correlation (Evangelidis and Psarakis 2008) over shift and turn: another measure, one place.
    true = Similarity(1, 1.0, (4.4, -2.3))
    plate, hero = painted(SIZE, texture), painted(SIZE, lambda p: texture(apply(inverse(true), p)))
    grey_plate, grey_hero = (np.float32(picture.mean(axis=2)) for picture in (plate, hero))
    warp = np.eye(2, 3, dtype=np.float32)
    inside = np.zeros(SIZE[::-1], np.uint8)
    inside[12:-12, 12:-12] = 255
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-8)
    _, warp = cv2.findTransformECC(grey_plate, grey_hero, warp, cv2.MOTION_EUCLIDEAN, criteria, inside, 5)
    found = register_content(plate, np.float64(inside > 0), hero, Similarity(1, 0, (2, 0)))
    there = (ENDS - 0.5) @ warp[:, :2].T + warp[:, 2] + 0.5
    assert apply(found.transform, ENDS) == pytest.approx(there, abs=0.1)


def test_cubic_reading_against_opencv_and_a_parabola():
    # Keys 1981: exact for polynomials of second degree.
    size = (30, 20)
    places = np.random.default_rng(4).uniform(4, 15, (50, 2))

    def parabola(p):
        return (0.01 * p[:, :1] ** 2 - 0.02 * p[:, :1] * p[:, 1:] + 0.03 * p[:, 1:] ** 2) * np.ones(3)

    assert cubic_at(painted(size, parabola), places) == pytest.approx(parabola(places), abs=1e-9)
    picture = painted(size, texture)
    x, y = np.float32(places.T - 0.5)
    linear = cv2.remap(np.float32(picture), x[None], y[None], cv2.INTER_LINEAR)[0]
    assert linear_at(picture, places) == pytest.approx(linear, abs=0.01)  # OpenCV rounds places to 1/32 px


def test_blur_halving_and_erosion_against_opencv():
    picture = painted((40, 30), texture)
    referee = cv2.GaussianBlur(picture, (7, 7), 1.0, borderType=cv2.BORDER_REPLICATE)
    assert blurred(picture, 1.0) == pytest.approx(referee, abs=1e-9)
    assert halved(picture) == pytest.approx(cv2.resize(picture, (20, 15), interpolation=cv2.INTER_AREA), abs=1e-9)
    mask = np.random.default_rng(2).random((40, 30)) > 0.02
    square = np.ones((5, 5), np.uint8)
    shrunk = cv2.erode(np.uint8(mask), square, borderType=cv2.BORDER_CONSTANT, borderValue=0)
    assert np.array_equal(eroded(mask, 2), shrunk > 0)
    assert len(pixel_centres((3, 2))) == 6
