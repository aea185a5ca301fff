"""Say how much of each part shows while all are at rest, and refuse a picture in which one does not read.

In:  solids, tracks, masking of one shot      Out: fraction of each part that shows, findings

Areas are exact: of the parts' own outlines, not of hulls, less what the layers above cover as the masking has it,
which is true visibility.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from choreo.errors import Finding
from choreo.geometry.cameras.camera import camera_from_matrix
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.plane.unions import Geometries
from choreo.geometry.solids.solid import Solid
from choreo.model.plan import Floats, Region
from choreo.model.tracks import Masking

_OK = 1e-6
"""Fraction of an outline that rounding may cost."""
_NAMED = 0.0005
"""A part that covers less than this fraction of another is not worth a word."""


@dataclass(frozen=True)
class _Sight:
    """The least that shows of a part, when, and who covers how much of it."""

    fraction: float
    frame: int
    covers: tuple[tuple[str, float], ...]


def check_readable(
    shot: str,
    solids: Mapping[str, Solid],
    cameras: Floats,
    positions: Mapping[str, Floats],
    masking: Masking,
    rest: Sequence[int],
    readable: float,
    least_gap_px: float,
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Return the least fraction of its outline that each part shows at rest, and what falls short of `readable`.

    Parameters
    ----------
    shot : str
        For the messages.
    solids : mapping of part id to Solid
        Assembled, mm.
    cameras : (frames, 3, 4) array
        Of the shot.
    positions : mapping of part id to (frames, 3) array
        Displacements, mm.
    masking : Masking
        Layer orders and holdouts.
    rest : sequence of int
        Frames on which all parts stand at rest apart.
    readable : float
        Fraction asked for, 0 to 1.
    least_gap_px : float
        Between hulls at rest; where it is more than 0 nothing covers anything, and nothing is looked at.

    """
    if not len(rest):
        return {}, ()
    if least_gap_px > 0:
        return dict.fromkeys(solids, 1.0), ()
    worst: dict[str, _Sight] = {}
    frames = _different(cameras, positions, masking, rest)
    views = [camera_from_matrix(cameras[frame]) for frame in frames]
    outlines = {part: silhouettes(solid, views, positions[part][frames]) for part, solid in solids.items()}
    for row, frame in enumerate(frames):
        for part, sight in _sights({part: shapes[row] for part, shapes in outlines.items()}, masking, frame):
            if part not in worst or sight.fraction < worst[part].fraction:
                worst[part] = sight
    findings = [_hidden(shot, p, s, readable) for p, s in worst.items() if s.fraction < readable - _OK]
    return {part: worst[part].fraction for part in solids if part in worst}, tuple(findings)


def _different(cameras: Floats, positions: Mapping[str, Floats], masking: Masking, rest: Sequence[int]) -> list[int]:
    """Rest frames, each picture once."""
    found: dict[tuple[object, ...], int] = {}
    for frame in rest:
        order = next(span.back_to_front for span in masking.orders if span.first <= frame <= span.last)
        held = tuple(k for k, one in enumerate(masking.holdouts) if one.first <= frame <= one.last)
        key = (cameras[frame].tobytes(), order, held, *(at[frame].tobytes() for at in positions.values()))
        found.setdefault(key, frame)
    return list(found.values())


def _sights(outlines: Mapping[str, shapely.Geometry], masking: Masking, frame: int) -> list[tuple[str, _Sight]]:
    """What shows of each part on one frame, front to back."""
    order = next(span.back_to_front for span in masking.orders if span.first <= frame <= span.last)
    above: list[str] = []
    layers: dict[str, shapely.Geometry] = {}
    found = []
    for part in reversed(order):
        own, area = outlines[part], shapely.area(outlines[part])
        held = [
            _polygon(r) for h in masking.holdouts if h.part == part and h.first <= frame <= h.last for r in h.region
        ]
        layer = shapely.difference(own, shapely.union_all(held)) if held else own
        near = [name for name in above if shapely.intersects(layers[name], layer)]
        shown = shapely.difference(layer, shapely.union_all([layers[name] for name in near])) if near else layer
        if area > 0:
            fraction = min(max(float(shapely.area(shown) / area), 0.0), 1.0)
            others = np.array([outlines[name] for name in outlines if name != part], dtype=np.object_)
            names = [name for name in outlines if name != part]
            covers = _covers(names, others, shapely.difference(own, shown), float(area)) if fraction < 1 - _OK else ()
            found.append((part, _Sight(fraction, frame, covers)))
        above.append(part)
        layers[part] = layer
    return found


def _covers(
    names: Sequence[str], outlines: Geometries, lost: shapely.Geometry, area: float
) -> tuple[tuple[str, float], ...]:
    """Who stands over what is lost of a part, the most first."""
    shares = shapely.area(shapely.intersection(outlines, lost)) / area
    listed = [(names[k], float(shares[k])) for k in np.argsort(-shares, kind="stable") if shares[k] >= _NAMED]
    return tuple(listed)


def _polygon(region: Region) -> shapely.Geometry:
    polygon = shapely.Polygon(region.outline, region.holes)
    return polygon if polygon.is_valid else shapely.make_valid(polygon)  # rounding may have folded a corner


def _hidden(shot: str, part: str, sight: _Sight, readable: float) -> Finding:
    who = " and ".join(f'"{name}" ({100 * share:.1f} %)' for name, share in sight.covers) or "something nearer"
    return Finding(
        code="hidden-at-rest",
        what=f'In shot "{shot}" part "{part}" shows {100 * sight.fraction:.1f} % of its outline at rest on frame '
        f"{sight.frame}, {100 * (readable - sight.fraction):.1f} % less than the {100 * readable:g} % asked for: "
        f"behind {who}.",
        why="What is covered at rest cannot be read, however well it moves.",
        remedy="Change or remove the travel (travel_mm) that brings them over each other, give gap_px more than 0, "
        "turn the view, or ask for less with readable.",
    )
