"""The hero still takes over each part as it comes home, and keeps it until shortly before it leaves.

In:  tracks and masks of one shot, opacity of the whole still      Out: opacity of the still over single parts

A still shows more of a part than the part: shadows and reflections of what lies beside it, and edges a pixel wide that
are half its neighbour's. So over a part's own pixels it may show as soon as that part, and all that will show next to
it, is where the still has it, whatever else still flies. Over all that is no part's own it waits for the whole
hand-off. Both go by the same number of equal steps.

While the camera moves, and for a frame or two after it (between frames it is led through its neighbours), the still
lies right on no part for longer than an instant, so nothing is taken over early. A part that never leaves has no
arrival of its own; where nothing beside it has one either, it goes with the last. Where all come home on one frame,
nobody is before the others, and the still comes in over all at once, at the end of the hold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from choreo.geometry.cameras.away import off_still_px
from choreo.geometry.cameras.camera import camera_from_matrix
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.layout.approved import Kept
from choreo.geometry.solids.solid import Solid
from choreo.geometry.solids.turned import Turns
from choreo.geometry.visibility.shown import shown_regions, side_by_side
from choreo.model.assembly import Vector
from choreo.model.choreography import Shot
from choreo.model.plan import Floats
from choreo.model.report import StillOver
from choreo.model.tracks import Masking, PartTrack

_BESIDE_PX = 8.0
"""px of the frame: what is nearer than this to each other when all is assembled lies side by side. A shadow may reach
farther, but as a rule it falls on what touches the part that casts it, or lies beyond a gap as narrow as this."""
_CAMERA_REACH = 2
"""Frames: between two frames a camera goes through the one before and the one after them."""


@dataclass(frozen=True, eq=False)
class PartHandoff:
    """How the still lies over single parts."""

    opacity: Mapping[str, Floats] = field(default_factory=dict)
    """(frames,), 0 to 1, nowhere less than the whole still's, of parts for which it is more on some frame."""
    over: Mapping[str, StillOver] = field(default_factory=dict)
    """Of every part, where the shot hands over."""
    whole: StillOver | None = None
    """Of all together."""


def hand_over_parts(
    shot: Shot,
    solids: Mapping[str, Solid],
    offsets: Mapping[str, Vector],
    cameras: Floats,
    parts: Sequence[PartTrack],
    hero_opacity: Floats,
    masking: Masking,
    turns: Mapping[str, Turns] = MappingProxyType({}),
    kept: Kept | None = None,
) -> PartHandoff:
    """Return the opacity of the still over each part of a shot.

    At an end that stands assembled it rises by ``1 / shot.handoff.frames`` a frame, from the first frame from which on
    the part and those next to it, and their plates with all that moves them into register, are within
    ``shot.handoff.handoff_px`` of their places for good; at a beginning it is mirrored. Nowhere is it less than the
    opacity of the whole still, and for parts that are hidden when all is assembled it is that.

    Parameters
    ----------
    shot : Shot
    solids : mapping of part id to Solid
        In their assembled places, mm.
    offsets : mapping of part id to (3,)
        Their origins, mm.
    cameras : (frames, 3, 4) array
    parts : sequence of PartTrack
        With their corrections, where the shot asks for them.
    hero_opacity : (frames,) array
        Of the whole still.
    masking : Masking
        Of the shot.
    turns : mapping of part id to Turns
        Of the parts that spin.
    kept : Kept, optional
        What is locked: the still stays over those parts as it was approved, as long as it comes over the whole as it
        did then, and they are home wherever it lies over them.

    """
    asked = shot.handoff
    if asked is None:
        return PartHandoff()
    out = {track.id: hero_opacity for track in parts}
    ends = []
    for begins in shot.assembled_ends:
        frame, order = (0, 1) if begins else (len(cameras) - 1, -1)
        off = {
            t.id: off_still_px(
                solids[t.id], np.array(offsets[t.id]), cameras, t.position, turns.get(t.id), t.register, frame
            )
            for t in parts
        }
        beside = _beside(solids, cameras[frame], masking, frame)
        end = _End(order, off, beside, _stood(cameras[::order]))
        ends.append(end)
        if asked.each_part:
            for part, ramp in _ramps(end, asked.handoff_px, asked.frames).items():
                out[part] = np.maximum(out[part], ramp[::order])
    if kept is not None and kept.hero_opacity is not None and np.array_equal(kept.hero_opacity, hero_opacity):
        for part in kept.tracks:
            row = kept.hero_parts.get(part, hero_opacity)
            if _still_holds(row, hero_opacity, part, ends, asked.handoff_px):
                out[part] = row
    more = {part: row for part, row in out.items() if bool((row != hero_opacity).any())}
    over = {part: _over([part], row, ends) for part, row in out.items()}
    return PartHandoff(more, over, _over(list(out), hero_opacity, ends))


