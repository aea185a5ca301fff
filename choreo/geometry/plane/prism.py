"""What a polygon covers on its way from one copy to another: the image of a prism, the sweep of an outline.

Seen from a camera, a prism shows its near face and the walls that face the camera. The boundary of all of
these together is a closed curve for each ring: the far edge where the wall faces the camera, the near edge
elsewhere, joined by the edge between the copies wherever it changes. A line of sight crosses as many of these
faces as the curves wind around its point on the screen, because every face shown turns the same way. So the
image is where the winding number is positive, holes included. The sweep along a vector is the same thing with
the far copy displaced by that vector.

Two special cases need no winding numbers, and they are the common ones:

- a convex outline: its curve does not cross itself and is the outline of the image;
- a convex hole: what it leaves uncovered is near hole intersected with far hole. Inside the slab a line of
  sight runs along a straight segment of the plane, from its point on one face to its point on the other,
  parallel or perspective alike. It misses the material around the hole exactly if this segment stays in the
  hole, and in a convex hole it does so exactly if both of its ends are in it.

Everything works on the rings of many polygons laid end to end, so that a whole shot takes a few array calls.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from choreo.geometry.plane.unions import Bools, Geometries, Ints, mended, union_groups, wound
from choreo.model.plan import Floats

TIE = 1e-13
"""Share of the largest possible value below which an orientation is rounding, not sense."""

SAME = 1e-12
"""Share of a coordinate below which two points differ by rounding only: on a screen some 1e-9 px."""


@dataclass(frozen=True, eq=False)
class Rings:
    """Rings of many polygons laid end to end, material to the left, without repeated points."""

    xy: Floats
    """(vertices, 2)"""
    ring: Ints
    """(vertices,) ring of each vertex, ascending from 0."""
    owner: Ints
    """(rings,) polygon of each ring, ascending; a polygon's first ring is its outline."""
    convex: Bools
    """(rings,)"""
    count: int
    """Number of polygons; empty ones own no ring."""

    @cached_property
    def hole(self) -> Bools:
        """(rings,) whether a ring is a hole."""
        return np.concatenate([[False], self.owner[1:] == self.owner[:-1]])[: len(self.owner)]

    @cached_property
    def starts(self) -> Ints:
        """(rings + 1,) first vertex of each ring, and the end."""
        return np.searchsorted(self.ring, np.arange(len(self.owner) + 1)).astype(np.int64)

    @cached_property
    def following(self) -> Ints:
        """(vertices,) the next vertex along the ring."""
        starts = self.starts
        after = np.arange(1, len(self.ring) + 1)
        after[starts[1:] - 1] = starts[:-1]
        return after

    @cached_property
    def previous(self) -> Ints:
        """(vertices,) the vertex before along the ring."""
        before = np.empty(len(self.ring), dtype=np.int64)
        before[self.following] = np.arange(len(self.ring))
        return before

    @cached_property
    def edges(self) -> Floats:
        """(vertices, 2) from each vertex to the next."""
        return self.xy[self.following] - self.xy

    def repeat(self, times: int) -> Rings:
        """Return the rings `times` times over, polygons of one copy next to each other."""
        copy = np.arange(times)[:, None]
        return Rings(
            np.tile(self.xy, (times, 1)),
            (self.ring + copy * len(self.owner)).ravel(),
            (self.owner + copy * self.count).ravel(),
            np.tile(self.convex, times),
            times * self.count,
        )

    def of(self, chosen: Bools) -> tuple[Rings, Bools]:
        """Return the rings of chosen polygons, renumbered, and which vertices these are."""
        rings = chosen[self.owner]
        vertices = rings[self.ring]
        number = np.cumsum(rings) - 1
        polygon = np.cumsum(chosen) - 1
        kept = Rings(
            self.xy[vertices],
            number[self.ring[vertices]],
            polygon[self.owner[rings]],
            self.convex[rings],
            int(chosen.sum()),
        )
        return kept, vertices


def rings_of(polygons: Geometries) -> Rings:
    """Return the rings of an array of Polygons (no MultiPolygons)."""
    lines, owner = shapely.get_rings(shapely.orient_polygons(polygons), return_index=True)
    xy, ring = shapely.get_coordinates(lines, return_index=True)
    # Closing points go, and so do repeated points, which would hide a turn from the test for convexity.
    kept = np.ones(len(xy), dtype=np.bool_)
    kept[:-1] = (ring[1:] == ring[:-1]) & (xy[1:] != xy[:-1]).any(axis=1)
    kept[-1:] = False
    ends = np.flatnonzero(np.diff(ring, append=-1))
    kept[ends] = False
    rings = Rings(xy[kept], ring[kept], owner, np.ones(len(owner), dtype=np.bool_), len(polygons))
    return Rings(rings.xy, rings.ring, rings.owner, _convex(rings), rings.count)


