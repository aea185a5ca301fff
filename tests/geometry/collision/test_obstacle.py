"""Prisms of forbidden displacement against Minkowski sums known in closed form and against shapely."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from polygon_cases import SECTIONS, random_section, regular

from choreo.geometry.collision.obstacle import (
    Cuts,
    _clip_few,
    _clip_many,
    cut_below,
    cut_out,
    cuts_between,
    depth_only,
    obstacle,
    overlaps_along,
    pieces_of,
)

QUICK = settings(max_examples=50, deadline=None)
EVERYWHERE = (np.full(2, -np.inf), np.full(2, np.inf))


def prisms(a, b, depths=(-1.0, 1.0), grow=0.0, box=EVERYWHERE):
    return obstacle(pieces_of(a), pieces_of(b), depths, *box, grow)


def inside(ob, at):
    """Whether (n, 3) displacements lie in some prism, and how far from the nearest face of any."""
    slack = ob.offsets[None] - np.einsum("kmd,nd->nkm", ob.normals, at)
    real = np.any(ob.normals != 0, axis=2)
    assert np.all(ob.offsets[~real] == 1.0)
    deep = np.where(real, slack, np.inf).min(axis=2)
    return (deep > 0).any(axis=1), np.abs(deep).min(axis=1)


def in_the_plane(ob, row=0, far=100.0):
    """The plan of one prism as a polygon: a large square cut by each half-plane in turn (shapely)."""
    plan = shapely.box(-far, -far, far, far)
    for (x, y, _), offset in zip(ob.normals[row], ob.offsets[row], strict=True):
        if x or y:
            n, along = np.array([x, y]), np.array([-y, x])
            near = n * offset
            corners = [near + along * 9 * far, near - along * 9 * far]
            corners += [corners[1] - n * 9 * far, corners[0] - n * 9 * far]
            plan = shapely.intersection(plan, shapely.Polygon(corners))
    return plan


R2 = 2**0.5
# Minkowski sums of convex polygons: perimeters add; rectangles (a + c)(b + d); a triangle and its reflection
# six times its area (de Berg et al., Computational Geometry, ch. 13, cited from memory; areas by hand).
SUMS = {
    "rectangles 4 x 2 and 1 x 3": ([(0, 0), (4, 0), (4, 2), (0, 2)], [(0, 0), (1, 0), (1, 3), (0, 3)], 25.0, 20.0),
    "3-4-5 triangle and its reflection": ([(0, 0), (4, 0), (0, 3)], [(0, 0), (-4, 0), (0, -3)], 36.0, 24.0),
    "square of 2 and the same turned by 45 degrees": (
        [(-1, -1), (1, -1), (1, 1), (-1, 1)],
        [(R2, 0), (0, R2), (-R2, 0), (0, -R2)],
        8.0 + 8.0 * R2,  # both areas and the mixed term: 4 + 4 + perimeter 8 times half diagonal R2
        16.0,
    ),
}


@pytest.mark.parametrize("name", SUMS)
def test_two_convex_sections_give_their_minkowski_difference(name):
    one, two, area, perimeter = SUMS[name]
    mirrored = shapely.Polygon(-np.array(two, dtype=float))  # A less -B is A and B added
    ob = prisms(shapely.Polygon(one), mirrored)
    assert ob.offsets.shape[0] == 1
    plan = in_the_plane(ob)
    assert plan.area == pytest.approx(area, abs=1e-9)
    assert plan.length == pytest.approx(perimeter, abs=1e-9)


def test_clearance_moves_each_face_out():
    """Square of 2 against square of 2: the difference is 4 x 4 over 2 mm of depth; with 0.5 it is 5 x 5 over 3."""
    square = shapely.box(0, 0, 2, 2)
    for grow, side, top in ((0.0, 4.0, 1.0), (0.5, 5.0, 1.5)):
        ob = prisms(square, square, grow=grow)
        assert in_the_plane(ob).area == pytest.approx(side * side)
        found, _ = inside(ob, np.array([[0, 0, top - 1e-6], [0, 0, top + 1e-6], [0, 0, -top + 1e-6]]))
        assert found.tolist() == [True, False, True]


@pytest.mark.parametrize("name", [name for name in SECTIONS if name != "square with a spiral hole"])
def test_prisms_cover_exactly_the_overlaps_of_named_sections(name):
    check_overlaps(SECTIONS[name], random_section(7), seed=1)


@QUICK
@given(st.integers(0, 10**6), st.integers(0, 10**6))
def test_prisms_cover_exactly_the_overlaps(one, two):
    check_overlaps(random_section(one), random_section(two), seed=one)


def check_overlaps(a, b, seed):
    """Shapely's area of overlap is above 0 exactly inside some prism, for random displacements."""
    rng = np.random.default_rng(seed)
    by = np.column_stack([rng.uniform(-22, 22, (60, 2)), rng.uniform(-1.5, 1.5, 60)])
    found, margin = inside(prisms(a, b), by)
    shifted = [shapely.transform(b, lambda xy, d=d: xy + d) for d in by[:, :2]]
    overlap = (shapely.area(shapely.intersection(a, shifted)) > 1e-12) & (np.abs(by[:, 2]) < 1)
    sure = margin > 1e-6
    assert sure.sum() > 50
    assert (found == overlap)[sure].all()
    assert 0 < (found & sure).sum() < sure.sum() or a.area < 50


