"""Convex pieces against shapely: they tile, they are convex, and there are not many."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from polygon_cases import LETTER_C, LETTER_L, SECTIONS, random_section, regular

from choreo.geometry.plane.convex import convex_pieces, convex_sum, is_convex_ring, outward_normals

QUICK = settings(max_examples=60, deadline=None)


def check_pieces(section):
    """Check against shapely's areas, unions and hulls."""
    pieces = convex_pieces(section)
    polygons = [shapely.Polygon(piece) for piece in pieces]
    areas = shapely.area(polygons)
    size = max(section.area, 1e-12)
    # Equal sums, and nothing outside: they tile.
    assert areas.sum() == pytest.approx(section.area, rel=1e-9)
    assert max((shapely.difference(p, section).area for p in polygons), default=0.0) < 1e-9 * size
    assert np.all(np.abs(shapely.area(shapely.convex_hull(polygons)) - areas) <= 1e-9 * areas + 1e-12 * size)
    assert np.all(shapely.is_ccw(shapely.get_exterior_ring(polygons)))
    # Hertel and Mehlhorn 1983: each reflex corner keeps two diagonals at most, so 2 r + 1 - h pieces a polygon.
    assert len(pieces) <= sum(2 * reflex(p) + 1 - len(p.interiors) for p in shapely.get_parts(section))
    return pieces


def reflex(polygon):
    """Corners at which the section bulges in, straight ones (by rounding) included."""
    oriented = shapely.orient_polygons(polygon)
    count = 0
    for ring in (oriented.exterior, *oriented.interiors):
        xy = shapely.get_coordinates(ring)[:-1]
        a, b = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
        turn = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        count += int((turn < 1e-9 * np.hypot(*a.T) * np.hypot(*b.T)).sum())
    return count


@pytest.mark.parametrize("name", SECTIONS)
def test_pieces_tile_named_sections(name):
    section = SECTIONS[name]
    assert section.is_valid
    check_pieces(section)


@QUICK
@given(st.integers(0, 10**6))
def test_pieces_tile_random_sections(seed):
    check_pieces(random_section(seed))


@QUICK
@given(st.sets(st.tuples(st.integers(0, 5), st.integers(0, 5)), min_size=1, max_size=24), st.booleans())
def test_pieces_tile_unions_of_squares(cells, simplify):
    """Everything is straight, collinear, or touches at a corner."""
    section = shapely.union_all([shapely.box(x, y, x + 1, y + 1) for x, y in cells])
    section = shapely.simplify(section, 0) if simplify else section
    assert section.area == len(cells)
    check_pieces(section)


@QUICK
@given(st.integers(0, 10**6), st.floats(1e-9, 1e9), st.floats(0, 7))
def test_pieces_do_not_depend_on_size_or_turn(seed, scale, turn):
    """A micrometre or a kilometre: no hidden absolute tolerance."""
    c, s = np.cos(turn), np.sin(turn)
    section = shapely.transform(random_section(seed), lambda xy: scale * (xy @ np.array([[c, s], [-s, c]])))
    if section.is_valid:
        check_pieces(section)


# Pieces counted by hand: the least that will do.
@pytest.mark.parametrize(
    ("section", "least"),
    [
        (shapely.Polygon(LETTER_L), 2),
        (shapely.Polygon(LETTER_C), 3),
        (shapely.box(0, 0, 9, 2), 1),
        (shapely.Polygon(regular(24, 10)), 1),
        (shapely.box(0, 0, 6, 6).difference(shapely.box(2, 2, 4, 4)), 4),
    ],
)
def test_simple_shapes_need_no_more_than_the_least(section, least):
    assert len(convex_pieces(section)) == least


def test_nothing_gives_no_pieces():
    assert convex_pieces(shapely.Polygon()) == []
    assert convex_pieces(shapely.MultiPolygon()) == []
    assert convex_pieces(shapely.Polygon([(0, 0), (1, 1), (2, 2)])) == []


