"""Say what one shot keeps of the tracks that were approved.

In:  one shot, its lock, the approved tracks      Out: Kept, or None where nothing of the shot is locked

Cameras come with the tracks: the places on the screen that were approved hang on them. Moves are read back from
the keys, so that new parts can be timed around them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from choreo.errors import Finding, wrong_input
from choreo.geometry.cameras.camera import camera_from_matrix
from choreo.geometry.layout.approved import Kept
from choreo.model.choreography import Lock, Shot
from choreo.model.plan import Move
from choreo.model.tracks import PartTrack, ShotTracks, Tracks


def keep_approved(shot: Shot, lock: Lock | None, approved: Tracks | None, ids: Sequence[str]) -> Kept | None:
    """Return what the lock keeps of one shot.

    Parameters
    ----------
    shot : Shot
        As the choreography has it now.
    lock : Lock or None
        What is to be kept.
    approved : Tracks or None
        The tracks that the lock names.
    ids : sequence of str
        All part ids of the assembly; approved parts that are gone since are passed over.

    Returns
    -------
    Kept or None
        None: nothing of this shot is locked.

    Raises
    ------
    ChoreoError
        Exit 2, ``lock-phases``: an approved move does not lie inside a phase of its kind any more.

    """
    made = _approved_shot(shot, lock, approved)
    if made is None or lock is None:
        return None
    tracks = {track.id: track for track in made.parts if track.id in ids and track.id in (lock.parts or ids)}
    tracks = {part: tracks[part] for part in ids if part in tracks}
    if not tracks:
        return None
    moves = tuple(move for track in tracks.values() for move in _moves(shot, track))
    # A camera made from its matrix may differ in the last digit: the approved one is put back.
    cameras = tuple(replace(camera_from_matrix(matrix), matrix=matrix) for matrix in made.cameras)
    known = {track.id: track for track in made.parts}
    return Kept(tracks, cameras, moves, known, made.hero_opacity, made.hero_parts)


def still_parts(lock: Lock | None, approved: Tracks | None, ids: Sequence[str]) -> tuple[str, ...]:
    """Return the parts that stand still in all approved shots in which anything moves; the body is one of them."""
    if lock is None or approved is None:
        return ()
    moving = [shot for shot in approved.shots if any(len(track.route) > 1 for track in shot.parts)]
    still = [{track.id for track in shot.parts if len(track.route) == 1} for shot in moving]
    return tuple(part for part in ids if still and all(part in parts for parts in still))


def _approved_shot(shot: Shot, lock: Lock | None, approved: Tracks | None) -> ShotTracks | None:
    if lock is None or approved is None or (lock.shots and shot.name not in lock.shots):
        return None
    return next((made for made in approved.shots if made.name == shot.name), None)


def _moves(shot: Shot, track: PartTrack) -> list[Move]:
    moves = []
    for key, after in pairwise(track.keys):
        if key.value == after.value:
            continue
        kind = "explode" if after.value > key.value else "assemble"
        phase = _phase_of(shot, key.frame, after.frame, kind)
        if phase is None:
            raise wrong_input(_outside(shot.name, track.id, kind, key.frame, after.frame))
        span = (min(key.value, after.value), max(key.value, after.value))
        frames = after.frame - key.frame
        moves.append(
            Move(track.id, phase, key.frame, frames, key.easing or "linear", kind, key.frame, "as approved", span)
        )
    return moves


def _phase_of(shot: Shot, first: int, last: int, kind: str) -> int | None:
    for index, (start, phase) in enumerate(zip(shot.starts, shot.phases, strict=True)):
        if phase.kind == kind and start <= first and last < start + phase.frames:
            return index
    return None


def _outside(shot: str, part: str, kind: str, first: int, last: int) -> Finding:
    return Finding(
        code="lock-phases",
        what=f'In shot "{shot}" the approved move of "{part}" runs from frame {first} to frame {last}; no {kind} phase '
        "holds all of it.",
        why="A lock keeps moves frame for frame, and each move belongs to one phase.",
        remedy="Give the phases of this shot the lengths that were approved, or leave the shot out of the lock.",
    )