@QUICK
@given(st.integers(0, 10**6))
def test_asking_about_a_box_leaves_out_nothing_in_it(seed):
    rng = np.random.default_rng(seed)
    a, b = random_section(seed), random_section(seed + 1)
    low = rng.uniform(-15, 10, 2)
    box = (low, low + rng.uniform(0, 8, 2))
    by = np.column_stack([rng.uniform(*box, (80, 2)), np.zeros(80)])
    everywhere, here = prisms(a, b, grow=0.3), prisms(a, b, grow=0.3, box=box)
    assert len(here.offsets) <= len(everywhere.offsets)
    near = np.array([shapely.distance(a, shapely.transform(b, lambda xy, d=d: xy + d)) for d in by[:, :2]]) < 0.3
    assert inside(here, by)[0][near].all() if len(here.offsets) else not near.any()


def test_depth_alone_decides_where_sections_overlap_anyway():
    ob = depth_only((-2.0, 3.0), 0.25)
    found, _ = inside(ob, np.array([[9, 9, -2.24], [9, 9, -2.26], [0, 0, 3.24], [0, 0, 3.26]]))
    assert found.tolist() == [True, False, True, False]


def test_a_ray_through_a_washer_meets_it_twice():
    """A peg of radius 1 (a square of 2) along x through a square ring from 4 to 6: 3 < |x| < 7 at y = 0, by hand."""
    ring = shapely.box(-6, -6, 6, 6).difference(shapely.box(-4, -4, 4, 4))
    spans = overlaps_along(prisms(ring, shapely.box(-1, -1, 1, 1)), np.zeros(3), np.array([2.0, 0, 0]))
    assert sorted({tuple(np.round(span, 9)) for span in spans}) == [(-3.5, -1.5), (1.5, 3.5)]


@QUICK
@given(st.integers(0, 10**6), st.booleans())
def test_intervals_on_a_line_agree_with_shapely(seed, flat):
    rng = np.random.default_rng(seed)
    a, b = random_section(seed), random_section(seed + 5)
    start = np.array([*rng.uniform(-12, 12, 2), rng.uniform(-0.8, 0.8)])
    direction = np.array([*rng.normal(size=2), 0.0 if flat else rng.normal() * 0.05]) * rng.uniform(0.2, 5)
    ob = prisms(a, b)
    spans = overlaps_along(ob, start, direction)
    t = rng.uniform(-15, 15, 80)
    at = start + t[:, None] * direction
    found = ((t[:, None] > spans[:, 0]) & (t[:, None] < spans[:, 1])).any(axis=1)
    shifted = [shapely.transform(b, lambda xy, d=d: xy + d) for d in at[:, :2]]
    overlap = (shapely.area(shapely.intersection(a, shifted)) > 1e-12) & (np.abs(at[:, 2]) < 1)
    sure = inside(ob, at)[1] > 1e-6
    assert (found == overlap)[sure].all()


