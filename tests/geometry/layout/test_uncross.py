"""Ways that need not cross: cases by hand, one that brute force proves to be hopeless, and boards at random."""

import itertools
from functools import partial

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, Phase, given, reject, settings
from hypothesis import strategies as st
from small_assemblies import FRONT, box, film, hulls_on_screen, insert, make, phase, shot, stage, there_and_back

from choreo.errors import ChoreoError
from choreo.geometry.layout.rested import Rested
from choreo.geometry.layout.uncross import EACH, MOST, uncross
from choreo.geometry.plane.crossing import crossings
from choreo.model.choreography import Orbit, View
from choreo.passes.layout import plan_layout
from choreo.passes.layout_stage import Stage

UP = (0, 0, 1)
PLAIN = View("orthographic", px_per_mm=8.0, target=(0.0, 0.0, 0.0))
"""A mm is 8 px, and the middle of the product is the middle of the frame."""
NEAR = View("perspective", 0, 0, focal_mm=50, sensor_mm=(36, 20.25))
STEEP = View("orthographic", 15, 10)


def board(*pegs):
    """A plate and pegs on it, (x, y, width, height) mm from their lower left corners."""
    made = [box(f"peg_{k}", x, y, x + w, y + h, 4, 12) for k, (x, y, w, h) in enumerate(pegs)]
    return make(box("plate", -20, -12, 20, 12, 0, 4), *made, joints=[insert(peg.id, "plate", UP) for peg in made])


def rested(pegs, goals, *, safe=(0.02,) * 4, pins=None):
    """A board whose pegs rest with their lower left corners at the goals, whatever the layout would do."""
    made = stage(board(*pegs), film(shot(*there_and_back(60), view=PLAIN, pins=pins), safe=safe))
    routes = {}
    for part in made.order:
        k = int(part[-1])
        across = np.array([*goals[k], 0.0]) - (*pegs[k][:2], 0.0)
        out = np.array([0.0, 0.0, 9.0])
        routes[part] = np.stack([np.zeros(3), out, out + across])
    routes[made.body] = np.zeros((1, 3))
    arranged = Stage(made.subject, made.shot, made.frame)
    cameras = made.layout.cameras
    contains = partial(arranged.contains, cameras)
    return Rested(made.subject, routes, [cameras[made.layout.rest_frames[0]]], made.frame, contains)


def corner_of(scene, part):
    """Where a peg's lower left corner rests, mm."""
    return (scene.subject.points[part] + scene.routes[part][-1]).min(axis=0)[:2]


def travel(scene):
    return float(np.linalg.norm(scene.ends - scene.starts, axis=1).sum())


def outlines(scene, camera, routes):
    """Outlines at rest, px."""
    return {part: hulls_on_screen(scene.points[part] + routes[part][-1], [camera])[0] for part in routes}


# --- By hand --------------------------------------------------------------------------------------------------------


def test_two_that_would_swap():
    # The left one rests upper right and the right one upper left: exchanged, their ways are shorter and do not cross.
    pegs, goals = [(-15, 0, 4, 4), (11, 0, 5, 5)], [(20, 30), (-20, 30)]
    scene = rested(pegs, goals)
    before = travel(scene)
    assert scene.crossings() == 1
    assert uncross(scene)
    assert scene.crossings() == 0
    assert travel(scene) < before


def test_three_that_go_round():
    # Two to opposite lower sides and one up between them: each crosses both others.
    pegs = [(-16, 6, 4, 4), (12, 6, 5, 5), (-2, -11, 6, 3)]
    goals = [(34, -22), (-38, -22), (-1, 38)]
    scene = rested(pegs, goals)
    assert scene.crossings() == 3
    uncross(scene)
    assert scene.crossings() == 0


def test_siblings_that_cross_go_elsewhere_in_rows():
    pegs = [(-16, -10, 3, 3), (13, -10, 3, 3), (-16, 7, 3, 3), (13, 7, 3, 3)]
    goals = [(30, 10), (-33, 10), (30, 20), (-33, 20)]
    scene = rested(pegs, goals)
    assert scene.crossings() == 2
    uncross(scene)
    assert scene.crossings() == 0
    # Two columns and two rows still: shared axes.
    at = np.round([corner_of(scene, f"peg_{k}") for k in range(4)], 6)
    assert len(set(at[:, 0])) == len(set(at[:, 1])) == 2


def test_nothing_moves_where_nothing_crosses():
    scene = rested([(-15, 0, 4, 4), (11, 0, 5, 5)], [(-20, 30), (20, 30)])
    before = dict(scene.routes)
    assert not uncross(scene)
    assert all(scene.routes[part] is before[part] for part in before)


def test_a_travel_that_is_given_stays():
    pins = {"peg_0": (None, 5.0), "peg_1": (None, 5.0)}
    scene = rested([(-15, 0, 4, 4), (11, 0, 5, 5)], [(20, 30), (-20, 30)], pins=pins)
    assert not uncross(scene)
    assert scene.crossings() == 1


