"""Barred and free arcs against hand calculation, against rays through the obstacles, and against their own graph."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from random_assemblies import cell_assembly, dressed_tray, random_cells

from choreo.geometry.collision.encounter import make_encounters
from choreo.geometry.removal.blocking import find_blocking, smallest_closed
from choreo.geometry.removal.directions import TURN, free_arcs, is_barred, join_arcs
from choreo.geometry.solids.solid import Band, Solid, build_solid

QUICK = settings(max_examples=60, deadline=None, derandomize=True)


def blocking(sections, touch_mm=1e-6):
    """Of sections that are all equally deep; `touch_mm` as good as none, so that angles are those on paper."""
    solids = {name: Solid((Band(0.0, 10.0, section),)) for name, section in sections.items()}
    encounters = make_encounters(solids, touch_mm, {})
    return encounters, find_blocking(encounters, tuple(sections))


def all_but(found, part):
    others = np.ones(len(found.parts), dtype=bool)
    others[found.parts.index(part)] = False
    return ~others, others


def free_of(found, part):
    return np.degrees(found.free(*all_but(found, part)))


def test_a_square_bars_another_in_the_arc_of_the_doubled_square():
    # The difference of two squares of side 2, 4 apart, is the square of side 4 around (4, 0): it is seen from the
    # origin between the corners (2, 2) and (2, -2), at 45 degrees either way. By hand.
    _, found = blocking({"a": shapely.box(-1, -1, 1, 1), "b": shapely.box(3, -1, 5, 1)})
    arcs = {tuple(who): np.degrees(arc) for who, arc in zip(found.who.tolist(), found.arcs, strict=True)}
    assert list(arcs) == [(0, 1), (1, 0)]
    assert arcs[0, 1] == pytest.approx([315, 405], abs=1e-4)
    assert arcs[1, 0] == pytest.approx([135, 225], abs=1e-4)
    assert free_of(found, "a").tolist() == [pytest.approx([45, 315], abs=1e-4)]


def test_what_lies_in_anothers_hole_is_barred_all_round_and_in_a_bay_but_for_its_mouth():
    # The bay is 4 wide and 6 deep, the pin 2 x 2 at its bottom: its lower corners pass those of the mouth, 1 to the
    # side and 6 ahead, so it leaves within atan(1 / 6) = 9.46 degrees of straight out. By hand.
    pin = shapely.box(-1, 0, 1, 2)
    ring = shapely.box(-5, -5, 5, 9).difference(shapely.box(-2, 0, 2, 6))
    bay = shapely.box(-5, -5, 5, 6).difference(shapely.box(-2, 0, 2, 6))
    assert len(free_of(blocking({"pin": pin, "ring": ring})[1], "pin")) == 0
    (arc,) = free_of(blocking({"pin": pin, "bay": bay})[1], "pin")
    lean = np.degrees(np.arctan2(1, 6))
    assert arc == pytest.approx([90 - lean, 90 + lean], abs=1e-4)


def test_shapes_at_other_depths_bar_nothing_in_the_plane_but_along_z():
    low, high = Solid((Band(0.0, 10.0, shapely.box(0, 0, 5, 5)),)), Solid((Band(10.0, 20.0, shapely.box(1, 1, 9, 9)),))
    found = find_blocking(make_encounters({"low": low, "high": high}, 0.05, {}), ("low", "high"))
    assert len(found.arcs) == 0
    assert found.above.tolist() == [[False, True], [False, False]]


# What is free or barred, told by a ray through the obstacles instead.


def near_an_end(found, angle):
    ends = np.mod(found.arcs - angle + np.pi, TURN) - np.pi
    return len(ends) and np.abs(ends).min() < 1e-7


def check_by_rays(whole, angles):
    encounters = make_encounters({p.id: build_solid(p.slabs, p.offset) for p in whole.parts}, whole.touch_mm, {})
    found = find_blocking(encounters, whole.ids)
    ways = [np.array([np.cos(a), np.sin(a), 0.0]) for a in angles if not near_an_end(found, a)]
    for way in [*ways, np.array([0, 0, 1.0]), np.array([0, 0, -1.0])]:
        graph = found.along(tuple(way.tolist()))
        for (i, a), (j, b) in itertools.permutations(enumerate(whole.ids), 2):
            assert graph[i, j] == encounters.blocks_way(a, way, b), (a, b, way)


ANGLES = st.lists(st.floats(0, TURN, exclude_max=True), min_size=4, max_size=12)


@QUICK
@given(st.integers(0, 10**6), ANGLES)
def test_every_direction_is_told_the_same_by_arcs_and_by_rays(seed, angles):
    check_by_rays(cell_assembly(random_cells(seed)), [0.0, np.pi / 2, np.pi, *angles])


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), ANGLES)
def test_curved_parts_too(seed, angles):
    check_by_rays(dressed_tray(seed), angles)


@QUICK
@given(st.lists(st.tuples(st.floats(0, 6.28), st.floats(0.01, 5.0)), max_size=6), ANGLES)
def test_free_arcs_are_what_no_arc_holds(spans, angles):
    arcs = np.array([(start, start + width) for start, width in spans]).reshape(-1, 2)
    free, joined = free_arcs(arcs), join_arcs(arcs)
    for angle in angles:
        gaps = np.abs(np.mod(arcs - angle + np.pi, TURN) - np.pi)
        assume(not len(arcs) or gaps.min() > 1e-7)
        barred = bool(is_barred(arcs, angle).any())
        assert bool(is_barred(joined, angle).any()) == barred
        assert any((angle - start) % TURN <= end - start for start, end in free) != barred


def test_arcs_that_share_an_end_leave_it_free():
    free = free_arcs(np.radians([[10, 100], [100, 370]]))
    assert np.degrees(free).tolist() == [pytest.approx([10, 10]), pytest.approx([100, 100])]
    assert len(free_arcs(np.radians([[10, 100], [99, 371]]))) == 0


# The blocking graph.


@QUICK
@given(st.integers(0, 10**6))
def test_every_cell_has_the_graph_of_its_directions_and_bars_no_less_than_some_opening(seed):
    whole = cell_assembly(random_cells(seed))
    encounters = make_encounters({p.id: build_solid(p.slabs, p.offset) for p in whole.parts}, whole.touch_mm, {})
    found = find_blocking(encounters, whole.ids)
    everyone = np.ones(len(whole.ids), dtype=bool)
    openings = [np.array([[row >> j & 1 for j in range(len(rows))] for row in rows]) for _, rows in
                found.openings(everyone)]  # fmt: skip
    cells = list(found.cells(everyone))
    assert sum(cell.end - cell.start for cell in cells) == pytest.approx(TURN)
    for cell in cells:
        middle = (cell.start + cell.end) / 2
        assert np.array_equal(cell.graph, found.along((np.cos(middle), np.sin(middle), 0.0)))
        assert any(np.all(opening <= cell.graph) for opening in openings)
    for opening in openings:
        assert any(np.array_equal(opening, cell.graph) for cell in cells)


@QUICK
@given(st.lists(st.sampled_from([0, 1, 2, 4, 8, 16, 32, 3, 20, 40]), min_size=6, max_size=6), st.integers(0, 6))
def test_the_smallest_group_without_an_arrow_out_is_that_of_trying_all(rows, body):
    barred = 1 << body & 63
    groups = [g for g in range(1, 63) if not g & barred and all(not rows[i] & ~g for i in range(6) if g >> i & 1)]
    found = smallest_closed(rows, range(6), barred, 5)
    assert (found in groups) if groups else found == 0
    assert not groups or found.bit_count() == min(g.bit_count() for g in groups)
