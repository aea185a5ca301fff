"""Questions about collisions against mesh booleans and distances (manifold3d), shapely, and sums done by hand."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_referee import Pair, along, meshes, pairs
from polygon_cases import regular
from random_assemblies import dressed_tray, part, random_assembly

from choreo.geometry.collision.encounter import make_encounters
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Assembly, Joint, Slab

QUICK = settings(max_examples=12, deadline=None, derandomize=True)
STILL = np.zeros((1, 3))
SEEDS = st.integers(0, 10**6)


def box(x0, y0, z0, x1, y1, z1):
    return [Slab(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), (), (z0, z1))]


def two(a, b, touch=1e-9, press=None, clearance=None):
    solids = {"a": build_solid(a), "b": build_solid(b)}
    pressed = {("a", "b"): press} if press else {}
    return make_encounters(solids, touch, pressed, {("a", "b"): clearance} if clearance else {})


def encounters_of(assembly, clearance=None):
    solids = {p.id: build_solid(p.slabs, p.offset) for p in assembly.parts}
    pressed = {(j.into, j.part): j.press_mm for j in assembly.joints if j.press_mm}
    return make_encounters(solids, assembly.touch_mm, pressed, clearance)


def line(*points):
    return np.array(points, dtype=float)


def test_straight_up_beside_a_part_that_has_moved_aside():
    """Nothing moves in the plane: b, 20 mm to the right of where it was, is met by what stands under its new place."""
    e = two(box(20, 0, -20, 30, 10, -10), box(0, 0, 0, 10, 10, 10), touch=0.05)
    up = line((0, 0, 0), (0, 0, 30))
    assert not e.hits("a", up, "b")
    assert e.hits("a", up, "b", np.array([20.0, 0, 0]))
    beside = line((20, 0, 0), (20, 0, 30))
    assert len(e.diagram("a", "b", up, beside, ((0, 30), (0, 0)))) == 1
    assert len(e.diagram("a", "b", up, up, ((0, 30), (0, 0)))) == 0


# Depth of penetration: the least way that parts two overlapping convex shapes (separating axis theorem; van den
# Bergen, Collision Detection in Interactive 3D Environments, cited from memory; sums by hand).
DEPTHS = [
    ((0, 0, 1, 1), (0.75, 0.25, 1.75, 1.25), 0.25),
    ((0, 0, 1, 1), (0.2, 0.6, 1.2, 1.6), 0.4),
    ((0, 0, 4, 4), (2.5, 1.5, 3.5, 2.5), 1.5),
]


@pytest.mark.parametrize(("one", "other", "depth"), DEPTHS)
def test_depth_of_overlapping_squares(one, other, depth):
    (x0, y0, x1, y1), (a0, b0, a1, b1) = one, other
    e = two(box(x0, y0, 0, x1, y1, 20), box(a0, b0, 0, a1, b1, 20))
    assert e.overlap_depth("a", "b") == pytest.approx(depth, abs=1e-8)
    assert e.overlap_depth("b", "a") == pytest.approx(depth, abs=1e-8)
    lifted = two(box(x0, y0, 0, x1, y1, 20), box(a0, b0, 19.9, a1, b1, 40))
    assert lifted.overlap_depth("a", "b") == pytest.approx(0.1, abs=1e-8)


def test_depth_is_that_of_the_deepest_place():
    """A bar reaches 0.3 mm into one block and 0.7 mm into another."""
    blocks = [*box(0, 0, 0, 10, 20, 20), *box(20, 0, 0, 30, 20, 20)]
    assert two(blocks, box(9.7, 0, 0, 20.7, 20, 20)).overlap_depth("a", "b") == pytest.approx(0.7, abs=1e-8)


def test_depth_is_nothing_where_parts_are_apart():
    assert two(box(0, 0, 0, 1, 1, 1), box(1, 0, 0, 2, 1, 1)).overlap_depth("a", "b") == 0.0
    assert two(box(0, 0, 0, 1, 1, 1), box(5, 0, 0, 6, 1, 1)).overlap_depth("a", "b") == 0.0


def test_half_of_what_may_touch_is_taken_off_each_part():
    """Two boxes overlap by 0.04 or by 0.06 mm; 0.05 mm count as touching. In the plane, along z, and on the way."""
    for axis, overlap in itertools.product(range(3), (0.04, 0.06)):
        low, high = [0.0] * 3, [10.0] * 3
        low[axis], high[axis] = 10 - overlap, 20.0
        e = two(box(0, 0, 0, 10, 10, 10), box(*low, *high), touch=0.05)
        assert e.hits("a", np.zeros((2, 3)), "b") == (overlap > 0.05)
        assert bool(len(e.diagram("a", "b", STILL, STILL, ((0, 0), (0, 0))))) == (overlap > 0.05)
        assert e.overlap_depth("a", "b") == pytest.approx(max(overlap - 0.05, 0), abs=1e-9)


def test_press_fit_may_overlap_by_half_its_interference_in_the_radius():
    """A square peg 0.2 mm wider than its hole: 0.1 mm a side. Declared as 0.2 it goes, as 0.05 (0.025 a side) not."""
    plate = [Slab(box(-10, -10, 0, 10, 10, 5)[0].outline, (((-5, -5), (-5, 5), (5, 5), (5, -5)),), (0.0, 5.0))]
    peg = box(-5.1, -5.1, 0, 5.1, 5.1, 5)
    up = line((0, 0, 0), (0, 0, 9))
    for press, hit in ((0.2, False), (0.05, True), (None, True)):
        e = two(plate, peg, touch=0.05, press=press)
        assert e.hits("b", np.zeros((2, 3)), "a") == hit
        assert e.hits("b", up, "a") == hit
        assert e.hits("b", line((0, 0, 0), (0.3, 0, 0)), "a")
        assert e.blocks_way("b", np.array([0.0, 0, 1]), "a") == hit
    assert two(plate, peg, touch=0.05, press=0.05).overlap_depth("a", "b") == pytest.approx(0.1 - 0.05 - 0.025)


def test_press_fit_is_the_same_from_either_side():
    """A peg pressed into a blind pocket comes out along +z only; the pocket comes off it along -z only."""
    pocket = [*box(-10, -10, -2, 10, 10, 0), Slab(*_walls(), (0.0, 8.0))]
    e = two(box(-4.05, -4.05, 0, 4.05, 4.05, 12), pocket, touch=0.05, press=0.2)
    up = np.array([0.0, 0, 1])
    assert [e.blocks_way("a", d, "b") for d in (up, -up)] == [False, True]
    assert [e.blocks_way("b", d, "a") for d in (up, -up)] == [True, False]


def test_press_fit_holds_for_its_own_pair_only():
    solids = {
        "a": build_solid(box(0, 0, 0, 10, 10, 10)),
        "b": build_solid(box(9.9, 0, 0, 20, 10, 10)),
        "c": build_solid(box(-10, 0, 0, 0.1, 10, 10)),
    }
    e = make_encounters(solids, 0.05, {("a", "b"): 0.2})
    assert not e.hits("a", np.zeros((2, 3)), "b")
    assert not e.hits("b", np.zeros((2, 3)), "a")
    assert e.hits("a", np.zeros((2, 3)), "c")


@pytest.mark.parametrize("axis", range(3))
def test_rest_within_measures_full_size_gaps(axis):
    low, high = [0.0] * 3, [10.0] * 3
    low[axis], high[axis] = 10.6, 12.0
    e = two(box(0, 0, 0, 10, 10, 10), box(*low, *high), touch=0.05)
    assert not e.rest_within("a", "b", 0.59)
    assert e.rest_within("a", "b", 0.61)
    assert e.rest_within("b", "a", 0.61)


def test_clearance_is_kept_between_full_size_solids():
    """A block passes another at a distance of 0.6 mm: free for a clearance of 0.6, not for one of 0.61."""
    for axis, clearance in itertools.product(range(3), (0.6, 0.61)):
        offset, way = np.zeros(3), np.zeros(3)
        offset[axis], way[(axis + 1) % 3] = 10.6, 30.0
        path = np.stack([-way - offset, way - offset])
        e = two(box(0, 0, 0, 10, 10, 10), box(0, 0, 0, 10, 10, 10), touch=0.05, clearance=clearance)
        assert not e.hits("a", path, "b")
        assert e.hits("a", path, "b", kept=True) == (clearance > 0.6)
        assert bool(len(e.diagram("a", "b", path, STILL, ((0, 60), (0, 0)), kept=True))) == (clearance > 0.6)


def test_new_clearances_forget_what_hung_on_the_old_ones():
    e = two(box(0, 0, 0, 10, 10, 10), box(20, 0, 0, 30, 10, 10), touch=0.05, clearance=5.0)
    ask = (line((0, 0, 0), (0, 40, 0)), "b", (np.zeros(3), np.array([-1.0, 0, 0])), 60.0)
    wide = e.resting_spans("a", *ask)
    bare = e.with_clearance({}).resting_spans("a", *ask)
    # b, resting t to the left, is met by a going up from x 0..10 while it overlaps that column: 10 < t < 30.
    assert (min(s for s, _ in bare), max(s for _, s in bare)) == pytest.approx((10.05, 29.95))
    assert (min(s for s, _ in wide), max(s for _, s in wide)) == pytest.approx((5.0, 35.0), abs=1e-5)


def test_way_out_by_hand():
    """A peg 8 deep in a pocket comes clear after 8 along +z; sideways it has to go past the far wall."""
    pocket = [*box(-10, -10, -2, 10, 10, 0), Slab(*_walls(), (0.0, 8.0))]
    e = two(box(-4, -4, 0, 4, 4, 12), pocket, touch=0.05)
    ways = {(0, 0, 1): 8.0, (0, 0, -1): 14.0, (1, 0, 0): 14.0, (0, -1, 0): 14.0}
    for way, clear in ways.items():
        assert e.way_out("a", np.array(way, dtype=float), ["b"]) == pytest.approx([clear], abs=1e-9)
    apart = two(box(0, 0, 0, 1, 1, 1), box(0, 0, -9, 1, 1, -5))
    assert apart.way_out("a", np.array([0.0, 0, 1]), ["b"]) == [0.0]


def _walls():
    return ((-10, -10), (10, -10), (10, 10), (-10, 10)), (((-4, -4), (-4, 4), (4, 4), (4, -4)),)


@QUICK
@given(SEEDS)
def test_past_the_way_out_nothing_meets_any_more(seed):
    """Mesh distances from there on: never less than what the shrinking took off."""
    rng = np.random.default_rng(seed)
    assembly = random_assembly(seed)
    e, solids = encounters_of(assembly), meshes(assembly)
    direction = rng.normal(size=3)
    direction /= np.linalg.norm(direction)
    for a, b in list(itertools.permutations(assembly.ids, 2))[:6]:
        out = float(e.way_out(a, direction, [b])[0])
        for more in (0.0, 0.3, 7.0):
            gap = Pair(solids[a], solids[b]).gap(-(out + more) * direction, 20.0)
            assert gap >= min(assembly.touch_mm + more, 20.0) - 1e-6


@settings(QUICK, max_examples=8)
@given(SEEDS)
def test_blocked_ways_agree_with_meshes_along_the_way(seed):
    """Both ways: a mesh overlap somewhere along it, or none at 400 places."""
    assembly = random_assembly(seed)
    e, referees = encounters_of(assembly), pairs(assembly)
    directions = [*np.vstack([np.eye(3), -np.eye(3)]), *(np.array(j.axis) for j in assembly.joints)]
    t = np.concatenate([np.linspace(0, 6, 150), np.linspace(6, 130, 250)])
    for (a, b), direction in itertools.product(list(referees)[:8], directions):
        volume, _ = referees[a, b].most(-t[:, None] * direction, enough=1e-3)
        assert e.blocks_way(a, direction, b) == (volume > 1e-6), (a, b, direction, volume)


@QUICK
@given(SEEDS)
def test_hits_agree_with_meshes_along_a_polyline(seed):
    rng = np.random.default_rng(seed)
    assembly = random_assembly(seed)
    e, referees = encounters_of(assembly), pairs(assembly)
    for a, b in referees:
        path = np.concatenate([np.zeros((1, 3)), rng.normal(size=(2, 3)) * [25, 25, 15]])
        at = rng.normal(size=3) * 10
        places = along(path, np.linspace(0, 1, 500))
        volume, _ = referees[a, b].most(at - places, enough=1e-3)
        hit = e.hits(a, path, b, at)
        # Between two of the places a corner may be grazed: depth below a step of some 0.2 mm.
        assert hit or volume < 1e-6
        assert not hit or volume > 1e-9 or _grazes(referees[a, b], at - along(path, np.linspace(0, 1, 40001)))


def _grazes(pair, by):
    return pair.most(by, enough=1e-12)[0] > 0


@QUICK
@given(SEEDS)
def test_diagrams_agree_with_meshes(seed):
    """Random points of the (way, way) plane, ways beyond both ends included: overlap exactly inside the region."""
    rng = np.random.default_rng(seed)
    assembly = random_assembly(seed)
    e, referees = encounters_of(assembly), pairs(assembly)
    names = list(referees)
    for a, b in [names[k] for k in rng.choice(len(names), min(3, len(names)), replace=False)]:
        one, other = _route(rng), _route(rng)
        check_diagram(e, referees[a, b], (a, b), (one, other), rng)


def _route(rng):
    kind = rng.integers(4)
    if kind == 0:
        return STILL
    if kind == 1:
        return line((0, 0, 0), (0, 0, rng.uniform(5, 30)))
    way = np.cumsum(np.concatenate([np.zeros((1, 3)), rng.normal(size=(int(kind), 3)) * [14, 14, 8]]), axis=0)
    return way if rng.random() < 0.7 else np.insert(way, 1, way[1], axis=0)  # a leg of no length


def check_diagram(e, referee, names, routes, rng, points=50):
    lengths = [float(np.linalg.norm(np.diff(r, axis=0), axis=1).sum()) for r in routes]
    spans = tuple((-0.1 * length, 1.2 * length) for length in lengths)
    polygons = e.diagram(*names, *routes, spans)
    s, t = (rng.uniform(*span, points) for span in spans)
    ways = [along(r, at / length) if length else np.repeat(r, points, axis=0)
            for r, at, length in zip(routes, (s, t), lengths, strict=True)]  # fmt: skip
    for k in range(points):
        volume = referee.overlap(ways[1][k] - ways[0][k])
        # A part that stands still gives polygons without width: measure against their outlines.
        shapes = [shapely.MultiPoint(p).convex_hull for p in polygons]
        apart = shapely.distance(shapes, shapely.Point(s[k], t[k])).min() if shapes else np.inf
        if volume > 1e-4:
            assert apart < 1e-9, (names, s[k], t[k], volume)
        elif apart <= 0:
            assert volume > 0 or _near_edge(shapes, s[k], t[k]), (names, s[k], t[k])


def _near_edge(shapes, s, t):
    union = shapely.union_all(shapes)
    return union.area == 0 or shapely.distance(union.boundary, shapely.Point(s, t)) < 1e-3


def region(polygons):
    return shapely.union_all([shapely.MultiPoint(p).convex_hull for p in polygons])


@QUICK
@given(SEEDS)
def test_outside_a_diagram_with_clearance_the_distance_is_kept(seed):
    """Mesh distance of full-size solids: shrunk ones and what the shrinking took off. So too for hulls."""
    rng = np.random.default_rng(seed)
    assembly = random_assembly(seed)
    a, b = assembly.ids[:2]
    clearance = float(rng.uniform(0.2, 3))
    e = encounters_of(assembly, {(a, b): clearance})
    one, other = line((0, 0, 0), (0, 0, 25)), line((0, 0, 0), tuple(rng.normal(size=3) * 20))
    length = float(np.linalg.norm(other[1]))
    ask = (a, b, one, other, ((0.0, 25.0), (0.0, length)))
    bare, kept = region(e.diagram(*ask)), region(e.diagram(*ask, kept=True))
    bare_hulls, kept_hulls = region(e.diagram(*ask, hulls=True)), region(e.diagram(*ask, kept=True, hulls=True))
    for inner, outer in ((bare, kept), (bare, bare_hulls), (bare_hulls, kept_hulls)):
        assert shapely.difference(inner, outer).area < 1e-6
    pair = Pair(*(meshes(assembly)[name] for name in (a, b)))
    for s, t in zip(rng.uniform(0, 25, 40), rng.uniform(0, length, 40), strict=True):
        if not (shapely.intersects(kept, shapely.Point(s, t)) and shapely.intersects(kept_hulls, shapely.Point(s, t))):
            gap = pair.gap(along(other, [t / length])[0] - along(one, [s / 25])[0], 9.0) + assembly.touch_mm
            assert gap >= clearance - 1e-5


@QUICK
@given(SEEDS)
def test_resting_spans_agree_with_meshes(seed):
    """Resting outside every span, the other is never met on the mover's route (150 places); inside, it is."""
    rng = np.random.default_rng(seed)
    assembly = random_assembly(seed)
    e, referees = encounters_of(assembly), pairs(assembly)
    direction = rng.normal(size=3) * [1, 1, 0.3]
    direction /= np.linalg.norm(direction)
    for a, b in list(referees)[:3]:
        route = _route(rng)
        start = rng.normal(size=3) * 9 if rng.random() < 0.5 else np.zeros(3)
        spans = e.resting_spans(a, route, b, (start, direction), 60.0)
        places = along(route, np.linspace(0, 1, 150))
        for rest in rng.uniform(0, 60, 8):
            volume, _ = referees[a, b].most(start + rest * direction - places, enough=1e-3)
            deepest = max((min(rest - low, high - rest) for low, high in spans), default=-1.0)
            assert deepest > -1e-6 or volume < 1e-6
            if deepest > 0.5:
                fine = along(route, np.linspace(0, 1, 8001))
                assert volume > 1e-9 or referees[a, b].most(start + rest * direction - fine, enough=1e-12)[0] > 0


