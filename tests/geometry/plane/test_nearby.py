"""Regions near a part are what they were; what lies well beyond it is left out."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from choreo.geometry.plane.regions import nearby

REACH = 32.0
TRAY = shapely.box(0, 0, 1000, 600).difference(
    shapely.union_all([shapely.box(x, y, x + 60, y + 60) for x in range(40, 1000, 120) for y in range(40, 600, 120)])
)
APART = shapely.union_all([shapely.box(x, 700, x + 50, 760) for x in range(0, 1000, 200)])


@given(st.lists(st.tuples(st.integers(-100, 1100), st.integers(-100, 900)), min_size=1, max_size=4))
def test_nothing_changes_around_the_part(corners):
    parts = np.array([shapely.box(x, y, x + 80, y + 50) for x, y in corners], dtype=np.object_)
    shapes = np.full(len(parts), shapely.MultiPolygon([TRAY, *shapely.get_parts(APART)]), dtype=np.object_)
    found = nearby(shapes, parts, REACH)
    for shape, part, near in zip(shapes, parts, found, strict=True):
        around = shapely.box(*part.buffer(REACH, join_style="mitre").bounds)
        assert shapely.equals(shapely.intersection(near, around), shapely.intersection(shape, around))
        assert near.is_valid
        pieces = [piece for piece in shapely.get_parts(near) if not piece.is_empty]
        assert all(around.intersects(shapely.box(*piece.bounds)) for piece in pieces)
        assert all(around.intersects(hole) for piece in pieces for hole in piece.interiors)


def test_none_and_nothing_stay():
    far = shapely.box(5000, 5000, 5010, 5010)
    found = nearby(np.array([None, TRAY, shapely.Polygon()], dtype=np.object_), np.array([far] * 3), REACH)
    assert found[0] is None
    assert shapely.is_empty(found[1:]).all()
