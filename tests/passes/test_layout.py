"""Rest positions and cameras, measured on the parts' true outlines as OpenCV's pinhole shows them."""

import itertools
import re

import numpy as np
import pytest
import shapely
from seen_by_opencv import seen_by, silhouette
from small_assemblies import (
    FRONT,
    TURNED,
    compiled,
    cross,
    drawer,
    film,
    phase,
    shot,
    stack,
    stage,
    there_and_back,
)

from choreo.checks.check_collisions import check_collisions
from choreo.errors import ChoreoError
from choreo.geometry.cameras.camera import camera_from_matrix
from choreo.model.choreography import Orbit, View
from choreo.motion.easing import parse_easing
from choreo.passes.layout import apart_frames, rest_frames

RES = (1920, 1080)
# EBU R 95, 2008, graphics safe at 1920 x 1080: 96 px left and right, 54 px top and bottom; action safe 67.2 and 37.8
# (percentages from public code that names R 95).
GRAPHICS, ACTION = (0.05,) * 4, (0.035,) * 4
INSETS = {GRAPHICS: (96.0, 54.0), ACTION: (67.2, 37.8)}

SIDE = View("orthographic", 90, 0)
ABOVE = View("orthographic", 30, 35)
HEAD_ON = View("perspective", 0, 0, focal_mm=50, sensor_mm=(36, 20.25))
WIDE = View("perspective", 40, 25, focal_mm=24, sensor_mm=(36, 20.25))
SCENES = [
    ("stack from the front", stack, FRONT, None, GRAPHICS),
    ("stack from the side", stack, SIDE, None, ACTION),
    ("stack from above", stack, ABOVE, None, GRAPHICS),
    ("stack head-on, near", stack, HEAD_ON, None, GRAPHICS),
    ("stack, a wide lens", stack, WIDE, None, GRAPHICS),
    ("stack, turning", stack, TURNED, Orbit(60), GRAPHICS),
    ("stack, turning over", stack, View("orthographic", -20, 10), Orbit(20, 40, "ease-in-out"), ACTION),
    ("cross from the front", cross, FRONT, None, GRAPHICS),
    ("cross, turned", cross, TURNED, None, GRAPHICS),
    ("drawer from the front", drawer, FRONT, None, GRAPHICS),
    ("drawer from the side", drawer, SIDE, None, GRAPHICS),
    ("drawer, turning", drawer, TURNED, Orbit(-40), ACTION),
]


def outlines(scene, frame, routes=None):
    """True outlines of all parts at rest on one frame."""
    camera = scene.layout.cameras[frame]
    project = seen_by(scene.shot.view, camera, RES)
    a, e = angles(scene.shot, frame)
    routes = routes or scene.layout.routes
    return {
        part.id: silhouette(part, routes[part.id][-1], lambda points: project(points, a, e))
        for part in scene.assembly.parts
    }


def angles(one, frame):
    """Azimuth and elevation on a frame."""
    if one.orbit is None:
        return one.view.azimuth, one.view.elevation
    way = float(parse_easing(one.orbit.easing).value(frame / (one.frames - 1)))
    return one.view.azimuth + way * one.orbit.azimuth, one.view.elevation + way * one.orbit.elevation


def spare(outline, inset):
    x0, y0, x1, y1 = shapely.bounds(outline)
    return min(x0 - inset[0], y0 - inset[1], RES[0] - inset[0] - x1, RES[1] - inset[1] - y1)


@pytest.fixture(scope="module", params=SCENES, ids=[name for name, *_ in SCENES])
def scene(request):
    _, assembly, view, orbit, safe = request.param
    one = shot(*there_and_back(6), view=view, orbit=orbit)
    made = stage(assembly(), film(one, safe=safe))
    made.inset = INSETS[safe]
    return made


def test_gaps_between_true_outlines_on_every_rest_frame(scene):
    least = np.inf
    for frame in scene.layout.rest_frames:
        seen = outlines(scene, frame)
        for a, b in itertools.combinations(seen, 2):
            apart = shapely.distance(seen[a], seen[b])
            assert apart >= 24 - 0.02, f"{a} and {b} on frame {frame}"
            least = min(least, apart)
    # What is reported is measured between hulls, which hold the outlines: no more than is there.
    assert 24 - 0.02 <= scene.layout.least_gap_px <= least + 0.02


