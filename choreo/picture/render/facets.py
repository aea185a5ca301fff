"""What of a solid looks at the camera: faces along z and side walls, in an order in which they can be painted.

Bands are painted from the far one to the near one. Within a band the walls come first, in *levels*: a wall is
on a higher level than every wall that it may hide, and walls of one level hide nothing of each other. The face
comes last: a line of sight meets it before any wall of its band.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import Camera
from choreo.geometry.cameras.silhouette import face_on_screen, silhouettes
from choreo.geometry.plane.unions import only_areas
from choreo.geometry.solids.solid import Band, Solid
from choreo.model.plan import Floats

Ints = NDArray[np.int64]

_LEVEL = 1e-9
"""Walls whose normal is nearer to square to the view than this (as a sine) are seen edge-on."""
_SLIVER = 1e-12
"""Walls that share less than this of the field of view (as a share of it) hide nothing of each other."""


_LAP_PX = 2.0
"""How far a wall goes on under the next one."""


@dataclass(frozen=True, eq=False)
class Walls:
    """The side walls of a band: the edges of its section, cut where a neighbour begins to be flush."""

    ends: Floats
    """(n, 2, 2) both ends in the plan, mm; the material lies to the left."""
    normals: Floats
    """(n, 2) unit, outward."""
    flush: NDArray[np.bool_]
    """(n, 2) whether the lower and the upper neighbour goes on in the same plane."""


@dataclass(frozen=True, eq=False)
class Stage:
    """One band as the camera sees it: walls far to near, then the face."""

    quads: Floats
    """(n, 4, 2) walls that look at the camera, px."""
    normals: Floats
    """(n, 3) of those walls, unit, product space."""
    levels: Ints
    """(n,) 0 is painted first."""
    face: BaseGeometry | None
    """px; None if no face of the band looks at the camera."""
    side: int
    """1: the face looks along +z; -1: along -z; 0: the camera stands level with the band and sees no face."""
    strip: BaseGeometry | None
    """Seen level, walls before and behind begin and end on one line: they are drawn longer and cut to this, px."""


@dataclass(frozen=True, eq=False)
class Facets:
    """A solid's walls and faces, worked out once."""

    solid: Solid
    walls: tuple[Walls, ...]
    bare: tuple[tuple[BaseGeometry, BaseGeometry], ...]
    """For each band what of its lower and its upper face the next band leaves bare, mm."""

    def stages(self, camera: Camera, shift: Floats) -> Iterator[Stage]:
        """Return the bands, far to near, of the solid displaced by `shift` (3,), mm."""
        eye = None if camera.position is None else camera.position - shift
        for index, side in _far_to_near(self.solid, camera, eye):
            band = self.solid.bands[index]
            walls = self.walls[index]
            seen, levels = _seen_walls(walls, camera.forward, eye)
            flat = np.concatenate([walls.ends[seen], walls.ends[seen][:, ::-1]], axis=1)
            depth = np.repeat(np.array([[band.z0, band.z1]], dtype=np.float64), len(seen), axis=0)
            lap = self._lap(index + side, camera, shift)
            if side == 0:
                depth += (-lap, lap)
            else:
                # Under the wall that will be painted flush with it, a wall goes on a little: else what lies
                # behind both would shine through their joint.
                upper = int(side > 0)
                depth[:, upper] += side * walls.flush[seen, upper] * lap
            corners = np.concatenate([flat, np.repeat(depth, 2, axis=1)[..., None]], axis=2)
            quads, far = camera.project(corners + shift)
            before = (far > Camera.near).all(axis=1) if camera.is_perspective else np.ones(len(quads), dtype=np.bool_)
            normals = np.column_stack([walls.normals[seen], np.zeros(len(seen))])
            face = _NOTHING
            if side:
                # Whole faces would peep out between the walls of two bands that are flush.
                face = face_on_screen(self.bare[index][side > 0], band.z1 if side > 0 else band.z0, camera, shift)
            strip = silhouettes(Solid((band,)), camera, shift)[0] if side == 0 else None
            yield Stage(quads[before], normals[before], levels[before], None if face.is_empty else face, side, strip)

    def _lap(self, index: int, camera: Camera, shift: Floats) -> float:
        """Return a length along z that is more than a pixel, but not more than the band."""
        if not 0 <= index < len(self.solid.bands):
            return 0.0
        band = self.solid.bands[index]
        scale = float(camera.scale_at(self.solid.bounds.mean(axis=0) + shift))
        slant = float(np.hypot(*camera.forward[:2]))  # how long a length along z appears, about
        return min(band.z1 - band.z0, _LAP_PX / max(scale * slant, 1e-9))


