"""Prove that no two parts overlap, by looking: sections laid over each other at many instants.

Dear and sampled, so it runs only when asked for. It shares nothing with the passes: no obstacle, no lag, no
removal order; only the tracks' keys and routes, and the solids. What it finds is a defect of ours.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from types import MappingProxyType

import numpy as np
import shapely

from choreo.checks.check_tracks import BrokenPromiseError
from choreo.geometry.solids.solid import Solid, shrink
from choreo.geometry.solids.turned import turned
from choreo.model.assembly import Vector
from choreo.model.tracks import ShotTracks
from choreo.motion.law import evaluate_keys
from choreo.motion.path import position
from choreo.motion.spin import turn_at

_AREA = 1e-6
"""Square mm of overlap that rounding may leave."""
_DEPTH = 1e-9
"""mm of overlap along z that rounding may leave: solids that overlap by exactly ``touch_mm`` may touch."""


def check_collisions(
    shot: ShotTracks,
    solids: Mapping[str, Solid],
    touch_mm: float,
    pressed: Mapping[frozenset[str], float],
    steps: int = 8,
    offsets: Mapping[str, Vector] = MappingProxyType({}),
) -> None:
    """Raise if two parts overlap at any of `steps` instants a frame.

    Parts that spin turn about their origins, which `offsets` gives, mm.

    Raises
    ------
    BrokenPromiseError
        Names the pair and the first instant.

    """
    times = np.arange(0, (shot.frames - 1) * steps + 1) / steps
    ways = {track.id: evaluate_keys(track.keys, times) for track in shot.parts}
    places = {track.id: position(track.route, ways[track.id]) for track in shot.parts}
    turns = {t.id: turn_at(t.spin, ways[t.id]) if t.spin else np.zeros(len(times)) for t in shot.parts}
    thin = {part: shrink(solid, touch_mm / 2, touch_mm / 2) for part, solid in solids.items()}
    for a, b in combinations(places, 2):
        extra = pressed.get(frozenset((a, b)), 0.0) / 4
        one = thin[a] if not extra else shrink(solids[a], touch_mm / 2 + extra, touch_mm / 2 + extra)
        two = thin[b] if not extra else shrink(solids[b], touch_mm / 2 + extra, touch_mm / 2 + extra)
        stands = np.round(np.column_stack([places[b] - places[a], turns[a], turns[b]]), 9)
        apart, first = np.unique(stands, axis=0, return_index=True)
        for at, row in sorted(zip(first.tolist(), apart, strict=True), key=lambda pair: pair[0]):
            first_turned = turned(one, np.array(offsets[a]), row[3]) if row[3] else one
            second_turned = turned(two, np.array(offsets[b]), row[4]) if row[4] else two
            if _overlap(first_turned, second_turned, row[:3]):
                raise BrokenPromiseError(f"{a} and {b} overlap at frame {times[at]:g} of shot {shot.name}")


def _overlap(one: Solid, two: Solid, by: np.ndarray) -> bool:
    for band in one.bands:
        for other in two.bands:
            if min(band.z1, other.z1 + by[2]) - max(band.z0, other.z0 + by[2]) > _DEPTH and _plan_overlap(
                band.section, other.section, by
            ):
                return True
    return False


def _plan_overlap(section: shapely.Geometry, other: shapely.Geometry, by: np.ndarray) -> bool:
    x0, y0, x1, y1 = shapely.bounds(section)
    a0, b0, a1, b1 = shapely.bounds(other) + np.array([by[0], by[1], by[0], by[1]])
    if x0 >= a1 or a0 >= x1 or y0 >= b1 or b0 >= y1:
        return False
    moved = shapely.transform(other, lambda xy: xy + by[:2])
    return bool(shapely.area(shapely.intersection(section, moved)) > _AREA)
