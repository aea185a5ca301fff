"""Whole compiles of small invented products at the edges of what the formats allow."""

import json

import numpy as np
import pytest

from choreo.cli import main
from choreo.compile import compile_film
from choreo.errors import ChoreoError
from choreo.read.project import read_project

HOLD = '[[shot.phase]]\nkind = "hold"\nframes = 6\n'
EXPLODE = '[[shot.phase]]\nkind = "explode"\nframes = 60\n'
ASSEMBLE = '[[shot.phase]]\nkind = "assemble"\nframes = 60\n'
PLAN = '{ projection = "orthographic" }'
OBLIQUE = '{ projection = "perspective", azimuth = 35, elevation = 20 }'


def part(name, z, outline, holes=(), lift=0):
    return {
        "id": name,
        "label": name.title(),
        "offset": [0, 0, lift],
        "slabs": [{"outline": outline, "holes": list(holes), "z": z}],
    }


def rectangle(w, h):
    return [[-w, -h], [w, -h], [w, h], [-w, h]]


TRAY = part("tray", [0, 4], rectangle(30, 20))
TRAY["slabs"].append({"outline": rectangle(30, 20), "holes": [rectangle(20, 10)], "z": [4, 14]})
CELL = part("cell", [0, 8], rectangle(18, 9), lift=4)
LID = part("lid", [0, 3], rectangle(30, 20), lift=14)


def project(folder, phases, parts=(TRAY, CELL, LID), view=PLAN, defaults="", shot=""):
    folder.mkdir(exist_ok=True)
    whole = {"format": "choreo/assembly", "version": 1, "name": "Edge (invented)", "parts": list(parts)}
    (folder / "assembly.json").write_text(json.dumps(whole))
    head = 'format = "choreo/choreography"\nversion = 1\nframe_rate = "24"\nresolution = [1280, 720]\n'
    (folder / "choreography.toml").write_text(
        f'{head}[defaults]\n{defaults}\n[[shot]]\nname = "a"\nview = {view}\n{shot}\n{phases}'
    )
    return folder


def film(folder, *arguments, **options):
    found = read_project(project(folder, *arguments, **options))
    return compile_film(found.assembly, found.choreography)


def codes(raised):
    return [finding.code for finding in raised.value.findings]


@pytest.mark.parametrize("view", [PLAN, OBLIQUE, '{ projection = "perspective", azimuth = 10, elevation = 90 }'])
@pytest.mark.parametrize("easing", ["linear", "steps(4)", "linear(0, 0.6, 0.4, 1, 0.8, 1)", "min-jerk"])
def test_any_view_and_easing_compiles_and_is_proved(tmp_path, view, easing, capsys):
    folder = project(tmp_path / "p", HOLD + EXPLODE + HOLD, view=view, defaults=f'easing = "{easing}"')
    assert main(["compile", str(folder), "--prove"]) == 0, capsys.readouterr().err


def test_a_part_alone_stays_where_it_is(tmp_path):
    (track,) = film(tmp_path, HOLD + EXPLODE, parts=[TRAY]).tracks.shots[0].parts
    assert not track.position.any()


def test_a_shot_that_only_holds_has_one_order_and_no_motion(tmp_path):
    shot = film(tmp_path, HOLD).tracks.shots[0]
    assert len(shot.masking.orders) == 1
    assert not any(track.position.any() for track in shot.parts)


def test_an_easing_that_jumps_at_once_is_not_taken_for_a_part_at_rest(tmp_path):
    shot = film(tmp_path, ASSEMBLE, defaults='easing = "steps(4, jump-start)"').tracks.shots[0]
    # A quarter of the way is gone on the very first frame of the first part that goes home (W3C: jump-start).
    first = min(shot.parts, key=lambda track: track.keys[0].frame if len(track.keys) > 1 else 10**6)
    at = first.keys[0].frame
    assert np.linalg.norm(first.position[at]) < np.linalg.norm(first.route[-1]) or len(first.route) > 2


def test_an_overshoot_on_a_burst_stays_in_the_frame(tmp_path):
    film(tmp_path, EXPLODE, view=PLAN, defaults='easing = "cubic-bezier(0.34, 1.56, 0.64, 1)"')