def swept_area(rings: Rings, near: Floats, far: Floats, facing: Floats, hulled: Bools) -> Geometries:
    """Return what each polygon covers between its near and its far copy.

    Parameters
    ----------
    rings : Rings
        Of the polygons, before they are placed.
    near, far : (vertices, 2) array
        The two copies. Where walls face the viewer, the far copy lies outward from the near one.
    facing : (vertices,) array
        Of the wall on the edge that starts at each vertex: positive where it faces the viewer.
    hulled : (polygons,) array
        Polygons whose near copy is not seen (the viewer looks along the slab).

    Returns
    -------
    (polygons,) array of Polygon or MultiPolygon
        Valid; empty for empty polygons.

    """
    out = np.full(rings.count, shapely.Polygon(), dtype=np.object_)
    if not len(rings.owner):
        return out
    bent = np.bincount(rings.owner[~rings.convex], minlength=rings.count) > 0
    convex = (np.bincount(rings.owner, minlength=rings.count) > 0) & ~bent
    shown = facing > 0
    # Copies that are the same but for rounding are the same: the noise between them is no shape to trace.
    apart = np.maximum(*np.abs(far - near).T) > SAME * np.maximum(*np.abs(near).T)
    far = np.where(apart[:, None], far, near)
    for chosen, method in (
        (convex & ~hulled, _convex_areas),
        (convex & hulled, _convex_hulls),
        (bent & ~hulled, _wound_areas),
        (bent & hulled, _joined_faces),
    ):
        if chosen.all():
            return method(rings, near, far, shown)
        if chosen.any():
            part, at = rings.of(chosen)
            out[chosen] = method(part, near[at], far[at], shown[at])
    return out


