"""Rounded corners and bows: tangents, radius, pieces and sagitta by hand."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from choreo.geometry.plane.bend import BOW_TURN, CORNER_TURN, bowed, rounded, turn

X, Y, Z = np.eye(3)


def test_a_right_angle_by_hand():
    """Corner at (10, 0, 0) from +x to +y, arc from 4 mm before it: radius 4 about (6, 4, 0), in steps of 30 degrees."""
    points = rounded(10 * X, X, Y, 4.0)
    angles = np.radians([-90, -60, -30, 0])
    expected = np.stack([6 + 4 * np.cos(angles), 4 + 4 * np.sin(angles), 0 * angles], axis=1)
    assert points == pytest.approx(expected, abs=1e-12)


@given(st.floats(0.1, 3.0), st.floats(0.1, 50))
def test_the_arc_is_tangent_to_both_legs_and_turns_in_small_steps(angle, tangent):
    after = math.cos(angle) * X + math.sin(angle) * Z
    points = rounded(np.zeros(3), X, after, tangent)
    assert points[0] == pytest.approx(-tangent * X)
    assert points[-1] == pytest.approx(tangent * after)
    steps = np.diff(points, axis=0)
    ways = steps / np.linalg.norm(steps, axis=1)[:, None]
    count = len(ways)
    assert angle / count <= CORNER_TURN + 1e-9
    # The first and the last chord leave the tangents by half a step, two chords differ by a whole one.
    assert turn(X, ways[0]) == pytest.approx(angle / count / 2, abs=1e-6)
    assert turn(ways[-1], after) == pytest.approx(angle / count / 2, abs=1e-6)
    assert [turn(a, b) for a, b in itertools.pairwise(ways)] == pytest.approx([angle / count] * (count - 1), abs=1e-6)


@given(st.floats(-60, 60).filter(lambda s: abs(s) > 1e-3))
def test_the_sagitta_of_a_bow_is_exact(sagitta):
    points = bowed(np.zeros(3), 120 * X, Y, sagitta)
    assert len(points) % 2 == 1
    assert points[len(points) // 2] == pytest.approx(60 * X + sagitta * Y, abs=1e-9)
    assert (points[0].tolist(), points[-1].tolist()) == ([0, 0, 0], [120, 0, 0])
    # The radius from chord and sagitta, (c^2 / 4 + s^2) / (2 s), as in any handbook of mensuration.
    radius = (3600 + sagitta**2) / (2 * abs(sagitta))
    centre = 60 * X + (sagitta - math.copysign(radius, sagitta)) * Y
    assert np.linalg.norm(points - centre, axis=1) == pytest.approx(radius)
    ways = np.diff(points, axis=0) / np.linalg.norm(np.diff(points, axis=0), axis=1)[:, None]
    assert max(turn(a, b) for a, b in itertools.pairwise(ways)) <= BOW_TURN + 1e-6
