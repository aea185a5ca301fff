"""What shapes have in common within pixels, against areas cut out by shapely (GEOS)."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from choreo.picture.render.coverage import Window
from choreo.picture.render.form import commons, form_of, outline_of, united
from choreo.picture.render.moment import Hold

FRAME = Window(0, 0, 20, 17)
ALL = np.arange(FRAME.width * FRAME.height)


def by_geos(shape):
    row, column = np.divmod(ALL, FRAME.width)
    return shapely.area(shapely.intersection(shapely.box(column, row, column + 1, row + 1), shape))


@st.composite
def shapes(draw):
    x, y = draw(st.floats(-3, 22)), draw(st.floats(-3, 19))
    shape = shapely.box(x, y, x + draw(st.floats(0.02, 14)), y + draw(st.floats(0.02, 14)))
    if draw(st.booleans()):
        shape = shapely.Point(x, y).buffer(draw(st.floats(0.1, 9)), quad_segs=draw(st.integers(1, 9)))
    if draw(st.booleans()):
        shape = shape.difference(affinity.scale(shape, 0.6, 0.3))
    shape = affinity.rotate(shape, draw(st.sampled_from([0.0, 45.0, 90.0, 13.7])))
    return shapely.union(shape, shapely.box(5.25, 6, 8, 9.5)) if draw(st.booleans()) else shape


@given(shapes(), st.lists(shapes(), min_size=1, max_size=3))
def test_areas_in_pixels_are_true_and_so_is_what_they_have_in_common(own, others):
    found = commons(ALL, FRAME, [outline_of(own, FRAME)], [[outline_of(each, FRAME)] for each in others])
    together = shapely.union_all(others)
    for area, truth in zip(found, (own, together, shapely.intersection(own, together)), strict=True):
        assert area == pytest.approx(by_geos(truth), abs=1e-9)


@given(shapes(), shapes(), st.floats(-2, 2))
def test_shapes_that_all_but_coincide(own, hole, by):
    """The same outline, the same one a little aside, and each less one and the same region."""
    other = affinity.translate(own, by / 50, 0)
    mine, its, less = (outline_of(each, FRAME) for each in (own, other, hole))
    both = shapely.intersection(own, other)
    assert commons(ALL, FRAME, [mine], [[its]])[2] == pytest.approx(by_geos(both), abs=1e-9)
    assert commons(ALL, FRAME, [mine], [[mine]])[2] == pytest.approx(by_geos(own), abs=1e-9)
    cut = commons(ALL, FRAME, [mine, less], [[its, less]])
    for area, truth in zip(cut, (own, other, both), strict=True):
        assert area == pytest.approx(by_geos(shapely.difference(truth, hole)), abs=1e-9)


def test_a_quarter_by_hand():
    # A half of the pixel, cut by its diagonal, and its left half have three eighths in common.
    half = shapely.Polygon([(3, 3), (4, 4), (3, 4)])
    left = shapely.box(3, 3, 3.5, 4)
    found = commons(np.array([3 * 20 + 3]), FRAME, [outline_of(half, FRAME)], [[outline_of(left, FRAME)]])
    assert found[:, 0] == pytest.approx([0.5, 0.5, 0.375])


@given(shapes())
def test_an_outline_passes_through_every_pixel_that_is_covered_in_part(shape):
    truth, found = by_geos(shape), outline_of(shape, FRAME).fringe
    assert (np.diff(found) > 0).all()
    assert np.isin(np.flatnonzero((truth > 1e-6) & (truth < 1 - 1e-6)), found).all()
    # And through none that lies apart from it.
    row, column = np.divmod(found, FRAME.width)
    boxes = shapely.box(column, row, column + 1, row + 1)
    assert (shapely.distance(boxes, shape.boundary) < 1e-9).all()


def test_the_fringe_holds_every_pixel_that_is_covered_in_part():
    own, region = shapely.box(2.5, 2.5, 14, 9), shapely.Point(9.2, 6.1).buffer(3.3)
    form = form_of(own, [Hold(region, ())], FRAME)
    truth = by_geos(own.difference(region))
    assert np.isin(np.flatnonzero((truth > 1e-6) & (truth < 1 - 1e-6)), form.fringe).all()
    assert form_of(own, list(form.holds), FRAME, form) is form
    assert form_of(own, [], FRAME, form).outlines[0].pieces.shape == form.outlines[0].pieces.shape


@given(st.lists(st.lists(st.integers(0, 30), unique=True).map(sorted), max_size=4))
def test_united_lists_are_ascending_and_hold_all(lists):
    found = united([np.array(each, dtype=np.int64) for each in lists])
    assert found.tolist() == sorted({number for each in lists for number in each})
