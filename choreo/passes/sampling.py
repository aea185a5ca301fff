"""Turn routes and moves into tracks: keys of progress, and positions at whole frames.

In:  cameras, routes, moves of one shot      Out: tuple of PartTrack

The route knows no time and the progress law no geometry; here the two meet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from choreo.geometry.cameras.camera import Camera, track_on_screen
from choreo.model.choreography import Shot
from choreo.model.plan import Floats, Move
from choreo.model.tracks import Key, PartTrack, Spin
from choreo.motion.law import keys, progress, progress_law
from choreo.motion.path import position
from choreo.motion.spin import turn_at


def sample_tracks(
    shot: Shot,
    ids: Sequence[str],
    origins: Mapping[str, Floats],
    cameras: Sequence[Camera],
    routes: Mapping[str, Floats],
    moves: Sequence[Move],
    spins: Mapping[str, Spin] | None = None,
) -> tuple[PartTrack, ...]:
    """Return one track a part, in the order of `ids`.

    Parameters
    ----------
    shot : Shot
        For its length.
    ids : sequence of str
        Part ids.
    origins : mapping of part id to (3,) array
        Where each part's origin lies when assembled, mm.
    cameras : sequence of Camera
        One a frame.
    routes : mapping of part id to (k, 3) array
        mm.
    moves : sequence of Move
        All moves of the shot.
    spins : mapping of part id to Spin, optional
        Who turns on the way.

    Returns
    -------
    tuple of PartTrack
        Positions are ``route(progress)`` at whole frames, to the last digit.

    """
    frames = np.arange(shot.frames, dtype=np.float64)
    tracks = []
    for part in ids:
        own = sorted((move for move in moves if move.part == part), key=lambda move: move.start)
        law = progress_law(own)
        way = progress(law, frames)
        places = position(routes[part], way)
        screen, scale = track_on_screen(cameras, origins[part] + places)
        found = keys(law) or (Key(0, 0.0),)
        opacity = np.ones(shot.frames)
        spin = (spins or {}).get(part)
        turn = None if spin is None else turn_at(spin, way)
        blank = (None,) * shot.frames
        tracks.append(PartTrack(part, routes[part], found, places, screen, scale, opacity, blank, spin, turn))
    return tuple(tracks)
