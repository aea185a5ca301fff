"""What masking promises beyond showing the truth: holdouts only in rings, quiet outlines, few changes."""

import itertools

import networkx as nx
import numpy as np
import pytest
import shapely
from masking_cases import TOUCH_MM, assemblies, pinwheel, rect, ring, slab

from choreo.geometry.cameras.camera import orthographic_camera, perspective_camera
from choreo.geometry.solids.solid import build_solid
from choreo.geometry.visibility import sight
from choreo.geometry.visibility.layer_order import fewest_spans
from choreo.model.plan import Removal, RemovalStep
from choreo.passes.masking import masking
from choreo.passes.visibility import visibility

RESOLUTION = (1920, 1080)
PLAN_VIEW = orthographic_camera(0, 0, (0, 0, 0), 10, RESOLUTION).matrix


def compiled(parts, ids, shifts, cameras):
    """Parts in order of ids; the first is the body, the last leaves first. shifts (parts, frames, 3)."""
    seen = visibility([build_solid(p) for p in parts], np.array(cameras), np.array(shifts, dtype=float), TOUCH_MM)
    steps = tuple(RemovalStep(name, (0.0, 0.0, 1.0)) for name in reversed(ids[1:]))
    return seen, masking(seen, ids, Removal(steps, ids[0]))


def polygon(regions):
    return shapely.union_all([shapely.Polygon(r.outline, r.holes) for r in regions])


def big_enough(area):
    """The contract's measure, written again: 0.01 px² of area and 0.02 px of width."""
    return any(p.area >= 0.01 and 2 * p.area / p.length >= 0.02 for p in shapely.get_parts(area) if p.area > 0)


def true_relations(seen):
    """(frames, parts, parts): t is seen where x lies behind it, asked of every pair on every frame."""
    frames = np.arange(seen.scene.frames)
    over = np.zeros((len(frames), seen.parts, seen.parts), dtype=bool)
    for t, x in itertools.permutations(range(seen.parts), 2):
        both = shapely.intersection(seen.visible(t, frames), seen.silhouette(x, frames))
        over[:, t, x] = [big_enough(area) for area in both]
    return over


def has_ring(over):
    return not nx.is_directed_acyclic_graph(nx.from_numpy_array(over, create_using=nx.DiGraph))


def held_out(plan, frame):
    return [h for h in plan.holdouts if h.first <= frame <= h.last]


def order_on(plan, frame):
    (span,) = [s for s in plan.orders if s.first <= frame <= s.last]
    return list(span.back_to_front)


def slot_body():
    """A floor, a slot between two arms, and a face plate over most of them."""
    return [
        slab(rect(-30, -20, 60, 20), 0, 3),
        slab([(-30, -20), (14, -20), (14, -8), (-22, -8), (-22, 8), (14, 8), (14, 20), (-30, 20)], 3, 9),
        slab(rect(-30, -20, 10, 20), 9, 12),
    ]


def test_a_tongue_goes_into_the_body_not_over_it():
    # By hand. In plan view the tongue lies over the floor and under the face plate: a ring of two. The body
    # stays one layer behind, and the tongue is left out behind the face plate, x -30 to 10 and y -20 to 20 mm,
    # which at 10 px per mm about (960, 540) is the rectangle 660 to 1060, 340 to 740 px.
    x = np.array([0.0, 3.0, 9.0, 14.0, 20.0])
    _, plan = compiled(
        [slot_body(), [slab(rect(-22, -8, 25, 8), 3, 9)]],
        ["body", "tongue"],
        [np.zeros((5, 3)), np.c_[x, 0 * x, 0 * x]],
        [PLAN_VIEW] * 5,
    )
    assert [(s.first, s.last, s.back_to_front) for s in plan.orders] == [(0, 4, ("body", "tongue"))]
    ((part, first, last, behind),) = [(h.part, h.first, h.last, h.behind) for h in plan.holdouts]
    assert (part, first, last, behind) == ("tongue", 0, 4, ("body",))
    assert polygon(plan.holdouts[0].region).equals(shapely.box(660, 340, 1060, 740))