def test_all_is_inside_and_nearly_fills_the_frame(scene):
    least = min(
        spare(one, scene.inset) for frame in scene.layout.rest_frames for one in outlines(scene, frame).values()
    )
    assert least >= -0.02
    # Tight: within 5 % of the frame's width something touches, unless the ways or the assembled product decide.
    ways = min(spare(one, (1, 1)) for one in _along_the_ways(scene))
    whole = min(spare(one, scene.inset) for one in _assembled(scene))
    assert ways >= -1  # the whole way stays in the picture
    assert whole >= -0.02  # and the assembled product in the safe area
    assert min(least, ways, whole) <= 0.05 * RES[0]


def _along_the_ways(scene):
    for frame in (*apart_frames(scene.shot)[::9], *scene.layout.rest_frames):
        for corner in range(3):
            routes = {part: route[: corner + 1] for part, route in scene.layout.routes.items()}
            yield from outlines(scene, frame, routes).values()


def _assembled(scene):
    for frame in range(0, scene.shot.frames, 8):
        yield from outlines(scene, frame, {part: np.zeros((1, 3)) for part in scene.layout.routes}).values()


def test_routes_start_assembled_and_leave_along_their_direction(scene):
    assert set(scene.layout.routes) == set(scene.assembly.ids)
    for part, route in scene.layout.routes.items():
        assert route[0].tolist() == [0, 0, 0]
        if part == scene.body:
            assert len(route) == 1
            continue
        direction = scene.subject.directions[part]
        first = route[1] if np.any(route[1]) else direction
        assert first / np.linalg.norm(first) == pytest.approx(direction, abs=1e-9)


def test_parts_whose_axis_shows_stay_on_it(scene):
    """An axis shows where its image is at least 45 % as long as it is, at every rest frame (arrange.SHOWS)."""
    for part, route in scene.layout.routes.items():
        if part == scene.body:
            continue
        rises = []
        for frame in scene.layout.rest_frames:
            a, e = np.radians(angles(scene.shot, frame))
            forward = -np.array([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)])
            rises.append(np.linalg.norm(np.cross(scene.subject.directions[part], forward)))
        if min(rises) > 0.451:
            assert len(route) == 2
        elif max(rises) < 0.449:
            assert len(route) == 3


@pytest.mark.parametrize(
    ("assembly", "start", "turn"), [(drawer, 0, 90), (stack, 0, 350), (drawer, 60, -150), (stack, -80, 160)]
)
def test_a_long_hold_in_a_wide_turn_is_clear_on_every_frame(assembly, start, turn):
    # Each axis comes to point at the viewer, so parts must spread another way that shows all along the turn.
    view = View("perspective", start, 25, focal_mm=50, sensor_mm=(36, 20.25))
    phases = phase("explode", 6, move=5, stagger=0), phase("hold", 30)
    made = stage(assembly(), film(shot(*phases, view=view, orbit=Orbit(turn))))
    for frame in made.layout.rest_frames:
        seen = outlines(made, frame).values()
        assert min(shapely.distance(a, b) for a, b in itertools.combinations(seen, 2)) >= 24 - 0.02, frame


def test_an_overshoot_stays_in_the_picture():
    # Gaps of 200 px, and an easing that carries each part half its way beyond its rest position.
    easing = "linear(0, 1.5 60%, 1)"
    choreography = film(shot(phase("explode", 40, easing=easing), view=FRONT), gap_px=200)
    tracks = compiled(cross(), choreography).tracks.shots[0]
    project = seen_by(FRONT, camera_from_matrix(tracks.cameras[0]), RES)
    beyond = 0.0
    for track in tracks.parts:
        for at in track.position:
            outline = silhouette(cross().part(track.id), at, lambda points: project(points, 0, 0))
            assert spare(outline, (0, 0)) >= 0
            beyond = min(beyond, spare(outline, (96, 54)))
    assert beyond < -20  # some do leave the safe area on their way


# --- Which frames -------------------------------------------------------------------------------------------------