def test_a_mover_without_a_way_is_met_where_it_stands():
    """Its route has no length: met while the two overlap, 10 < t < 30 less what may touch."""
    e = two(box(0, 0, 0, 10, 10, 10), box(20, 0, 0, 30, 10, 10), touch=0.05)
    for route in (STILL, np.zeros((2, 3))):
        ((low, high),) = e.resting_spans("a", route, "b", (np.zeros(3), np.array([-1.0, 0, 0])), 60.0)
        assert (low, high) == pytest.approx((10.05, 29.95))


def test_a_part_thinner_than_what_may_touch_meets_nobody():
    e = two(box(0, 0, 0, 10, 10, 0.03), box(0, 0, 0.03, 10, 10, 5), touch=0.05)
    up = np.array([0.0, 0, 1])
    assert not e.blocks_way("a", up, "b")
    assert not e.blocks_way("b", -up, "a")
    assert not e.hits("b", line((0, 0, 0), (0, 0, -9)), "a")
    assert e.way_out("a", up, ["b"]) == [0.0]
    assert e.overlap_depth("a", "b") == 0.0
    assert not e.rest_within("a", "b", 1.0)
    assert len(e.diagram("a", "b", line((0, 0, 0), (0, 0, 9)), STILL, ((0, 9), (0, 0)))) == 0


