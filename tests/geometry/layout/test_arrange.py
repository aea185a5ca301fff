"""Places around a body: least travel on an axis and nearest place beside it, found again by sampling."""

import itertools

import numpy as np
import pytest
import shapely
from seen_by_opencv import parallel
from small_assemblies import (
    box,
    cross,
    drawer,
    film,
    hulls_on_screen,
    insert,
    make,
    rect,
    shot,
    stack,
    stage,
    there_and_back,
)

from choreo.errors import ChoreoError
from choreo.geometry.cameras.camera import orthographic_camera, perspective_camera
from choreo.geometry.layout.arrange import place
from choreo.geometry.layout.axial import shows
from choreo.geometry.layout.standing import past
from choreo.model.assembly import Part, Slab
from choreo.model.choreography import View
from choreo.passes.schedule import plan_schedule

RES = (1920, 1080)
ABOVE = View("orthographic", 30, 35)


def placed_before(subject, part):
    """Parts are placed from the body outward, the last to leave first."""
    later = subject.order[subject.order.index(part) + 1 :]
    return [subject.body, *reversed(later)]


def gap_at(subject, routes, part, rest, cameras):
    own = hulls_on_screen(subject.points[part] + rest, cameras)
    others = [hulls_on_screen(subject.points[o] + routes[o][-1], cameras) for o in placed_before(subject, part)]
    return float(shapely.distance(own, np.stack(others)).min())


def corners(points):
    return points.min(axis=0), points.max(axis=0)


def passed(subject, routes, part, rest, clearance):
    """Whether a part placed before (all boxes here) comes nearer than the clearance on its way, sampled."""
    low, high = corners(subject.points[part] + rest)
    for other in placed_before(subject, part)[1:]:
        route = routes[other]
        if not route.any():
            continue
        for share in np.linspace(0, 1, 400):
            l2, h2 = corners(subject.points[other] + share * route[-1])
            if np.all(np.minimum(high, h2) - np.maximum(low, l2) > -clearance + 0.05):
                return True
    return False


SCENES = [
    ("stack", stack, ABOVE),
    ("cross", cross, ABOVE),
    ("drawer", drawer, ABOVE),
    ("side", drawer, View("orthographic", 60, 10)),
]


@pytest.mark.parametrize(("assembly", "view"), [s[1:] for s in SCENES], ids=[s[0] for s in SCENES])
def test_least_travel_on_an_axis_by_sampling(assembly, view):
    made = stage(assembly(), film(shot(*there_and_back(), view=view)))
    subject, routes, cameras = made.subject, made.layout.routes, [made.layout.cameras[0]]
    checked = 0
    for part in subject.order:
        if len(routes[part]) > 2:
            continue
        direction, travel = subject.directions[part], float(np.linalg.norm(routes[part][-1]))
        assert routes[part][-1] == pytest.approx(direction * travel, abs=1e-9)
        assert gap_at(subject, routes, part, routes[part][-1], cameras) >= 24 - 0.01
        for way in np.arange(0, travel - 0.02, 0.1):
            clear = gap_at(subject, routes, part, direction * way, cameras) >= 24 - 0.01
            assert not clear or passed(subject, routes, part, direction * way, 0.5), f"{part} could rest at {way} mm"
        checked += 1
    assert checked >= 2


def test_a_part_rests_beyond_the_way_of_one_that_passes():
    # "slide" leaves first, along x; "riser" leaves later, along y, right across that axis. By hand: the riser sweeps
    # x 45 to 55, so the slide, 10 mm wide and at 20 mm, rests at 55.5 - 20 = 35.5 mm or farther (0.5 mm clearance).
    slabs = Slab(rect(0, -30, 20, 30), (), (0, 10)), Slab(rect(0, -60, 60, -15), (), (-10, 0))
    body = Part("body", "Body", "#888888", (0, 0, 0), slabs)
    slide, riser = box("slide", 20, -5, 30, 5, 0, 10), box("riser", 45, -40, 55, -20, 0, 10)
    joints = [insert("slide", "body", (1, 0, 0)), insert("riser", "body", (0, 1, 0))]
    made = stage(make(body, slide, riser, joints=joints), film(shot(*there_and_back(60)), gap_px=1))
    assert made.order == ("slide", "riser")
    assert made.layout.routes["riser"][-1][1] > 15  # it comes up across the axis
    assert made.layout.routes["slide"][-1][0] >= 35.5 - 2e-6
    assert made.layout.routes["slide"][-1][0] == pytest.approx(35.5, abs=1e-3)
    # Resting just beyond that way counts as clear of it: the clearance is kept in the timing, too.
    timed = plan_schedule(made.shot, made.apart.removal, made.layout.routes, made.apart.encounters)
    assert timed.bare_pairs == ()


def test_an_interval_that_begins_at_no_way_holds_it():
    # By hand: ways are counted from 0 on, so (0, 5) was cut off there; (3, 5) is open and 3 lies outside of it.
    assert past(0.0, [(0.0, 5.0)], 0.5) == 5.5
    assert past(3.0, [(3.0, 5.0)], 0.5) == 3.0
    assert past(1.0, [(0.0, 2.0), (2.2, 4.0)], 0.5) == 4.5
    assert past(6.0, [(0.0, 5.0)], 0.5) == 6.0


