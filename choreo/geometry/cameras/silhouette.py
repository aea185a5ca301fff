"""Exact outlines of solids on the screen, a whole shot in a few array calls.

A band is a prism; its image comes from `choreo.geometry.plane.prism`, and a solid's silhouette is the union of its
bands' images. Rows with the same view are computed once, and parallel views of the same direction are one
picture displaced.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import Camera
from choreo.geometry.plane.prism import TIE, cross, rings_of, swept_area
from choreo.geometry.plane.unions import Bools, Geometries, Ints, mended, only_areas, union_groups, union_rows
from choreo.geometry.solids.solid import Solid
from choreo.model.plan import Floats


def silhouettes(solid: Solid, cameras: Sequence[Camera] | Camera, displacements: Floats) -> Geometries:
    """Return what a displaced solid covers on the screen, a row for each displacement.

    Exact but for the rounding of coordinates: every line of sight that meets the solid, and no other, meets
    the screen inside the silhouette. What lies nearer to a perspective camera than `Camera.near` is cut off.

    Parameters
    ----------
    solid : Solid
        In its assembled place, mm.
    cameras : sequence of n Camera, or one Camera
        One for each row, or one for all rows.
    displacements : (n, 3) array
        mm; for one row for all cameras, (1, 3) or (3,).

    Returns
    -------
    (n,) array of Polygon or MultiPolygon
        Valid, px; empty where nothing of the solid lies before the camera.

    """
    views = _views([cameras] if isinstance(cameras, Camera) else cameras, displacements)
    out = np.full(len(views.matrix), shapely.Polygon(), dtype=np.object_)
    if not solid.bands or not len(out):
        return out
    # A parallel view is a picture at the origin and a displacement on the screen.
    key = views.matrix.copy()
    key[~views.perspective, :2, 3] = 0.0
    _, first, row = np.unique(key.reshape(-1, 12), axis=0, return_index=True, return_inverse=True)
    matrix = key[first]
    images = _images(solid, _Views(matrix, views.centre[first], views.perspective[first]))
    out[:] = images[row.ravel()]
    shifted = ~views.perspective
    out[shifted] = _displaced(out[shifted], views.matrix[shifted, :2, 3])
    return out


def face_on_screen(
    section: BaseGeometry, z: float, camera: Camera, displacement: Floats | Sequence[float]
) -> BaseGeometry:
    """Return the image of a flat section at depth `z`, holes and all.

    Parameters
    ----------
    section : Polygon or MultiPolygon
        In a plane of constant z, mm.
    z : float
        mm.
    camera : Camera
        Through which it is seen.
    displacement : (3,)
        Of the section, mm.

    Returns
    -------
    Polygon or MultiPolygon
        Valid, px; empty where the section is seen edge-on or lies behind the camera.

    """
    dx, dy, dz = (float(c) for c in displacement)
    if camera.is_perspective:
        plane = camera.matrix[2] @ np.array([[1, 0, 0], [0, 1, 0], [0, 0, z + dz], [0, 0, 1]])
        plane[2] += plane[0] * dx + plane[1] * dy - camera.near
        section = _half(section, plane)
    if section.is_empty:
        return shapely.Polygon()
    moved = np.array([dx, dy, z + dz])
    image = shapely.transform(section, lambda xy: camera.project(np.column_stack([xy, np.zeros(len(xy))]) + moved)[0])
    return image if image.is_valid else mended(image)


def hull_points(solid: Solid) -> Floats:
    """Return (k, 3) points of the solid whose convex hull is that of the solid, mm."""
    layers: list[tuple[float, Floats]] = []
    for band in solid.bands:
        xy = shapely.get_coordinates(shapely.convex_hull(band.section))[:-1]
        layers += [(band.z0, xy), (band.z1, xy)]
    hulls = [shapely.Polygon(xy) for _, xy in layers]
    kept = [np.zeros((0, 3))]
    for index, (z, xy) in enumerate(layers):
        # A corner with material both below and above it, at its own place in plan, lies between the two.
        spots = shapely.points(xy)
        below = np.any([shapely.covers(hulls[k], spots) for k in range(index) if layers[k][0] < z], axis=0)
        above = np.any(
            [shapely.covers(hulls[k], spots) for k in range(index + 1, len(layers)) if layers[k][0] > z], axis=0
        )
        outer = xy[~(below & above)]
        kept.append(np.column_stack([outer, np.full(len(outer), z)]))
    return np.concatenate(kept)


@dataclass(frozen=True, eq=False)
class _Views:
    """How each row sees the solid in its assembled place."""

    matrix: Floats
    """(n, 3, 4), the displacement worked in."""
    centre: Floats
    """(n, 3) centre of projection less displacement, or for a parallel view the direction to the viewer."""
    perspective: Bools
    """(n,)"""


def _views(cameras: Sequence[Camera], displacements: Floats) -> _Views:
    moves = np.asarray(displacements, dtype=np.float64).reshape(-1, 3)
    n = max(len(cameras), len(moves)) if len(cameras) and len(moves) else 0
    moves = np.broadcast_to(moves, (n, 3))
    matrix = np.array(np.broadcast_to(np.stack([c.matrix for c in cameras]), (n, 3, 4))) if n else _NO_MATRIX
    matrix[:, :, 3] += (matrix[:, :, :3] * moves[:, None, :]).sum(axis=2)
    perspective = np.broadcast_to(np.array([c.is_perspective for c in cameras], dtype=np.bool_), (n,))
    stands = [-c.forward if c.position is None else c.position for c in cameras]
    centre = np.broadcast_to(np.array(stands).reshape(-1, 3), (n, 3)) - perspective[:, None] * moves
    return _Views(matrix, centre, perspective)


_NO_MATRIX = np.zeros((0, 3, 4))


@dataclass(frozen=True, eq=False)
class _Pieces:
    """The prisms of a solid, one for each polygon of each band."""

    polygons: Geometries
    z0: Floats
    z1: Floats


def _pieces(solid: Solid) -> _Pieces:
    polygons, band = shapely.get_parts([b.section for b in solid.bands], return_index=True)
    return _Pieces(
        polygons,
        np.array([b.z0 for b in solid.bands])[band],
        np.array([b.z1 for b in solid.bands])[band],
    )


def _images(solid: Solid, views: _Views) -> Geometries:
    """Silhouettes for views that all differ."""
    pieces = _pieces(solid)
    out = np.full(len(views.matrix), shapely.Polygon(), dtype=np.object_)
    depth = _depths(solid, views)
    whole = depth.min(axis=1) >= Camera.near
    cut = ~whole & (depth.max(axis=1) > Camera.near)
    if whole.any():
        out[whole] = _whole_images(pieces, _chosen(views, whole))
    if cut.any():
        out[cut] = _cut_images(pieces, _chosen(views, cut))
    return out


def _chosen(views: _Views, rows: Bools) -> _Views:
    return _Views(views.matrix[rows], views.centre[rows], views.perspective[rows])


def _depths(solid: Solid, views: _Views) -> Floats:
    """(n, k) depth of the solid's outermost points; no limit for a parallel view."""
    if not views.perspective.any():
        return np.full((len(views.matrix), 1), np.inf)
    depth = np.asarray(views.matrix[:, 2, :3] @ _hull_points(solid).T + views.matrix[:, 2, 3:])
    depth[~views.perspective] = np.inf
    return depth


