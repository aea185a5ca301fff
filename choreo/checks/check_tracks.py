"""Prove of finished tracks what every reader of them relies on: G4, the layer orders, and samples that agree.

Cheap, so it runs after every compile. It reads the keys by the W3C's rule and walks the route itself; it
shares nothing with the passes. What it finds is a defect of ours, never of the input.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from choreo.model.tracks import PartTrack, ShotTracks
from choreo.motion.law import evaluate_keys

_AGREE = 1e-9
"""mm; how closely samples and route(progress) agree (contract)."""
_ROUNDING = 1e-14
"""Share of a route's farthest coordinate that rounding may add to that: it counts for routes of hundreds of metres."""


class BrokenPromiseError(AssertionError):
    """A post-condition of the compiler does not hold: a defect of ours."""


def check_tracks(shot: ShotTracks, ids: Sequence[str]) -> None:
    """Raise unless the tracks of one shot keep their promises.

    Raises
    ------
    BrokenPromiseError
        Parts missing or out of order, arrays of the wrong length, numbers that are not finite, samples off
        the route, an assembled part not at exactly 0, or layer orders that do not cover each frame once with
        each part once.

    """
    _promise(tuple(track.id for track in shot.parts) == tuple(ids), "tracks are in file order, one a part")
    _promise(shot.cameras.shape == (shot.frames, 3, 4), "one camera a frame")
    _promise(bool(np.all((shot.hero_opacity >= 0) & (shot.hero_opacity <= 1))), "hero opacity is in [0, 1]")
    for part, row in shot.hero_parts.items():
        _promise(part in ids and row.shape == (shot.frames,), f"{part}: one opacity of the still a frame")
        _promise(
            bool(np.all((row >= shot.hero_opacity) & (row <= 1))), f"{part}: never less of the still than all have"
        )
    for track in shot.parts:
        _check_part(track, shot.frames)
    frame = 0
    for span in shot.masking.orders:
        _promise(span.first == frame, "layer orders follow on each other")
        _promise(sorted(span.back_to_front) == sorted(ids), "each order names each part once")
        frame = span.last + 1
    _promise(frame == shot.frames, "layer orders cover the shot")


def _check_part(track: PartTrack, frames: int) -> None:
    arrays = (track.position, track.screen, track.scale, track.opacity)
    _promise(all(len(array) == frames for array in arrays), f"{track.id}: one sample a frame")
    _promise(all(bool(np.all(np.isfinite(array))) for array in arrays), f"{track.id}: finite samples")
    progress = evaluate_keys(track.keys, np.arange(frames))
    walked = _walk(track.route, progress)
    close = _AGREE + _ROUNDING * float(np.abs(track.route).max(initial=0.0))
    _promise(bool(np.all(np.abs(walked - track.position) <= close)), f"{track.id}: samples lie on the route")
    _promise(bool(np.all(track.position[progress == 0] == 0)), f"{track.id}: assembled is exactly 0")


def _walk(route: np.ndarray, progress: np.ndarray) -> np.ndarray:
    """Interpolate a polyline by arc length; beyond its ends along its last and first leg."""
    legs = np.diff(route, axis=0)
    lengths = np.sqrt((legs * legs).sum(axis=1))
    legs, lengths = legs[lengths > 0], lengths[lengths > 0]
    if not len(lengths):
        return np.tile(route[0], (len(progress), 1))
    ways, at = progress * lengths.sum(), np.concatenate([[0.0], np.cumsum(lengths)])
    corners = np.concatenate([route[:1], route[:1] + np.cumsum(legs, axis=0)])
    walked = np.stack([np.interp(ways, at, corners[:, axis]) for axis in range(3)], axis=1)
    walked += np.minimum(ways, 0.0)[:, None] * legs[0] / lengths[0]
    return np.asarray(walked + np.maximum(ways - at[-1], 0.0)[:, None] * legs[-1] / lengths[-1])


def _promise(kept: bool, what: str) -> None:
    if not kept:
        raise BrokenPromiseError(what)
