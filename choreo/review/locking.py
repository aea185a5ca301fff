"""Which shots can be locked: those of which all sections are approved as they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from choreo.errors import Finding, wrong_input
from choreo.model.choreography import Choreography, Lock, Shot
from choreo.model.sign_off import APPROVED
from choreo.model.tracks import ShotTracks, Tracks
from choreo.review.standing import Standing
from choreo.review.standing_words import state_words


@dataclass(frozen=True)
class LockPlan:
    """What will be locked."""

    shots: tuple[str, ...]
    """In the order of the film; those that were locked before are among them."""
    kept: tuple[str, ...]
    """Of them, those that stay locked as they were though they are not signed off."""
    left_out: Mapping[str, tuple[str, ...]]
    """Why each other shot is not locked, in words."""


def plan_lock(
    choreography: Choreography, tracks: Tracks, standings: Sequence[Standing], approved: Tracks | None
) -> LockPlan:
    """Return what can be locked.

    Parameters
    ----------
    choreography : Choreography
    tracks : Tracks
        Of the film as it is.
    standings : sequence of Standing
        Of all its sections.
    approved : Tracks or None
        What the present lock names.

    Raises
    ------
    ChoreoError
        Exit 2: the present lock keeps single parts of a shot that is not signed off, and one lock cannot keep those
        and whole shots.

    """
    lock = choreography.lock
    locked = _locked(lock, approved)
    why = {shot.name: _reasons(shot, made, standings) for shot, made in _pairs(choreography, tracks)}
    kept = [name for name, reasons in why.items() if reasons and name in locked]
    if kept and lock is not None and lock.parts:
        raise wrong_input(_mixed(kept[0]))
    shots = tuple(name for name, reasons in why.items() if not reasons or name in kept)
    left_out = {name: reasons for name, reasons in why.items() if name not in shots}
    return LockPlan(shots, tuple(kept), left_out)


def locked_tracks(tracks: Tracks, shots: Sequence[str]) -> Tracks:
    """Return the tracks of some shots alone, with those sections that lie in them wholly."""
    made = tuple(shot for shot in tracks.shots if shot.name in shots)
    frames = {frame for shot in made for frame in range(shot.start_frame, shot.start_frame + shot.frames)}
    sections = tuple(one for one in tracks.sections if frames.issuperset(range(one.first, one.last + 1)))
    return replace(tracks, shots=made, sections=sections)


def _pairs(choreography: Choreography, tracks: Tracks) -> list[tuple[Shot, ShotTracks]]:
    return list(zip(choreography.shots, tracks.shots, strict=True))


def _locked(lock: Lock | None, approved: Tracks | None) -> tuple[str, ...]:
    if lock is None or approved is None:
        return ()
    return lock.shots or tuple(shot.name for shot in approved.shots)


def _reasons(shot: Shot, made: ShotTracks, standings: Sequence[Standing]) -> tuple[str, ...]:
    inside = [
        one
        for one in standings
        if one.section.first < made.start_frame + made.frames and made.start_frame <= one.section.last
    ]
    reasons = [f'section "{one.section.name}": {state_words(one)}' for one in inside if one.state != APPROVED]
    if any(phase.fit for phase in shot.phases):
        reasons.append(f'a phase is as long as it must be (frames = "fit"): write its frames, {made.frames} in all')
    return tuple(reasons)


def _mixed(shot: str) -> Finding:
    return Finding(
        "lock-parts",
        f'The present lock keeps single parts of shot "{shot}", which is not signed off.',
        why="One lock keeps the same parts of all its shots.",
        remedy="Sign that shot off first, or take the lock out of the choreography.",
    )