def facets_of(solid: Solid) -> Facets:
    """Return the facets of a solid in its assembled place."""
    bands = range(len(solid.bands))
    bare = tuple((_bare(solid, index, -1), _bare(solid, index, 1)) for index in bands)
    return Facets(solid, tuple(_walls(solid, index) for index in bands), bare)


_NOTHING = shapely.Polygon()


def _walls(solid: Solid, index: int) -> Walls:
    polygons = shapely.orient_polygons(shapely.get_parts(solid.bands[index].section), exterior_cw=False)
    xy, ring = shapely.get_coordinates(shapely.get_rings(polygons), return_index=True)
    edges = np.stack([xy[:-1], xy[1:]], axis=1)[ring[1:] == ring[:-1]]
    flush = np.zeros((len(edges), 2), dtype=np.bool_)
    for upper, step in enumerate((-1, 1)):
        other = _neighbour(solid, index, step)
        if other is not None:
            edges, source, on = _cut(edges, other.section.boundary)
            flush = flush[source]
            flush[:, upper] = on
    along = edges[:, 1] - edges[:, 0]
    length = np.hypot(along[:, 0], along[:, 1])
    kept = length > 0
    normals = np.column_stack([along[:, 1], -along[:, 0]])[kept] / length[kept, None]
    return Walls(edges[kept], normals, flush[kept])


def _cut(edges: Floats, boundary: BaseGeometry) -> tuple[Floats, Ints, NDArray[np.bool_]]:
    """Edges (n, 2, 2) cut where they run onto a boundary: pieces, whose they are, whether they run on it."""
    lines = shapely.linestrings(edges)
    pieces, source, on = [], [], []
    for number, found in enumerate((shapely.difference(lines, boundary), shapely.intersection(lines, boundary))):
        parts, index = shapely.get_parts(found, return_index=True)
        straight = shapely.length(parts) > 0
        ends = shapely.get_coordinates(parts[straight])
        counts = shapely.get_num_coordinates(parts[straight])
        stop = np.cumsum(counts)
        pieces.append(np.stack([ends[stop - counts], ends[stop - 1]], axis=1))
        source.append(index[straight])
        on.append(np.full(int(straight.sum()), bool(number)))
    cut, index = np.concatenate(pieces), np.concatenate(source)
    along = edges[index, 1] - edges[index, 0]
    turned = ((cut[:, 1] - cut[:, 0]) * along).sum(axis=1) < 0
    cut[turned] = cut[turned, ::-1]
    return cut, index, np.concatenate(on)


def _neighbour(solid: Solid, index: int, step: int) -> Band | None:
    """The next band on that side, if it touches."""
    band, after = solid.bands[index], index + step
    if not 0 <= after < len(solid.bands):
        return None
    other = solid.bands[after]
    return other if (other.z0 == band.z1 if step > 0 else other.z1 == band.z0) else None


def _bare(solid: Solid, index: int, step: int) -> BaseGeometry:
    """What the next band on that side leaves bare of the face."""
    section, other = solid.bands[index].section, _neighbour(solid, index, step)
    return section if other is None else only_areas(shapely.difference(section, other.section))


def _far_to_near(solid: Solid, camera: Camera, eye: Floats | None) -> list[tuple[int, int]]:
    """Bands and the side that each shows: 1 its upper face, -1 its lower one, 0 none."""
    count = len(solid.bands)
    if eye is None:
        side = int(np.sign(-camera.forward[2]))
        return [(index, side) for index in (range(count) if side >= 0 else reversed(range(count)))]
    height = float(eye[2])
    sides = [int(height > band.z1) - int(height < band.z0) for band in solid.bands]
    below = [(index, 1) for index in range(count) if sides[index] > 0]
    above = [(index, -1) for index in reversed(range(count)) if sides[index] < 0]
    # A line of sight starts at the height of the eye: what reaches over that height is met first.
    return [*below, *above, *((index, 0) for index in range(count) if sides[index] == 0)]


