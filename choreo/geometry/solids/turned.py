"""Solids that turn about an axis along z: turned by an angle, and all that they sweep in a whole turn."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.solids.solid import Band, Solid
from choreo.model.assembly import Vector
from choreo.model.plan import Floats
from choreo.model.tracks import PartTrack

_SIDES = 48
"""Of the polygons that stand for circles; they reach at most 0.22 % of a radius too far, and never too little."""


@dataclass(frozen=True, eq=False)
class Turns:
    """How one part stands turned, frame by frame."""

    axis: Floats
    """(2,) where its own z axis stands when it is assembled, mm."""
    degrees: Floats
    """(frames,)"""


def turns_of(tracks: Iterable[PartTrack], offsets: Mapping[str, Vector]) -> dict[str, Turns]:
    """Return the turns of all parts that spin; `offsets` are their origins, mm."""
    return {track.id: Turns(np.array(offsets[track.id][:2]), track.turn) for track in tracks if track.turn is not None}


def solids_on(solids: Mapping[str, Solid], turns: Mapping[str, Turns], frame: int) -> dict[str, Solid]:
    """Return the solids, at their assembled places, as they stand turned on a frame."""
    return {
        part: turned(solid, turns[part].axis, float(turns[part].degrees[frame])) if part in turns else solid
        for part, solid in solids.items()
    }


def turned(solid: Solid, axis: Floats, degrees: float) -> Solid:
    """Return the solid turned about the line parallel to z through `axis` (x, y), counter-clockwise seen from +z."""
    if degrees % 360 == 0:
        return solid
    angle = math.radians(degrees)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    at = np.asarray(axis, dtype=np.float64)[:2]
    return Solid(
        tuple(Band(b.z0, b.z1, shapely.transform(b.section, lambda xy: (xy - at) @ turn + at)) for b in solid.bands)
    )


def swept_by_turning(solid: Solid, axis: Floats) -> Solid:
    """Return all that the solid sweeps while it turns about the line parallel to z through `axis` (x, y).

    Each band becomes the rings of all radii at which it has material. Never too small; too large by at most what
    the corners of a polygon stand out from its circle.
    """
    at = np.asarray(axis, dtype=np.float64)[:2]
    return Solid(tuple(Band(b.z0, b.z1, _rings(b.section, at)) for b in solid.bands if not b.section.is_empty))


def _rings(section: BaseGeometry, at: Floats) -> BaseGeometry:
    """A connected polygon has material at all radii between its nearest point and its farthest corner."""
    spot = shapely.Point(at)
    spans = sorted(
        (float(shapely.distance(spot, part)), float(np.hypot(*(shapely.get_coordinates(part) - at).T).max()))
        for part in shapely.get_parts(section)
    )
    merged: list[tuple[float, float]] = []
    for near, far in spans:
        if merged and near <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], far))
        else:
            merged.append((near, far))
    return shapely.union_all([_ring(at, near, far) for near, far in merged])


def _ring(at: Floats, near: float, far: float) -> BaseGeometry:
    steps = np.arange(_SIDES) * (2 * math.pi / _SIDES)
    circle = np.column_stack([np.cos(steps), np.sin(steps)])
    outer = shapely.Polygon(at + circle * far / math.cos(math.pi / _SIDES))
    return outer if near == 0 else shapely.difference(outer, shapely.Polygon(at + circle * near))
