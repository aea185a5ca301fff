"""Where everything stands at an instant of a shot, between frames as well; a part may have a time of its own.

Places are those of `standing`. Order and holdouts are those of the nearest frame; a holdout goes along with
the part that it follows, as that part's origin and scale on the screen do. What that leaves out is how the
hider's own depths move against each other within half a shutter.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import Camera
from choreo.geometry.plane.regions import NOTHING
from choreo.model.plan import Floats, Region
from choreo.model.tracks import Holdout, PartTrack, ShotTracks
from choreo.picture.render.standing import Standing, standings, views_at

_NONE = 1e-9
"""Of an opacity: rounding."""


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
    """Return how a shot stands at a time; see `moments_at`."""
    return moments_at(shot, [time], origins, size)[0]


def moments_at(
    shot: ShotTracks,
    times: Sequence[float],
    origins: Mapping[str, Floats],
    size: float = 1.0,
    own: Mapping[str, Sequence[float]] | None = None,
) -> list[Moment]:
    """Return how a shot stands at some times.

    Parameters
    ----------
    shot : ShotTracks
    times : sequence of n float
        Frames from the start of the shot; up to half a frame before and after the shot is allowed.
    origins : mapping of part id to (3,) array
        Where each part's origin lies when assembled, mm.
    size : float
        Pixels of the picture for each pixel of the tracks.
    own : mapping of part id to sequence of n float, optional
        Parts that are shown as they stand at other times, camera and all.

    """
    views = views_at(shot, times, size)
    wanted = {track.id: times if own is None else own.get(track.id, times) for track in shot.parts}
    known = {view.time: view for view in views}
    others = [time for each in wanted.values() for time in each if time not in known]
    known |= {view.time: view for view in views_at(shot, sorted(dict.fromkeys(others)), size)}
    asked = {part: [known[time] for time in dict.fromkeys(each)] for part, each in wanted.items()}
    found = {
        part: {standing.time: standing for standing in each}
        for part, each in standings(shot, asked, origins, size).items()
    }
    holds = _Holds(shot, size)
    out = []
    for number, view in enumerate(views):
        parts = {part: found[part][each[number]] for part, each in wanted.items()}
        frame = view.frame
        order = next(span.back_to_front for span in shot.masking.orders if span.first <= frame <= span.last)
        hero = float(np.interp(view.time, np.arange(shot.frames), shot.hero_opacity))
        atop = _atop(shot, view.time)
        ends = {part: _end(shot, part, view.time) for part in atop}
        out.append(Moment(view.camera, parts, order, holds.at(view.frame, parts), hero, atop, ends))
    return out


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


class _Holds:
    """The holdouts of a shot; what has not moved stays the same object."""

    def __init__(self, shot: ShotTracks, size: float) -> None:
        self._shot, self._size = shot, size
        self._tracks = {track.id: track for track in shot.parts}
        self._regions: dict[int, BaseGeometry] = {}
        self._last: dict[int, tuple[object, Hold]] = {}

    def at(self, frame: int, parts: Mapping[str, Standing]) -> dict[str, tuple[Hold, ...]]:
        out: dict[str, tuple[Hold, ...]] = {}
        for number, holdout in enumerate(self._shot.masking.holdouts):
            if holdout.first <= frame <= holdout.last:
                hold = self._hold(number, holdout, frame, parts)
                out[holdout.part] = (*out.get(holdout.part, ()), hold)
        return out

    def _hold(self, number: int, holdout: Holdout, frame: int, parts: Mapping[str, Standing]) -> Hold:
        hider = parts[holdout.behind[0]] if holdout.behind else None
        now = None if hider is None or hider.time == frame else hider
        key = (frame, None if now is None else (now.screen, now.scale))
        if number not in self._last or self._last[number][0] != key:
            if number not in self._regions:
                pieces = [_polygon(each) for each in holdout.region]
                self._regions[number] = shapely.union_all(pieces) if pieces else NOTHING
            region = _carried(self._regions[number], holdout, self._tracks, frame, now, self._size)
            self._last[number] = key, Hold(region, holdout.behind)
        return self._last[number][1]


def _carried(
    region: BaseGeometry,
    holdout: Holdout,
    tracks: Mapping[str, PartTrack],
    frame: int,
    now: Standing | None,
    size: float,
) -> BaseGeometry:
    """A region of a frame at another size, taken along with its hider where that has moved since."""
    if now is None:
        return region if size == 1 else shapely.transform(region, lambda xy: xy * size)
    start = tracks[holdout.behind[0]]
    grown = now.scale / float(start.scale[frame])
    return shapely.transform(region, lambda xy: (xy - start.screen[frame]) * grown + now.screen)


def _polygon(region: Region) -> BaseGeometry:
    polygon = shapely.Polygon(region.outline, region.holes)
    return polygon if polygon.is_valid else shapely.make_valid(polygon)  # rounding may have folded a corner
