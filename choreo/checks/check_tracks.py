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
    walked = np.array([_walk(track.route, float(p)) for p in progress])
    _promise(bool(np.all(np.abs(walked - track.position) <= _AGREE)), f"{track.id}: samples lie on the route")
    _promise(bool(np.all(track.position[progress == 0] == 0)), f"{track.id}: assembled is exactly 0")


def _walk(route: np.ndarray, progress: float) -> np.ndarray:
    """Walk a polyline leg by leg; beyond its ends along its last and first leg."""
    legs = np.diff(route, axis=0)
    lengths = [float(np.sqrt(leg @ leg)) for leg in legs]
    left = progress * sum(lengths)
    at = route[0]
    real = [k for k, length in enumerate(lengths) if length > 0]
    for k in real:
        if left <= lengths[k] or k == real[-1]:
            return np.asarray(at + legs[k] * (left / lengths[k]))
        left -= lengths[k]
        at = route[k + 1]
    return np.asarray(at)


def _promise(kept: bool, what: str) -> None:
    if not kept:
        raise BrokenPromiseError(what)
