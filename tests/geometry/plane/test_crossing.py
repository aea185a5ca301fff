"""Ways that cross, by hand and against shapely; parts one behind another, whose ends rounding puts beside one line."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from small_assemblies import TURNED, box, film, insert, make, shot, stage, there_and_back

from choreo.geometry.plane.crossing import TOUCH_PX, cross, crossed, crossings

CASES = [  # by hand
    ([(0, 0), (0, 10)], [(10, 10), (10, 0)], 1),
    ([(0, 0), (0, 10)], [(10, 0), (10, 10)], 0),
    ([(0, 0), (5, 0)], [(10, 0), (15, 0)], 0),  # along one line
    ([(0, 0), (0, 0)], [(10, 10), (10, 0)], 0),  # from one point
    ([(0, 0), (5, -5)], [(10, 0), (5, 0)], 0),  # one ends on the other
    ([(0, 0), (5, 5)], [(10, 0), (5, 5)], 0),  # one goes nowhere
    ([(0, 0), (0, 10), (0, 5)], [(10, 10), (10, 0), (10, 7)], 3),
]


@pytest.mark.parametrize(("starts", "ends", "count"), CASES)
def test_crossings_by_hand(starts, ends, count):
    assert crossings(np.array(starts, dtype=float), np.array(ends, dtype=float)) == count


@pytest.mark.parametrize(("past", "crosses"), [(TOUCH_PX - 0.01, False), (TOUCH_PX + 0.01, True)])
def test_an_end_that_is_a_hair_past_a_line_only_touches_it(past, crosses):
    starts, ends = np.array([[0.0, 0.0], [5.0, -9.0]]), np.array([[10.0, 0.0], [5.0, past]])
    assert crossings(starts, ends) == int(crosses)


def lines_of(starts, ends):
    return shapely.linestrings(np.stack([starts, ends], axis=1))


def test_crossings_are_those_of_shapely():
    rng = np.random.default_rng(1)
    for _ in range(60):
        starts, ends = rng.uniform(0, 100, (2, 9, 2))
        expected = [shapely.crosses(a, b) for a, b in itertools.combinations(lines_of(starts, ends), 2)]
        assert crossings(starts, ends, touch_px=0) == sum(map(bool, expected))
        assert 0 < sum(expected) < len(expected)


def test_ends_that_touch_are_those_that_shapely_finds_near():
    rng = np.random.default_rng(2)
    touching = 0
    for _ in range(40):
        starts, ends = rng.uniform(0, 100, (2, 9, 2))
        expected = 0
        for i, j in itertools.combinations(range(9), 2):
            one, two = lines_of(starts[[i, j]], ends[[i, j]])
            long = [
                lines_of((s - 50 * (e - s))[None], (e + 50 * (e - s))[None])[0]
                for s, e in zip(starts, ends, strict=True)
            ]
            tips = ((k, point) for k, m in ((i, j), (j, i)) for point in (starts[m], ends[m]))
            near = any(shapely.distance(long[k], shapely.Point(point)) <= 5.0 for k, point in tips)
            touching += bool(shapely.crosses(one, two)) and near
            expected += bool(shapely.crosses(one, two)) and not near
        assert crossings(starts, ends, touch_px=5.0) == expected
    assert touching > 20


@given(st.lists(st.tuples(*[st.integers(0, 12)] * 4), min_size=2, max_size=8))
def test_on_a_grid_crossings_are_those_of_shapely_whatever_is_degenerate(ways):
    # Whole numbers: many ways share ends, lie along each other or end on each other; products are exact.
    starts, ends = np.array(ways, dtype=float)[:, :2], np.array(ways, dtype=float)[:, 2:]
    table = crossed(starts, ends, touch_px=0)
    assert (table == table.T).all()
    for (i, one), (j, two) in itertools.combinations(enumerate(lines_of(starts, ends)), 2):
        through = bool(shapely.crosses(one, two)) and not (
            one.touches(two) or two.length == 0 or one.length == 0 or one.intersection(two).length > 0
        )
        # Shapely lets lines cross that meet where one ends inside the other only if the interiors meet.
        assert table[i, j] == through


def test_ways_are_compared_all_with_all():
    a, b = np.zeros((4, 1, 2)), np.full((4, 1, 2), 10.0)
    c, d = np.array([[[0.0, 10.0], [20.0, 0.0]]]), np.array([[[10.0, 0.0], [30.0, 0.0]]])
    assert cross(a, b, c, d).tolist() == [[True, False]] * 4


def test_parts_one_behind_another_do_not_cross():
    # Twelve lids above a base leave along one axis: their middles stay on one line in space, so on the screen.
    lids = [box(f"lid_{k}", -25, -15, 25, 15, 10 + k, 11 + k) for k in range(12)]
    joints = [insert(lid.id, "base", (0, 0, 1)) for lid in lids]
    made = stage(
        make(box("base", -30, -20, 30, 20, 0, 10), *lids, joints=joints), film(shot(*there_and_back(200), view=TURNED))
    )
    middles = np.stack([made.subject.points[part].mean(axis=0) for part in made.order])
    assert np.abs(middles[:, :2]).max() < 1e-9
    assert made.layout.crossings == 0
