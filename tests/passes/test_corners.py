"""Rounded routes: ends stay, what is new is free, who moves together keeps together; bows by hand."""

from types import MappingProxyType

import numpy as np
import pytest
from small_assemblies import box, make

from choreo.compile import take_apart
from choreo.geometry.cameras.camera import orthographic_camera
from choreo.geometry.cameras.silhouette import hull_points
from choreo.model.choreography import Pin, Shot, View
from choreo.model.plan import Removal, RemovalStep
from choreo.motion.path import lengths, position
from choreo.passes.corners import Sight, round_corners

UP = (0.0, 0.0, 1.0)
RESOLUTION = (2000, 1000)


def bend(assembly, removal, routes, shared=None, clearance=0.0, **pins):
    apart = take_apart(assembly, clearance)
    camera = orthographic_camera(0, 0, np.zeros(3), 4.0, RESOLUTION)
    points = {part: hull_points(solid) for part, solid in apart.solids.items()}
    shot = Shot("s", View("orthographic"), (), pins=MappingProxyType(pins))
    routes = {part: np.array(route, dtype=float) for part, route in routes.items()}
    sight = Sight(points, (camera,), (0,), RESOLUTION)
    return round_corners(shot, removal, routes, shared or {}, apart.encounters, sight)


def walled(wall_to):
    """A plug that stands 0.3 mm beside a wall of the base."""
    return make(
        box("base", -40, -20, 80, 20, 0, 10),
        box("wall", 5.3, -20, 9, 20, 10, wall_to),
        box("plug", -5, -5, 5, 5, 10, 16),
    )


WALLED = Removal((RemovalStep("plug", UP), RemovalStep("wall", UP)), "base")


def lifted(lift, aside=60.0):
    return {"plug": [[0, 0, 0], [0, 0, lift], [aside, 0, lift]], "wall": [[0, 0, 0], [0, 0, 90]], "base": [[0, 0, 0]]}


def touches(path, wall_to):
    """Dense samples of two boxes, by plain arithmetic: the plug and the wall, 0.05 mm of overlap allowed."""
    at = position(path, np.linspace(0, 1, 20_001))
    over_x = np.minimum(5 + at[:, 0], 9) - np.maximum(-5 + at[:, 0], 5.3)
    over_z = np.minimum(16 + at[:, 2], wall_to) - np.maximum(10 + at[:, 2], 10)
    return bool(np.any((over_x > 0.05) & (over_z > 0.05)))


def test_a_free_corner_takes_most_of_its_legs():
    """Nothing is as high as 50 mm: the arc begins 0.8 of the shorter leg before the corner, and three pieces do."""
    done = bend(walled(12), WALLED, lifted(50, aside=-40))
    route = done.routes["plug"]
    assert done.stops_mm == {}
    assert route[[0, 1, -2, -1]] == pytest.approx(np.array([[0, 0, 0], [0, 0, 18], [-32, 0, 50], [-40, 0, 50]]))
    assert len(route) == 2 + 4


def test_the_arc_is_as_wide_as_halving_finds_free_of_the_wall():
    """Out by 31 mm over a wall of 30: a circle of 3.1 mm shifts 0.8 mm at the wall's edge, one of 1.55 mm 0.1 mm."""
    done = bend(walled(40), WALLED, lifted(31))
    route = done.routes["plug"]
    assert 31 - route[1][2] == pytest.approx(0.8 * 31 / 16)
    assert not touches(route, 40)
    wide = bend(walled(12), WALLED, lifted(31)).routes["plug"]
    assert touches(wide, 40)
    assert done.stops_mm == {}


def test_where_no_arc_is_free_the_part_stops():
    """Out by no more than touching, any shift below the corner hits."""
    done = bend(walled(40), WALLED, lifted(30))
    assert done.stops_mm == {"plug": (30.0,)}
    assert done.routes["plug"].tolist() == [[0, 0, 0], [0, 0, 30], [60, 0, 30]]


def test_a_corner_where_the_part_is_still_slow_needs_no_stop():
    done = bend(walled(10.5), WALLED, lifted(0.5))
    assert done.stops_mm == {}
    assert len(done.routes["plug"]) == 3


def test_clearance_narrows_the_arc():
    tight = bend(walled(40), WALLED, lifted(40), clearance=0.2).routes["plug"]
    loose = bend(walled(40), WALLED, lifted(40)).routes["plug"]
    assert tight[1][2] >= loose[1][2]
    assert not touches(loose, 40)


