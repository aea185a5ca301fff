"""Where everything stands at an instant of a shot, between frames as well.

Between frames, positions come from keys and route, exactly as on frames. The camera is only known on frames;
its matrix goes through them as a Catmull-Rom curve, which for an orbit of a degree a frame strays by less than
a millionth of the picture's width. Order and holdouts are those of the nearest frame; a holdout goes along with
the part that it follows, as that part's origin and scale on the screen do. What that leaves out is how the
hider's own depths move against each other within half a shutter.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.camera import Camera, camera_from_matrix
from choreo.geometry.regions import NOTHING
from choreo.model.plan import Floats, Region
from choreo.model.tracks import Holdout, PartTrack, ShotTracks
from choreo.motion.law import evaluate_keys
from choreo.motion.path import position
from choreo.motion.spin import turn_at

_NONE = 1e-9
"""Of an opacity: rounding."""


@dataclass(frozen=True, eq=False)
class Standing:
    """One part at an instant."""

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
class Hold:
    """What is left out of one part behind some others."""

    region: BaseGeometry
    behind: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Moment:
    """One instant of a shot."""

    camera: Camera
    parts: Mapping[str, Standing]
    order: tuple[str, ...]
    """Back to front."""
    holds: Mapping[str, tuple[Hold, ...]]
    hero: float
    """Opacity of the hero still over the whole."""
    atop: Mapping[str, float] = field(default_factory=dict)
    """By how much the still lies atop of single parts before it goes over the whole, above 0 and up to 1."""
    ends: Mapping[str, int] = field(default_factory=dict)
    """Of these parts: the frame of the shot, its first or last, on which all is as the still has it."""
    lit: Moment | None = None
    """The instant whose shading of solids this one takes; None: its own."""


def moment_at(shot: ShotTracks, time: float, origins: Mapping[str, Floats], size: float = 1.0) -> Moment:
    """Return how a shot stands at a time.

    Parameters
    ----------
    shot : ShotTracks
    time : float
        Frames from the start of the shot; up to half a frame before and after the shot is allowed.
    origins : mapping of part id to (3,) array
        Where each part's origin lies when assembled, mm.
    size : float
        Pixels of the picture for each pixel of the tracks.

    """
    frame = int(np.clip(np.floor(time + 0.5), 0, shot.frames - 1))
    on_frame = time == frame
    camera = camera_from_matrix(scaled(_matrix_at(shot.cameras, time), size))
    parts = {}
    for track in shot.parts:
        # On a frame the rows tell where a part is; how far along it is counts only where it turns.
        way = np.zeros(1) if on_frame and track.spin is None else evaluate_keys(track.keys, [time])
        shift = track.position[frame] if on_frame else position(track.route, way)[0]
        place = origins[track.id] + shift
        screen = camera.project(place)[0]
        parts[track.id] = Standing(
            shift,
            (float(screen[0]), float(screen[1])),
            float(camera.scale_at(place)),
            float(track.opacity[frame]),
            track.plate_frame[frame],
            0.0 if track.spin is None else float(turn_at(track.spin, way)[0]),
            _register_at(track, time, size),
        )
    order = next(span.back_to_front for span in shot.masking.orders if span.first <= frame <= span.last)
    hero = float(np.interp(time, np.arange(shot.frames), shot.hero_opacity))
    atop = _atop(shot, time)
    ends = {part: _end(shot, part, time) for part in atop}
    return Moment(camera, parts, order, _holds(shot, frame, on_frame, parts, size), hero, atop, ends)


def _end(shot: ShotTracks, part: str, time: float) -> int:
    """What has been there from the first frame on belongs to that, all else to the last one."""
    so_far = shot.hero_parts[part][: max(int(np.floor(time)), 0) + 1]
    return 0 if bool((so_far > 0).all()) else shot.frames - 1


def _atop(shot: ShotTracks, time: float) -> dict[str, float]:
    """By u atop and by g over the whole a part is covered by 1 - (1 - u) (1 - g): its own opacity.

    Between a frame without the still on a part and one with it the part may not be home yet: nothing of it then.
    """
    if not shot.hero_parts:
        return {}
    before = int(np.clip(np.floor(time), 0, shot.frames - 1))
    after, share = min(before + 1, shot.frames - 1), min(max(time - before, 0.0), 1.0)

    def at(row: Floats) -> float:
        return float(row[before] + (row[after] - row[before]) * share)

    whole = at(shot.hero_opacity)
    there = {
        part: row for part, row in shot.hero_parts.items() if min(row[before], row[after if share else before]) > 0
    }
    more = {part: at(row) - whole for part, row in there.items()}
    return {part: min(by / (1 - whole), 1.0) for part, by in more.items() if by > _NONE}


def _register_at(track: PartTrack, time: float, size: float) -> tuple[float, float, float, float]:
    """Straight between frames: a correction is a px or so."""
    if track.register is None:
        return (0.0, 0.0, 1.0, 0.0)
    frames = np.arange(len(track.register))
    x, y, growth, turn = (float(np.interp(time, frames, column)) for column in track.register.T)
    return x * size, y * size, growth, turn


def scaled(matrix: Floats, size: float) -> Floats:
    """Return a camera matrix for a picture of another size."""
    return np.asarray(matrix * np.array([[size], [size], [1.0]]))


def px_moved(
    shot: ShotTracks,
    frame: int,
    span: float,
    origins: Mapping[str, Floats],
    size: float = 1.0,
    reach: Mapping[str, float] | None = None,
) -> float:
    """Return the longest way on the screen that a part goes while the shutter is open, px.

    That of its origin, and where it spins the way of its farthest point about it; `reach` says how far that is, mm.
    Measured along nine instants, so that a part that turns back within a frame counts its way, not its end.
    """
    far = reach or {}
    times = frame + np.linspace(-span / 2, span / 2, 9)
    seen = [moment_at(shot, float(time), origins, size) for time in times]
    ways = [
        sum(
            _way(one.parts[track.id], two.parts[track.id], far.get(track.id, 0.0))
            for one, two in itertools.pairwise(seen)
        )
        for track in shot.parts
    ]
    return max(ways, default=0.0)


def _way(one: Standing, two: Standing, reach: float) -> float:
    turned = math.radians(abs(two.turn - one.turn)) * reach * max(one.scale, two.scale)
    return math.dist(one.screen, two.screen) + turned


def _matrix_at(cameras: Floats, time: float) -> Floats:
    """Catmull-Rom through the frames; straight on where the shot has no further frame."""
    base = int(np.clip(np.floor(time), 0, max(len(cameras) - 2, 0)))
    share = time - base
    if share == 0 or len(cameras) == 1:
        return np.asarray(cameras[base])
    two, three = cameras[base], cameras[base + 1]
    one = cameras[base - 1] if base else 2 * two - three
    four = cameras[base + 2] if base + 2 < len(cameras) else 2 * three - two
    if not 0 < share < 1:
        return np.asarray(two + share * (three - two))
    bend = (2 * one - 5 * two + 4 * three - four) * share**2 + (3 * (two - three) + four - one) * share**3
    return np.asarray(two + 0.5 * ((three - one) * share + bend))


def _holds(
    shot: ShotTracks, frame: int, on_frame: bool, parts: Mapping[str, Standing], size: float
) -> dict[str, tuple[Hold, ...]]:
    tracks = {track.id: track for track in shot.parts}
    out: dict[str, tuple[Hold, ...]] = {}
    for holdout in shot.masking.holdouts:
        if holdout.first <= frame <= holdout.last:
            region = shapely.union_all([_polygon(each) for each in holdout.region]) if holdout.region else NOTHING
            region = _carried(region, holdout, tracks, frame, None if on_frame else parts, size)
            out[holdout.part] = (*out.get(holdout.part, ()), Hold(region, holdout.behind))
    return out


def _carried(
    region: BaseGeometry,
    holdout: Holdout,
    tracks: Mapping[str, PartTrack],
    frame: int,
    parts: Mapping[str, Standing] | None,
    size: float,
) -> BaseGeometry:
    """A region of a frame at another size, taken along with its hider where that has moved since."""
    if parts is None or not holdout.behind:
        return region if size == 1 else shapely.transform(region, lambda xy: xy * size)
    start, now = tracks[holdout.behind[0]], parts[holdout.behind[0]]
    grown = now.scale / float(start.scale[frame])
    return shapely.transform(region, lambda xy: (xy - start.screen[frame]) * grown + now.screen)


def _polygon(region: Region) -> BaseGeometry:
    polygon = shapely.Polygon(region.outline, region.holes)
    return polygon if polygon.is_valid else shapely.make_valid(polygon)  # rounding may have folded a corner