@pytest.mark.parametrize("bounds", [(-0.9, 1.0), (1.0, -0.9)])
def test_what_a_crossing_is_not_worth_is_not_paid(bounds, monkeypatch):
    scene = rested([(-15, 0, 4, 4), (11, 0, 5, 5)], [(20, 30), (-20, 30)])
    # Were all of it worth a great loss of travel only, what an exchange saves would not be enough.
    monkeypatch.setattr("choreo.geometry.layout.uncross.EACH", bounds[0])
    monkeypatch.setattr("choreo.geometry.layout.uncross.MOST", bounds[1])
    assert not uncross(scene)
    assert scene.crossings() == 1


def moved(scene, part, goal):
    """The route of a peg to another rest of its lower left corner."""
    route = scene.routes[part].copy()
    route[-1, :2] += np.array(goal) - corner_of(scene, part)
    return {part: route}


def test_what_a_place_has_to_keep():
    # peg_0 leaves before peg_1 and comes back after it: it may not rest where peg_1 passes.
    pegs, goals = [(-15, 0, 4, 4), (11, 0, 5, 5)], [(-20, 30), (30, 30)]
    scene = rested(pegs, goals)
    assert scene.names == ["peg_0", "peg_1"]
    assert scene.holds(moved(scene, "peg_0", (-20, 35)))
    assert not scene.holds(moved(scene, "peg_0", (-20, 14)))  # 2 mm above the plate: a gap is 3 mm
    assert scene.holds(moved(scene, "peg_0", (-20, 15.1)))
    assert not scene.holds(moved(scene, "peg_0", (-20, 62)))  # out of the safe area, which ends at 66.15 mm less 4
    # On the way of peg_1, from (13.5, 2.5) to (32.5, 32.5), at half of it; beside it; and on the way of nobody later.
    assert not scene.holds(moved(scene, "peg_0", (21, 16)))
    assert scene.holds(moved(scene, "peg_0", (8, 16)))
    assert scene.holds(moved(scene, "peg_1", (-19, 52)))
    # High above the plate peg_1 passes below it: on the screen still over it, in space not.
    high = moved(scene, "peg_0", (21, 16))
    high["peg_0"][1:, 2] = 19
    assert not scene.holds(high)
    scene.aside = set()
    assert scene.holds(high)
    assert not scene.holds(moved(scene, "peg_0", (21, 16)))


# --- Hopeless, by brute force ----------------------------------------------------------------------------------------


def hopeless():
    """A peg whose travel is given goes right along the plate's lower edge, with another's home below its way.

    All places inside the safe area lie above: it ends where the middle of a peg of 2 mm is above that way by 0.1 mm,
    1.6 mm left of the plate, and 1 mm right of the first peg's place.
    """
    pegs, goals = [(-19, -11, 3, 3), (2, -12, 4, 2)], [(56, -11), (5, 25)]
    safe = ((120 - 21.6) / 240, 0.05, (120 - 60) / 240, (67.5 - 10.4) / 135)
    return rested(pegs, goals, safe=safe, pins={"peg_0": (None, 5.0)})


def test_a_way_that_has_to_cross_still_does_and_brute_force_says_so():
    scene = hopeless()
    assert scene.crossings() == 1
    assert not uncross(scene)
    # Every place for the free peg on a lattice of half a mm, judged by boxes: none that is clear crosses nothing.
    fixed = shapely.LineString([(-17.5, -9.5), (57.5, -9.5)])
    still = [shapely.box(-20, -12, 20, 12), shapely.box(56, -11, 59, -8)]
    gap = scene.frame.gap_px / 8
    clear = []
    for x, y in itertools.product(np.arange(-21.5, 56.5, 0.5), np.arange(-10.4, 59, 0.5)):
        peg = shapely.box(x, y, x + 4, y + 2)
        if min(peg.distance(other) for other in still) >= gap:
            clear.append(shapely.LineString([(4, -11), (x + 2, y + 1)]).crosses(fixed))
    assert len(clear) > 1000
    assert all(clear)


def test_with_room_on_the_other_side_it_does_not_cross():
    """The same with a safe area that goes on below."""
    pegs, goals = [(-19, -11, 3, 3), (2, -12, 4, 2)], [(56, -11), (5, 25)]
    scene = rested(pegs, goals, pins={"peg_0": (None, 5.0)})
    assert scene.crossings() == 1
    assert uncross(scene)
    assert scene.crossings() == 0
    assert scene.ends[scene.rank("peg_1")][1] > 540 + 12 * 8 + 24  # below the plate and the gap


# --- Any board -------------------------------------------------------------------------------------------------------

PEGS = st.tuples(st.integers(-4, 3), st.integers(-2, 1), st.sampled_from([2, 3, 4]), st.sampled_from([2, 3, 4]))
SPOTS = st.lists(PEGS, min_size=2, max_size=7, unique_by=lambda peg: peg[:2])


