"""Plates on the screen: exact places, true averages when small, nothing changed at their own size.

What is expected of moved and scaled pictures comes from areas and moments worked out by hand, and from OpenCV's
area filter.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import shapely

from choreo.picture.render.coverage import Window, coverage
from choreo.picture.render.plates import PlateImage, plate_tile

FRAME = Window(0, 0, 200, 160)


def disc(radius=20.0, size=64):
    """A soft-edged disc of two colours, premultiplied; its pivot is its centre."""
    alpha = coverage(shapely.Point(size / 2, size / 2).buffer(radius), Window(0, 0, size, size)).astype(np.float32)
    ramp = np.linspace(0.2, 0.8, size, dtype=np.float32)
    colour = np.stack([np.broadcast_to(ramp, (size, size)), np.full((size, size), 0.4, np.float32), alpha * 0 + 0.1], 2)
    return np.concatenate([colour * alpha[..., None], alpha[..., None]], axis=2)


def placed(plate, pivot, scale, **options):
    tile = plate_tile(plate, pivot, scale, FRAME, **options)
    out = np.zeros((FRAME.height, FRAME.width, 4), dtype=np.float64)
    out[tile.window.slices] = tile.picture
    return out


def centre(alpha):
    rows, columns = np.mgrid[: alpha.shape[0], : alpha.shape[1]] + 0.5
    return np.array([(columns * alpha).sum(), (rows * alpha).sum()]) / alpha.sum()


def test_at_its_own_size_on_whole_pixels_a_plate_is_unchanged():
    picture = disc()
    found = placed(PlateImage(picture, 10.0, (32.0, 32.0)), (100.0, 80.0), 10.0)
    assert found[48:112, 68:132] == pytest.approx(picture, abs=1e-6)


@pytest.mark.parametrize("x", [100.0, 100.01, 100.25, 100.499, 101.77])
@pytest.mark.parametrize("scale", [10.0, 7.3, 4.0, 1.9, 13.0])
def test_a_plate_lies_where_its_pivot_is_put_to_a_hundredth_of_a_pixel(x, scale):
    found = placed(PlateImage(disc(), 10.0, (32.0, 32.0)), (x, 80.3), scale)
    assert centre(found[..., 3]) == pytest.approx([x, 80.3], abs=0.01)
    # Its area grows by the square of the scale.
    assert found[..., 3].sum() == pytest.approx(np.pi * 400 * (scale / 10) ** 2, rel=0.012)


def test_a_turn_goes_clockwise_about_the_pivot():
    bar = np.zeros((40, 40, 4), dtype=np.float32)
    bar[18:22, 20:38] = 1.0
    found = placed(PlateImage(bar, 10.0, (20.0, 20.0)), (100.0, 80.0), 10.0, turn=90.0)
    # To the right of the pivot becomes below it: y grows down the screen.
    assert centre(found[..., 3]) == pytest.approx([100.0, 89.0], abs=0.02)


def test_a_plate_s_own_turn_comes_on_top():
    bar = np.zeros((40, 40, 4), dtype=np.float32)
    bar[18:22, 20:38] = 1.0
    once = placed(PlateImage(bar, 10.0, (20.0, 20.0)), (100.0, 80.0), 10.0, turn=30.0)
    other = placed(PlateImage(bar, 10.0, (20.0, 20.0), turn=-15.0), (100.0, 80.0), 10.0, turn=45.0)
    assert other == pytest.approx(once, abs=1e-6)
    # By hand: 9 px from the pivot, 30 degrees below the horizontal.
    assert centre(other[..., 3]) == pytest.approx([100 + 9 * np.cos(np.pi / 6), 84.5], abs=0.02)


def test_a_small_plate_is_a_true_average_and_does_not_alias():
    # Stripes two pixels apart, at a quarter of the size, are grey; picked samples would be stripes or one of the two.
    stripes = np.ones((256, 256, 4), dtype=np.float32)
    stripes[:, ::2, :3] = 0.0
    found = placed(PlateImage(stripes, 8.0, (128.0, 128.0)), (100.3, 80.1), 2.0)
    inner = found[60:100, 80:120, :3]
    assert inner == pytest.approx(np.full_like(inner, 0.5), abs=0.02)
    smaller = cv2.resize(disc(90.0, 256), (64, 64), interpolation=cv2.INTER_AREA)
    found = placed(PlateImage(disc(90.0, 256), 40.0, (128.0, 128.0)), (100.0, 80.0), 10.0)
    assert np.abs(found[48:112, 68:132] - smaller).max() < 0.06


def test_no_colour_of_empty_pixels_and_no_overshoot_gets_into_an_edge():
    picture = np.zeros((40, 40, 4), dtype=np.float32)
    picture[10:30, 10:30] = (1.0, 1.0, 1.0, 1.0)
    for scale in (10.0, 6.1, 17.0):
        found = placed(PlateImage(picture, 10.0, (20.0, 20.0)), (100.37, 80.81), scale)
        assert found.min() >= 0 and found.max() <= 1 + 1e-6  # noqa: PT018
        seen = found[..., 3] > 1e-3
        assert found[seen][:, :3] / found[seen][:, 3:] == pytest.approx(1.0, abs=1e-4)


def test_opacity_and_what_lies_outside():
    plate = PlateImage(disc(), 10.0, (32.0, 32.0))
    assert placed(plate, (100.0, 80.0), 10.0, opacity=0.25)[80, 100, 3] == pytest.approx(0.25)
    assert plate_tile(plate, (-60.0, 80.0), 10.0, FRAME) is None
    half = plate_tile(plate, (0.0, 80.0), 10.0, FRAME)
    assert half is not None
    assert half.window.x == 0
    assert half.picture[..., 3].sum() == pytest.approx(np.pi * 200, rel=0.01)