def test_who_moves_together_bends_together_and_the_parting_point_stays():
    assembly = make(
        box("base", -40, -20, 80, 20, 0, 10), box("a", -5, -5, 5, 5, 10, 16), box("b", -4, -4, 4, 4, 16, 20)
    )
    removal = Removal((RemovalStep("a", UP, inner=Removal((RemovalStep("b", UP),), "a")),), "base")
    own = [[0, 0, 0], [0, 0, 30], [50, 0, 30]]
    routes = {"b": [*own, [50, 0, 60], [90, 0, 60]], "a": own, "base": [[0, 0, 0]]}
    done = bend(assembly, removal, routes, {"a": (80.0,), "b": (80.0,)})
    a, b = done.routes["a"], done.routes["b"]
    assert b[: len(a)].tolist() == a.tolist()
    assert len(a) > 3
    assert done.shared_mm["a"] == pytest.approx((float(lengths(a)[-1]),))
    assert done.shared_mm["b"] == pytest.approx((float(lengths(b)[len(a) - 1]),))
    assert b[len(a) - 1].tolist() == [50, 0, 30]
    assert len(b) == len(a) + 1 + 4


def test_a_bow_stands_its_millimetres_to_the_right_of_the_way_out():
    """Seen along -z, up on the screen is +y and the right of that is +x; the lid is out after 20 mm."""
    assembly = make(box("base", -30, -10, 30, 10, 0, 10), box("lid", -10, 10, 10, 30, 0, 10))
    removal = Removal((RemovalStep("lid", (0.0, 1.0, 0.0)),), "base")
    straight = {"lid": [[0, 0, 0], [0, 80, 0]], "base": [[0, 0, 0]]}
    for sign in (1, -1):
        done = bend(assembly, removal, straight, lid=Pin(bow_mm=6.0 * sign))
        route = done.routes["lid"]
        assert done.warnings == ()
        assert sign * route[:, 0].max() == pytest.approx(6.0) if sign > 0 else route[:, 0].min() == pytest.approx(-6.0)
        assert (route[0].tolist(), route[-1].tolist()) == ([0, 0, 0], [0, 80, 0])
    # The frame is 1000 px high and 2000 wide at 4 px a mm: half its width is 250 mm, the lid takes 10 of it.
    far = {"lid": [[0, 0, 0], [0, 80, 0]], "base": [[0, 0, 0]]}
    [warning] = bend(assembly, removal, far, lid=Pin(bow_mm=400.0)).warnings
    assert (warning.code, warning.severity) == ("bow-reduced", "warning")


def test_a_part_that_goes_nowhere_has_no_bow():
    assembly = make(box("base", -30, -10, 30, 10, 0, 10), box("lid", -10, 10, 10, 30, 0, 10))
    removal = Removal((RemovalStep("lid", (0.0, 1.0, 0.0)),), "base")
    done = bend(assembly, removal, {"lid": [[0, 0, 0], [0, 0, 0]], "base": [[0, 0, 0]]}, lid=Pin(bow_mm=6.0))
    assert [warning.code for warning in done.warnings] == ["bow-reduced"]
    assert done.routes["lid"].tolist() == [[0, 0, 0], [0, 0, 0]]


def test_a_bow_is_reduced_to_what_is_free():
    """A post 2 mm beside the way of a part 20 mm wide: what is left of 30 mm is at most those 2 mm (and 0.05)."""
    assembly = make(
        box("base", -30, -10, 30, 10, 0, 10), box("lid", -10, 10, 10, 30, 0, 10), box("post", 12, 10, 30, 90, 0, 10)
    )
    removal = Removal((RemovalStep("lid", (0.0, 1.0, 0.0)), RemovalStep("post", (0.0, 1.0, 0.0))), "base")
    routes = {"lid": [[0, 0, 0], [0, 40, 0], [0, 75, 0]], "post": [[0, 0, 0], [0, 150, 0]], "base": [[0, 0, 0]]}
    done = bend(assembly, removal, routes, lid=Pin(bow_mm=30.0))
    [warning] = done.warnings
    reached = float(done.routes["lid"][:, 0].max())
    assert 1.5 < reached <= 2.05 + 1e-9
    assert f"{reached:.1f} mm" in warning.what
