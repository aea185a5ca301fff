"""Images of many prisms, each before a camera of its own."""

from __future__ import annotations

import numpy as np
import shapely

from choreo.geometry.plane.prism import TIE, cross, rings_of, swept_area
from choreo.geometry.plane.regions import NOTHING, Shapes, polygons_of
from choreo.geometry.plane.unions import union_groups
from choreo.model.plan import Floats

_LEAST_WIDTH_MM = 1e-6
"""A polygon thinner than this came out of rounding; its image would be a hairline or worse."""


def prism_images(sections: Shapes, depths: Floats, cameras: Floats, eyes: Floats) -> Shapes:
    """Return what each section, extruded between two depths, covers on the screen of its camera.

    Parameters
    ----------
    sections : (n,) array of geometries
        Their polygons count, mm.
    depths : (n, 2) array
        Lower and upper face, mm.
    cameras : (n, 3, 4) array
        All prisms lie before their cameras.
    eyes : (n, 4) array
        Where they stand: (x, y, z, 1), or (direction toward the camera, 0).

    Returns
    -------
    (n,) array of Polygon or MultiPolygon
        px; empty where the section is.

    """
    polygons, row = polygons_of(sections)
    kept = 2 * shapely.area(polygons) > _LEAST_WIDTH_MM * shapely.length(polygons)
    polygons, row = polygons[kept], row[kept]
    rings = rings_of(polygons)
    matrix, eye, (z0, z1) = cameras[row], eyes[row], depths[row].T
    of = rings.owner[rings.ring]
    above = eye[:, 2] - eye[:, 3] * z1 > 0
    below = eye[:, 2] - eye[:, 3] * z0 < 0
    near = _project(matrix[of], rings.xy, np.where(above, z1, z0)[of])
    far = _project(matrix[of], rings.xy, np.where(above, z0, z1)[of])
    toward = eye[of, :2] - eye[of, 3:] * rings.xy
    facing = cross(toward, rings.edges)
    sure = np.abs(facing) > TIE * np.hypot(*toward.T) * np.hypot(*rings.edges.T)
    areas = swept_area(rings, near, far, np.where(sure, facing, 0.0), ~(above | below))
    out = np.full(len(sections), NOTHING, dtype=np.object_)
    alone = np.bincount(row, minlength=len(sections))[row] == 1
    out[row[alone]] = areas[alone]
    several, group = np.unique(row[~alone], return_inverse=True)
    if several.size:
        out[several] = union_groups(areas[~alone], group, len(several))
    return out


def _project(matrix: Floats, xy: Floats, z: Floats) -> Floats:
    """Pixels (k, 2) of points, each with a camera of its own."""
    u, v, w = (matrix[:, r, 0] * xy[:, 0] + matrix[:, r, 1] * xy[:, 1] + matrix[:, r, 2] * z + matrix[:, r, 3]
               for r in range(3))  # fmt: skip
    return np.stack([u / w, v / w], axis=1)
