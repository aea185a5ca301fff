"""Photographs of a sequence by angle and by time, against tables worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from choreo.motion.plate_frames import frames_by_angle, frames_by_time, speed_percent


def test_a_table_of_two_degrees_by_hand():
    # Photograph n shows 2 n degrees: 0 -> 0 or 180 (a whole turn on), 3 -> 1.5, -2 -> 179.
    found = frames_by_angle(np.array([0.0, 2.0, 3.0, 8.0]), (0, 179), 0.0, 2.0)
    np.testing.assert_allclose(found.frame, [0, 1, 1.5, 4])
    assert found.missing == ()
    assert found.step_degrees == 5.0


def test_start_and_direction_count():
    # By hand: photograph n shows 90 - 3 n degrees, so 60 is shown by 10 and 45 by 15.
    np.testing.assert_allclose(frames_by_angle(np.array([60.0, 45.0]), (1, 60), 90.0, -3.0).frame, [10, 15])


def test_a_closed_circle_is_crossed_without_a_gap():
    # 0.5 degrees before the first photograph of 360 lies half way from the last one to the first.
    found = frames_by_angle(np.array([-0.5, 0.0]), (0, 359), 0.0, 1.0)
    assert found.missing == ()
    np.testing.assert_allclose(np.mod(found.frame, 360), [359.5, 0])


def test_a_run_over_several_turns_does_not_jump():
    turn = np.arange(0.0, 700.0, 10.0)
    found = frames_by_angle(np.mod(turn + 180, 360) - 180, (0, 200), 0.0, 5.0)
    np.testing.assert_allclose(np.diff(found.frame), 2.0)


def test_what_nobody_photographed_is_missing_but_for_half_a_step():
    # Photographs of 0 to 20 degrees: 20.9 is nearer to 20 than to anything else, 21.1 is not shown, -0.9 is.
    found = frames_by_angle(np.array([20.9, 21.1, 30.0, -0.9, -1.1]), (0, 10), 0.0, 2.0)
    np.testing.assert_allclose(found.frame, [10, np.nan, np.nan, 0, np.nan])
    assert found.missing == ((1, 2), (4, 4))


def test_repeats_are_counted_on_whole_photographs():
    # Halves round up: 0, 0.5, 1.5, 2 show photographs 0, 1, 2, 2.
    assert frames_by_angle(np.array([0.0, 0.5, 1.5, 2.0]), (0, 9), 0.0, 1.0).repeated == 1


def test_a_film_runs_frame_for_frame_and_holds_its_end():
    found = frames_by_time(6, (11, 14))
    np.testing.assert_allclose(found.frame, [11, 12, 13, 14, 14, 14])
    assert found.repeated == 2


@pytest.mark.parametrize(
    ("plate", "shot", "percent"),
    # Playback over capture rate: arithmetic, common practice.
    [(60, 24, 40), (48, 24, 50), (120, 24, 20), (240, 30, 12.5), (60, 25, 125 / 3), (1000, 24, 2.4), (1000, 25, 2.5)],
)
def test_slow_motion(plate, shot, percent):
    np.testing.assert_allclose(speed_percent(shot, plate), percent)


@given(
    st.lists(st.floats(-720, 720), min_size=1, max_size=30),
    st.integers(0, 50),
    st.integers(0, 200),
    st.floats(-180, 180),
    st.sampled_from([0.5, 1.0, 2.0, -2.0, 7.5, -45.0]),
)
def test_a_photograph_shows_the_angle_asked_for(turn, first, more, start, per_frame):
    found = frames_by_angle(np.array(turn), (first, first + more), start, per_frame)
    shown = ~np.isnan(found.frame)
    off = np.mod(start + found.frame[shown] * per_frame - np.array(turn)[shown] + 180, 360) - 180
    assert np.all(np.abs(off) <= abs(per_frame) / 2 + 1e-4)
    assert np.all(found.frame[shown] >= first)
    # What is missing is farther than half a step from every photograph.
    angles = start + np.arange(first, first + more + 1) * per_frame
    for angle in np.array(turn)[~shown]:
        assert np.abs(np.mod(angles - angle + 180, 360) - 180).min() >= abs(per_frame) / 2 - 1e-4
