"""Positions along polylines against hand calculation and shapely's linear referencing."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.motion.path import lengths, marks, position

ELBOW = np.array([[0, 0, 0], [0, 0, 3], [4, 0, 3], [4, 5, 3]], dtype=float)  # legs of 3, 4 and 5 mm


def test_lengths_by_hand():
    assert list(lengths(ELBOW)) == [0, 3, 7, 12]
    assert list(marks(ELBOW)) == [0, 3 / 12, 7 / 12, 1]
    assert list(lengths([[1, 2, 3], [3, 5, 9]])) == [0, 7]  # 2, 3, 6 -> 7


def test_positions_by_hand():
    found = position(ELBOW, [0, 1 / 12, 0.25, 5 / 12, 7 / 12, 0.75, 1])
    expected = [[0, 0, 0], [0, 0, 1], [0, 0, 3], [2, 0, 3], [4, 0, 3], [4, 2, 3], [4, 5, 3]]
    assert np.allclose(expected, found, rtol=0, atol=1e-12)


def test_overshoot_goes_on_along_the_end_legs():
    """12 mm in all: 1.25 is 3 mm past the end along +y, -0.5 is 6 mm before the start along -z."""
    assert np.allclose([[4, 8, 3], [0, 0, -6]], position(ELBOW, [1.25, -0.5]), rtol=0, atol=1e-12)


def test_legs_without_length_do_no_harm():
    stutter = np.repeat(ELBOW, 3, axis=0)
    progress = np.linspace(-0.5, 1.5, 41)
    assert np.allclose(position(ELBOW, progress), position(stutter, progress), rtol=0, atol=1e-12)


@pytest.mark.parametrize("route", [[[1, 2, 3]], [[1, 2, 3], [1, 2, 3]]])
def test_a_route_without_length_stays_put(route):
    assert position(route, [-1, 0, 0.5, 2]).tolist() == [[1, 2, 3]] * 4
    assert marks(route).tolist() == [0] * len(route)


coordinate = st.floats(-500, 500)
routes = st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=2, max_size=6)


@settings(max_examples=100, deadline=None)
@given(routes)
def test_both_ends_are_exact(route):
    route = np.array(route)
    if lengths(route)[-1] > 0:
        found = position(route, [0.0, 1.0])
        # Points closer than rounding of the whole length count as one.
        tiny = 1e-12 * lengths(route)[-1]
        assert np.all(np.abs(found - route[[0, -1]]) <= tiny)
        legs = np.diff(marks(route))
        if legs[0] > 0:
            assert found[0].tolist() == route[0].tolist()
        if legs[-1] > 0:
            assert found[1].tolist() == route[-1].tolist()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(coordinate, coordinate), min_size=2, max_size=6), st.lists(st.floats(0, 1), max_size=9))
def test_positions_equal_shapely(flat_route, progress):
    """shapely.line_interpolate_point measures in the plane, so the route lies in it."""
    line = shapely.LineString(flat_route)
    if line.length < 1e-6:
        return
    expected = shapely.get_coordinates(shapely.line_interpolate_point(line, progress, normalized=True))
    route = np.column_stack([np.array(flat_route), np.zeros(len(flat_route))])
    assert np.allclose(expected.reshape(-1, 2), position(route, progress)[:, :2], rtol=0, atol=1e-9)
