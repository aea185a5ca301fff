"""Cameras that show all there is, as large as they can: searched for again with OpenCV's pinhole."""

import numpy as np
import pytest
from seen_by_opencv import axes_of, parallel, pinhole

from choreo.geometry.cameras.camera import view_axes
from choreo.geometry.cameras.fit import FitPoints, centred_target, needed_distance, needed_scale

RES = (1920, 1080)
FOCAL = 85 / 36 * 1920
# EBU R 95, 2008: graphics safe is 5 % of the frame from each edge (percentage from public code that names R 95).
GRAPHICS = (96, 54, 96, 54)
ACTION = (67.2, 37.8, 67.2, 37.8)


def cloud(seed, size=60):
    return np.random.default_rng(seed).uniform(-size, size, (12, 3)) * (1, 0.5, 0.7)


def sets_of(seed):
    views = [(0, 0), (35, 20), (-50, 10)]
    axes = np.stack([np.stack(view_axes(a, e)) for a, e in views])
    # Two sets: a tight one on all frames within the safe area, a wide one on one frame within the picture.
    return views, [FitPoints(cloud(seed), axes, GRAPHICS), FitPoints(cloud(seed + 50, 80), axes[1:2], (1, 1, 1, 1))]


def spare(pixels, margins):
    """Px between the points and the nearest margin; negative outside."""
    left, top, right, bottom = margins
    low, high = pixels.min(axis=0), pixels.max(axis=0)
    return min(low[0] - left, low[1] - top, RES[0] - right - high[0], RES[1] - bottom - high[1])


def least_spare(sets, views, project):
    rows = [view_axes(a, e)[2].tolist() for a, e in views]
    return min(
        spare(project(one.points, *views[rows.index(axes[2].tolist())]), one.margins)
        for one in sets
        for axes in one.axes
    )


@pytest.mark.parametrize("seed", range(6))
def test_the_least_distance_touches_a_margin(seed):
    views, sets = sets_of(seed)
    target = np.array([3.0, -4.0, 5.0])
    found = needed_distance(sets, target, FOCAL, RES, nearest=1.0)

    def seen(distance):
        def project(points, a, e):
            return pinhole(points, a, e, target - distance * axes_of(a, e)[2], FOCAL, RES)

        return least_spare(sets, views, project)

    assert seen(found) == pytest.approx(0, abs=1e-6)
    assert seen(found * 0.999) < 0 < seen(found * 1.001)


@pytest.mark.parametrize("seed", range(6))
def test_the_largest_scale_touches_a_margin(seed):
    views, sets = sets_of(seed)
    target = np.array([3.0, -4.0, 5.0])
    found = needed_scale(sets, target, RES)

    def seen(scale):
        return least_spare(sets, views, lambda points, a, e: parallel(points, a, e, target, scale, RES))

    assert seen(found) == pytest.approx(0, abs=1e-6)
    assert seen(found * 1.001) < 0 < seen(found * 0.999)


def test_a_scale_by_hand():
    # 100 x 20 mm from the front in 1728 x 972 px (R 95 graphics safe at 1920 x 1080): 17.28 px a mm.
    flat = np.array([(-50, -10, 0), (50, 10, 0)], dtype=float)
    front = np.stack([np.stack(view_axes(0, 0))])
    assert needed_scale([FitPoints(flat, front, GRAPHICS)], np.zeros(3), RES) == pytest.approx(17.28)
    # In the action area, 1785.6 px wide: 17.856. Where the target sits 10 mm to the left, 60 mm need 892.8 px.
    assert needed_scale([FitPoints(flat, front, ACTION)], np.zeros(3), RES) == pytest.approx(17.856)
    assert needed_scale([FitPoints(flat, front, ACTION)], np.array([-10.0, 0, 0]), RES) == pytest.approx(14.88)


def test_a_distance_by_hand():
    # A pinhole of 85 mm on 36 mm: 50 mm off the axis in the target's plane, at the safe area's edge 864 px off:
    # D = 50 x (85 / 36 x 1920) / 864. Points 30 mm nearer need 30 mm more.
    flat = np.array([(-50, 0, 0), (50, 0, 0)], dtype=float)
    front = np.stack([np.stack(view_axes(0, 0))])
    found = needed_distance([FitPoints(flat, front, GRAPHICS)], np.zeros(3), FOCAL, RES, nearest=1.0)
    assert found == pytest.approx(50 * FOCAL / 864)
    near = FitPoints(flat + np.array([0, 0, 30]), front, GRAPHICS)
    assert needed_distance([near], np.zeros(3), FOCAL, RES, nearest=1.0) == pytest.approx(50 * FOCAL / 864 + 30)
    # A point on the axis takes no width; the camera must still stay 1 mm away from it.
    tip = FitPoints(np.array([[0.0, 0, 40]]), front, GRAPHICS)
    assert needed_distance([tip], np.zeros(3), FOCAL, RES, nearest=1.0) == pytest.approx(41)


@pytest.mark.parametrize("distance", [None, 400.0])
def test_the_target_lies_in_the_middle_of_what_is_shown(distance):
    views, sets = sets_of(3)
    target = centred_target(sets, np.array([9.0, 7.0, -2.0]), distance)
    middle = views[1]
    if distance is None:
        pixels = parallel(sets[0].points, *middle, target, 7, RES)
        assert (pixels.min(axis=0) + pixels.max(axis=0)) / 2 == pytest.approx([960, 540], abs=1e-6)
        return
    # Under a pinhole the first step leaves a small rest: moving the camera changes who reaches farthest.
    for _ in range(20):
        target = centred_target(sets, target, distance)
    pixels = pinhole(sets[0].points, *middle, target - distance * axes_of(*middle)[2], FOCAL, RES)
    assert (pixels.min(axis=0) + pixels.max(axis=0)) / 2 == pytest.approx([960, 540], abs=1.0)
