"""Parts that spin on their way: laws by hand, films before a mesh library and a z-buffer that turn for themselves."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from mesh_referee import meshes
from small_assemblies import FRONT, TURNED, box, insert, make

from choreo.checks.check_collisions import check_collisions
from choreo.checks.check_masking import check_masking
from choreo.checks.check_tracks import BrokenPromiseError
from choreo.compile import compile_film
from choreo.errors import ChoreoError
from choreo.geometry.solids.turned import turns_of
from choreo.model.choreography import Choreography, FrameRate, Orbit, PartMotion, Phase, Pin, Shot
from choreo.model.tracks import Spin
from choreo.motion.law import evaluate_keys
from choreo.motion.path import position
from choreo.motion.spin import turn_at
from choreo.read.tracks_json import read_tracks
from choreo.write.tracks_json import tracks_text

PHASES = (Phase("hold", 3), Phase("explode", 36, 4, PartMotion("ease-in-out", 14)), Phase("hold", 6))
ROUNDING = 1e-6
"""Cubic mm that two meshes may share by rounding alone."""


AXES = {"bar": (0, 0, 1), "floor": (0, 0, -1), "rod": (0, 0, 1)}


def product():
    """A tray with a bar in a slot that fits it, and a rod beside it; the bar can turn only once it is out."""
    return make(
        box("tray", -30, -20, 30, 20, 0, 12, (-12, -3, 12, 3)),
        box("floor", -30, -20, 30, 20, -4, 0),
        box("bar", -12, -3, 12, 3, 0, 10),
        box("rod", 20, -4, 28, 4, 12, 26),
        joints=[
            insert("bar", "tray", (0, 0, 1)),
            insert("floor", "tray", (0, 0, -1)),
            insert("rod", "tray", (0, 0, 1)),
        ],
    )


def film(view=TURNED, degrees=270.0, orbit=None):
    shot = Shot("out", view, PHASES, orbit, pins={"bar": Pin(spin=degrees)})
    return Choreography("a.json", FrameRate(24), (960, 540), (0.05,) * 4, 12.0, 0.5, (shot,))


def test_the_law_by_hand():
    # u = (p - 0.2) / 0.8; u^2 (3 - 2 u): 0 at 0.2, 1/2 at 0.6, 5/32 at a quarter, 1 from 1 on.
    spin = Spin(360.0, 0.2)
    found = turn_at(spin, [-0.1, 0.0, 0.2, 0.4, 0.6, 1.0, 1.3])
    np.testing.assert_allclose(found, [0, 0, 0, 360 * 5 / 32, 180, 360, 360])


@pytest.mark.parametrize(("view", "orbit"), [(TURNED, None), (TURNED, Orbit(20.0, 0.0)), (FRONT, None)])
def test_a_spinning_film_keeps_its_promises(view, orbit):
    made = compile_film(product(), film(view, orbit=orbit))
    (shot,) = made.tracks.shots
    bar = next(track for track in shot.parts if track.id == "bar")
    # It turns only once it is out of the slot, and rests turned by all of it.
    assert bar.spin.degrees == 270
    assert bar.turn[-1] == pytest.approx(270)
    way = np.linalg.norm(np.diff(bar.route, axis=0), axis=1).sum()
    assert bar.spin.since * way >= 12 - 0.06
    np.testing.assert_allclose(bar.turn, turn_at(bar.spin, evaluate_keys(bar.keys, np.arange(shot.frames))), atol=1e-9)
    offsets = {part.id: part.offset for part in product().parts}
    check_collisions(shot, made.apart.solids, 0.05, {}, steps=4, offsets=offsets)
    positions = {track.id: track.position for track in shot.parts}
    turns = turns_of(shot.parts, offsets)
    broken = check_masking(shot.masking, made.apart.solids, shot.cameras, positions, 12, 400, turns=turns)
    assert [finding for finding in broken if finding.severity == "error"] == []


def test_no_two_meshes_meet_while_one_turns():
    # manifold3d turns and moves the meshes by itself, five instants a frame.
    made = compile_film(product(), film())
    (shot,) = made.tracks.shots
    solid = meshes(product())
    for time in np.arange(0, (shot.frames - 1) * 5 + 1) / 5:
        stood = {}
        for track in shot.parts:
            way = evaluate_keys(track.keys, [time])
            mesh = solid[track.id]
            if track.spin:
                mesh = mesh.rotate((0, 0, float(turn_at(track.spin, way)[0])))
            stood[track.id] = mesh.translate(tuple(position(track.route, way)[0]))
        names = list(stood)
        for i, a in enumerate(names):
            for b in names[i + 1 :]:
                assert (stood[a] ^ stood[b]).volume() <= ROUNDING, (a, b, time)


def test_what_sweeps_past_its_own_outline_waits_for_those_it_would_meet():
    # The vane stands 40 mm beside the tower, but turns about the middle of the deck: its ring goes through it.
    spinning = make(
        box("deck", -30, -30, 30, 30, 0, 4),
        box("tower", -28, -4, -20, 4, 4, 30),
        box("vane", 20, -4, 28, 4, 4, 8),
        joints=[insert("tower", "deck", (0, 0, 1)), insert("vane", "deck", (0, 0, 1))],
    )
    slow, quick = PartMotion("linear", 30), PartMotion("linear", 4)
    phases = (Phase("explode", 60, 0, slow, {"vane": quick}), Phase("hold", 2))
    shot = Shot("out", TURNED, phases, pins={"vane": Pin(spin=720.0)})
    made = compile_film(spinning, replace(film(), shots=(shot,)))
    assert made.apart.removal.order == ("tower", "vane")
    offsets = {part.id: part.offset for part in spinning.parts}
    check_collisions(made.tracks.shots[0], made.apart.solids, 0.05, {}, offsets=offsets)


def test_the_check_sees_a_turn_in_the_slot():
    # The same film, its bar said to turn from the start: it cuts through the tray.
    made = compile_film(product(), film())
    (shot,) = made.tracks.shots
    parts = tuple(replace(t, spin=Spin(270.0, 0.0)) if t.id == "bar" else t for t in shot.parts)
    offsets = {part.id: part.offset for part in product().parts}
    with pytest.raises(BrokenPromiseError, match="bar"):
        check_collisions(replace(shot, parts=parts), made.apart.solids, 0.05, {}, offsets=offsets)


def test_a_film_without_spin_says_nothing_of_turns():
    text = tracks_text(compile_film(product(), film(degrees=0.0)).tracks)
    assert '"turn"' not in text
    assert '"spin"' not in text


def test_tracks_carry_the_turn_there_and_back():
    made = compile_film(product(), film()).tracks
    text = tracks_text(made)
    assert tracks_text(read_tracks(text)) == text
    bar = next(part for part in json.loads(text)["shots"][0]["parts"] if part["id"] == "bar")
    assert bar["spin"]["degrees"] == 270
    assert len(bar["samples"]["turn"]) == made.shots[0].frames


def test_what_never_has_room_to_turn_is_no_solution():
    # The bar may come out by 4 mm only: it stays in its slot.
    pinned = film()
    shot = replace(pinned.shots[0], pins={"bar": Pin(travel_mm=4.0, spin=90.0)})
    with pytest.raises(ChoreoError) as error:
        compile_film(product(), replace(pinned, shots=(shot,)))
    assert error.value.exit_code == 1
    assert "no-room-to-spin" in {finding.code for finding in error.value.findings}
