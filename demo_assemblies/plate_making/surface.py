"""Which point of which surface a camera sees at each sample of a picture.

Solids are stacks of slabs, so every surface is flat: a face along z or a side wall. Each is drawn into a buffer of
heights toward the camera; the highest stays. What is seen then gets a normal that looks made, not cut: round walls
run smoothly from edge to edge, and edges have a bevel.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from choreo.geometry.cameras.camera import view_axes
from choreo.geometry.solids.solid import Solid
from choreo.picture.render.coverage import Window, coverage, window_around
from choreo.picture.render.facets import Facets, facets_of

_TILT = np.radians(55.0)
"""How far a bevel leans at the very edge."""
_CHUNK = 2_000_000


@dataclass(frozen=True, eq=False)
class View:
    """A parallel camera: axes of the picture, samples per mm, where the origin lies, how many samples."""

    axes: np.ndarray
    """(3, 3) rows right, up and back, product space."""
    per_mm: float
    pivot: tuple[float, float]
    """Where the origin of product space lies, samples from the top-left corner."""
    width: int
    height: int

    @property
    def window(self) -> Window:
        return Window(0, 0, self.width, self.height)

    def to_picture(self, points: np.ndarray) -> np.ndarray:
        """Samples (..., 2) of points (..., 3)."""
        seen = points @ self.axes[:2].T * (self.per_mm, -self.per_mm)
        return seen + self.pivot

    def plane(self, rows: np.ndarray, columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Right and up, mm, of the centres of samples."""
        return (columns + 0.5 - self.pivot[0]) / self.per_mm, (self.pivot[1] - rows - 0.5) / self.per_mm


def rows_of(azimuth: float, elevation: float) -> np.ndarray:
    right, up, forward = view_axes(azimuth, elevation)
    return np.stack([right, up, -forward])


@dataclass(frozen=True, eq=False)
class Piece:
    """One solid, the size of its bevels, and at less than which angle walls meet as a curve, degrees."""

    solid: Solid
    bevel_mm: float
    smooth_degrees: float

    @property
    def smooth(self) -> float:
        """The same as a cosine."""
        return float(np.cos(np.radians(self.smooth_degrees)))

    @cached_property
    def facets(self) -> Facets:
        return facets_of(self.solid)


@dataclass(frozen=True, eq=False)
class Seen:
    """What is seen at some samples, n of them."""

    index: np.ndarray
    """(n,) row * width + column."""
    piece: np.ndarray
    """(n,) which of the pieces."""
    points: np.ndarray
    """(n, 3) product space, mm."""
    flat: np.ndarray
    """(n, 3) unit normals of the true surface."""
    normals: np.ndarray
    """(n, 3) unit normals as they look made."""
    level: np.ndarray
    """(n,) the middle of the slab that is seen, along z, mm."""


@dataclass(frozen=True, eq=False)
class _Surface:
    """A wall or a face that looks at the camera."""

    piece: int
    normal: np.ndarray
    through: float
    """``normal @ point`` on its plane."""
    area: shapely.Geometry | np.ndarray
    """A face's area in samples, or the four corners of a wall."""
    band: int
    side: int
    """1 or -1: a face; 0: a wall."""
    wall: int = -1


def heights(view: View, pieces: Sequence[Piece]) -> tuple[np.ndarray, np.ndarray, list[_Surface]]:
    """Return heights toward the camera, mm, -inf where there is nothing; which surface is seen; the surfaces."""
    surfaces = [one for number, piece in enumerate(pieces) for one in _surfaces(view, number, piece)]
    high = np.full((view.height, view.width), -np.inf)
    which = np.full((view.height, view.width), -1, dtype=np.int32)
    for number, surface in enumerate(surfaces):
        found = _filled(view, surface)
        if found is None:
            continue
        window, mask = found
        rows, columns = np.nonzero(mask)
        rows, columns = rows + window.y, columns + window.x
        right, up = view.plane(rows, columns)
        across = surface.normal @ view.axes.T
        height = (surface.through - across[0] * right - across[1] * up) / across[2]
        nearer = height > high[rows, columns] + 1e-9
        rows, columns = rows[nearer], columns[nearer]
        high[rows, columns] = height[nearer]
        which[rows, columns] = number
    return high, which, surfaces


