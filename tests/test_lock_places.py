"""What is locked takes no room that it does not need: late parts rest around it wherever there is a place."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import shapely
from mesh_referee import pairs, worst_overlap
from small_assemblies import TURNED, box, insert, make, stack
from small_tracks import small_tracks

from choreo import timed_shot
from choreo.compile import compile_film
from choreo.errors import ChoreoError, Finding, no_solution
from choreo.geometry.cameras.camera import camera_from_matrix
from choreo.geometry.layout.approved import Kept
from choreo.model.choreography import Choreography, FrameRate, Lock, Orbit, PartMotion, Phase, Shot
from choreo.read.tracks_json import read_tracks
from choreo.write.tracks_json import tracks_text

ROUNDING = 1e-6
"""Cubic mm that two meshes may share by rounding alone."""
GAP = 24.0
MOTION = PartMotion("cubic-bezier(0.3, 0, 0.1, 1)", 20)
PHASES = (Phase("explode", 60, 4, MOTION, {"lid": replace(MOTION, delay=6)}), Phase("hold", 12))
LID = insert("lid", "tin", (0, 0, 1))


def tin(*late):
    """An open tin with a lid on it; both are 60 mm wide, so that the lid passes along the tin's sides."""
    return make(
        replace(box("tin", -30, -20, 30, 20, 0, 2), slabs=TIN),
        box("lid", -30, -20, 30, 20, 12, 15),
        *late,
        joints=[LID],
    )


TIN = (
    *box("tin", -30, -20, 30, 20, 0, 2).slabs,
    *box("tin", -30, -20, 30, 20, 2, 12, (-28, -18, 28, 18)).slabs,
)
LABEL = box("label", -31, -8, -30, 8, 3, 9)
SOAP = box("soap", -20, -12, 20, 12, 2, 10)


def film(phases=PHASES, lock=None):
    shot = Shot("burst", TURNED, phases)
    return Choreography("assembly.json", FrameRate(24), (1920, 1080), (0.05,) * 4, GAP, 2.5, (shot,), lock=lock)


@pytest.fixture(scope="module")
def approved():
    return read_tracks(tracks_text(compile_film(tin(), film()).tracks))


def made(approved, late, lock, phases=PHASES):
    return compile_film(tin(late), film(phases, lock), approved=approved).tracks.shots[0]


def route(shot, part):
    return next(track.route for track in shot.parts if track.id == part)


def check(assembly, shot):
    """By meshes, and by the corners on the screen: nothing overlaps, and all gaps are there."""
    volume, pair, time = worst_overlap(pairs(assembly), shot.parts, shot.frames, 4)
    assert volume <= ROUNDING, (pair, time)
    camera, hulls = camera_from_matrix(shot.cameras[-1]), []
    for track in shot.parts:
        slabs = assembly.part(track.id).slabs
        corners = [(*point, z) for slab in slabs for point in slab.outline for z in slab.z]
        hulls.append(shapely.MultiPoint(camera.project(np.array(corners) + track.position[-1])[0]).convex_hull)
    gaps = [one.distance(other) for k, one in enumerate(hulls) for other in hulls[:k]]
    assert min(gaps) >= GAP - 0.05


def test_a_late_part_rests_where_it_would_without_the_lock(approved):
    # It lies against the side of the tin: the lid passes within its clearance, but has passed when the label is there.
    locked, free = made(approved, LABEL, Lock("a")), made(approved, LABEL, Lock("a", parts=("tin",)))
    np.testing.assert_allclose(route(locked, "label"), route(free, "label"), atol=1e-6)
    np.testing.assert_array_equal(route(locked, "lid"), route(read := approved.shots[0], "lid"))
    np.testing.assert_array_equal(locked.cameras, read.cameras)
    check(tin(LABEL), locked)


