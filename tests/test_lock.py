"""Locks (G10): approved tracks stay to the last digit; late parts are solved around them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from mesh_referee import pairs, worst_overlap
from small_assemblies import FRONT, TURNED, box, insert, make, stack

from choreo.compile import compile_film, take_apart
from choreo.errors import ChoreoError
from choreo.model.choreography import Choreography, FrameRate, Lock, Orbit, PartMotion, Phase, Pin, Shot
from choreo.passes.keep import still_parts
from choreo.read.project import read_project
from choreo.read.tracks_json import read_tracks
from choreo.write.tracks_json import tracks_text

ROUNDING = 1e-6
"""Cubic mm that two meshes may share by rounding alone."""
MOTION = PartMotion("ease-in-out", 12)
PHASES = (Phase("hold", 4), Phase("explode", 40, 4, MOTION), Phase("hold", 10), Phase("assemble", 40, 4, MOTION))


def film(*shots, lock=None):
    shots = shots or (Shot("front", FRONT, PHASES), Shot("round", TURNED, PHASES[:3], Orbit(15.0, 0.0)))
    return Choreography("assembly.json", FrameRate(24), (1280, 720), (0.05,) * 4, 12.0, 0.5, shots, lock=lock)


def approve(assembly, choreography):
    """Tracks as a file holds them, and as they are read again."""
    text = tracks_text(compile_film(assembly, choreography).tracks)
    return text, read_tracks(text)


def tracks_of(text):
    """Each part of each shot as the file spells it."""
    shots = json.loads(text)["shots"]
    return {(shot["name"], part["id"]): json.dumps(part) for shot in shots for part in shot["parts"]}


def cameras_of(text):
    return [shot["camera"]["matrix"] for shot in json.loads(text)["shots"]]


def with_part(assembly, *parts, joints=()):
    return replace(assembly, parts=(*assembly.parts, *parts), joints=(*assembly.joints, *joints))


LATE = box("badge", -24, -14, -12, -6, 14, 16)
LATE_JOINT = insert("badge", "lid", (0, 0, 1))


def test_a_late_part_changes_no_digit_of_what_is_locked():
    before, approved = approve(stack(), film())
    made = compile_film(with_part(stack(), LATE, joints=[LATE_JOINT]), film(lock=Lock("a")), approved=approved)
    after = tracks_text(made.tracks)
    found = tracks_of(after)
    for key, spelt in tracks_of(before).items():
        assert found[key] == spelt
    assert cameras_of(after) == cameras_of(before)
    for shot in made.tracks.shots:
        badge = next(track for track in shot.parts if track.id == "badge")
        assert len(badge.route) > 1
        volume, pair, time = worst_overlap(
            pairs(with_part(stack(), LATE, joints=[LATE_JOINT])), shot.parts, shot.frames, 4
        )
        assert volume <= ROUNDING, (pair, time)


def test_without_the_lock_the_same_change_moves_everything():
    # So the first test would fail if nothing were kept.
    before, _ = approve(stack(), film())
    after = tracks_text(compile_film(with_part(stack(), LATE, joints=[LATE_JOINT]), film()).tracks)
    found = tracks_of(after)
    assert any(found[key] != spelt for key, spelt in tracks_of(before).items())


def test_compiling_what_is_locked_whole_changes_nothing():
    before, approved = approve(stack(), film())
    again = tracks_text(compile_film(stack(), film(lock=Lock("a")), approved=approved).tracks)
    assert tracks_of(again) == tracks_of(before)


def test_only_the_shots_and_parts_that_are_named_are_kept():
    before, approved = approve(stack(), film())
    quick = tuple(replace(phase, default=PartMotion("linear", 8)) for phase in PHASES)
    shots = (Shot("front", FRONT, quick), Shot("round", TURNED, quick[:3], Orbit(15.0, 0.0)))
    lock = Lock("a", shots=("front",), parts=("lid", "base"))
    after = tracks_of(tracks_text(compile_film(stack(), film(*shots, lock=lock), approved=approved).tracks))
    old = tracks_of(before)
    assert after["front", "lid"] == old["front", "lid"]
    assert after["front", "knob"] != old["front", "knob"]
    assert after["round", "lid"] != old["round", "lid"]


def test_the_body_stays_the_body_whatever_comes_late():
    # Alone, the block would be the body: it is larger than all the rest together.
    _, approved = approve(stack(), film())
    late = replace(with_part(stack(), box("block", -15, -10, 15, 10, -200, 0)), joints=())
    assert take_apart(late).removal.body == "block"
    assert take_apart(late, still=still_parts(Lock("a"), approved, late.ids)).removal.body == "base"


def test_approved_moves_that_lie_in_no_phase_any_more_are_wrong_input():
    _, approved = approve(stack(), film())
    moved = (Phase("hold", 20), Phase("explode", 24, 4, MOTION), *PHASES[2:])
    with pytest.raises(ChoreoError) as error:
        compile_film(stack(), film(Shot("front", FRONT, moved), lock=Lock("a")), approved=approved)
    assert error.value.exit_code == 2
    assert error.value.findings[0].code == "lock-phases"


def test_where_nothing_fits_around_the_lock_the_least_unlocking_is_said():
    # By hand: the knob, and the lid below it, are approved to rise early and fast. A cap that comes late lies on the
    # knob and takes 24 of 40 frames: it is in the knob's way, and the knob then in the lid's. Neither alone helps.
    shot = Shot("round", TURNED, PHASES[:3])
    _, approved = approve(stack(), film(shot))
    capped = with_part(stack(), box("cap", -5, -5, 5, 5, 20, 24), joints=[insert("cap", "knob", (0, 0, 1))])
    slow = replace(PHASES[1], parts={"cap": PartMotion("linear", 24)})
    late = replace(shot, phases=(PHASES[0], slow, PHASES[2]))
    with pytest.raises(ChoreoError) as error:
        compile_film(capped, film(late, lock=Lock("a")), approved=approved)
    assert error.value.exit_code == 1
    said = error.value.findings[-1]
    assert said.code == "lock-too-tight"
    assert '"knob" and "lid" unlocked' in said.what
    assert "Smaller sets" not in said.what
    # What it says is true: with both unlocked there is a film, with one there is none.
    assert compile_film(capped, film(late, lock=Lock("a", parts=("base",))), approved=approved)
    for parts in (("base", "lid"), ("base", "knob")):
        with pytest.raises(ChoreoError):
            compile_film(capped, film(late, lock=Lock("a", parts=parts)), approved=approved)


def test_no_room_in_the_approved_picture_is_said():
    _, approved = approve(stack(), film(Shot("front", FRONT, PHASES[:3])))
    huge = box("huge", -300, -200, 300, 200, -12, -2)
    with pytest.raises(ChoreoError) as error:
        compile_film(
            with_part(stack(), huge), film(Shot("front", FRONT, PHASES[:3]), lock=Lock("a")), approved=approved
        )
    said = error.value.findings[-1]
    assert said.code == "lock-too-tight"
    assert "not even with all its parts unlocked" in said.what


def test_pins_and_positions_agree_at_the_ends():
    _, approved = approve(stack(), film())
    made = compile_film(with_part(stack(), LATE, joints=[LATE_JOINT]), film(lock=Lock("a")), approved=approved)
    for shot in made.tracks.shots:
        for track in shot.parts:
            np.testing.assert_array_equal(track.position[0], 0)


def test_a_part_that_is_gone_is_passed_over():
    before, approved = approve(stack(), film())
    fewer = make(*stack().parts[:2], joints=stack().joints[:1])
    after = tracks_of(tracks_text(compile_film(fewer, film(lock=Lock("a")), approved=approved).tracks))
    assert after == {key: spelt for key, spelt in tracks_of(before).items() if key[1] != "knob"}


def test_a_pinned_late_part_obeys_its_pin():
    _, approved = approve(stack(), film(Shot("front", FRONT, PHASES[:3])))
    shot = Shot("front", FRONT, PHASES[:3], pins={"badge": Pin(travel_mm=9.0)})
    made = compile_film(with_part(stack(), LATE, joints=[LATE_JOINT]), film(shot, lock=Lock("a")), approved=approved)
    badge = next(track for track in made.tracks.shots[0].parts if track.id == "badge")
    assert badge.route[-1][2] == pytest.approx(9.0)


def test_the_demo_of_a_late_part_keeps_every_digit_that_was_approved():
    folder = Path(__file__).parents[1] / "demo_assemblies" / "headlamp_late_part"
    project = read_project(folder)
    made = compile_film(project.assembly, project.choreography, approved=project.approved)
    before, after = (folder / "approved.tracks.json").read_text(), tracks_text(made.tracks)
    found = tracks_of(after)
    assert set(found) - set(tracks_of(before)) == {("burst", "weight"), ("return", "weight")}
    assert all(found[key] == spelt for key, spelt in tracks_of(before).items())
    assert cameras_of(after) == cameras_of(before)
    for shot in made.tracks.shots:
        volume, pair, time = worst_overlap(pairs(project.assembly), shot.parts, shot.frames, 1)
        assert volume <= ROUNDING, (pair, time)