def test_nearest_place_beside_the_body_by_sampling():
    # Head-on, one part: its place is the nearest to the lean's end, in frame widths and heights, that is clear.
    made = stage(
        make(box("base", -30, -20, 30, 20, 0, 10), box("lid", -10, -8, 10, 8, 10, 14)), film(shot(*there_and_back()))
    )
    subject, route = made.subject, made.layout.routes["lid"]
    camera = made.layout.cameras[0]
    shift = camera.project(route[-1])[0] - camera.project(route[0])[0]
    body = hulls_on_screen(subject.points["base"], [camera])[0]
    lid = shapely.get_coordinates(hulls_on_screen(subject.points["lid"], [camera])[0])
    wish = np.array([0.96, -0.28]) * np.array(RES) * 0.02  # toward the viewer leans to the right and up
    x, y = np.meshgrid(np.arange(-1200, 1200, 8.0), np.arange(-900, 900, 8.0))
    tried = np.column_stack([x.ravel(), y.ravel()])
    clear = shapely.distance(shapely.polygons(lid + tried[:, None]), body) >= 24
    best = np.hypot(*((tried[clear] - wish) / RES).T).min()
    found = np.hypot(*((shift - wish) / RES))
    assert found <= best + 1e-9
    assert found >= best - 12 / 1080


def test_head_on_a_part_lifts_by_its_clearance_first():
    # The lid stands 4 mm deep on the base: to move sideways it must come out until nothing of the base is beside it.
    # It only stands on it, so half a millimetre of clearance is all it needs. By hand.
    made = stage(stack(), film(shot(*there_and_back())))
    for part in ("lid", "knob"):
        route = made.layout.routes[part]
        assert len(route) == 3
        assert route[1][:2].tolist() == [0, 0]
        assert 0.4 <= route[1][2] <= 10.5
        assert route[2][2] == pytest.approx(route[1][2])


def test_at_a_slant_a_part_lifts_clear_of_all_before_it_spreads():
    # sin(20 degrees) = 0.34 of the axis shows: too little to rest on it, too much to lift less than it needs.
    # All stand on each other, so half a millimetre is enough. By hand.
    made = stage(stack(), film(shot(*there_and_back(), view=View("orthographic", 20, 0))))
    for part in ("lid", "knob"):
        _, over, rest = made.layout.routes[part]
        assert over == pytest.approx([0, 0, 0.5], abs=0.06)
        assert rest[2] == pytest.approx(over[2])


def test_what_shows():
    front, side = orthographic_camera(0, 0, (0, 0, 0), 10, RES), orthographic_camera(90, 0, (0, 0, 0), 10, RES)
    z = np.array([0.0, 0, 1])
    assert not shows(z, [front])
    assert shows(z, [side])
    assert not shows(z, [side, front])
    # sin(27 degrees) = 0.454, sin(26 degrees) = 0.438: the threshold is 0.45.
    assert shows(z, [orthographic_camera(27, 0, (0, 0, 0), 10, RES)])
    assert not shows(z, [orthographic_camera(26, 0, (0, 0, 0), 10, RES)])


@pytest.mark.parametrize("bounded", [False, True])
def test_gaps_hold_on_every_camera_that_is_watched(bounded):
    made = stage(cross(), film(shot(*there_and_back(), view=ABOVE)))
    cameras = [orthographic_camera(a, e, (0, 0, 10), 6, RES) for a, e in ((10, 20), (30, 35), (50, 45))]
    routes = place(made.subject, cameras, made.frame, gap_px=40, bounded=bounded)
    for camera in cameras:
        hulls = [hulls_on_screen(made.subject.points[p] + routes[p][-1], [camera])[0] for p in routes]
        assert min(a.distance(b) for a, b in itertools.combinations(hulls, 2)) >= 40 - 0.01


def test_a_part_never_goes_behind_the_camera():
    # Under a near pinhole a part that comes toward the viewer stops well before the lens.
    made = stage(
        stack(), film(shot(*there_and_back(), view=View("perspective", 50, 0, focal_mm=35, sensor_mm=(36, 20.25))))
    )
    for frame in made.layout.rest_frames:
        camera = made.layout.cameras[frame]
        for part, route in made.layout.routes.items():
            assert camera.project(made.subject.points[part] + route[-1])[1].min() > 1
    near = perspective_camera(50, 0, (0, 0, 0), 120, 35, (36, 20.25), RES)
    for gap in (24, 2000, 3000, 3500, 100_000):
        try:
            routes = place(made.subject, [near], made.frame, gap_px=gap, bounded=False)
        except ChoreoError as error:
            codes = [finding.code for finding in error.findings]
        else:
            codes = []
            depths = [near.project(made.subject.points[part] + route[-1])[1].min() for part, route in routes.items()]
            assert min(depths) > 10.8  # all start beyond 108 mm at their far end and keep a tenth of that
    assert codes == ["no-room"]  # the last gap is more than there is before the lens


def test_parts_rest_outside_the_lanes_of_those_that_pass_beside_them():
    # A pile of plates, head-on: some must go beyond others. Who is placed later does not rest where an earlier passes.
    pile = [box(f"plate_{k}", -10, -8, 10 - k, 8, 4 * k, 4 * k + 4) for k in range(9)]
    made = stage(make(*pile), film(shot(*there_and_back(60))))
    camera, points, routes = made.layout.cameras[0], made.subject.points, made.layout.routes
    placed = [part for part in reversed(made.order) if len(routes[part]) == 3]
    assert len(placed) == 8
    for early, late in itertools.combinations(placed, 2):
        rest = hulls_on_screen(points[late] + routes[late][-1], [camera])[0]
        lane = hulls_on_screen(np.concatenate([points[early] + corner for corner in routes[early]]), [camera])[0]
        assert rest.intersection(lane).area < 1e-6, f"{late} rests in the way of {early}"


def test_pixels_by_hand():
    # The referee of this file: 10 px a mm, 30 mm right and 10 mm up of the target.
    assert parallel(np.array([[30.0, 10, 5]]), 0, 0, np.zeros(3), 10, RES)[0] == pytest.approx([1260, 440])