@lru_cache(maxsize=256)
def _hull_points(solid: Solid) -> Floats:
    """The same array for the same solid: frames asked for one by one pay for it once."""
    return hull_points(solid)


def _whole_images(pieces: _Pieces, views: _Views) -> Geometries:
    """Silhouettes of a solid that lies wholly before the camera."""
    n, p = len(views.matrix), len(pieces.polygons)
    rings = rings_of(pieces.polygons)
    piece = rings.owner[rings.ring]
    centre, finite = views.centre[:, None, :], views.perspective[:, None]
    above = centre[..., 2] - finite * pieces.z1 > 0
    below = centre[..., 2] - finite * pieces.z0 < 0
    near = _project(views, rings.xy, np.where(above, pieces.z1, pieces.z0)[:, piece])
    far = _project(views, rings.xy, np.where(above, pieces.z0, pieces.z1)[:, piece])
    toward = centre[..., :2] - finite[..., None] * rings.xy
    facing = cross(toward, rings.edges)
    sure = np.abs(facing) > TIE * np.hypot(toward[..., 0], toward[..., 1]) * np.hypot(*rings.edges.T)
    facing = np.where(sure, facing, 0.0)
    areas = swept_area(rings.repeat(n), near, far, facing.ravel(), ~(above | below).ravel())
    return union_rows(areas.reshape(n, p))