def test_rest_and_apart_frames_by_hand():
    # hold 3 (0..2), explode 5 (3..7), hold 4 (8..11), assemble 6 (12..17), hold 2 (18..19)
    phases = phase("hold", 3), phase("explode", 5), phase("hold", 4), phase("assemble", 6), phase("hold", 2)
    assert rest_frames(shot(*phases)) == (7, 8, 9, 10, 11, 12)
    assert apart_frames(shot(*phases)) == tuple(range(3, 18))
    # A shot that begins apart rests on its first frames.
    assert rest_frames(shot(phase("hold", 2), phase("assemble", 4), phase("hold", 2))) == (0, 1, 2)
    assert apart_frames(shot(phase("hold", 2), phase("assemble", 4), phase("hold", 2))) == tuple(range(6))
    assert rest_frames(shot(phase("hold", 5))) == apart_frames(shot(phase("hold", 5))) == ()


def test_a_shot_without_moves_shows_the_product_as_large_as_can_be():
    made = stage(stack(), film(shot(phase("hold", 3))))
    least = min(spare(one, (96, 54)) for one in outlines(made, 1).values())
    assert least == pytest.approx(0, abs=1e-6)


# --- Pins -----------------------------------------------------------------------------------------------------------


def test_pins_are_kept_exactly():
    pins = {"knob": ((0, 0, 1), 70.0), "lid": (None, 31.25)}
    made = stage(stack(), film(shot(*there_and_back(), view=ABOVE, pins=pins)))
    assert made.layout.routes["knob"].tolist() == [[0, 0, 0], [0, 0, 70]]
    assert made.layout.routes["lid"].tolist() == [[0, 0, 0], [0, 0, 31.25]]
    # Head-on the pinned length is the lift; the spread leg comes after it.
    made = stage(stack(), film(shot(*there_and_back(), view=FRONT, pins=pins)))
    assert made.layout.routes["knob"][1].tolist() == [0, 0, 70]
    assert made.layout.routes["lid"][1].tolist() == [0, 0, 31.25]


def test_a_pinned_travel_that_is_too_short_says_which_pair_and_by_how_much():
    # From the side z runs across the screen: the lid's top rests at 34 mm, the knob's foot at 34.3 mm. What that is in
    # px, and how much of 24 px is missing, is measured again on the true outlines.
    pins = {"knob": (None, 20.3), "lid": (None, 20.0)}
    choreography = film(shot(*there_and_back(), view=SIDE, pins=pins))
    (finding,) = fails(stack(), choreography)
    assert finding.code == "too-close"
    assert '"lid" and "knob"' in finding.what
    made = stage(stack(), choreography)
    frame = made.layout.rest_frames[0]
    seen = outlines(made, frame)
    apart = shapely.distance(seen["knob"], seen["lid"])
    assert 0 < apart < 24
    assert numbers(finding.what)[:4] == pytest.approx([24 - apart, frame, apart, 24], abs=0.06)


# --- Cameras that are given ------------------------------------------------------------------------------------------


def fails(assembly, choreography):
    with pytest.raises(ChoreoError) as caught:
        compiled(assembly, choreography)
    assert caught.value.exit_code == 1
    return caught.value.findings


def numbers(text):
    return [float(x) for x in re.findall(r"(?<![\w#])\d+(?:\.\d+)?", text)]


def test_a_given_scale_and_target_are_kept():
    view = View("orthographic", 90, 0, px_per_mm=6.0, target=(0.0, 0.0, 30.0))
    made = stage(stack(), film(shot(*there_and_back(), view=view)))
    camera = made.layout.cameras[0]
    assert camera.project(np.array([0.0, 0, 30]))[0] == pytest.approx([960, 540])
    assert np.linalg.norm(camera.matrix[0, :3]) == pytest.approx(6.0)
    for frame in made.layout.rest_frames:
        seen = outlines(made, frame)
        assert min(spare(one, (96, 54)) for one in seen.values()) >= 0
        assert min(shapely.distance(a, b) for a, b in itertools.combinations(seen.values(), 2)) >= 24 - 0.02


def test_a_given_distance_is_kept():
    view = View("perspective", 35, 20, focal_mm=85, sensor_mm=(36, 20.25), distance_mm=900, target=(0.0, 0.0, 20.0))
    made = stage(stack(), film(shot(*there_and_back(), view=view)))
    assert np.linalg.norm(made.layout.cameras[0].position - (0, 0, 20)) == pytest.approx(900)


