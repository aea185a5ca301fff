"""What the edges of a polygon sweep, as prisms cast it, against closed forms, hand work and a union of plain pieces."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from polygon_cases import SECTIONS, random_section, regular

from choreo.geometry.plane.prism import TIE, cross, rings_of, swept_area
from choreo.geometry.plane.unions import union_groups

# In steps of a micrometre: where copies all but coincide, the unions used as referee are themselves wrong at times.
steps = st.integers(-25_000, 25_000).map(lambda n: n / 1000)
vectors = st.tuples(steps, steps)


def sweep(polygons, vectors):
    """The union of each polygon over all displacements t * vector, 0 <= t <= 1: a prism that is seen aslant."""
    given = np.broadcast_to(np.asarray(polygons, dtype=np.object_), (len(vectors),))
    parts, row = shapely.get_parts(given, return_index=True)
    rings = rings_of(parts)
    along = vectors[row][rings.owner][rings.ring]
    facing = cross(along, rings.edges)
    sure = np.abs(facing) > TIE * np.hypot(*along.T) * np.hypot(*rings.edges.T)
    swept = swept_area(
        rings, rings.xy, rings.xy + along, np.where(sure, facing, 0.0), np.zeros(len(parts), dtype=np.bool_)
    )
    return union_groups(swept, row, len(vectors))


def one(polygon, vector):
    return sweep(polygon, np.array([vector]))[0]


def pieces(polygon, vector):
    """Union of both ends and of the parallelogram that each edge sweeps, by hulls: the definition, slowly."""
    moved = shapely.transform(polygon, lambda xy: xy + np.array(vector))
    rings = shapely.get_rings(shapely.get_parts(polygon))
    walls = [
        shapely.convex_hull(shapely.MultiPoint([*edge, *(edge + np.array(vector))]))
        for ring in rings
        for edge in np.stack([shapely.get_coordinates(ring)[:-1], shapely.get_coordinates(ring)[1:]], axis=1)
    ]
    return shapely.union_all([polygon, moved, *[w for w in walls if w.geom_type == "Polygon"]])


def difference(a, b) -> float:
    return shapely.symmetric_difference(a, b).area


@settings(deadline=None)
@given(st.integers(3, 30), st.floats(0, 7), vectors)
def test_convex_sweep_grows_by_length_times_width(sides, turn, vector):
    # Area of a convex body swept along v: A + |v| * (its width across v). The Minkowski sum with a segment:
    # Schneider, Convex Bodies (cited from memory).
    ring = regular(sides, 5, (2, -1), turn)
    length = np.hypot(*vector)
    across = ring @ np.array([-vector[1], vector[0]]) / length if length else np.zeros(1)
    expected = shapely.Polygon(ring).area + length * (across.max() - across.min())
    assert one(shapely.Polygon(ring), vector).area == pytest.approx(expected, rel=1e-12)


def test_rectangles_add_side_by_side():
    # Minkowski sum of rectangles 4 x 2 and 1 x 3: (4 + 1) * (2 + 3) = 25, perimeter 20 (de Berg et al.,
    # Computational Geometry, ch. 13, cited from memory). A rectangle is a sweep of a sweep.
    swept = one(one(shapely.box(0, 0, 4, 2), (1, 0)), (0, 3))
    assert (swept.area, swept.length) == pytest.approx((25, 20))


def test_square_and_turned_square_make_an_octagon():
    # Same source: squares of side 2, one turned by 45 degrees: area 19.31370849898476, perimeter 16.
    r = 2**0.5
    swept = one(one(shapely.box(-1, -1, 1, 1), (r, r)), (r, -r))
    assert (swept.area, swept.length) == pytest.approx((19.31370849898476, 16.0))


STEINER = {
    # Steiner's formula, area A + P r + pi r^2 of a convex polygon widened by a disc (Schneider, Convex Bodies,
    # cited from memory); for the L the exact area is A + P r + 5/4 pi r^2 - r^2, by hand.
    "unit square": ([(0, 0), (1, 0), (1, 1), (0, 1)], 1.0, 8.141592653589793),
    "3-4-5 triangle": ([(0, 0), (3, 0), (0, 4)], 2.0, 42.56637061435917),
    "rectangle": ([(0, 0), (30, 0), (30, 20), (0, 20)], 5.0, 1178.539816339745),
    "letter L": ([(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)], 0.25, 5.182936926061703),
}


@pytest.mark.parametrize("name", STEINER)
def test_sweeps_in_many_directions_widen_like_a_disc(name):
    outline, r, expected = STEINER[name]
    # n segments of length s, evenly turned, add up to a 2n-gon of perimeter 2 n s; of the disc's area at
    # s = 2 r sin(pi / 2n) up to a share of 1 / n^2.
    n = 120
    area = shapely.Polygon(outline)
    for k in range(n):
        a = np.pi * k / n
        area = one(area, 2 * r * np.sin(np.pi / (2 * n)) * np.array([np.cos(a), np.sin(a)]))
    assert area.area == pytest.approx(expected, rel=3e-4)


@pytest.mark.parametrize(
    ("vector", "open_area"),
    [((4, 0), 6 * 10), ((4, 3), 6 * 7), ((-4, -3), 6 * 7), ((10, 0), 0), ((12, 1), 0), ((0, 0), 100)],
)
def test_square_hole_keeps_what_both_ends_leave_open(vector, open_area):
    # By hand: a 10 x 10 hole and its displaced copy share (10 - |x|) * (10 - |y|).
    plate = shapely.Polygon([(-20, -20), (20, -20), (20, 20), (-20, 20)], [[(-5, -5), (5, -5), (5, 5), (-5, 5)]])
    swept = one(plate, vector)
    assert shapely.Polygon(swept.exterior).area - swept.area == pytest.approx(open_area)


def test_bent_hole_keeps_only_what_no_wall_crosses():
    # By hand: a U-shaped hole, both arms 2 wide and 6 high, its floor 2 high, the tongue between 2 wide. Moved 4
    # to the right, arm meets arm, but the tongue passes between them. What stays open is the floor: (6 - 4) * 2.
    hole = [(0, 0), (6, 0), (6, 6), (4, 6), (4, 2), (2, 2), (2, 6), (0, 6)]
    swept = one(shapely.Polygon([(-9, -9), (15, -9), (15, 15), (-9, 15)], [hole]), (4, 0))
    assert [shapely.Polygon(r).area for r in swept.interiors] == pytest.approx([4])


@pytest.mark.parametrize("name", SECTIONS)
@pytest.mark.parametrize("vector", [(3, 0), (0, -4), (7.3, 2.9), (-25, 11), (1e-9, 1e-9), (0, 0)])
def test_every_shape_agrees_with_the_union_of_its_pieces(name, vector):
    swept = one(SECTIONS[name], vector)
    assert swept.is_valid
    assert difference(swept, pieces(SECTIONS[name], vector)) < 1e-9


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 10**6), vectors)
def test_random_shapes_agree_with_the_union_of_their_pieces(seed, vector):
    polygon = random_section(seed)
    swept = one(polygon, vector)
    assert swept.is_valid
    assert swept.geom_type in {"Polygon", "MultiPolygon"}
    assert difference(swept, pieces(polygon, vector)) < 1e-9


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), vectors)
def test_sampled_positions_lie_inside_and_fill_the_sweep(seed, vector):
    polygon = random_section(seed)
    swept = one(polygon, vector)
    count = 400
    union = shapely.union_all(
        [shapely.transform(polygon, lambda xy, t=t: xy + t * np.array(vector)) for t in np.linspace(0, 1, count)]
    )
    assert union.difference(swept).area < 1e-9
    # Between two samples a wall leaves out at most half its length times the step (both sides of a notch).
    assert swept.difference(union).area <= polygon.length * np.hypot(*vector) / (count - 1) + 1e-9


@pytest.mark.parametrize("turn", [0.0, 0.7, 2.9, 6.1])
@pytest.mark.parametrize("vector", [(5, 0), (-5, 0), (0, 5), (0, -5)])
def test_triangle_hole_that_weighs_as_much_as_the_ground_it_crosses(turn, vector):
    # By hand: a right triangle with legs of 10 moved by 5 along one of them: the ground crossed (10 * 5) weighs
    # as much as the hole (50). What both copies leave open is the triangle with legs of 5: 12.5. A dent makes
    # the outline bent.
    turned = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    hole = np.array([(0, 0), (10, 0), (0, 10)]) @ turned
    plate = shapely.Polygon(np.array([(-19, -19), (39, -19), (39, 39), (5, 38), (-19, 39)]) @ turned, [hole])
    areas = [shapely.Polygon(r).area for r in one(plate, np.array(vector) @ turned).interiors]
    assert max(areas) == pytest.approx(12.5, rel=1e-8)
    assert sum(areas) == pytest.approx(12.5, rel=1e-8)


@pytest.mark.parametrize("vector", [(1e-16, 1e-16), (7e-17, -1e-16), (3e-16, 0), (1e-14, 1e-15), (0, 1e-12)])
def test_displacement_by_rounding_errors_leaves_the_polygon_as_it_is(vector):
    for seed in (16, 2133, 2136):
        swept = one(random_section(seed), vector)
        assert swept.is_valid
        assert swept.area == pytest.approx(random_section(seed).area, rel=1e-9)


def test_many_polygons_at_once_equal_one_by_one():
    polygons = np.array([*SECTIONS.values(), shapely.Polygon()], dtype=object)
    along = np.random.default_rng(5).uniform(-9, 9, (len(polygons), 2))
    together = sweep(polygons, along)
    assert [g.wkb for g in together] == [one(p, v).wkb for p, v in zip(polygons, along, strict=True)]
    assert together[-1].is_empty


def test_nothing_in_nothing_out():
    assert len(sweep(shapely.box(0, 0, 1, 1), np.zeros((0, 2)))) == 0