@dataclass(frozen=True, eq=False)
class _End:
    """One end of a shot at which it stands assembled."""

    order: int
    """1 for the beginning, -1 for the end: the step by which frames are counted from it."""
    off: Mapping[str, Floats]
    """(frames,) px, of each part."""
    beside: Mapping[str, tuple[str, ...]]
    """What shows next to each part that shows."""
    stood: int
    """For how many frames from here the camera stands."""

    def home(self, part: str, limit: float) -> int:
        """Return for how many frames from here a part stays within a limit."""
        return _run(self.off[part][:: self.order] <= limit)


def _beside(solids: Mapping[str, Solid], camera: Floats, masking: Masking, frame: int) -> dict[str, tuple[str, ...]]:
    view = camera_from_matrix(camera)
    outlines = {part: silhouettes(solid, view, np.zeros((1, 3)))[0] for part, solid in solids.items()}
    regions = shown_regions(outlines, masking, frame)
    beside = side_by_side(regions, _BESIDE_PX)
    return {part: near for part, near in beside.items() if not regions[part].is_empty}


def _ramps(end: _End, limit: float, steps: int) -> dict[str, Floats]:
    """Opacities counted from the end on, of parts that show; none where all come home together."""
    frames = len(next(iter(end.off.values())))
    home = {part: min(count, end.stood) for part in end.off if (count := end.home(part, limit)) < frames}
    if not home or end.stood < steps:
        return {}
    last = min(home.values())
    rooms = {
        part: min((home[name] for name in (part, *near) if name in home), default=last)
        for part, near in end.beside.items()
    }
    if all(room == last for room in rooms.values()):
        return {}
    k = np.arange(frames)
    return {part: np.clip(1 - (k - (room - steps)) / steps, 0.0, 1.0) for part, room in rooms.items()}


def _stood(cameras: Floats) -> int:
    """For how many frames from the first one on the camera stands, and is not led through one that does not."""
    stands = _run((cameras == cameras[0]).all(axis=(1, 2)))
    return stands if stands == len(cameras) else max(stands - _CAMERA_REACH, 0)


def _run(true: np.ndarray) -> int:
    false = np.flatnonzero(~true)
    return int(false[0]) if false.size else len(true)


def _still_holds(row: Floats, hero_opacity: Floats, part: str, ends: Sequence[_End], limit: float) -> bool:
    """Whether an approved opacity may stay: it lies over the part only where one that is made now might."""
    if row.shape != hero_opacity.shape or bool((row < hero_opacity).any()):
        return False
    early = row > hero_opacity
    for end in ends:
        near = (part, *end.beside.get(part, ()))
        room = min(end.stood, _run(row[:: end.order] > 0), *(end.home(name, limit) for name in near))
        early[:: end.order][:room] = False
    return not early.any()


def _over(parts: Sequence[str], row: Floats, ends: Sequence[_End]) -> StillOver:
    first = last = None
    worst = 0.0
    for end in ends:
        run = _run(row[:: end.order] > 0)
        worst = max(worst, *(float(end.off[part][:: end.order][:run].max(initial=0.0)) for part in parts))
        if end.order > 0:
            last = run - 1
        else:
            first = len(row) - run
    return StillOver(first, last, worst)