@pytest.mark.parametrize(("azimuth", "margin"), [(90, 96), (-90, 192)])
def test_a_given_scale_with_too_little_room_at_rest(azimuth, margin):
    # From the side at 20 px a mm, with z running to the left (azimuth 90) or to the right. The knob's top rests at
    # z = 20 + 60, 70 mm from the target: 1400 px from the centre, where the frame ends at 960. By hand.
    view = View("orthographic", azimuth, 0, px_per_mm=20.0, target=(0.0, 0.0, 10.0))
    pins = {"lid": (None, 10.0), "knob": (None, 60.0)}
    choreography = film(shot(*there_and_back(), view=view, pins=pins), safe=(0.05, 0.05, 0.1, 0.05))
    findings = {f.code: f for f in fails(stack(), choreography)}
    assert '"knob" reaches 440.0 px outside the frame' in findings["leaves-frame"].what
    assert f'"knob" rests {440 + margin}.0 px outside the safe area' in findings["outside-safe-area"].what


def test_a_given_scale_with_no_room_head_on():
    # 60 x 40 mm at 20 px a mm is 1200 x 800 px; the lid beside it needs 1000 px more. By hand: none left of 1728.
    view = View("orthographic", 0, 0, px_per_mm=20.0)
    (finding,) = fails(stack(), film(shot(*there_and_back(), view=view)))
    assert finding.code == "no-room"
    assert finding.what.startswith('In shot "test" part "lid" has no place')
    assert "(1728 x 972 px)" in finding.what
    assert "1000 x 600 px" in finding.what
    assert "24 px must stay clear" in finding.what
    # At 60 px a mm the lid alone is larger than the safe area: 50 x 60 - 1728 = 1272 px, 30 x 60 - 972 = 828.
    view = View("orthographic", 0, 0, px_per_mm=60.0)
    (finding,) = fails(stack(), film(shot(*there_and_back(), view=view)))
    assert "1272 px larger than the safe area" in finding.what


def test_the_scale_said_is_one_that_fits():
    # By hand: base and lid side by side take 60 + 50 mm and 24 px of 1728 px: no scale beyond 1704 / 110 = 15.5 does.
    view = View("orthographic", 0, 0, px_per_mm=20.0)
    (finding,) = fails(stack(), film(shot(*there_and_back(60), view=view)))
    assert re.search(r"would reach \d+ px beyond", finding.what)
    scale = float(re.search(r"px_per_mm = (\d+(?:\.\d+)?)", finding.remedy)[1])
    assert 5 < scale < 15.5
    compiled(stack(), film(shot(*there_and_back(60), view=View("orthographic", 0, 0, px_per_mm=scale))))
    fails(stack(), film(shot(*there_and_back(60), view=View("orthographic", 0, 0, px_per_mm=scale * 1.03))))


def test_the_distance_said_is_one_that_fits():
    kind = {"focal_mm": 50, "sensor_mm": (36, 20.25)}
    view = View("perspective", 0, 0, distance_mm=130.0, **kind)
    (finding,) = fails(stack(), film(shot(*there_and_back(60), view=view)))
    assert finding.code == "no-room"
    distance = float(re.search(r"distance_mm = (\d+(?:\.\d+)?)", finding.remedy)[1])
    compiled(stack(), film(shot(*there_and_back(60), view=View("perspective", 0, 0, distance_mm=distance, **kind))))
    fails(stack(), film(shot(*there_and_back(60), view=View("perspective", 0, 0, distance_mm=distance * 0.96, **kind))))


def test_a_given_camera_off_the_middle_of_the_safe_area_is_told_what_it_lacks_itself():
    # No camera could be solved here; but none is asked for, and what lacks is told of the one that is given.
    view = View("orthographic", 0, 0, px_per_mm=10.0)
    (finding, *_) = fails(stack(), film(shot(*there_and_back(60), view=view), safe=(0.6, 0.1, 0.1, 0.1)))
    assert (finding.code, "can be solved" in finding.what) == ("no-room", False)
    assert finding.what.startswith('In shot "test" part "lid" has no place')


def test_the_gap_said_is_one_that_fits():
    (finding, *_) = fails(stack(), film(shot(*there_and_back(60), view=FRONT), gap_px=1900))
    gap = float(re.search(r"gap_px = (\d+(?:\.\d+)?)", finding.remedy)[1])
    assert 100 < gap < 1900
    compiled(stack(), film(shot(*there_and_back(60), view=FRONT), gap_px=gap))