@settings(max_examples=30, deadline=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
@given(spots=SPOTS, view=st.sampled_from([FRONT, PLAIN, NEAR, STEEP]), turn=st.sampled_from([None, Orbit(10)]))
def test_fewer_cross_and_all_holds(spots, view, turn):
    pegs = [(5 * x, 6 * y, w, h) for x, y, w, h in spots]
    one = shot(*there_and_back(80), view=view, orbit=turn)
    try:
        made = stage(board(*pegs), film(one, safe=(0.05,) * 4))
    except ChoreoError:  # no room under the camera that is fixed
        reject()
    before = plan_layout(made.subject, made.shot, made.frame, fewest_crossings=False)
    after, points, encounters = made.layout, made.subject.points, made.subject.encounters
    assert all((a.matrix == b.matrix).all() for a, b in zip(after.cameras, before.cameras, strict=True))
    assert after.crossings <= before.crossings
    assert after.uncrossed == (after.crossings < before.crossings)
    first = after.cameras[after.rest_frames[0]]
    homes = np.stack([points[part].mean(axis=0) for part in made.order])

    def ways(layout):
        rests = homes + np.stack([layout.routes[part][-1] for part in made.order])
        return first.project(homes)[0], first.project(rests)[0]

    assert crossings(*ways(after)) == after.crossings
    longer, total = (float(np.linalg.norm(np.subtract(*ways(layout)), axis=1).sum()) for layout in (after, before))
    assert longer <= (1 + min(MOST, EACH * max(before.crossings - after.crossings, 0))) * total + 1e-6
    for frame in after.rest_frames[::3]:
        hulls = list(outlines(made.subject, after.cameras[frame], after.routes).values())
        assert min(a.distance(b) for a, b in itertools.combinations(hulls, 2)) >= 24 - 0.02
        x0, y0, x1, y1 = shapely.total_bounds(hulls)
        assert min(x0 - 96, y0 - 54, 1920 - 96 - x1, 1080 - 54 - y1) >= -0.02
    staying = [made.body, *reversed(made.order)]
    for part in made.order:
        staying.remove(part)
        assert not any(encounters.hits(part, after.routes[part], other) for other in staying)
        for other in staying[1:]:
            assert not encounters.hits(other, after.routes[other], part, after.routes[part][-1])


def test_a_layout_is_the_same_each_time():
    one = shot(phase("explode", 90), phase("hold", 5))
    pegs = [(-19, -10, 4, 4), (-19, 6, 3, 5), (14, -10, 4, 3), (14, 6, 5, 4), (-2, -2, 6, 3)]
    first, second = (stage(board(*pegs), film(one)).layout for _ in range(2))
    assert all((first.routes[part] == second.routes[part]).all() for part in first.routes)


@pytest.mark.parametrize("orbit", [None, Orbit(20)])
def test_many_parts_stay_within_bounds_of_work(orbit, monkeypatch):
    looked = []
    import choreo.geometry.layout.uncross as module

    inner = module.places
    monkeypatch.setattr(module, "places", lambda *given: looked.append(1) or inner(*given))
    pegs = [(-20 + 4.5 * (k % 9), -12 + 5 * (k // 9), 2 + k % 3 / 2, 2 + k % 4 / 2) for k in range(27)]
    made = stage(board(*pegs), film(shot(*there_and_back(300), orbit=orbit)))
    assert len(looked) <= 2 * module._LOOKED
    assert made.layout.crossings is not None


# --- Places dealt out at random --------------------------------------------------------------------------------------

SEATS = [(x, y) for x in (-90, -60, 56, 86) for y in (-45, -15, 15, 45)]


def dealt(seed):
    """Three to six unlike pegs that rest on seats far apart, whoever got which."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(3, 7))
    cells = rng.permutation(24)[:count]
    pegs = [(5 * (int(c) % 8 - 4), 6 * (int(c) // 8 - 1), 2 + k / 2, 4 - k / 2) for k, c in enumerate(cells)]
    seats = rng.permutation(len(SEATS))[:count]
    return rested(pegs, [SEATS[int(k)] for k in seats])


def fewest_by_exchange(scene):
    """The fewest crossings of all ways to deal the same ends out, by trying every one."""
    count = len(scene.names)
    orders = itertools.permutations(range(count))
    return min(crossings(scene.starts, scene.ends[list(order)]) for order in orders)


def test_dealt_at_random_few_cross_in_the_end():
    before = after = least = 0
    for seed in range(12):
        scene = dealt(seed)
        best, total, count = fewest_by_exchange(scene), travel(scene), scene.crossings()
        moved = uncross(scene)
        assert moved == (scene.crossings() < count)
        assert scene.crossings() == crossings(scene.starts, scene.ends)
        assert travel(scene) <= (1 + MOST) * total + 1e-6
        hulls = list(outlines(scene.subject, scene.eye, scene.routes).values())
        assert min(a.distance(b) for a, b in itertools.combinations(hulls, 2)) >= 24 - 1e-4
        before, after, least = before + count, after + scene.crossings(), least + best
    assert before > 25
    assert least == 0
    assert after <= 0.1 * before
