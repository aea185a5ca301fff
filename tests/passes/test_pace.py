"""Fast parts by hand: the pan's limit, smears under a 180 degree shutter, and one warning for all."""

import numpy as np
import pytest

from choreo.geometry.cameras.camera import orthographic_camera
from choreo.model.choreography import FrameRate
from choreo.model.tracks import Key, PartTrack
from choreo.passes.pace import check_pace, pan_limit

HD = (1920, 1080)


def test_the_limit_of_a_pan():
    """1920 px in 7 s at 24 frames a second: 1920 / 168."""
    assert pan_limit(1920, FrameRate(24)) == pytest.approx(11.428571428571429)
    assert pan_limit(3840, FrameRate(24)) == pytest.approx(22.857142857142858)


def pace(size_mm, *steps_px):
    """A square part of that size, moved by these steps to the right at 2 px a mm."""
    camera = orthographic_camera(0, 0, np.zeros(3), 2.0, HD)
    corners = size_mm / 2 * np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]], dtype=float)
    x = np.concatenate([[0], np.cumsum(steps_px)]) / 2.0
    position = np.stack([x, 0 * x, 0 * x], axis=1)
    screen = camera.project(position)[0]
    ones = np.ones(len(x))
    track = PartTrack("p", position[[0, -1]], (Key(0, 0.0),), position, screen, 2 * ones, ones, (None,) * len(x))
    return check_pace("s", {"p": corners}, [camera] * len(x), [track], HD[0], FrameRate(24))


@pytest.mark.parametrize(
    ("size_mm", "step_px", "warned"),
    [
        (10, 39, False),  # 20 px wide: smears of 19.5 px and a step of 39 px leave no hole
        (10, 42, True),  # 21 px between the exposures, the part covers 20 of them
        (200, 114, False),  # wide enough; the limit is ten times 11.43 px
        (200, 115, True),
        (10, 0, False),
    ],
)
def test_by_hand(size_mm, step_px, warned):
    found = pace(size_mm, step_px / 3, step_px, step_px / 2)
    assert [finding.code for finding in found] == ["too-fast"] * warned
    if warned:
        assert f"{step_px} px from frame 1 to 2" in found[0].what
        assert found[0].severity == "warning"