def test_a_camera_inside_the_product_is_refused():
    view = View("perspective", 0, 0, focal_mm=50, sensor_mm=(36, 20.25), distance_mm=8.0)
    findings = fails(stack(), film(shot(*there_and_back(), view=view)))
    assert findings[0].code != "defect"
    assert "camera" in findings[0].what


WIDE = View("perspective", 0, 20, focal_mm=8, sensor_mm=(36, 20.25))


@pytest.mark.parametrize(("gap_px", "view", "orbit"), [(1900, FRONT, None), (16384, WIDE, Orbit(1e-9))])
def test_a_gap_as_wide_as_the_frame_has_no_camera(gap_px, view, orbit):
    # With 16384 px each camera asks for one farther away, without end.
    findings = fails(stack(), film(shot(phase("explode", 12, move=4), view=view, orbit=orbit), gap_px=gap_px))
    assert findings[0].code in {"no-fit", "no-room"}


@pytest.mark.parametrize("view", [FRONT, WIDE], ids=["orthographic", "perspective"])
def test_a_safe_area_without_the_middle_of_the_frame_has_no_solved_camera_and_the_px_said_are_what_lacks(view):
    one = shot(phase("explode", 12, move=4), view=view)
    for top, past in ((0.5, 0.0), (0.6, 108.0)):
        (finding, *_) = fails(stack(), film(one, resolution=(1920, 1080), safe=(0.1, top, 0.1, 0.05)))
        assert finding.code == "no-fit"
        assert f"top edge of the safe area lies {past} px past the middle" in finding.what
    compiled(stack(), film(one, resolution=(1920, 1080), safe=(0.1, 0.4, 0.1, 0.05)))


@pytest.mark.parametrize(("focal_mm", "distance_mm"), [(12, 100.0), (20, 220.0), (50, 300.0)])
def test_a_part_far_into_anothers_outline_is_moved_on_until_it_is_clear(focal_mm, distance_mm):
    # Outlines that overlap are 0 px apart, however deep: with half a px as the gap, steps of the gap lead nowhere.
    view = View("perspective", 20, 0, focal_mm=focal_mm, sensor_mm=(36, 20.25), distance_mm=distance_mm)
    compiled(stack(), film(shot(*there_and_back(60), view=view), gap_px=0.5))


def test_a_search_beside_the_others_that_does_not_end_says_so(monkeypatch):
    monkeypatch.setattr("choreo.geometry.layout.aside._TRIES", 3)
    view = View("perspective", 20, 0, focal_mm=12, sensor_mm=(36, 20.25), distance_mm=100.0)
    (finding, *_) = fails(stack(), film(shot(*there_and_back(60), view=view), gap_px=0.5))
    assert finding.code == "no-room"
    assert re.search(
        r'In shot "\w+" no place beside the other parts was found for part "\w+" in 3 tries.* 0.5 px', finding.what
    )


def test_resolutions_and_uneven_margins():
    # Portrait, with a wide margin below (as where words will stand): nothing rests there.
    one = shot(*there_and_back(8), view=ABOVE)
    made = stage(cross(), film(one, resolution=(1080, 1920), safe=(0.05, 0.05, 0.05, 0.3)))
    camera = made.layout.cameras[0]
    project = seen_by(one.view, camera, (1080, 1920))
    seen = [
        silhouette(part, made.layout.routes[part.id][-1], lambda points: project(points, 30, 35))
        for part in made.assembly.parts
    ]
    x0, y0, x1, y1 = shapely.total_bounds(seen)
    assert min(x0 - 54, 1080 - 54 - x1, y0 - 96, 1920 * 0.7 - y1) >= -0.02


@pytest.mark.parametrize("elevation", [0, 15])
def test_an_orbit_half_around_parts_at_rest(elevation):
    # The frame in the middle sees east and west move at their fullest, the first and the last see no move of theirs.
    half = 180 * 39 / 20  # over 40 frames, so that it is half around over the first 21
    view = View("orthographic", -90, elevation)
    one = shot(phase("hold", 21), phase("assemble", 19, stagger=1, move=8), view=view, orbit=Orbit(half))
    made = compiled(cross(), film(one))
    check_collisions(made.tracks.shots[0], made.apart.solids, 0.05, {}, steps=2)