def test_sliding_along_a_face_is_no_overlap():
    """A unit square slides along the right side of another, exactly touching, in plan and along z."""
    unit = shapely.box(0, 0, 1, 1)
    ob = prisms(unit, unit)
    for start, direction in (((1, -5, 0), (0, 1, 0)), ((1, 0, -5), (0, 0, 1)), ((-5, 0, 1), (1, 0, 0))):
        assert len(overlaps_along(ob, np.array(start, dtype=float), np.array(direction, dtype=float))) == 0
    assert len(overlaps_along(ob, np.array([1 - 1e-6, -5, 0]), np.array([0.0, 1, 0]))) == 1


@QUICK
@given(st.integers(0, 10**6))
def test_regions_of_two_ways_agree_with_the_prisms(seed):
    """At (s, t) the displacement is start + t way_b - s way_a: inside a prism exactly if inside a polygon."""
    rng = np.random.default_rng(seed)
    a, b = random_section(seed), random_section(seed + 9)
    ob = prisms(a, b)
    ways = tuple(v / np.linalg.norm(v) for v in rng.normal(size=(2, 3)) * [1, 1, 0.1])
    start = np.array([*rng.uniform(-8, 8, 2), 0.0])
    spans = ((-4.0, 18.0), (0.0, 22.0))
    polygons = cut_out([cuts_between(ob, start, ways, spans)])
    s, t = rng.uniform(*spans[0], 80), rng.uniform(*spans[1], 80)
    found, margin = inside(ob, start + t[:, None] * ways[1] - s[:, None] * ways[0])
    region = shapely.union_all(shapely.make_valid(shapely.polygons(polygons))) if len(polygons) else shapely.Point()
    there = shapely.contains(region, shapely.points(s, t))
    assert (there == found)[margin > 1e-6].all()
    # The rectangle is walked and no more.
    assert not len(polygons) or (polygons.min(axis=(0, 1)) >= (-4 - 1e-9, -1e-9)).all()
    assert not len(polygons) or (polygons.max(axis=(0, 1)) <= (18 + 1e-9, 22 + 1e-9)).all()


@QUICK
@given(st.integers(0, 10**6), st.integers(1, 4))
def test_few_polygons_are_cut_as_many_are_to_the_last_bit(seed, count):
    rng = np.random.default_rng(seed)
    squares = np.repeat(np.array([[[0.0, 0], [4, 0], [4, 4], [0, 4]]]), count, axis=0)
    angle, far = rng.uniform(0, 2 * np.pi, (count, 9)), rng.uniform(-1, 3, (count, 9))
    planes = np.stack([np.cos(angle), np.sin(angle), 2 * np.cos(angle) + 2 * np.sin(angle) + far], axis=2)
    planes[rng.random((count, 9)) < 0.3] = (0.0, 0.0, 1.0)
    found, expected = _clip_few(squares.copy(), planes), _clip_many(squares.copy(), planes)
    assert found.tobytes() == expected.tobytes()
    assert found.shape == expected.shape


def test_cutting_agrees_with_shapely():
    square = np.array([[0, 0], [4, 0], [4, 4], [0, 4]], dtype=float)
    planes = np.array([[[1.0, 1, 5], [-1, 2, 4]], [[0, 0, 1], [1, 0, 1]], [[-1, 0, -9], [0, 0, 1]]])
    left = cut_out([Cuts(np.repeat(square[None], 3, axis=0), planes)])
    # By hand: 16 less the corner triangle 9/2 less what -s + 2 t <= 4 takes; a strip of 1 x 4; and nothing.
    whole = shapely.Polygon([(0, 0), (4, 0), (4, 1), (2, 3), (0, 2)])
    assert len(left) == 2
    assert shapely.equals(shapely.make_valid(shapely.Polygon(left[0])), whole)
    assert shapely.Polygon(left[1]).area == pytest.approx(4.0)
    below = cut_below(left, 0.5)
    assert [round(shapely.Polygon(p).area, 9) for p in below] == [round(0.5 * 2 + 0.5 * 0.25 / 2, 9), 2.0]
    assert len(cut_below(left, -0.5)) == 0
    assert cut_out([]).shape == (0, 4, 2)


def test_padding_of_short_pieces_changes_nothing():
    """A triangle beside a disc of 24 corners: padded rows must not act as faces."""
    pair = shapely.MultiPolygon([shapely.Polygon([(0, 0), (1, 0), (0, 1)]), shapely.Polygon(regular(24, 2, (9, 0)))])
    check_overlaps(pair, shapely.Polygon(regular(5, 3)), seed=3)
