"""Tracks from a file: what a compile never writes is not taken for sound; each fault made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_assemblies import film, phase, shot, stack

from choreo.checks.sound_tracks import are_sound
from choreo.compile import compile_film
from choreo.model.plan import Region
from choreo.model.tracks import FilmSection, Holdout

IDS = ("base", "lid", "knob")
TRIANGLE = Region(((0.0, 0.0), (9.0, 0.0), (0.0, 9.0)))


@pytest.fixture(scope="module")
def tracks():
    shots = (shot(phase("explode", 40), name="out"), shot(phase("assemble", 40), name="back"))
    return compile_film(stack(), film(*shots)).tracks


def with_shot(tracks, **changes):
    return replace(tracks, shots=(replace(tracks.shots[0], **changes), *tracks.shots[1:]))


def held_by(tracks, part, behind):
    masking = tracks.shots[0].masking
    return with_shot(tracks, masking=replace(masking, holdouts=(Holdout(part, 0, 1, (TRIANGLE,), (behind,)),)))


def test_what_was_compiled_is_sound(tracks):
    assert are_sound(tracks, IDS)
    assert are_sound(replace(tracks, sections=()), IDS)
    assert are_sound(held_by(tracks, "lid", "knob"), IDS)
    assert are_sound(with_shot(tracks, hero_parts={"lid": np.linspace(0, 1, 40)}), IDS)


@pytest.mark.parametrize(
    "change",
    [
        lambda t: replace(t, shots=()),
        lambda t: replace(t, shots=(t.shots[0], t.shots[0])),
        lambda t: replace(t, shots=t.shots[::-1]),
        lambda t: replace(t, sections=t.sections[1:]),
        lambda t: replace(t, sections=(FilmSection("a", 0, 50), FilmSection("b", 50, 79))),
        lambda t: replace(t, sections=(FilmSection("a", 0, 50), FilmSection("a", 51, 79))),
        lambda t: with_shot(t, start_frame=-40),
        lambda t: with_shot(t, cameras=np.zeros((40, 3, 4))),
        lambda t: with_shot(t, cameras=np.full((40, 3, 4), np.inf)),
        lambda t: with_shot(t, parts=t.shots[0].parts[1:]),
        lambda t: with_shot(t, masking=replace(t.shots[0].masking, orders=())),
        lambda t: with_shot(t, hero_parts={"nobody": np.ones(40)}),
        lambda t: with_shot(t, hero_parts={"lid": np.ones(39)}),
        lambda t: with_shot(t, hero_parts={"lid": np.full(40, 1.1)}),
        lambda t: with_shot(t, hero_opacity=np.ones(40), hero_parts={"lid": np.full(40, 0.9)}),
        lambda t: with_shot(t, hero_parts={"lid": np.full(40, np.nan)}),
        lambda t: held_by(t, "nobody", "lid"),
        lambda t: held_by(t, "lid", "nobody"),
    ],
)
def test_what_no_compile_writes_is_not(tracks, change):
    assert not are_sound(change(tracks), IDS)


def test_tracks_of_other_parts_are_not(tracks):
    assert not are_sound(tracks, ("base", "lid", "cap"))
