"""Solids: stacks of depth bands, each with one section.

A part's slabs may overlap or sit side by side. Everything downstream wants them sorted out: a `Solid` is a
tuple of bands that do not overlap in depth, each with the union of the slabs that cross it. Boundaries are
kept as given: nothing is rounded or simplified here.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.unions import only_areas
from choreo.model.assembly import Slab, Vector
from choreo.model.plan import Floats


@dataclass(frozen=True, eq=False)
class Band:
    """A section (Polygon or MultiPolygon, mm) extruded over ``[z0, z1]``."""

    z0: float
    z1: float
    section: BaseGeometry


@dataclass(frozen=True, eq=False)
class Solid:
    """Bands in ascending depth, disjoint but for shared faces. May be empty after shrinking."""

    bands: tuple[Band, ...]

    @cached_property
    def bounds(self) -> Floats:
        """(2, 3) array: lowest and highest corner, mm."""
        xy = shapely.total_bounds([band.section for band in self.bands])
        return np.array(
            [[xy[0], xy[1], self.bands[0].z0], [xy[2], xy[3], self.bands[-1].z1]],
            dtype=np.float64,
        )

    @cached_property
    def volume(self) -> float:
        """Volume in cubic mm."""
        return float(sum((b.z1 - b.z0) * b.section.area for b in self.bands))


def build_solid(slabs: Sequence[Slab], offset: Vector = (0.0, 0.0, 0.0)) -> Solid:
    """Return the union of the slabs, placed at `offset`.

    Parameters
    ----------
    slabs : sequence of Slab
        Valid rings, mm, in the part's own coordinates.
    offset : Vector
        Where the part's origin lies in product space, mm.

    Returns
    -------
    Solid
        Neighbouring bands with the same section are merged.

    """
    dx, dy, dz = offset
    polygons = [shapely.Polygon(s.outline, s.holes) for s in slabs]
    placed = [shapely.transform(p, lambda xy: xy + np.array([dx, dy])) for p in polygons]
    cuts = sorted({z + dz for s in slabs for z in s.z})
    bands: list[Band] = []
    for z0, z1 in itertools.pairwise(cuts):
        middle = (z0 + z1) / 2
        here = [p for p, s in zip(placed, slabs, strict=True) if s.z[0] + dz < middle < s.z[1] + dz]
        if not here:
            continue
        section = here[0] if len(here) == 1 else shapely.union_all(here)
        if bands and bands[-1].z1 == z0 and bands[-1].section.equals(section):
            bands[-1] = Band(bands[-1].z0, z1, section)
        else:
            bands.append(Band(z0, z1, section))
    return Solid(tuple(bands))


def shrink(solid: Solid, in_plane: float, along_z: float) -> Solid:
    """Erode a solid by `in_plane` in every section and by `along_z` at every face that looks along z.

    The erosion is by the product of a square-cornered offset in the plane and an interval along z, so that
    straight edges stay straight and no vertex is added. Negative amounts grow the solid the same way, each
    band for itself.

    Parameters
    ----------
    solid : Solid
        What to erode.
    in_plane, along_z : float
        mm; 0 leaves the solid as it is.

    Returns
    -------
    Solid
        What is left; without bands if nothing is.

    """
    if in_plane == 0 and along_z == 0:
        return solid
    bands = [Band(b.z0, b.z1, _offset(b.section, -in_plane)) for b in solid.bands]
    cut = _worn(bands, along_z) if along_z > 0 else _grown(bands, -along_z)
    return Solid(tuple(band for band in cut if band.z1 > band.z0 and band.section.area > 0))


def _worn(bands: Sequence[Band], amount: float) -> list[Band]:
    """At each depth, what all bands within `amount` of it have; nothing where a gap or an end is as close."""
    cuts = sorted({z + shift for band in bands for z in (band.z0, band.z1) for shift in (-amount, amount)})
    out: list[Band] = []
    for z0, z1 in itertools.pairwise(cuts):
        low, high = (z0 + z1) / 2 - amount, (z0 + z1) / 2 + amount
        near = [band for band in bands if band.z1 > low and band.z0 < high]
        joined = all(a.z1 == b.z0 for a, b in itertools.pairwise(near))
        if near and joined and near[0].z0 <= low and near[-1].z1 >= high:
            out.append(Band(z0, z1, only_areas(shapely.intersection_all([band.section for band in near]))))
    return out


def _grown(bands: Sequence[Band], amount: float) -> list[Band]:
    """Each band longer by `amount` at each end that no other band continues."""
    starts, ends = {band.z0 for band in bands}, {band.z1 for band in bands}
    return [
        Band(b.z0 - (0 if b.z0 in ends else amount), b.z1 + (0 if b.z1 in starts else amount), b.section) for b in bands
    ]


def moved(solid: Solid, by: Vector | Floats) -> Solid:
    """Return the solid displaced by `by`, mm."""
    x, y, z = (float(c) for c in by)
    return Solid(
        tuple(
            Band(b.z0 + z, b.z1 + z, shapely.transform(b.section, lambda xy: xy + np.array([x, y])))
            for b in solid.bands
        )
    )


def _offset(section: BaseGeometry, distance: float) -> BaseGeometry:
    """Offset with square corners, so that a polygon stays a polygon of as many vertices."""
    if distance == 0:
        return section
    return shapely.buffer(section, distance, join_style="mitre", mitre_limit=5.0)