def test_order_of_the_pair_does_not_matter():
    assembly = dressed_tray(4)
    e = encounters_of(assembly)
    for a, b in itertools.combinations(assembly.ids, 2):
        for direction in np.vstack([np.eye(3), -np.eye(3)]):
            assert e.blocks_way(a, direction, b) == e.blocks_way(b, -direction, a)
        path = line((0, 0, 0), (7, -3, 5), (20, 1, 5))
        back = e.diagram(b, a, STILL, path, ((0, 0), (0, 30)))
        assert len(e.diagram(a, b, path, STILL, ((0, 30), (0, 0)))) == len(back)


def test_a_pressed_disc_slides_out_of_its_ring():
    """A disc of 24 corners, 0.3 mm wider than the hole it was cut for, pressed by 0.3 mm: free along z, not across."""
    ring, disc = regular(24, 20.0), regular(24, 10.15)
    plate = Slab(tuple(map(tuple, ring)), (tuple(map(tuple, regular(24, 10.0))),), (0.0, 5.0))
    parts = (part("plate", [plate]), part("disc", [Slab(tuple(map(tuple, disc)), (), (0.0, 5.0))]))
    joint = Joint("insert", "disc", "plate", (0.0, 0.0, 1.0), press_mm=0.3)
    assembly = Assembly("Pressed (invented)", 0.05, parts, (joint,))
    e, referee = encounters_of(assembly), pairs(assembly)["plate", "disc"]
    assert not e.hits("disc", line((0, 0, 0), (0, 0, 6)), "plate")
    assert referee.most(np.linspace(0, 6, 50)[:, None] * [0, 0, 1])[0] == 0
    assert e.hits("disc", line((0, 0, 0), (1, 0, 0)), "plate")
    assert referee.overlap((1, 0, 0)) > 1


def test_what_is_remembered_of_a_crossing_does_not_shrink():
    """By hand: b rests 10 mm right of a and above; a rises beside it and, on a long way, is met by b coming down.

    The same question asked again after one about a shorter way has the same answer.
    """
    e = two(box(0, 0, 0, 10, 10, 10), box(0, 0, 12, 10, 10, 22), touch=0.05)
    ray = (np.zeros(3), np.array([0.0, 0.0, 1.0]))
    far, near = line((0, 0, 0), (0, 0, 50)), line((0, 0, 0), (0, 0, 5))
    before = e.resting_spans("a", far, "b", ray, 100.0)
    # a's top rises from 10 to 60: b, its foot at 12, is met while it rests less than 48 mm higher.
    assert before[0][1] == pytest.approx(48, abs=0.1)
    assert e.resting_spans("a", near, "b", ray, 100.0)[0][1] == pytest.approx(3, abs=0.1)
    assert e.resting_spans("a", far, "b", ray, 100.0) == before