def test_an_overshoot_into_the_body_is_refused_with_its_depth(tmp_path):
    with pytest.raises(ChoreoError, match="mm into") as raised:
        film(tmp_path, ASSEMBLE, defaults='easing = "cubic-bezier(0.34, 1.56, 0.64, 1)"')
    assert "overshoot-collides" in codes(raised)
    assert raised.value.exit_code == 1


def test_a_camera_inside_the_product_is_refused(tmp_path):
    with pytest.raises(ChoreoError) as raised:
        film(tmp_path, EXPLODE, view='{ projection = "perspective", distance_mm = 10 }')
    assert codes(raised) == ["camera-too-near"]


def test_a_pinned_part_that_rests_in_the_way_is_named(tmp_path):
    pin = EXPLODE + "[shot.phase.part.lid]\ntravel_mm = 10\n"
    with pytest.raises(ChoreoError, match='"lid" rests where "cell" has to pass') as raised:
        film(tmp_path, pin, view=OBLIQUE)
    assert codes(raised) == ["rests-in-the-way"]


def test_a_press_fit_slides_out_and_an_undeclared_one_is_wrong(tmp_path):
    tight = part("cell", [0, 8], rectangle(20.1, 9), lift=4)
    with pytest.raises(ChoreoError) as raised:
        film(tmp_path / "no", EXPLODE, parts=[TRAY, tight])
    assert (codes(raised), raised.value.exit_code) == (["overlap-at-rest"], 2)
    folder = project(tmp_path / "yes", EXPLODE, parts=[TRAY, tight])
    whole = json.loads((folder / "assembly.json").read_text())
    joint = {"kind": "insert", "part": "cell", "into": "tray", "axis": [0, 0, 1], "fit": "press", "press_mm": 0.2}
    (folder / "assembly.json").write_text(json.dumps({**whole, "joints": [joint]}))
    assert main(["compile", str(folder), "--prove"]) == 0


def test_a_part_that_slides_and_then_lifts_has_a_bent_route(tmp_path):
    # A button under a plate with a keyhole: a slot as wide as its neck, and a hole as wide as its foot.
    plate = part("plate", [4, 6], rectangle(40, 20), lift=0)
    keyhole = [[-20, -3], [8, -3], [8, -9], [28, -9], [28, 9], [8, 9], [8, 3], [-20, 3]]
    plate["slabs"][0]["holes"] = [keyhole]
    plate["slabs"].append({"outline": rectangle(40, 20), "z": [-2, 0]})
    plate["slabs"].append({"outline": rectangle(40, 20), "holes": [rectangle(38, 18)], "z": [0, 4]})
    button = part("button", [0.5, 3.5], [[-20, -7], [-6, -7], [-6, 7], [-20, 7]])
    button["slabs"].append({"outline": [[-15, -2], [-11, -2], [-11, 2], [-15, 2]], "z": [3.5, 9]})
    folder = project(tmp_path / "keyhole", EXPLODE + HOLD, parts=[plate, button], view=OBLIQUE)
    assert main(["compile", str(folder), "--prove"]) == 0
    tracks = json.loads((folder / "out" / "tracks.json").read_text())
    (route,) = [track["route"] for track in tracks["shots"][0]["parts"] if track["id"] == "button"]
    assert len(route) >= 3
    assert route[1][0] > 13  # at least until its foot, 14 mm long, lies in the hole from 8 to 28
    assert route[1][2] == pytest.approx(0, abs=1)


@pytest.mark.parametrize("orbit", ["", "orbit = { azimuth = 40 }"])
def test_the_report_says_how_far_the_camera_stands_and_how_large_the_product_is(tmp_path, orbit):
    # Pinhole by hand: 50 mm on a sensor 36 mm wide, 1280 px: 1777.8 px; at 800 mm that is 2.222 px a mm.
    view = "{ projection = 'perspective', azimuth = 20, focal_mm = 50, distance_mm = 800 }"
    shot = film(tmp_path, HOLD, view=view, shot=orbit).report.shots[0]
    assert shot.distance_mm == pytest.approx(800)
    assert shot.px_per_mm == pytest.approx(50 / 36 * 1280 / 800)
