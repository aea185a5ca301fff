"""Which photograph a frame shows and how well it fits, by hand and against points projected one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_assemblies import box, make

from choreo.geometry.cameras.camera import orthographic_camera, perspective_camera
from choreo.geometry.cameras.silhouette import hull_points
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Plate, Turntable, ViewAngle
from choreo.model.choreography import FrameRate
from choreo.model.tracks import Key, PartTrack
from choreo.passes.plate_use import plan_plates, plate_findings

RATE = FrameRate(24)
FULL = (1920, 1080)


def plate(part, view=(0, 0), px_per_mm=10.0, **more):
    return Plate(part, "plates/a.png", px_per_mm, (0.0, 0.0), ViewAngle(*view), **more)


def use(plates, cameras, at=(0, 0, 0), turns=None):
    product = replace(make(box("a", -10, -10, 10, 10, -10, 10), box("b", 50, 0, 60, 10, 0, 10)), plates=tuple(plates))
    position = np.tile(np.array(at, dtype=float), (len(cameras), 1))
    seen = [camera.project(place)[0] for camera, place in zip(cameras, position, strict=True)]
    scale = np.array([float(camera.scale_at(place)) for camera, place in zip(cameras, position, strict=True)])
    ones, none = np.ones(len(cameras)), (None,) * len(cameras)
    track = PartTrack("a", position[:1], (Key(0, 0.0),), position, np.array(seen), scale, ones, none)
    points = {part.id: hull_points(build_solid(part.slabs, part.offset)) for part in product.parts}
    uses = plan_plates(product, RATE, cameras, [track], points, turns or {})
    return uses, product


def orbit(*azimuths, elevation=0.0, px_per_mm=10.0):
    return [orthographic_camera(azimuth, elevation, (0, 0, 0), px_per_mm, FULL) for azimuth in azimuths]


def table(frames, per_frame, **more):
    return plate("a", frames=frames, turntable=Turntable((0.0, 1.0, 0.0), 0.0, per_frame), **more)


def test_a_turntable_follows_the_orbit():
    # By hand: the camera walks 0, 10, 20 degrees to the right, so the table shows 0, -10, -20: photographs of -2
    # degrees a frame are 0, 5, 10.
    (one,), _ = use([table((0, 20), -2.0)], orbit(0, 10, 20))
    assert one.plate_frame == (0, 5, 10)
    assert one.step_degrees == pytest.approx(10)
    assert one.parallax_px == pytest.approx(0, abs=1e-6)
    assert one.speed_percent is None


def test_the_turn_of_the_part_adds_to_that_of_the_camera():
    # A table about the part's own z, seen along it: 30 degrees of spin are photograph 15 of a 2 degree table.
    spun = plate("a", frames=(0, 179), turntable=Turntable((0.0, 0.0, 1.0), 0.0, 2.0))
    (one,), _ = use([spun], orbit(0, 0), turns={"a": np.array([0.0, 30.0])})
    assert one.plate_frame == (0, 15)
    assert one.parallax_px == pytest.approx(0, abs=1e-6)


def test_a_still_under_an_orbit_costs_parallax():
    # By hand: a corner 10 mm before the axis goes 10 sin 30 = 5 mm aside; the far corner (10, 10) of a square seen
    # from 30 degrees lies at 10 cos 30 - 10 sin 30 or 10 cos 30 + 10 sin 30, 3.66 mm beyond 10, or 6.34 mm short.
    (one,), product = use([plate("a")], orbit(0, 30))
    assert one.plate_frame == (None, None)
    assert one.parallax_frame == 1
    assert one.parallax_px == pytest.approx(10 * (10 - (10 * np.cos(np.pi / 6) - 5)), abs=1e-6)
    assert one.view_off == pytest.approx(30, abs=1e-5)
    codes = [finding.code for finding in plate_findings("s", (one,), product)[1]]
    assert codes == ["plate-view-differs", "no-plate"]


def test_depth_alone_costs_parallax_under_a_near_camera():
    # By hand: 10 mm before the origin the scale is 100/90 of that at the origin, so the corner at 10 mm lies 1/9 of
    # its 10 mm farther out, in x and in y.
    camera = perspective_camera(0, 0, (0, 0, 0), 100, 50, (36, 20.25), FULL)
    (one,), _ = use([plate("a")], [camera])
    px_per_mm = 50 / 36 * 1920 / 100
    assert one.parallax_px == pytest.approx(np.hypot(1, 1) * 10 / 9 * px_per_mm, rel=1e-9)


def test_the_plate_from_the_nearest_view_is_used():
    (one,), _ = use([plate("a", (90, 0)), plate("a", (20, 0)), plate("a", (0, 0))], orbit(12, 14))
    assert one.plate == 1


def test_of_equal_plates_the_first_is_used():
    (one,), _ = use([plate("a", (30, 0)), plate("a", (-30, 0))], orbit(0))
    assert one.plate == 0


def test_magnification_is_scale_over_scale():
    (one,), product = use([plate("a", px_per_mm=8.0)], orbit(0, px_per_mm=12.0))
    assert one.magnification == pytest.approx(1.5)
    (finding, _) = plate_findings("s", (one,), product)[1]
    assert finding.code == "plate-enlarged"
    assert "150 %" in finding.what
    assert "12.0 px per mm" in finding.what


def test_a_missing_angle_stops_the_shot_by_name():
    (one,), product = use([table((0, 10), -2.0)], orbit(0, 10, 30, 40))
    assert one.plate_frame == (0, 5, None, None)
    (finding,) = plate_findings("burst", (one,), product)[0]
    assert finding.code == "angle-missing"
    assert "frames 2 to 3 (from -30.0 degrees)" in finding.what
    assert "0 to -20 degrees" in finding.why


def test_a_film_at_sixty_runs_at_forty_percent():
    (one,), _ = use([plate("a", frames=(1, 100), frame_rate=(60, 1))], orbit(0, 0, 0))
    assert one.plate_frame == (1, 2, 3)
    assert one.speed_percent == pytest.approx(40)


def test_without_plates_there_is_nothing_to_say():
    uses, product = use([], orbit(0))
    assert uses == ()
    assert plate_findings("s", uses, product) == ([], [])


def test_a_plate_of_another_side_is_left_aside():
    # The camera stands 31 to 60 degrees aside of where the plate was shot; at 30 it would still be shown.
    assert use([plate("a")], orbit(30, 60))[0] != ()
    uses, product = use([plate("a")], orbit(31, 60))
    assert uses == ()
    aside, bare = plate_findings("s", uses, product)[1]
    assert (aside.code, bare.code) == ("plate-of-other-side", "no-plate")
    assert '"a"' in aside.what
    assert '"b"' in bare.what
    # One that does show the side is taken instead.
    (one,) = use([plate("a"), plate("a", (50, 0))], orbit(31, 60))[0]
    assert one.plate == 1