@pytest.mark.parametrize("width", [1e-3, 1e-6, 1e-9, 1e-12])
def test_slivers_keep_their_area(width):
    """Thin walls: a bar, a thin L, and a plate whose hole leaves a thin bridge."""
    check_pieces(shapely.box(0, 0, 10, width))
    check_pieces(shapely.Polygon([(0, 0), (10, 0), (10, width), (width, width), (width, 10), (0, 10)]))
    bridge = shapely.box(0, 0, 10, 10).difference(shapely.box(width, 2, 8, 8))
    check_pieces(bridge)


def test_needle_and_nearly_straight_corners():
    check_pieces(shapely.Polygon([(0, 0), (10, 1e-9), (20, 0), (20, 1), (10, 1 - 1e-9), (0, 1)]))
    check_pieces(shapely.Polygon([(0, 0), (1000, 0.001), (0, 0.002), (1, 0.001)]))


def test_same_section_gives_the_same_pieces():
    first, second = (convex_pieces(SECTIONS["gear"]) for _ in range(2))
    assert [piece.tobytes() for piece in first] == [piece.tobytes() for piece in second]


def test_convex_rings_are_told_from_others():
    assert is_convex_ring(regular(7, 3.0))
    assert is_convex_ring(regular(7, 3.0)[::-1])
    assert is_convex_ring(np.array([(0, 0), (1, 0), (2, 0), (2, 2), (0, 2)], dtype=float))
    assert not is_convex_ring(LETTER_L)
    # A five-pointed star drawn in one stroke turns left at every corner, but twice around.
    assert not is_convex_ring(regular(5, 3.0)[[0, 2, 4, 1, 3]])


@QUICK
@given(st.integers(0, 10**6))
def test_normals_point_out_and_reach_the_farthest_corner(seed):
    for piece in convex_pieces(random_section(seed)):
        normals, reach = outward_normals(piece)
        assert np.allclose(np.hypot(*normals.T), 1.0, atol=1e-15)
        polygon = shapely.Polygon(piece)
        ends = np.array([(a, b) for a, b in zip(piece, np.roll(piece, -1, axis=0), strict=True) if np.any(a != b)])
        steps = polygon.length * 1e-3 * normals
        outside = shapely.points(ends.mean(axis=1) + steps)
        assert not shapely.intersects(polygon, outside).any()
        assert np.allclose(np.einsum("kd,kd->k", normals, ends[:, 0]), reach, atol=1e-9)


R2 = 2**0.5


# Areas and perimeters by hand: perimeters add; (a + c)(b + d); a triangle and its reflection, six times its area
# (de Berg et al., Computational Geometry, ch. 13, cited from memory).
@pytest.mark.parametrize(
    ("one", "other", "area", "perimeter"),
    [
        ([(0, 0), (4, 0), (4, 2), (0, 2)], [(0, 0), (1, 0), (1, 3), (0, 3)], 25.0, 20.0),
        ([(0, 0), (4, 0), (0, 3)], [(0, 0), (-4, 0), (0, -3)], 36.0, 24.0),
        ([(-1, -1), (1, -1), (1, 1), (-1, 1)], [(R2, 0), (0, R2), (-R2, 0), (0, -R2)], 8 + 8 * R2, 16.0),
    ],
)
def test_sums_of_convex_rings_known_by_hand(one, other, area, perimeter):
    for a, b in ((one, other), (one[::-1], other), (other, one)):
        total = shapely.Polygon(convex_sum(np.array(a, dtype=float), np.array(b, dtype=float)))
        assert total.is_valid
        assert (total.area, total.length) == pytest.approx((area, perimeter), abs=1e-9)


@QUICK
@given(st.integers(0, 10**6))
def test_sums_are_the_hulls_of_all_sums_of_corners(seed):
    rng = np.random.default_rng(seed)
    a, b = (shapely.get_coordinates(shapely.MultiPoint(rng.normal(size=(9, 2))).convex_hull)[:-1] for _ in range(2))
    hull = shapely.MultiPoint((a[:, None] + b[None]).reshape(-1, 2)).convex_hull
    total = shapely.Polygon(convex_sum(a, b))
    assert shapely.symmetric_difference(shapely.make_valid(total), hull).area < 1e-9