def test_what_rests_in_the_way_of_all_places_on_the_axis_is_gone_around(approved):
    # On its axis the soap could go no farther than the lid, and no place before that is clear of both.
    shot = made(approved, SOAP, Lock("a"))
    soap = route(shot, "soap")
    assert np.hypot(*soap[-1][:2]) > 1.0
    check(tin(SOAP), shot)


def test_where_waiting_is_not_to_be_had_late_parts_keep_out_of_all_ways(approved, monkeypatch):
    # The label's place on its axis lies within the lid's clearance; a place beside does not.
    timed = timed_shot._time_kept

    def no_waiting(*given, ways_free):
        if ways_free:
            raise no_solution(Finding("too-little-time", "Nobody can wait for the lid."))
        return timed(*given, ways_free=False)

    asked = made(approved, LABEL, Lock("a"))
    monkeypatch.setattr(timed_shot, "_time_kept", no_waiting)
    shot = made(approved, LABEL, Lock("a"))
    assert np.abs(route(asked, "label")[-1, :2]).max() == 0.0
    assert route(shot, "label")[-1, 0] <= -2.5
    check(tin(LABEL), shot)


def test_what_comes_out_where_it_was_approved_keeps_the_digits(approved):
    shot = made(approved, LABEL, Lock("a", parts=("tin",)))
    before = next(track for track in approved.shots[0].parts if track.id == "lid")
    after = next(track for track in shot.parts if track.id == "lid")
    np.testing.assert_array_equal(after.route, before.route)
    np.testing.assert_array_equal(after.position[-1], before.position[-1])
    np.testing.assert_array_equal(after.screen[-1], before.screen[-1])


@pytest.mark.parametrize(("away", "same"), [(9e-7, True), (2e-6, False)])
def test_how_near_is_the_same(away, same):
    known = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 50.0]])
    lid = next(track for track in small_tracks().shots[0].parts if track.id == "lid")
    tracks = {"lid": replace(lid, route=known), "longer": replace(lid, route=np.zeros((3, 3)))}
    kept = Kept({}, (), (), tracks)
    new = {"lid": known + np.array([0.0, 0.0, away]), "longer": known, "late": known}
    found = kept.as_approved(new, ["lid", "longer", "late"])
    assert (found["lid"] is known) == same
    assert found["longer"] is new["longer"]
    assert kept.as_approved(new, ["late"])["lid"] is new["lid"]


def test_what_is_said_of_a_gap_under_a_lock_is_true(approved):
    # The lid was approved 24 px from the tin: with 30 px asked for nothing fits around it, with 24 px it does.
    with pytest.raises(ChoreoError) as error:
        compile_film(tin(LABEL), replace(film(lock=Lock("a")), gap_px=30.0), approved=approved)
    first, last = error.value.findings[0], error.value.findings[-1]
    assert first.remedy.startswith(f"It fits with gap_px = {GAP:g}. Or: unlock")
    for said in (first, last):
        assert '"label" a way of its own (along, travel_mm)' in said.remedy
        assert "distance_mm" not in said.remedy
    assert compile_film(tin(LABEL), replace(film(lock=Lock("a")), gap_px=GAP), approved=approved)


@pytest.mark.parametrize("parts", [("base",), ("base", "lid")])
def test_what_is_free_and_comes_out_as_approved_is_the_same_to_the_last_digit(parts):
    again, before = freed(parts)
    assert json.loads(again)["shots"] == json.loads(before)["shots"]


def freed(parts):
    """Tracks of a lid between base and knob before a camera that turns: with these alone locked, and as approved."""
    phases = (Phase("explode", 40, 4, PartMotion("ease-in-out", 12)), Phase("hold", 10))
    made = Shot("round", replace(TURNED, azimuth=40.0), phases, Orbit(15.0, 0.0))
    whole = replace(film(), shots=(made,))
    text = tracks_text(compile_film(stack(), whole).tracks)
    lock = replace(whole, lock=Lock("a", parts=parts))
    return tracks_text(compile_film(stack(), lock, approved=read_tracks(text)).tracks), text