def cross(a: Floats, b: Floats) -> Floats:
    """Return the z component of the cross product of (..., 2) arrays."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _convex(rings: Rings) -> Bools:
    """Which rings turn only one way: left for outlines, right for holes."""
    out = rings.edges
    into = out[rings.previous]
    turn = cross(into, out) * np.where(rings.hole, -1.0, 1.0)[rings.ring]
    slack = TIE * np.hypot(*into.T) * np.hypot(*out.T)
    return np.asarray(np.bincount(rings.ring[turn < -slack], minlength=len(rings.owner)) == 0)


def _convex_areas(rings: Rings, near: Floats, far: Floats, shown: Bools) -> Geometries:
    """Outline and holes are all convex: rings in, rings out."""
    outer = ~rings.hole[rings.ring]
    points, ring = _curves(rings, near, far, shown, outer)
    windows, of = _convex_windows(rings, near, far)
    lines = np.concatenate([shapely.linearrings(points, indices=rings.owner[ring]), windows])
    whose = np.concatenate([np.arange(rings.count), of])
    order = np.argsort(whose, kind="stable")  # an outline before its holes
    areas = np.asarray(shapely.polygons(lines[order], indices=whose[order]))
    for wrong in np.flatnonzero(~shapely.is_valid(areas)):  # a hole touches the outline
        areas[wrong] = mended(areas[wrong])
    return areas


def _convex_windows(rings: Rings, near: Floats, far: Floats) -> tuple[Geometries, Ints]:
    """Rings around what convex holes leave uncovered, with the polygon each belongs to."""
    first = rings.starts[:-1]
    apart = np.zeros(len(first), dtype=np.bool_)
    for one, other in ((near, far), (far, near)):
        low, high = np.minimum.reduceat(one, first), np.maximum.reduceat(other, first)
        apart |= (low >= high).any(axis=1)
    kept = rings.hole & ~apart
    inner = kept[rings.ring]
    number = (np.cumsum(kept) - 1)[rings.ring[inner]]
    both = shapely.intersection(
        shapely.polygons(shapely.linearrings(near[inner], indices=number)),
        shapely.polygons(shapely.linearrings(far[inner], indices=number)),
    )
    windows, of = shapely.get_parts(both, return_index=True)
    # Copies that only touch leave a point or a line, which is no opening.
    opened = (shapely.get_type_id(windows) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(windows)
    return shapely.get_exterior_ring(windows[opened]), rings.owner[kept][of[opened]]


def _convex_hulls(rings: Rings, near: Floats, far: Floats, _: Bools) -> Geometries:
    """Neither face is shown, so no line of sight passes a hole, and the outline is that of all corners."""
    at = np.repeat(np.arange(len(near)), 2)
    points = near[at]
    points[1::2] = far[at[1::2]]
    hulls: Geometries = shapely.convex_hull(shapely.linestrings(points, indices=rings.owner[rings.ring[at]]))
    hulls[shapely.get_type_id(hulls) != shapely.GeometryType.POLYGON] = shapely.Polygon()
    return hulls


def _wound_areas(rings: Rings, near: Floats, far: Floats, shown: Bools) -> Geometries:
    """Where the curves of all rings wind around a point, counted by a buffer of no width."""
    points, ring = _curves(rings, near, far, shown, np.ones(len(near), dtype=np.bool_))
    lines = shapely.linearrings(points, indices=ring)
    # The buffer takes outlines to enclose and holes to exclude, whichever way they run: a curve has to be
    # given as what its own sense of turning makes of it, and a hole's curve may do either.
    turn = _signed_areas(points, ring)
    mirrored = np.sign(np.bincount(rings.owner, turn * ~rings.hole, minlength=rings.count))
    turn *= mirrored[rings.owner]
    outline = ~rings.hole | (turn > 0)
    # Each enclosing curve is a polygon; the excluding ones go with the outline, their owner's first ring.
    polygon = np.where(outline, np.cumsum(outline) - 1, -1)
    polygon = np.where(outline, polygon, polygon[np.searchsorted(rings.owner, rings.owner)])
    order = np.argsort(polygon, kind="stable")
    polygons = shapely.polygons(lines[order], indices=polygon[order])
    areas = wound(polygons, rings.owner[outline], rings.count)
    size = np.bincount(ring, np.abs(points - points[_ring_firsts(ring)]).sum(axis=1)) ** 2
    unsure = np.bincount(rings.owner[np.abs(turn) <= _BALANCED * size], minlength=rings.count) > 0
    # The image holds the near copy, and no more than the curves enclose, counted as often as they wind.
    least = np.abs(np.bincount(rings.owner, _signed_areas(near, rings.ring), minlength=rings.count))
    most = np.bincount(rings.owner, turn, minlength=rings.count)
    area = shapely.area(areas)
    unsure |= (area < least * (1 - _BALANCED)) | (area > most * (1 + _BALANCED)) | ~shapely.is_valid(areas)
    return _repaired(areas, unsure, (rings, near, far, shown))


_BALANCED = 1e-9
"""Share of its extent squared below which a signed area leaves the sense of turning in doubt; and share of an
area that rounding may add or take."""


def _joined_faces(rings: Rings, near: Floats, far: Floats, _: Bools) -> Geometries:
    """Union of both faces and all walls: slow, and right for every view."""
    faces = [_flat_areas(rings, copy) for copy in (near, far)]
    corners = np.stack([near, far, far[rings.following], near[rings.following]], axis=1)
    walls = shapely.convex_hull(shapely.linestrings(corners))
    solid = shapely.get_type_id(walls) == shapely.GeometryType.POLYGON
    every = np.arange(rings.count)
    group = np.concatenate([every, every, rings.owner[rings.ring][solid]])
    return union_groups(np.concatenate([*faces, walls[solid]]), group, rings.count)


def _flat_areas(rings: Rings, copy: Floats) -> Geometries:
    """One copy of each polygon."""
    faces = np.asarray(shapely.polygons(shapely.linearrings(copy, indices=rings.ring), indices=rings.owner))
    for wrong in np.flatnonzero(~shapely.is_valid(faces)):  # seen edge-on, or rings that touch
        faces[wrong] = mended(faces[wrong])
    return faces


def _repaired(areas: Geometries, wrong: Bools, source: tuple[Rings, Floats, Floats, Bools]) -> Geometries:
    if wrong.any():
        rings, near, far, shown = source
        part, at = rings.of(wrong)
        areas[wrong] = _joined_faces(part, near[at], far[at], shown[at])
    return areas


def _curves(rings: Rings, near: Floats, far: Floats, shown: Bools, chosen: Bools) -> tuple[Floats, Ints]:
    """Far edge along walls that are shown, near edge along the others, both vertices where that changes."""
    before = shown[rings.previous]
    at = np.repeat(np.arange(len(near)), np.where(chosen, 1 + (shown != before), 0))
    second = np.concatenate([[False], at[1:] == at[:-1]])
    on_far = np.where(second, shown[at], before[at])
    return np.where(on_far[:, None], far[at], near[at]), rings.ring[at]


def _signed_areas(points: Floats, ring: Ints) -> Floats:
    """Area of each ring, positive where x turns toward y."""
    firsts = _ring_firsts(ring)
    spokes = points - points[firsts]
    after = np.concatenate([spokes[1:], spokes[:1] * 0])
    after[ring != np.append(ring[1:], -1)] = 0.0
    return np.bincount(ring, cross(spokes, after)) / 2


def _ring_firsts(ring: Ints) -> Ints:
    """First point of the ring of each point."""
    return np.asarray(np.searchsorted(ring, ring))