def test_without_a_floor_in_sight_the_tongue_needs_no_holdout():
    # By hand: where both are seen the plate is in front, so "body above tongue" is a valid order.
    x = np.linspace(0, 60, 7)
    parts, _ = assemblies()["tongue under a face plate"]
    _, plan = compiled(parts, ["body", "tongue"], [np.zeros((7, 3)), np.c_[x, 0 * x, 0 * x]], [PLAN_VIEW] * 7)
    assert plan.holdouts == ()
    assert [s.back_to_front for s in plan.orders] == [("tongue", "body")]


def test_side_by_side_in_plan_view_asks_for_nothing():
    # Two bars that touch along a wall which the camera sees edge-on.
    parts = [[slab(rect(0, 0, 10, 10), 0, 10)], [slab(rect(10, 0, 20, 10), 0, 10)]]
    _, plan = compiled(parts, ["body", "bar"], np.zeros((2, 1, 3)), [PLAN_VIEW])
    assert plan.holdouts == ()


def test_the_pinwheel_gives_up_one_relation():
    # asm.dbg.pinwheel is one ring of four in plan view: no order of layers shows it, and one relation given
    # up is enough. The body "a" stays whole, and what stands behind it is held out.
    _, plan = compiled(pinwheel(), list("abcd"), np.zeros((4, 3, 3)), [PLAN_VIEW] * 3)
    assert len(plan.orders) == 1
    ((part, first, last, behind),) = [(h.part, h.first, h.last, h.behind) for h in plan.holdouts]
    # The bar "a" blocks "b" on its way up (arc B to A), so it is "a" that stands in front of "b".
    assert (part, first, last, behind) == ("b", 0, 2, ("a",))


def test_a_cell_seen_obliquely_in_its_cup_is_held_out_behind_the_wall_only():
    parts = [[slab(ring(30), 0, 2), slab(ring(30), 2, 20, ring(24))], [slab(ring(14), 2, 17)]]
    camera = perspective_camera(0, 45, (0, 0, 0), 300, 85, (36, 20.25), RESOLUTION).matrix
    seen, plan = compiled(parts, ["cup", "cell"], np.zeros((2, 2, 3)), [camera] * 2)
    ((part, first, last, behind),) = [(h.part, h.first, h.last, h.behind) for h in plan.holdouts]
    assert (part, first, last, behind) == ("cell", 0, 1, ("cup",))
    # The region goes on past the cell's own outline, which is not cut.
    frames = np.array([0])
    region, cell = polygon(plan.holdouts[0].region), seen.silhouette(1, frames)[0]
    own_outline = shapely.difference(cell.exterior, shapely.buffer(seen.visible(1, frames)[0], 1))
    assert own_outline.length > 50
    middle = shapely.line_interpolate_point(shapely.line_merge(own_outline), 0.5, normalized=True)
    assert shapely.buffer(region, -2).contains(middle)


CASES = {
    "perspective orbit": [
        perspective_camera(-70 + 23 * k, 24, (5, 5, 5), 170, 50, (36, 20.25), RESOLUTION).matrix for k in range(7)
    ],
    "still oblique": [orthographic_camera(35, 40, (5, 5, 5), 8, RESOLUTION).matrix] * 7,
    "plan view": [PLAN_VIEW] * 7,
}


@pytest.mark.parametrize("view", CASES)
@pytest.mark.parametrize("name", assemblies())
def test_holdouts_are_needed_and_exact_and_changes_are_few(name, view):
    parts, ways = assemblies()[name]
    travel = np.array([0.0, 0.0, 4.0, 9.0, 15.0, 30.0, 30.0])
    shifts = np.array([np.outer(travel, way) for way in ways])
    ids = [f"p{n}" for n in range(len(parts))]
    seen, plan = compiled(parts, ids, shifts, CASES[view])
    over = true_relations(seen)
    kept = over.copy()
    for f in range(len(travel)):
        given_up = held_out(plan, f)
        # Only where there is a ring, and as few as any order of the layers leaves unmet.
        least = min(
            sum(over[f, t, x] for i, t in enumerate(order) for x in order[i + 1 :])
            for order in itertools.permutations(range(len(ids)))
        )
        assert len(given_up) == least, f
        for h in given_up:
            x, t = ids.index(h.part), ids.index(h.behind[0])
            now = np.array([f])
            region = polygon(h.region)
            hidden = shapely.intersection(seen.visible(t, now)[0], seen.silhouette(x, now)[0])
            assert not big_enough(shapely.difference(hidden, region))
            assert not big_enough(shapely.intersection(region, seen.visible(x, now)[0]))
            kept[f, t, x] = False
        order = order_on(plan, f)
        for t, x in np.argwhere(kept[f]):
            assert order.index(ids[t]) > order.index(ids[x])
        assert not has_ring(kept[f])
    assert len(plan.orders) == len(fewest_spans(kept))


