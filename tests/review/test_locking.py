"""Which shots can be locked; all by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from small_assemblies import film, phase, shot
from small_tracks import small_tracks

from choreo.errors import ChoreoError
from choreo.model.choreography import Lock
from choreo.model.sign_off import Makings, Mark, SectionNow
from choreo.model.tracks import FilmSection
from choreo.review.locking import locked_tracks, plan_lock
from choreo.review.standing import standings

TRACKS = small_tracks()
"""Two shots of nine frames; sections are frames 0 to 3 and 4 to 17 of the film."""
SHOTS = (shot(phase("hold", 9), name="burst"), shot(phase("hold", 9), name="return"))
FILM = film(*SHOTS)


def stand(*approved, sections=TRACKS.sections):
    now = [SectionNow(one.name, one.first, one.last, one.name, Makings()) for one in sections]
    marks = [Mark(name, "approved", "Ada", "2026-03-01", name, 1) for name in approved]
    return standings(now, marks)


def test_a_shot_needs_all_its_sections():
    plan = plan_lock(FILM, TRACKS, stand("opening"), None)
    assert plan.shots == ()
    assert plan.left_out == {
        "burst": ('section "rest": never marked',),
        "return": ('section "rest": never marked',),
    }
    cut = (FilmSection("one", 0, 3), FilmSection("two", 4, 8), FilmSection("three", 9, 17))
    plan = plan_lock(FILM, TRACKS, stand("one", "two", sections=cut), None)
    assert (plan.shots, plan.kept, list(plan.left_out)) == (("burst",), (), ["return"])
    assert plan_lock(FILM, TRACKS, stand("opening", "rest"), None).shots == ("burst", "return")


def test_a_phase_without_a_length_cannot_be_locked():
    fit = shot(replace(phase("explode", 9), fit=True), name="burst")
    plan = plan_lock(film(fit, SHOTS[1]), TRACKS, stand("opening", "rest"), None)
    assert plan.shots == ("return",)
    assert plan.left_out["burst"] == ('a phase is as long as it must be (frames = "fit"): write its frames, 9 in all',)


def test_what_is_locked_already_stays_locked():
    locked = replace(FILM, lock=Lock("approved.tracks.json", ("return",)))
    plan = plan_lock(locked, TRACKS, stand("opening"), TRACKS)
    assert (plan.shots, plan.kept, list(plan.left_out)) == (("return",), ("return",), ["burst"])
    # A lock that names no shots keeps all that the approved tracks hold.
    everything = replace(FILM, lock=Lock("approved.tracks.json"))
    assert plan_lock(everything, TRACKS, stand(), TRACKS).kept == ("burst", "return")


def test_a_lock_on_single_parts_is_widened_only_where_all_is_signed_off():
    parts = replace(FILM, lock=Lock("approved.tracks.json", ("return",), ("lid",)))
    with pytest.raises(ChoreoError, match="lock-parts"):
        plan_lock(parts, TRACKS, stand("opening"), TRACKS)
    assert plan_lock(parts, TRACKS, stand("opening", "rest"), TRACKS).shots == ("burst", "return")


def test_approved_tracks_hold_what_is_locked_and_the_sections_that_lie_in_it():
    whole = locked_tracks(TRACKS, ("burst", "return"))
    assert (whole.shots, whole.sections) == (TRACKS.shots, TRACKS.sections)
    some = locked_tracks(TRACKS, ("burst",))
    assert [one.name for one in some.shots] == ["burst"]
    assert some.sections == (FilmSection("opening", 0, 3),)
