"""Where each part stands at several times of a shot: positions, places on the screen, scales, a part in a few calls.

Between frames, positions come from keys and route, exactly as on frames. The camera is only known on frames;
its matrix goes through them as a Catmull-Rom curve, which for an orbit of a degree a frame strays by less than
a millionth of the picture's width.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from choreo.geometry.cameras.camera import Camera, camera_from_matrix
from choreo.model.plan import Floats
from choreo.model.tracks import PartTrack, ShotTracks
from choreo.motion.law import evaluate_keys
from choreo.motion.path import position
from choreo.motion.spin import turn_at


@dataclass(frozen=True, eq=False)
class Standing:
    """One part at an instant."""

    time: float
    """Frames from the start of the shot."""
    camera: Camera
    """Through which it is seen."""
    shift: Floats
    """(3,) displacement from assembled, mm."""
    screen: tuple[float, float]
    """Its origin, px."""
    scale: float
    """px per mm there."""
    opacity: float
    plate_frame: float | None
    turn: float = 0.0
    """Degrees about its own z, counter-clockwise seen from +z."""
    register: tuple[float, float, float, float] = (0.0, 0.0, 1.0, 0.0)
    """How its plate is moved to meet the hero still: x and y, px; growth; degrees clockwise."""


@dataclass(frozen=True, eq=False)
class View:
    """How a shot is seen at a time."""

    time: float
    """Frames from the start of the shot."""
    frame: int
    """The nearest frame."""
    matrix: Floats
    """(3, 4) of the camera, as the tracks have it."""
    camera: Camera


def views_at(shot: ShotTracks, times: Sequence[float], size: float = 1.0) -> list[View]:
    """Return how a shot is seen at some times; while the camera stands still it is one and the same camera."""
    out: list[View] = []
    for time in times:
        frame = int(np.clip(np.floor(time + 0.5), 0, shot.frames - 1))
        matrix = _matrix_at(shot.cameras, time)
        same = bool(out) and np.array_equal(out[-1].matrix, matrix)
        out.append(View(time, frame, matrix, out[-1].camera if same else camera_from_matrix(scaled(matrix, size))))
    return out


def standings(
    shot: ShotTracks, views: Mapping[str, Sequence[View]], origins: Mapping[str, Floats], size: float = 1.0
) -> dict[str, list[Standing]]:
    """Return how each part stands in each of its views.

    Parameters
    ----------
    shot : ShotTracks
    views : mapping of part id to sequence of View
        One view or more for each part of the shot.
    origins : mapping of part id to (3,) array
        Where each part's origin lies when assembled, mm.
    size : float
        Pixels of the picture for each pixel of the tracks.

    """
    ways = {track.id: _way_at(track, views[track.id]) for track in shot.parts}
    every = [view for track in shot.parts for view in views[track.id]]
    points = np.concatenate([origins[track.id] + ways[track.id][0] for track in shot.parts])
    seen = zip(every, *(column.tolist() for column in _seen(every, points)), strict=True)
    out: dict[str, list[Standing]] = {}
    for track in shot.parts:
        registers = _registers(track, [view.time for view in views[track.id]], size)
        out[track.id] = [
            Standing(
                view.time,
                view.camera,
                shift,
                (x, y),
                scale,
                float(track.opacity[view.frame]),
                track.plate_frame[view.frame],
                turn,
                register,
            )
            for shift, turn, register, (view, x, y, scale) in zip(*ways[track.id], registers, seen, strict=False)
        ]
    return out


def _way_at(track: PartTrack, views: Sequence[View]) -> tuple[Floats, list[float]]:
    """Displacements (n, 3) and turns."""
    times = np.array([view.time for view in views])
    frames = np.array([view.frame for view in views])
    on_frame = times == frames
    shifts = track.position[frames]
    # On a frame the rows tell where a part is; how far along it is counts only where it turns.
    if track.spin is None and on_frame.all():
        return shifts, [0.0] * len(times)
    way = evaluate_keys(track.keys, times)
    shifts = np.where(on_frame[:, None], shifts, position(track.route, way))
    return shifts, [0.0] * len(times) if track.spin is None else turn_at(track.spin, way).tolist()


def _seen(views: Sequence[View], points: Floats) -> tuple[Floats, Floats, Floats]:
    """Where points (n, 3) land, px, each in its view: x (n,), y (n,), and px per mm there (n,)."""
    m = np.stack([view.camera.matrix for view in views])
    x, y, z = points.T
    # Term by term: a matrix product may round otherwise for other numbers of views.
    u, v, w = (m[:, row, 0] * x + m[:, row, 1] * y + m[:, row, 2] * z + m[:, row, 3] for row in range(3))
    with np.errstate(divide="ignore", invalid="ignore"):
        return u / w, v / w, np.array([view.camera.focal_px for view in views]) / w


def _registers(track: PartTrack, times: Sequence[float], size: float) -> list[tuple[float, float, float, float]]:
    """Straight between frames: a correction is a px or so."""
    if track.register is None:
        return [(0.0, 0.0, 1.0, 0.0)] * len(times)
    frames = np.arange(len(track.register))
    x, y, growth, turn = (np.interp(times, frames, column) for column in track.register.T)
    return list(zip((x * size).tolist(), (y * size).tolist(), growth.tolist(), turn.tolist(), strict=True))


def scaled(matrix: Floats, size: float) -> Floats:
    """Return a camera matrix for a picture of another size."""
    return np.asarray(matrix * np.array([[size], [size], [1.0]]))


@dataclass(frozen=True)
class Way:
    """How a part moves on the screen while the shutter is open."""

    px: float
    """Along its way: of its origin, and where it spins of its farthest point about it."""
    net: tuple[float, float] | None
    """From its first place to its last, px; None where that does not tell how it moves: it turns, or turns back."""


def ways_of(
    shot: ShotTracks,
    frame: int,
    span: float,
    origins: Mapping[str, Floats],
    size: float = 1.0,
    reach: Mapping[str, float] | None = None,
) -> dict[str, Way]:
    """Return how each part moves while the shutter is open for `span` frames.

    Measured along nine instants, so that a part that turns back within a frame counts its way, not its end. `reach`
    says how far a part reaches from its own z axis, mm.
    """
    views = views_at(shot, (frame + np.linspace(-span / 2, span / 2, 9)).tolist(), size)
    found = standings(shot, {track.id: views for track in shot.parts}, origins, size)
    return {part: _way(seen, (reach or {}).get(part, 0.0)) for part, seen in found.items()}


def _way(seen: Sequence[Standing], reach: float) -> Way:
    px = sum(
        math.dist(one.screen, two.screen) + math.radians(abs(two.turn - one.turn)) * reach * max(one.scale, two.scale)
        for one, two in itertools.pairwise(seen)
    )
    first, last = seen[0].screen, seen[-1].screen
    straight = math.dist(first, last) >= _STRAIGHT * px
    return Way(px, (last[0] - first[0], last[1] - first[1]) if straight else None)


_STRAIGHT = 0.95
"""A way that is longer than its ends are apart by more than this share is not straight."""


def _matrix_at(cameras: Floats, time: float) -> Floats:
    """Catmull-Rom through the frames; straight on where the shot has no further frame."""
    base = int(np.clip(np.floor(time), 0, max(len(cameras) - 2, 0)))
    share = time - base
    if share == 0 or len(cameras) == 1:
        return np.asarray(cameras[base])
    two, three = cameras[base], cameras[base + 1]
    one = cameras[base - 1] if base else 2 * two - three
    four = cameras[base + 2] if base + 2 < len(cameras) else 2 * three - two
    if np.array_equal(one, two) and np.array_equal(two, three) and np.array_equal(three, four):
        return np.asarray(two)  # without the rounding of what follows
    if not 0 < share < 1:
        return np.asarray(two + share * (three - two))
    bend = (2 * one - 5 * two + 4 * three - four) * share**2 + (3 * (two - three) + four - one) * share**3
    return np.asarray(two + 0.5 * ((three - one) * share + bend))
