"""Coverage against areas cut out by shapely (GEOS), an independent general-purpose library."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from choreo.picture.render.coverage import Window, coverage, coverages, quad_sums, window_around

WINDOW = Window(3, 2, 20, 17)


def by_geos(shape, window=WINDOW):
    rows, columns = np.mgrid[window.y : window.y + window.height, window.x : window.x + window.width]
    return shapely.area(shapely.intersection(shapely.box(columns, rows, columns + 1, rows + 1), shape))


@st.composite
def shapes(draw):
    kind = draw(st.sampled_from(["box", "disc", "ring", "two"]))
    x, y = draw(st.floats(-4, 28)), draw(st.floats(-4, 24))
    wide, high = draw(st.floats(0.01, 18)), draw(st.floats(0.01, 18))
    turn = draw(st.sampled_from([0.0, 90.0, 45.0, 13.7])) if draw(st.booleans()) else draw(st.floats(0, 180))
    shape = shapely.box(x, y, x + wide, y + high)
    if kind == "disc":
        shape = shapely.Point(x, y).buffer(wide / 2, quad_segs=draw(st.integers(1, 6)))
    if kind == "ring":
        shape = shape.difference(affinity.scale(shape, 0.6, 0.3))
    shape = affinity.rotate(shape, turn)
    return shapely.union(shape, shapely.box(5.25, 6, 8, 9.5)) if kind == "two" else shape


@given(shapes())
def test_every_pixel_holds_its_true_area(shape):
    assert coverage(shape, WINDOW) == pytest.approx(by_geos(shape), abs=1e-9)


@given(shapes())
def test_the_sum_is_the_area_within_the_window(shape):
    inside = shape.intersection(shapely.box(3, 2, 23, 19))
    assert coverage(shape, WINDOW).sum() == pytest.approx(inside.area, abs=1e-9)


def test_a_triangle_by_hand():
    # Half a unit square, and a quarter of it where the legs are halved.
    half = coverage(shapely.Polygon([(0, 0), (1, 0), (0, 1)]), Window(0, 0, 2, 2))
    assert half == pytest.approx(np.array([[0.5, 0], [0, 0]]))
    across = coverage(shapely.Polygon([(0.5, 0.5), (1.5, 0.5), (0.5, 1.5)]), Window(0, 0, 2, 2))
    assert across == pytest.approx(np.array([[0.25, 0.125], [0.125, 0.0]]))


def test_several_at_once_are_the_same_as_one_by_one():
    several = [shapely.Point(9, 9).buffer(r) for r in (1.5, 4.2, 30)]
    assert coverages(several, WINDOW) == pytest.approx(np.stack([coverage(each, WINDOW) for each in several]))


def test_quadrilaterals_that_share_an_edge_add_up_without_a_seam():
    left = [[4.2, 3.1], [9.7, 4.4], [8.1, 15.3], [5.0, 12.0]]
    right = [[8.1, 15.3], [18.0, 14.0], [16.5, 3.3], [9.7, 4.4]]  # the other way round
    sums = quad_sums(np.array([left, right]), np.array([1.0, 3.0]), WINDOW)
    total, toned = (np.cumsum(each, axis=1)[:, :-1] for each in sums)
    both = [by_geos(shapely.Polygon(ring)) for ring in (left, right)]
    assert total == pytest.approx(by_geos(shapely.union_all([shapely.Polygon(left), shapely.Polygon(right)])), abs=1e-9)
    assert toned == pytest.approx(both[0] + 3 * both[1], abs=1e-9)


def test_nothing_and_what_lies_outside_cover_nothing():
    assert not coverage(shapely.Polygon(), WINDOW).any()
    assert not coverage(shapely.box(-9, -9, -1, -1), WINDOW).any()
    assert not coverage(shapely.box(23, 2, 40, 19), WINDOW).any()
    assert coverage(shapely.box(-1e7, -1e7, 1e7, 1e7), WINDOW) == pytest.approx(np.ones((17, 20)))
    assert window_around((30.0, 0.0, 40.0, 9.0), WINDOW) is None
    assert window_around((4.5, 3.2, 5.5, 3.9), WINDOW) == Window(4, 3, 2, 1)