def look(view: View, pieces: Sequence[Piece]) -> tuple[np.ndarray, Seen]:
    """Return heights toward the camera, and what is seen."""
    high, which, surfaces = heights(view, pieces)
    index = np.flatnonzero(which >= 0)
    order = np.argsort(which.ravel()[index], kind="stable")
    index = index[order]
    number = which.ravel()[index]
    right, up = view.plane(*np.divmod(index, view.width))
    points = np.stack([right, up, high.ravel()[index]], axis=1) @ view.axes
    flat = np.stack([one.normal for one in surfaces])[number]
    normals = flat.copy()
    level = np.empty(len(index))
    ends = np.searchsorted(number, np.arange(len(surfaces) + 1))
    for one, surface in enumerate(surfaces):
        span = slice(int(ends[one]), int(ends[one + 1]))
        if span.stop > span.start:
            piece = pieces[surface.piece]
            band = piece.solid.bands[surface.band]
            level[span] = (band.z0 + band.z1) / 2
            make = _face_normals if surface.side else _wall_normals
            normals[span] = make(piece, surface, points[span])
    owner = np.array([one.piece for one in surfaces], dtype=np.int64)[number]
    return high, Seen(index, owner, points, flat, normals, level)


def _surfaces(view: View, number: int, piece: Piece) -> Iterable[_Surface]:
    back = view.axes[2]
    for index, band in enumerate(piece.solid.bands):
        side = int(np.sign(np.round(back[2], 9)))
        if side:
            z = band.z1 if side > 0 else band.z0
            bare = piece.facets.bare[index][side > 0]
            if not bare.is_empty:
                area = shapely.transform(bare, lambda xy, z=z: view.to_picture(np.column_stack([xy, _at(xy, z)])))
                normal = np.array([0.0, 0.0, float(side)])
                yield _Surface(number, normal, side * z, area, index, side)
        walls = piece.facets.walls[index]
        facing = walls.normals @ back[:2]
        for wall in np.flatnonzero(facing > 1e-6).tolist():
            a, b = walls.ends[wall]
            corners = np.array([[*a, band.z0], [*b, band.z0], [*b, band.z1], [*a, band.z1]])
            normal = np.array([*walls.normals[wall], 0.0])
            yield _Surface(number, normal, float(normal[:2] @ a), view.to_picture(corners), index, 0, wall)


def _at(xy: np.ndarray, z: float) -> np.ndarray:
    return np.full(len(xy), z)


def _filled(view: View, surface: _Surface) -> tuple[Window, np.ndarray] | None:
    """The samples whose centre a surface covers, and the window they lie in."""
    if isinstance(surface.area, np.ndarray):
        quad = surface.area
        window = window_around((*quad.min(axis=0), *quad.max(axis=0)), view.window)
        if window is None:
            return None
        x = np.arange(window.width) + window.x + 0.5
        y = (np.arange(window.height) + window.y + 0.5)[:, None]
        inside = np.ones((window.height, window.width), dtype=bool)
        (one, two), (three, four) = quad[2] - quad[0], quad[3] - quad[1]
        way = np.sign(one * four - two * three)
        for (ax, ay), (bx, by) in zip(quad, np.roll(quad, -1, axis=0), strict=True):
            inside &= ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) * way >= -1e-6
        return window, inside
    window = window_around(surface.area.bounds, view.window)
    return None if window is None else (window, coverage(surface.area, window) >= 0.5 - 1e-6)


def _face_normals(piece: Piece, surface: _Surface, points: np.ndarray) -> np.ndarray:
    """A face with a bevel along edges behind which it falls off."""
    section = piece.solid.bands[surface.band].section
    bare = piece.facets.bare[surface.band][surface.side > 0]
    start, end, one, two = _edges(bare, piece.smooth)
    own = shapely.distance(shapely.points((start + end) / 2), section.boundary) < 1e-6
    normals = np.tile(surface.normal, (len(points), 1))
    if not own.any():
        return normals
    off, outward = _nearest_edge(points[:, :2], start[own], end[own], one[own], two[own])
    tilt = _TILT * np.clip(1 - off / piece.bevel_mm, 0.0, 1.0) ** 1.5
    normals[:, :2] = outward * np.sin(tilt)[:, None]
    normals[:, 2] *= np.cos(tilt)
    return normals


