"""The hero still takes over each part as it comes home, and keeps it until shortly before it leaves.

In:  tracks of one shot, opacity of the whole still      Out: opacity of the still over single parts, where it is more

Over a part's own pixels the still may show as soon as this part is where the still has it, whatever else still flies;
over all that is no part's own it waits for the whole hand-off. Both go by the same number of equal steps. While the
camera moves, and for a frame or two after it (it is led through its neighbours), the still cannot lie right on any part
but by the whole hand-off, so nothing is taken over early.

A part that never leaves has no arrival of its own, and goes with the last one that has. Where all come home on one
frame, nobody is before the others, and the still comes in over all at once, at the end of the hold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from choreo.geometry.approved import Kept
from choreo.geometry.away import off_still_px
from choreo.geometry.solid import Solid
from choreo.geometry.turned import Turns
from choreo.model.assembly import Vector
from choreo.model.choreography import Shot
from choreo.model.plan import Floats
from choreo.model.report import StillOver
from choreo.model.tracks import PartTrack

_CAMERA_REACH = 2
"""Frames: between two frames a camera goes through the one before and the one after them."""


@dataclass(frozen=True, eq=False)
class PartHandoff:
    """How the still lies over single parts."""

    opacity: Mapping[str, Floats] = field(default_factory=dict)
    """(frames,), 0 to 1, nowhere less than the whole still's, of parts for which it is more on some frame."""
    over: Mapping[str, StillOver] = field(default_factory=dict)
    """Of every part, where the shot hands over."""


def hand_over_parts(
    shot: Shot,
    solids: Mapping[str, Solid],
    offsets: Mapping[str, Vector],
    cameras: Floats,
    parts: Sequence[PartTrack],
    hero_opacity: Floats,
    turns: Mapping[str, Turns] = MappingProxyType({}),
    kept: Kept | None = None,
) -> PartHandoff:
    """Return the opacity of the still over each part of a shot.

    At an end that stands assembled it rises by ``1 / shot.handoff.frames`` a frame, from the first frame from which on
    the part, and its plate with all that moves it into register, is within ``shot.handoff.handoff_px`` of its place
    for good; at a beginning it is mirrored. Nowhere is it less than the opacity of the whole still.

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
    off_by: dict[bool, dict[str, Floats]] = {}
    stood_by: dict[bool, int] = {}
    for begins in shot.assembled_ends:
        end, order = (0, 1) if begins else (-1, -1)
        off = {
            t.id: off_still_px(
                solids[t.id], np.array(offsets[t.id]), cameras, t.position, turns.get(t.id), t.register, end
            )
            for t in parts
        }
        stood = _stood(cameras[::order])
        home = {part: _run(px[::order] <= asked.handoff_px) for part, px in off.items()}
        for part, ramp in _ramps(home, stood, asked.frames, len(cameras)).items():
            if asked.each_part:
                out[part] = np.maximum(out[part], ramp[::order])
        off_by[begins], stood_by[begins] = off, stood
    if kept is not None and kept.hero_opacity is not None and np.array_equal(kept.hero_opacity, hero_opacity):
        for part in kept.tracks:
            row = kept.hero_parts.get(part, hero_opacity)
            if _still_holds(row, hero_opacity, part, off_by, stood_by, asked.handoff_px):
                out[part] = row
    more = {part: row for part, row in out.items() if bool((row != hero_opacity).any())}
    return PartHandoff(more, {part: _over(part, row, off_by) for part, row in out.items()})


def _ramps(home: Mapping[str, int], stood: int, steps: int, frames: int) -> dict[str, Floats]:
    """Opacities counted from the assembled end on, given for how many frames from there each part is home."""
    own = {part: min(count, stood) for part, count in home.items() if count < frames}
    if not own or stood < steps:
        return {}
    last = min(own.values())
    rooms = {part: own.get(part, last) for part in home}
    if len(set(rooms.values())) == 1:
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


def _still_holds(
    row: Floats,
    hero_opacity: Floats,
    part: str,
    off_by: Mapping[bool, Mapping[str, Floats]],
    stood_by: Mapping[bool, int],
    limit: float,
) -> bool:
    """Whether an approved opacity may stay: it lies over the part only while that is home before a still camera."""
    if row.shape != hero_opacity.shape or bool((row < hero_opacity).any()):
        return False
    left = row > hero_opacity
    for begins, off in off_by.items():
        order = 1 if begins else -1
        frames = min(_run(row[::order] > 0), stood_by[begins], _run(off[part][::order] <= limit))
        left[::order][:frames] = False
    return not left.any()


def _over(part: str, row: Floats, off_by: Mapping[bool, Mapping[str, Floats]]) -> StillOver:
    first = last = None
    worst = 0.0
    for begins, off in off_by.items():
        order = 1 if begins else -1
        run = _run(row[::order] > 0)
        worst = max(worst, float(off[part][::order][:run].max(initial=0.0)))
        if begins:
            last = run - 1
        else:
            first = len(row) - run
    return StillOver(first, last, worst)
