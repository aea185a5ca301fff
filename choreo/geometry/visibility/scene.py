"""Solids on the move before a camera on the move, and what is computed of them at most once.

A `Scene` holds solids, one camera a frame and one displacement a solid and frame. Silhouettes are made when
asked for and kept. Frames on which the camera and a solid stand alike share one result, so a still camera
costs little, and equal frames give equal coordinates to the last bit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.prism_image import prism_images
from choreo.geometry.plane.convex import convex_pieces, is_convex_ring, outward_normals
from choreo.geometry.plane.regions import joined
from choreo.geometry.solids.solid import Solid
from choreo.model.plan import Floats

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Shapes = NDArray[np.object_]

_ROUNDING_MM = 1e-8
"""Parts that reach into each other by exactly what they may do so by more, in the last digits of places far away."""

Key = tuple[int, ...]
"""Of what a silhouette is asked: (solid,), (solid, piece), or (solid, piece, kept hole or -1, convex prism)."""


@dataclass(frozen=True, eq=False)
class Prism:
    """A convex ring (k, 2), counter-clockwise, extruded over ``[z0, z1]``; mm."""

    z0: float
    z1: float
    ring: Floats

    @cached_property
    def walls(self) -> tuple[Floats, Floats]:
        """Unit outward normals (k, 2) of the walls, and how far out (k,) each stands."""
        return outward_normals(self.ring)


@dataclass(frozen=True, eq=False)
class Piece:
    """One polygon of one band, extruded over ``[z0, z1]``."""

    z0: float
    z1: float
    polygon: BaseGeometry

    @cached_property
    def hull(self) -> Prism:
        """The least convex prism around the piece."""
        return Prism(self.z0, self.z1, _hull_ring(self.polygon))

    @cached_property
    def inner(self) -> Floats:
        """(2,) a point of the material."""
        return np.asarray(shapely.get_coordinates(shapely.point_on_surface(self.polygon))[0])

    @cached_property
    def holes(self) -> tuple[Floats, ...]:
        """Rings (k, 2) of the holes, without their repeated last point."""
        return tuple(shapely.get_coordinates(ring)[:-1] for ring in self.polygon.interiors)

    @cached_property
    def hole_hulls(self) -> tuple[Prism | None, ...]:
        """The holes as prisms; None for a hole that is not convex."""
        return tuple(
            Prism(self.z0, self.z1, _hull_ring(shapely.Polygon(ring))) if is_convex_ring(ring) else None
            for ring in self.holes
        )

    def hole_at(self, points: Floats) -> Ints:
        """Index (n,) of the hole that holds each of (n, 2) points, -1 where none does."""
        out = np.full(len(points), -1, dtype=np.int64)
        for index, ring in enumerate(self.holes):
            out[shapely.contains_xy(shapely.Polygon(ring), points[:, 0], points[:, 1])] = index
        return out

    def prisms(self, kept_hole: int) -> tuple[Prism, ...]:
        """Convex prisms that tile the piece, every hole filled but `kept_hole` (-1: all filled)."""
        holes = [] if kept_hole < 0 else [self.holes[kept_hole]]
        polygon = shapely.Polygon(self.polygon.exterior, holes)
        return tuple(Prism(self.z0, self.z1, ring) for ring in convex_pieces(polygon))


@dataclass(frozen=True, eq=False)
class Scene:
    """Solids, displaced frame by frame, before one camera a frame."""

    solids: tuple[Solid, ...]
    cameras: Floats
    """(frames, 3, 4)"""
    displacements: Floats
    """(solids, frames, 3), mm"""
    touch_mm: float
    """How far two solids may reach into each other and still count as side by side."""
    pressed: Mapping[tuple[int, int], float] = field(default_factory=dict)
    """Pairs that may reach farther into each other along z, one on the other: by how much more, mm."""
    _kept: dict[Key, Shapes] = field(default_factory=dict)
    _prisms: dict[tuple[int, int, int], tuple[Prism, ...]] = field(default_factory=dict)

    @property
    def frames(self) -> int:
        """How many frames."""
        return len(self.cameras)

    @cached_property
    def pieces(self) -> tuple[tuple[Piece, ...], ...]:
        """The pieces of each solid."""
        return tuple(
            tuple(
                Piece(b.z0, b.z1, polygon)
                for b in solid.bands
                for polygon in shapely.get_parts(b.section)
                if polygon.area > 0
            )
            for solid in self.solids
        )

    @cached_property
    def hulls(self) -> tuple[Prism, ...]:
        """The least convex prism with its faces along z around each solid."""
        return tuple(
            Prism(
                min(p.z0 for p in pieces),
                max(p.z1 for p in pieces),
                _hull_ring(shapely.MultiPolygon([p.polygon for p in pieces])),
            )
            for pieces in self.pieces
        )

    @cached_property
    def eyes(self) -> Floats:
        """(frames, 4) where the camera stands: (x, y, z, 1), or (toward the camera, 0) for a parallel one."""
        rows = self.cameras[:, :, :3]
        toward = -np.cross(rows[:, 0], rows[:, 1])
        parallel = ~rows[:, 2].any(axis=1)
        eyes = np.concatenate([toward / np.linalg.norm(toward, axis=1, keepdims=True), np.zeros_like(toward[:, :1])], 1)
        central = ~parallel
        if central.any():
            where = np.linalg.solve(rows[central], -self.cameras[central, :, 3:])[:, :, 0]
            eyes[central] = np.concatenate([where, np.ones((len(where), 1))], 1)
        return eyes

    @cached_property
    def first_camera(self) -> Ints:
        """(frames,) the first frame with the same camera."""
        return first_alike(self.cameras.reshape(self.frames, -1))

    @cached_property
    def restless(self) -> bool:
        """Whether the camera never stands twice in one place: then no two frames are alike."""
        return bool((self.first_camera == np.arange(self.frames)).all())

    @cached_property
    def alike(self) -> Ints:
        """(solids, frames): the first frame on which camera and displacement were the same."""
        if self.restless:
            return np.tile(self.first_camera, (len(self.solids), 1))
        rows = [np.column_stack([self.first_camera, shift]) for shift in self.displacements]
        return np.stack([first_alike(row) for row in rows])

    @cached_property
    def boxes(self) -> tuple[Floats, ...]:
        """Per solid (pieces, frames, 4): screen boxes (left, top, right, bottom) around each piece, px."""
        return tuple(self._boxes(n) for n in range(len(self.solids)))

    def apart(self, a: int, b: int) -> Bools:
        """(frames,) whether the screen boxes of two solids do not overlap."""
        return boxes_apart(around(self.boxes[a]), around(self.boxes[b]))

    def prisms(self, solid: int, piece: int, kept_hole: int) -> tuple[Prism, ...]:
        """Return convex prisms that tile a piece (see `Piece.prisms`), kept for the next call."""
        key = (solid, piece, kept_hole)
        if key not in self._prisms:
            self._prisms[key] = self.pieces[solid][piece].prisms(kept_hole)
        return self._prisms[key]

    def project(self, points: Floats, frames: Ints) -> tuple[Floats, Floats]:
        """Return pixels (frames, m, 2) and the third homogeneous coordinate (frames, m) of (frames, m, 3)."""
        matrix = self.cameras[frames]
        uvw = points @ np.swapaxes(matrix[:, :, :3], 1, 2) + matrix[:, None, :, 3]
        return uvw[..., :2] / uvw[..., 2:], uvw[..., 2]

    def silhouette(self, key: Key, frames: Ints) -> Shapes:
        """Return the silhouette on each of `frames`; frames that stand alike give the same object."""
        solid = key[0]
        if len(key) == 2 and len(self.pieces[solid]) == 1:
            key = key[:1]
        kept = self._kept.setdefault(key, np.full(self.frames, None, dtype=object))
        source = self.alike[solid, frames]
        missing = np.unique(source)
        missing = missing[shapely.is_missing(kept[missing])]
        if missing.size:
            kept[missing] = self._images(key, missing)
        return np.asarray(kept[source])

    def _images(self, key: Key, frames: Ints) -> Shapes:
        solid, count = key[0], len(self.pieces[key[0]])
        if len(key) == 4:
            prism = self.prisms(*key[:3])[key[3]]
            polygons = np.full(len(frames), shapely.Polygon(prism.ring), dtype=np.object_)
            depths = np.broadcast_to([prism.z0, prism.z1], (len(frames), 2))
            return prism_images(polygons, depths, *self.before(solid, frames))
        if len(key) == 2:
            # One call for all pieces costs little more than one for each: the others will be asked for too.
            self._fill_pieces(solid, frames)
            return self._kept[key][frames]
        if count == 1:
            return self._piece_images(solid, frames)[:, 0]
        return joined([self.silhouette((solid, piece), frames) for piece in range(count)])

    def _fill_pieces(self, solid: int, frames: Ints) -> None:
        images = self._piece_images(solid, frames)
        for piece in range(images.shape[1]):
            kept = self._kept.setdefault((solid, piece), np.full(self.frames, None, dtype=object))
            kept[frames] = images[:, piece]

    def _piece_images(self, solid: int, frames: Ints) -> Shapes:
        """Images (frames, pieces) of all pieces."""
        pieces = self.pieces[solid]
        rows = np.repeat(frames, len(pieces))
        polygons = np.tile(np.array([p.polygon for p in pieces], dtype=np.object_), len(frames))
        depths = np.tile([[p.z0, p.z1] for p in pieces], (len(frames), 1))
        return prism_images(polygons, depths, *self.before(solid, rows)).reshape(len(frames), len(pieces))

    def before(self, solid: int, frames: Ints) -> tuple[Floats, Floats]:
        """Return the cameras (n, 3, 4) and eyes (n, 4) as a solid in its assembled place would see them."""
        shift = self.displacements[solid, frames]
        matrices, eyes = self.cameras[frames].copy(), self.eyes[frames].copy()
        matrices[:, :, 3] += np.einsum("nij,nj->ni", matrices[:, :, :3], shift)
        eyes[:, :3] -= eyes[:, 3:] * shift
        return matrices, eyes

    def _boxes(self, solid: int) -> Floats:
        corners = [
            np.column_stack([piece.hull.ring, np.full(len(piece.hull.ring), z)])
            for piece in self.pieces[solid]
            for z in (piece.z0, piece.z1)
        ]
        starts = np.cumsum([0] + [len(ring) for ring in corners])[:-1:2]
        points = np.concatenate(corners) + self.displacements[solid][:, None, :]
        pixels, _ = self.project(points, np.arange(self.frames))
        low = np.minimum.reduceat(pixels, starts, axis=1)
        high = np.maximum.reduceat(pixels, starts, axis=1)
        return np.swapaxes(np.concatenate([low, high], axis=2), 0, 1)


def build_scene(
    solids: Sequence[Solid],
    cameras: Floats,
    displacements: Floats,
    touch_mm: float,
    pressed: Mapping[tuple[int, int], float] = MappingProxyType({}),
) -> Scene:
    """Return the scene of those solids.

    Parameters
    ----------
    solids : sequence of Solid
        None of them empty.
    cameras : (frames, 3, 4) array
        Product space (mm) to screen (px).
    displacements : (solids, frames, 3) array
        From the assembled position, mm.
    touch_mm : float
        How far two solids may reach into each other, mm.
    pressed : mapping of two solids to float
        By how much more pairs may do so along z, mm.

    """
    return Scene(
        tuple(solids),
        np.asarray(cameras, dtype=np.float64),
        np.asarray(displacements, dtype=np.float64),
        touch_mm + _ROUNDING_MM,
        {pair: more for (a, b), more in pressed.items() for pair in ((a, b), (b, a))},
    )


def first_alike(rows: NDArray[np.generic]) -> Ints:
    """Return for each row the index of the first row equal to it."""
    rows = np.ascontiguousarray(rows)
    seen: dict[bytes, int] = {}
    return np.array([seen.setdefault(row.tobytes(), n) for n, row in enumerate(rows)], dtype=np.int64)


def around(boxes: Floats) -> Floats:
    """Return the boxes (frames, 4) around boxes (pieces, frames, 4)."""
    return np.concatenate([boxes[..., :2].min(axis=0), boxes[..., 2:].max(axis=0)], axis=-1)


def boxes_apart(first: Floats, second: Floats) -> Bools:
    """Whether boxes (..., 4) have no area in common."""
    low = np.maximum(first[..., :2], second[..., :2])
    high = np.minimum(first[..., 2:], second[..., 2:])
    return np.asarray((low >= high).any(axis=-1))


def _hull_ring(geometry: BaseGeometry) -> Floats:
    ring = shapely.get_coordinates(shapely.orient_polygons(shapely.convex_hull(geometry)))[:-1]
    return np.asarray(ring, dtype=np.float64)
