"""On which frames two compiles differ most to the eye, and how far each part is away there.

How far a part is away is measured at the corners of its box, so that a camera that turns, or a part that grows, counts
as well as one that moves. Frames are taken from the farthest down, never two of one shot close together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from choreo.geometry.solids.solid import Solid
from choreo.model.assembly import Assembly
from choreo.model.plan import Floats
from choreo.model.tracks import PartTrack, ShotTracks, Tracks
from choreo.review.compare import Comparison

MOST_FRAMES = 4
NAMED_PX = 0.5
"""Who is nearer than that to where it was has not moved to the eye."""
_APART = 8
"""Frames between two that are shown of one shot, at the least; or a sixth of the shot."""
_SHARE = 0.1
"""A frame on which parts are less far away than this share of the most is not worth a picture."""

_SPECK = 1e-9
"""px"""


@dataclass(frozen=True)
class ChangedFrame:
    """A frame that is worth a picture."""

    shot: str
    frame: int
    moved: tuple[tuple[str, float], ...]
    """Parts that both have and how far they are away, px of the new film; the farthest first."""


@dataclass(frozen=True, eq=False)
class Made:
    """A compile and what it was made of."""

    tracks: Tracks
    assembly: Assembly
    solids: Mapping[str, Solid]
    """By part id, in their assembled places."""


def most_changed(old: Made, new: Made, comparison: Comparison) -> tuple[ChangedFrame, ...]:
    """Return the frames that differ most, in the order of the new film.

    Parameters
    ----------
    old, new : Made
    comparison : Comparison
        Of the two; what moves nothing still is a difference, and gets a frame where nothing else does.

    """
    before = {shot.name: shot for shot in old.tracks.shots}
    both = [shot for shot in new.tracks.shots if shot.name in before]
    away = {shot.name: _away(old, before[shot.name], new, shot) for shot in both}
    score = {name: rows.max(axis=1, initial=0.0) for name, (_, rows) in away.items()}
    for shot in comparison.shots:
        # Weighs less than all that can be seen to move.
        score[shot.shot][list(shot.changed)] += _SPECK
    chosen = _chosen(score)
    if not chosen and comparison.sections:  # they look otherwise and move alike
        chosen = [(shot.name, min(shot.frames, before[shot.name].frames) // 2) for shot in both[:1]]
    return tuple(
        ChangedFrame(shot.name, frame, _moved(*away[shot.name], frame))
        for shot in both
        for name, frame in sorted(chosen)
        if name == shot.name
    )


def _away(old: Made, was: ShotTracks, new: Made, now: ShotTracks) -> tuple[list[str], Floats]:
    """How far each part that both have is away on each frame that both have, px of the new film: (frames, parts)."""
    count = min(was.frames, now.frames)
    scale = new.tracks.resolution[0] / old.tracks.resolution[0]
    before = {track.id: track for track in was.parts}
    parts = [track for track in now.parts if track.id in before]
    rows = np.zeros((count, len(parts)))
    for column, track in enumerate(parts):
        one = _corners(old, before[track.id], was.cameras[:count]) * scale
        two = _corners(new, track, now.cameras[:count])
        rows[:, column] = np.linalg.norm(one - two, axis=2).max(axis=1)
    return [track.id for track in parts], rows


def _corners(made: Made, track: PartTrack, cameras: Floats) -> Floats:
    """Where the corners of a part's box stand on the screen, (frames, 8, 2) px."""
    count = len(cameras)
    corners = np.array(list(product(*made.solids[track.id].bounds.T)))
    placed = np.broadcast_to(corners, (count, 8, 3)).copy()
    if track.turn is not None:
        angle = np.radians(track.turn[:count])[:, None]
        x, y = (corners[:, axis] - made.assembly.part(track.id).offset[axis] for axis in (0, 1))
        placed[..., 0] += (np.cos(angle) - 1) * x - np.sin(angle) * y
        placed[..., 1] += np.sin(angle) * x + (np.cos(angle) - 1) * y
    placed += track.position[:count, None]
    image = np.einsum("frc,fnc->fnr", cameras[..., :3], placed) + cameras[:, None, :, 3]
    return np.asarray(image[..., :2] / image[..., 2:])


def _chosen(score: Mapping[str, Floats]) -> list[tuple[str, int]]:
    """Shot and frame of those that are worth a picture, the best first."""
    most = max((float(rows.max(initial=0.0)) for rows in score.values()), default=0.0)
    ranked = sorted(
        ((float(rows[frame]), name, frame) for name, rows in score.items() for frame in range(len(rows))),
        key=lambda one: (-one[0], one[1], one[2]),
    )
    chosen: list[tuple[str, int]] = []
    for value, name, frame in ranked:
        if value <= _SHARE * most or len(chosen) == MOST_FRAMES:
            break
        apart = max(_APART, len(score[name]) // 6)
        if all(name != other or abs(frame - at) >= apart for other, at in chosen):
            chosen.append((name, frame))
    return chosen


def _moved(parts: Sequence[str], rows: Floats, frame: int) -> tuple[tuple[str, float], ...]:
    found = [(part, float(px)) for part, px in zip(parts, rows[frame], strict=True) if px >= NAMED_PX]
    return tuple(sorted(found, key=lambda one: -one[1]))
