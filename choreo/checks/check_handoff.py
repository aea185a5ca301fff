"""The hand-off proved by corners: where the still lies over a part, every corner of it is where the still has it.

Each corner of each slab is set where the tracks have the part, turned as it turns, put through the frame's camera, and
moved on the screen as its plate is moved into register; then the same once more with the part assembled and its plate
as it is at that end of the shot. It shares nothing with the passes: no hull, no ramp, no frame at which a part settles.
Cheap, so it runs after every compile; what it finds is a defect of ours.
"""

from __future__ import annotations

import numpy as np

from choreo.checks.check_tracks import BrokenPromiseError
from choreo.model.assembly import Assembly, Part
from choreo.model.choreography import Handoff
from choreo.model.plan import Floats
from choreo.model.tracks import PartTrack, ShotTracks

_ROUNDING = 1e-6
"""px: tracks hold positions to 1e-10 mm."""


def check_handoff(shot: ShotTracks, assembly: Assembly, asked: Handoff | None) -> None:
    """Raise unless the still lies over parts only while they are home, and over the whole only while all are.

    Parameters
    ----------
    shot : ShotTracks
    assembly : Assembly
    asked : Handoff or None
        None: then no still may show at all.

    Raises
    ------
    BrokenPromiseError
        A corner is off by more than ``handoff_px`` while the still shows there; the still lies over a single part on a
        frame whose camera is not that of the end; its opacity is in two minds whether it comes or goes.

    """
    whole = shot.hero_opacity
    if asked is None:
        _promise(not whole.any() and not shot.hero_parts, "no still without a hand-off")
        return
    for track in shot.parts:
        row = shot.hero_parts.get(track.id, whole)
        _promise(bool((row >= whole).all()), f"{track.id}: the whole still lies over it as well")
        turns = np.flatnonzero(np.diff(row) > 0)
        _promise(not turns.size or bool((np.diff(row)[turns[0] :] >= 0).all()), f"{track.id}: the still comes once")
        for frame in np.flatnonzero(row > 0).tolist():
            leaving = bool((row[: frame + 1] > 0).all()) and not (np.diff(row[: frame + 1]) > 0).any()
            end = 0 if leaving else shot.frames - 1
            if not leaving:
                _promise(bool((row[frame:] > 0).all()), f"{track.id}: the still stays")
            if row[frame] > whole[frame]:
                _promise(np.array_equal(shot.cameras[frame], shot.cameras[end]), f"{track.id}: the camera stands")
            if _is_away(track, frame, end):
                off = _off(assembly.part(track.id), track, shot.cameras[frame], frame, end)
                _promise(off <= asked.handoff_px + _ROUNDING, f"{track.id} is {off:.3f} px off beneath the still")


def _is_away(track: PartTrack, frame: int, end: int) -> bool:
    return (
        bool(track.position[frame].any())
        or (track.turn is not None and bool(track.turn[frame] % 360 != 0))
        or (track.register is not None and not np.array_equal(track.register[frame], track.register[end]))
    )


def _off(part: Part, track: PartTrack, camera: Floats, frame: int, end: int) -> float:
    corners = np.array(
        [(x, y, z) for slab in part.slabs for ring in (slab.outline, *slab.holes) for x, y in ring for z in slab.z]
    )
    turn = 0.0 if track.turn is None else float(track.turn[frame])
    # 0 counts as the part's own origin: plates are moved about where that is seen.
    corners = np.vstack([np.zeros(3), corners])
    now = _seen(_spun(corners, turn) + part.offset + track.position[frame], camera)
    home = _seen(corners + part.offset, camera)
    if track.register is not None:
        now, home = _moved(now, track.register[frame]), _moved(home, track.register[end])
    return float(np.hypot(*(now - home)[1:].T).max())


def _spun(corners: Floats, degrees: float) -> Floats:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.asarray(corners @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]))


def _seen(points: Floats, camera: Floats) -> Floats:
    rows = np.column_stack([points, np.ones(len(points))]) @ camera.T
    return np.asarray(rows[:, :2] / rows[:, 2:])


def _moved(seen: Floats, register: Floats) -> Floats:
    x, y, growth, turn = register
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    about = seen[0]
    return np.asarray((seen - about) @ np.array([[c, s], [-s, c]]) * growth + about + (x, y))


def _promise(kept: bool, what: str) -> None:
    if not kept:
        raise BrokenPromiseError(what)