def _wall_normals(piece: Piece, surface: _Surface, points: np.ndarray) -> np.ndarray:
    """A wall that runs on smoothly into its neighbours, with a bevel where a face meets it."""
    solid, band = piece.solid, piece.solid.bands[surface.band]
    walls = piece.facets.walls[surface.band]
    a, b = walls.ends[surface.wall]
    own = walls.normals[surface.wall]
    length = float(np.hypot(*(b - a)))
    along = (points[:, :2] - a) @ (b - a) / length
    ends = [_joined(walls.normals, walls.ends, surface.wall, upper, piece.smooth) for upper in (False, True)]
    share = np.clip(along / length, 0.0, 1.0)[:, None]
    if ends[0][1] and ends[1][1]:
        plan = ends[0][0] * (1 - share) + ends[1][0] * share
    else:
        # A corner is beveled; what is round at one end only is round up to half way.
        plan = np.tile(own, (len(points), 1))
        for (normal, smooth), way in zip(ends, (along, length - along), strict=True):
            reach = length / 2 if smooth else piece.bevel_mm
            lean = np.clip(1 - way / reach, 0.0, 1.0)[:, None]
            plan += lean * (normal - own)
    normals = np.column_stack([plan, np.zeros(len(points))])
    middle = (a + b) / 2
    for upper, z in ((0, band.z0), (1, band.z1)):
        step = surface.band + (1 if upper else -1)
        touching = 0 <= step < len(solid.bands) and (solid.bands[step].z0 == z if upper else solid.bands[step].z1 == z)
        spots = np.stack([middle - 0.02 * own, middle + 0.02 * own])
        goes_on = touching and bool(shapely.contains_xy(solid.bands[step].section, *spots.T).any())
        if not goes_on:
            tilt = _TILT * np.clip(1 - np.abs(points[:, 2] - z) / piece.bevel_mm, 0.0, 1.0) ** 1.5
            normals[:, :2] *= np.cos(tilt)[:, None]
            normals[:, 2] += np.sin(tilt) * (1 if upper else -1)
    return normals / np.linalg.norm(normals, axis=1, keepdims=True)


def _joined(normals: np.ndarray, ends: np.ndarray, wall: int, upper: bool, smooth: float) -> tuple[np.ndarray, bool]:
    """The normal at one end of a wall, between it and its neighbour's, and whether they are one curve."""
    here = ends[wall, int(upper)]
    other = np.flatnonzero(np.abs(ends[:, 1 - int(upper)] - here).max(axis=1) < 1e-6)
    if not len(other):
        return normals[wall], False
    next_to = normals[int(other[0])]
    half = normals[wall] + next_to
    return half / max(float(np.hypot(*half)), 1e-9), bool(normals[wall] @ next_to > smooth)


def _edges(area: shapely.Geometry, smooth: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Edges of an area with the material to the left: both ends, and a normal at each, smooth along curves."""
    rings = shapely.get_rings(shapely.orient_polygons(shapely.get_parts(area), exterior_cw=False))
    out: list[list[np.ndarray]] = [[], [], [], []]
    for ring in rings:
        xy = shapely.get_coordinates(ring)
        edge = np.diff(xy, axis=0)
        kept = np.hypot(*edge.T) > 1e-9
        start, end, edge = xy[:-1][kept], xy[1:][kept], edge[kept]
        normal = np.column_stack([edge[:, 1], -edge[:, 0]]) / np.hypot(*edge.T)[:, None]
        before, after = np.roll(normal, 1, axis=0), np.roll(normal, -1, axis=0)
        for values, more in zip(
            out, (start, end, _half(normal, before, smooth), _half(normal, after, smooth)), strict=True
        ):
            values.append(more)
    return tuple(np.concatenate(values) for values in out)


def _half(normal: np.ndarray, other: np.ndarray, smooth: float) -> np.ndarray:
    curved = (normal * other).sum(axis=1) > smooth
    both = normal + np.where(curved[:, None], other, normal)
    return both / np.hypot(*both.T)[:, None]


def _nearest_edge(
    points: np.ndarray, start: np.ndarray, end: np.ndarray, one: np.ndarray, two: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """How far each point is from the nearest edge, and the normal of the place on it that is nearest."""
    along = end - start
    squared = (along**2).sum(axis=1)
    off, outward = np.empty(len(points)), np.empty((len(points), 2))
    step = max(1, _CHUNK // len(start))
    for first in range(0, len(points), step):
        some = points[first : first + step]
        away = some[:, None, :] - start
        share = np.clip((away * along).sum(axis=2) / squared, 0.0, 1.0)
        gap = away - share[..., None] * along
        distance = (gap**2).sum(axis=2)
        best = distance.argmin(axis=1)
        row = np.arange(len(some))
        off[first : first + step] = np.sqrt(distance[row, best])
        t = share[row, best][:, None]
        mixed = one[best] * (1 - t) + two[best] * t
        outward[first : first + step] = mixed / np.hypot(*mixed.T)[:, None]
    return off, outward
