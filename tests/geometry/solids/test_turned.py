"""Solids that turn, and what they sweep: against shapely's own rotation and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from choreo.geometry.collision.encounter import make_encounters
from choreo.geometry.collision.spinning import Turning, with_turning
from choreo.geometry.solids.solid import build_solid
from choreo.geometry.solids.turned import swept_by_turning, turned
from choreo.model.assembly import Slab


def slab(outline, z=(0.0, 10.0), holes=()):
    return Slab(tuple(outline), tuple(holes), z)


def rect(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


BAR = build_solid([slab(rect(-10, -1, 10, 1))])


@pytest.mark.parametrize("degrees", [30, -95.5, 180, 720, 361])
def test_turning_is_shapelys_rotation(degrees):
    at = np.array([3.0, -2.0])
    found = turned(BAR, at, degrees).bands[0].section
    expected = affinity.rotate(BAR.bands[0].section, degrees, origin=(3.0, -2.0))
    assert shapely.symmetric_difference(found, expected).area < 1e-9


def test_a_bar_sweeps_the_disc_of_its_corners():
    # By hand: corners at sqrt(101); the 48-gon around that circle has the area 48 tan(pi/48) r^2.
    area = swept_by_turning(BAR, np.zeros(2)).bands[0].section.area
    assert area == pytest.approx(101 * 48 * math.tan(math.pi / 48))


def test_a_part_beside_its_axis_sweeps_a_ring():
    # By hand: a square from 5 to 7 sweeps radii from 5 to sqrt(7^2 + 1); the hole's polygon lies inside its circle.
    found = swept_by_turning(build_solid([slab(rect(5, -1, 7, 1))]), np.zeros(2)).bands[0].section
    outer, inner = 50 * 48 * math.tan(math.pi / 48), 25 * 24 * math.sin(math.pi / 24)
    assert found.area == pytest.approx(outer - inner)


def test_a_hole_around_the_axis_stays_open_as_far_as_its_nearest_edge():
    ring = slab(rect(-10, -10, 10, 10), holes=(rect(-4, -4, 4, 4)[::-1],))
    found = swept_by_turning(build_solid([ring]), np.zeros(2)).bands[0].section
    assert not found.contains(shapely.Point(3.9, 0))
    assert found.contains(shapely.Point(4.01, 0))


@given(
    st.lists(st.tuples(st.floats(-20, 20), st.floats(-20, 20)), min_size=3, max_size=8),
    st.floats(-10, 10),
    st.floats(-10, 10),
    st.floats(-400, 400),
)
def test_every_turn_lies_in_what_is_swept(points, x, y, degrees):
    hull = shapely.MultiPoint(points).convex_hull
    if hull.geom_type != "Polygon" or hull.area < 1e-3:
        return
    solid = build_solid([slab(shapely.get_coordinates(hull)[:-1].tolist())])
    at = np.array([x, y])
    rotated = affinity.rotate(hull, degrees, origin=(x, y))
    swept = swept_by_turning(solid, at).bands[0].section
    assert shapely.difference(rotated, swept).area < 1e-9
    # Not much more either: every radius that is swept has material, but for the corners of the polygon.
    far = float(np.hypot(*(shapely.get_coordinates(swept) - at).T).max())
    assert far <= float(np.hypot(*(shapely.get_coordinates(hull) - at).T).max()) / math.cos(math.pi / 48) + 1e-9


def encounters(touch_mm=0.0, pressed=None, clearance=None):
    post = build_solid([slab(rect(4, -1, 6, 1))])
    return make_encounters({"bar": BAR, "post": post}, touch_mm, pressed or {}, clearance)


def test_from_where_it_turns_a_part_counts_as_what_it_sweeps():
    # By hand: 5 mm away in y the bar passes the post, its disc does not, until it has risen by its 10 mm.
    route = np.array([[0.0, 5.0, 0.0], [0.0, 5.0, 40.0]])
    still = np.zeros((1, 3))
    for hulls in (False, True):
        for since, end in ((0.0, 10.0), (4.0, 10.0), (12.0, None)):
            seen = with_turning(encounters(), {"bar": Turning(np.zeros(2), since)})
            met = seen.diagram("bar", "post", route, still, ((0.0, 40.0), (0.0, 0.0)), hulls=hulls)
            if end is None:
                assert len(met) == 0
            else:
                assert met[..., 0].min() == pytest.approx(since, abs=1e-5)
                assert met[..., 0].max() == pytest.approx(end, abs=1e-5)


def test_the_other_of_the_pair_may_be_the_one_that_turns():
    seen = with_turning(encounters(), {"bar": Turning(np.zeros(2), 4.0)})
    route, still = np.array([[0.0, 5.0, 0.0], [0.0, 5.0, 40.0]]), np.zeros((1, 3))
    met = seen.diagram("post", "bar", still, route, ((0.0, 0.0), (0.0, 40.0)))
    assert met[..., 1].min() == pytest.approx(4.0, abs=1e-5)


def test_clearance_and_press_fit_are_those_of_the_pair():
    route, still = np.array([[0.0, 5.0, 0.0], [0.0, 5.0, 40.0]]), np.zeros((1, 3))
    roomy = with_turning(encounters(clearance={("bar", "post"): 2.0}), {"bar": Turning(np.zeros(2), 0.0)})
    met = roomy.diagram("bar", "post", route, still, ((0.0, 40.0), (0.0, 0.0)), kept=True)
    assert met[..., 0].max() == pytest.approx(12.0, abs=1e-5)
    # A press fit of 0.8 mm takes 0.2 mm off each solid at each face.
    tight = with_turning(encounters(pressed={("bar", "post"): 0.8}), {"bar": Turning(np.zeros(2), 0.0)})
    met = tight.diagram("bar", "post", route, still, ((0.0, 40.0), (0.0, 0.0)))
    assert met[..., 0].max() == pytest.approx(9.6, abs=1e-5)
