"""A shrunk solid as questions about collisions see it: boxes of its bands, their convex pieces, its hull."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely

from choreo.geometry.collision.obstacle import Pieces, pieces_of
from choreo.geometry.solids.solid import Band, Solid
from choreo.model.plan import Floats


@dataclass(frozen=True, eq=False)
class Shape:
    """A shrunk solid with the boxes of its bands and, as they are asked for, its convex pieces."""

    solid: Solid
    boxes: Floats
    """(bands, 2, 3) lowest and highest corner of each band."""
    _pieces: dict[int, Pieces] = field(default_factory=dict, repr=False)
    _support: dict[tuple[float, ...], float] = field(default_factory=dict, repr=False)

    @property
    def box(self) -> Floats:
        """(2, 3) bounds; an impossible box if nothing is left of the solid."""
        return np.stack([self.boxes[:, 0].min(axis=0, initial=np.inf), self.boxes[:, 1].max(axis=0, initial=-np.inf)])

    def pieces(self, band: int) -> Pieces:
        """Return the convex pieces of a band's section."""
        if band not in self._pieces:
            self._pieces[band] = pieces_of(self.solid.bands[band].section)
        return self._pieces[band]

    @cached_property
    def hull(self) -> Shape:
        """The prism over the convex hull of all sections, over the solid's whole depth."""
        if not self.solid.bands:
            return self
        section = shapely.convex_hull(shapely.union_all([shapely.convex_hull(b.section) for b in self.solid.bands]))
        return make_shape(Solid((Band(self.solid.bands[0].z0, self.solid.bands[-1].z1, section),)))

    def support(self, direction: Floats) -> float:
        """Return how far the solid reaches along a direction, mm from the origin."""
        key = tuple(direction.tolist())
        if key not in self._support:
            flat = [(shapely.get_coordinates(band.section) @ direction[:2]).max() for band in self.solid.bands]
            along = [max(band.z0 * direction[2], band.z1 * direction[2]) for band in self.solid.bands]
            self._support[key] = max((float(f + z) for f, z in zip(flat, along, strict=True)), default=-np.inf)
        return self._support[key]


def make_shape(solid: Solid) -> Shape:
    """Wrap a solid that is shrunk already."""
    flat = shapely.bounds([band.section for band in solid.bands]).reshape(-1, 2, 2)
    depth = np.array([(band.z0, band.z1) for band in solid.bands]).reshape(-1, 2, 1)
    shapely.prepare([band.section for band in solid.bands])
    return Shape(solid, np.concatenate([flat, depth], axis=2))
