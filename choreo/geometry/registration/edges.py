"""Outlines as points to compare and as edges to compare them with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.model.plan import Floats

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

_FINEST_PX = 0.5
_MOST_POINTS = 3000
"""Points along one part's outline: more add nothing, the noise of neighbours goes together."""
_CHORD_PX = 2.5
"""A normal stands on the chord from so far before to so far behind: the steps of a traced pixel edge even out."""


@dataclass(frozen=True, eq=False)
class Samples:
    """Points along outlines, evenly spaced."""

    points: Floats
    """(n, 2) px"""
    normals: Floats
    """(n, 2), unit length, out of the area."""
    step_px: Floats
    """(n,) length of outline that each stands for."""

    def __len__(self) -> int:
        return len(self.points)

    def every(self, stride: int) -> Samples:
        """Return a thinner set, each point standing for more."""
        return Samples(self.points[::stride], self.normals[::stride], self.step_px[::stride] * stride)


@dataclass(frozen=True, eq=False)
class Edges:
    """Outlines to which the nearest place is asked for."""

    tree: shapely.STRtree
    ends: Floats
    """(m, 2, 2) px"""
    normals: Floats
    """(m, 2), unit length, out of the area."""

    def nearest(self, points: Floats, reach_px: float) -> tuple[Ints, Ints, Floats]:
        """Return the indices of points within reach, of the edge nearest to each, and the place on it, (k, 2).

        Exact; of edges that are as near, the first counts.
        """
        which, edge = self.tree.query_nearest(shapely.points(points), max_distance=reach_px, all_matches=True)
        order = np.lexsort((edge, which))
        which, first = np.unique(which[order], return_index=True)
        edge = edge[order][first]
        start, along = self.ends[edge, 0], self.ends[edge, 1] - self.ends[edge, 0]
        share = ((points[which] - start) * along).sum(axis=1) / (along**2).sum(axis=1)
        return which, edge, start + np.clip(share, 0.0, 1.0)[:, None] * along


def samples_of(areas: Sequence[BaseGeometry]) -> Samples:
    """Return points along all rings of polygons, at most some thousands, half a pixel apart or more."""
    rings = _rings(areas)
    total = sum(float(along[-1]) for _, along in rings)
    step = max(_FINEST_PX, total / _MOST_POINTS)
    points, normals, steps = [], [], []
    for ring, along in rings:
        count = max(3, round(float(along[-1]) / step))
        at = (np.arange(count) + 0.5) * (along[-1] / count)
        points.append(_at(ring, along, at))
        normals.append(_normals(ring, along, at))
        steps.append(np.full(count, along[-1] / count))
    if not points:
        return Samples(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0))
    return Samples(np.concatenate(points), np.concatenate(normals), np.concatenate(steps))


def edges_of(areas: Sequence[BaseGeometry]) -> Edges:
    """Return the edges of polygons, cut to at most a pixel so that each has a normal of its own."""
    ends, normals = [], []
    for ring, along in _rings(areas):
        cut = shapely.get_coordinates(shapely.segmentize(shapely.linestrings(ring), 1.0))
        gone = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(cut, axis=0).T))])
        pairs = np.stack([cut[:-1], cut[1:]], axis=1)
        kept = np.diff(gone) > 0
        ends.append(pairs[kept])
        normals.append(_normals(ring, along, ((gone[:-1] + gone[1:]) / 2)[kept]))
    if not ends:
        return Edges(shapely.STRtree([]), np.zeros((0, 2, 2)), np.zeros((0, 2)))
    together = np.concatenate(ends)
    return Edges(shapely.STRtree(shapely.linestrings(together)), together, np.concatenate(normals))


def _rings(areas: Sequence[BaseGeometry]) -> list[tuple[Floats, Floats]]:
    """Each ring with the area on one side, (k, 2) closed, and the length gone at each of its points."""
    polygons = shapely.get_parts(np.asarray(list(areas), dtype=np.object_))
    rings = []
    for ring in shapely.get_rings(shapely.orient_polygons(polygons)):
        points = shapely.get_coordinates(ring)
        points = points[np.concatenate([[True], (np.diff(points, axis=0) != 0).any(axis=1)])]
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        if along[-1] > 0:
            rings.append((points, along))
    return rings


def _at(ring: Floats, along: Floats, at: Floats) -> Floats:
    at = np.mod(at, along[-1])
    return np.stack([np.interp(at, along, ring[:, 0]), np.interp(at, along, ring[:, 1])], axis=1)


def _normals(ring: Floats, along: Floats, at: Floats) -> Floats:
    half = min(_CHORD_PX, float(along[-1]) / 8)
    chord = _at(ring, along, at + half) - _at(ring, along, at - half)
    length = np.hypot(*chord.T)
    chord /= np.where(length > 0, length, 1.0)[:, None]
    # Outlines run against the clock in (x, y) as written, so out is to the right hand of that.
    return np.stack([chord[:, 1], -chord[:, 0]], axis=1)