def _project(views: _Views, xy: Floats, z: Floats) -> Floats:
    """(n * k, 2) pixels of k points in the plane, each row with depths of its own.

    Without matrix products: a vertex that two polygons share must land on the same pixel to the last bit.
    """
    m = views.matrix[..., None]
    u, v, w = (m[:, i, 0] * xy[:, 0] + m[:, i, 1] * xy[:, 1] + m[:, i, 2] * z + m[:, i, 3] for i in range(3))
    return np.stack([u / w, v / w], axis=-1).reshape(-1, 2)


def _cut_images(pieces: _Pieces, views: _Views) -> Geometries:
    """Silhouettes of a solid that reaches behind the near plane.

    Cut into triangular prisms. What the near plane leaves of one is convex: its image is the hull of the
    corners that are left and of the points where its edges pass the plane.
    """
    triangles = shapely.constrained_delaunay_triangles(pieces.polygons)
    parts, piece = shapely.get_parts(triangles, return_index=True)
    corners = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3]
    # Neighbours must cut a shared edge at the same point: give its ends the same order in both.
    order = np.lexsort((corners[..., 1], corners[..., 0]), axis=-1)
    corners = np.take_along_axis(corners, order[..., None], axis=1)
    z = np.stack([pieces.z0, pieces.z1], axis=-1)[piece]
    points = np.concatenate([np.dstack([corners, np.repeat(z[:, k : k + 1], 3, axis=1)]) for k in (0, 1)], axis=1)
    image = np.einsum("rij,tkj->rtki", views.matrix[..., :3], points) + views.matrix[:, None, None, :, 3]
    hulls, of = _cut_hulls(image.reshape(-1, 6, 3))
    return union_groups(hulls, of // len(parts), len(views.matrix))


_PRISM_EDGES = np.array([[0, 1], [1, 2], [0, 2], [3, 4], [4, 5], [3, 5], [0, 3], [1, 4], [2, 5]])


def _cut_hulls(image: Floats) -> tuple[Geometries, Ints]:
    """Hulls on the screen of (n, 6, 3) homogeneous prisms, cut at the near plane, and whose they are."""
    a, b = image[:, _PRISM_EDGES[:, 0]], image[:, _PRISM_EDGES[:, 1]]
    before = image[..., 2] >= Camera.near
    passing = before[:, _PRISM_EDGES[:, 0]] != before[:, _PRISM_EDGES[:, 1]]
    span = np.where(passing, b[..., 2] - a[..., 2], 1.0)
    crossing = a + ((Camera.near - a[..., 2]) / span)[..., None] * (b - a)
    crossing[..., 2] = Camera.near
    every = np.concatenate([image, crossing], axis=1)
    kept = np.concatenate([before, passing], axis=1)
    kept[kept.sum(axis=1) < 3] = False
    of, point = np.nonzero(kept)
    seen = every[of, point]
    prisms, number = np.unique(of, return_inverse=True)
    hulls = shapely.convex_hull(shapely.linestrings(seen[:, :2] / seen[:, 2:], indices=number))
    solid = shapely.get_type_id(hulls) == shapely.GeometryType.POLYGON
    return hulls[solid], prisms[solid]


def _displaced(areas: Geometries, by: Floats) -> Geometries:
    """Each area displaced by its row of `by`."""
    shift = np.repeat(by, shapely.get_num_coordinates(areas), axis=0)
    moved = np.asarray(shapely.transform(areas, lambda xy: xy + shift), dtype=np.object_)
    # Rounding to other places can make the sides of a hairline touch.
    for row in np.flatnonzero(~shapely.is_valid(moved)):
        moved[row] = mended(moved[row])
    return moved


def _half(section: BaseGeometry, plane: Floats) -> BaseGeometry:
    """Return the part of a section where ``plane @ (x, y, 1)`` is at least 0."""
    x0, y0, x1, y1 = section.bounds
    box = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    value = box @ plane[:2] + plane[2]
    if (value >= 0).all():
        return section
    if (value < 0).all():
        return shapely.Polygon()
    kept: list[Floats] = []
    for i in range(4):
        j = (i + 1) % 4
        if value[i] >= 0:
            kept.append(box[i])
        if (value[i] >= 0) != (value[j] >= 0):
            kept.append(box[i] + value[i] / (value[i] - value[j]) * (box[j] - box[i]))
    return only_areas(shapely.intersection(section, shapely.Polygon(kept))) if len(kept) > 2 else shapely.Polygon()