def _seen_walls(walls: Walls, forward: Floats, eye: Floats | None) -> tuple[Ints, Ints]:
    """Walls that look at the camera, and their levels."""
    if eye is None:
        facing = -(walls.normals @ forward[:2])
        limit = np.full(len(facing), _LEVEL)
    else:
        away = eye[:2] - walls.ends[:, 0]
        facing = (walls.normals * away).sum(axis=1)
        limit = _LEVEL * np.hypot(*away.T)
    seen = np.flatnonzero(facing > limit)
    ends = walls.ends[seen]
    spans, depth = _parallel_spans(ends, forward) if eye is None else _central_spans(ends, walls.normals[seen], eye)
    return seen, _levels(spans, depth)


Depth = tuple[Floats, Floats, Floats]
"""For walls (n,): the depth of a wall at a place u of the field of view is a / (b cos u + c sin u), or for a
parallel view a + b u, with c all NaN."""


def _parallel_spans(ends: Floats, forward: Floats) -> tuple[Floats, Depth]:
    """Which stretch (n, 2) of a level field of view each wall takes, and how deep it lies there."""
    plan = forward[:2] / np.hypot(*forward[:2]) if forward[:2].any() else np.array([1.0, 0.0])
    across = ends @ np.array([-plan[1], plan[0]])
    deep = ends @ plan
    rise = (deep[:, 1] - deep[:, 0]) / np.where(across[:, 1] != across[:, 0], across[:, 1] - across[:, 0], 1.0)
    return np.sort(across, axis=1), (deep[:, 0] - rise * across[:, 0], rise, np.full(len(ends), np.nan))


def _central_spans(ends: Floats, normals: Floats, eye: Floats) -> tuple[Floats, Depth]:
    """The same, all around the eye: u is an angle. A wall across the cut at 180 degrees takes the longer way too.

    Taking more than its stretch, such a wall is compared with more walls than needed, at angles where both are.
    """
    away = ends - eye[:2]
    # The cut lies opposite to where most of it is: only a solid all around the eye meets it.
    middle = away.reshape(-1, 2).mean(axis=0) if len(away) else np.array([1.0, 0.0])
    length = float(np.hypot(*middle)) or 1.0
    turn = np.array([[middle[0], -middle[1]], [middle[1], middle[0]]]) / length if middle.any() else np.eye(2)
    local, facing = away @ turn, normals @ turn
    angle = np.sort(np.arctan2(local[..., 1], local[..., 0]), axis=1)
    offset = (local[:, 0] * facing).sum(axis=1)
    return angle, (offset, facing[:, 0], facing[:, 1])


def _levels(spans: Floats, depth: Depth) -> Ints:
    """Longest chain of walls behind each wall."""
    low = np.maximum(spans[:, None, 0], spans[None, :, 0])
    high = np.minimum(spans[:, None, 1], spans[None, :, 1])
    a, b, c = depth
    size = float(np.ptp(spans)) if spans.size else 0.0
    meets = high - low > _SLIVER * size
    middle = (low + high) / 2
    parallel = bool(np.isnan(c).all())
    with np.errstate(divide="ignore", invalid="ignore"):
        deep = [
            values[0] + values[1] * middle
            if parallel
            else values[0] / (values[1] * np.cos(middle) + values[2] * np.sin(middle))
            for values in ((a[:, None], b[:, None], c[:, None]), (a[None], b[None], c[None]))
        ]
        nearer = meets & (deep[1] < deep[0])
    nearer &= ~np.eye(len(spans), dtype=np.bool_)
    levels = np.zeros(len(spans), dtype=np.int64)
    for _ in range(len(spans)):
        raised = np.where(nearer, levels[:, None] + 1, 0).max(axis=0, initial=0)
        if (raised <= levels).all():
            break
        levels = np.maximum(levels, raised)
    return levels