@pytest.mark.parametrize("view", CASES)
def test_looking_place_by_place_shows_what_is_seen_of_the_whole(view, monkeypatch):
    monkeypatch.setattr(sight, "_CROWD", 0)
    for name, (parts, ways) in assemblies().items():
        travel = np.array([0.0, 0.0, 4.0, 9.0, 15.0, 30.0, 30.0])
        seen, _ = compiled(
            parts, [f"p{n}" for n in range(len(parts))], [np.outer(travel, w) for w in ways], CASES[view]
        )
        frames = np.arange(len(travel))
        for t, x in itertools.permutations(range(len(parts)), 2):
            whole = shapely.intersection(seen.visible(t, frames), seen.silhouette(x, frames))
            found = seen.visible_over(t, x, frames)
            assert not any(map(big_enough, shapely.symmetric_difference(whole, found))), (name, t, x)


def test_same_input_same_plan():
    parts, ways = assemblies()["two hooks"]
    shifts = np.array([np.outer(np.arange(7) * 3.0, way) for way in ways])
    first, second = (compiled(parts, ["a", "b"], shifts, CASES["perspective orbit"])[1] for _ in range(2))
    assert first == second
    assert first.orders


def plate(x0, x1, z):
    return [slab(rect(x0, 0, x1, 10), z, z + 2)]


def lifts(*rows):
    """Displacements along z, a row for each part, a column for each frame."""
    return np.array([[[0.0, 0.0, z] for z in row] for row in rows])


def test_a_ring_of_which_one_crossing_is_covered_needs_no_holdout():
    # By hand: the cap hides the only place where bar "d" lies over bar "a", so a, d, c, b (front to back b
    # last) shows all that is seen.
    cap = [slab(rect(-1, -1, 11, 11), 20, 25)]
    _, plan = compiled([*pinwheel(), cap], [*"abcd", "cap"], np.zeros((5, 1, 3)), [PLAN_VIEW])
    assert plan.holdouts == ()
    assert len(plan.orders) == 1


def test_what_nobody_sees_changes_no_order():
    # By hand: on frame 1 the first plate is below the second, but a lid hides both.
    parts = [plate(0, 10, 0), plate(0, 10, 10), plate(-1, 11, 40)]
    shifts = lifts([0, 0], [0, -20], [0, 0])
    shifts[2, 0, 0] = 50
    parts[2] = [slab(rect(-1, -1, 11, 11), 40, 42)]
    _, plan = compiled(parts, ["body", "plate", "lid"], shifts, [PLAN_VIEW] * 2)
    assert [(s.first, s.last, s.back_to_front) for s in plan.orders] == [(0, 1, ("body", "plate", "lid"))]
    # And with the lid away on both frames it does change.
    shifts[2, 1, 0] = 50
    _, plan = compiled(parts, ["body", "plate", "lid"], shifts, [PLAN_VIEW] * 2)
    assert [s.back_to_front[:2] for s in plan.orders] == [("body", "plate"), ("plate", "body")]


def test_an_order_changes_only_where_it_is_seen_to():
    # By hand: from frame 0 to 1 plate "a" rises over "b" in sight, and "c" comes to lie over "d" under the lid.
    lid = [slab(rect(49, -1, 61, 11), 60, 62)]
    parts = [plate(50, 60, 0), plate(0, 10, 10), plate(0, 10, 20), plate(50, 60, 30), lid]
    shifts = lifts([0, 40], [0, 15], [0, 0], [0, 0], [0, 0])
    shifts[0, 0, 0] = 50
    ids = ["c", "a", "b", "d", "lid"]
    _, plan = compiled(parts, ids, shifts, [PLAN_VIEW] * 2)
    assert [s.back_to_front for s in plan.orders] == [("c", "a", "b", "d", "lid"), ("c", "b", "a", "d", "lid")]
