"""A referee for pictures: OpenCV's pinhole, silhouettes glued together face by face."""

import cv2
import numpy as np
import shapely
from scipy.spatial.transform import Rotation


def axes_of(azimuth, elevation):
    """Right, down, forward of a camera, by two turns of one that looks along -z with y up."""
    turn = Rotation.from_euler("y", azimuth, degrees=True) * Rotation.from_euler("x", -elevation, degrees=True)
    return turn.apply(np.array([[1.0, 0, 0], [0, -1, 0], [0, 0, -1]]))


def pinhole(points, azimuth, elevation, position, focal_px, resolution):
    """Pixels of (n, 3) points under a perspective camera at `position`."""
    rows = axes_of(azimuth, elevation)
    inner = np.array([[focal_px, 0, resolution[0] / 2], [0, focal_px, resolution[1] / 2], [0, 0, 1.0]])
    points = np.asarray(points, dtype=np.float64).reshape(-1, 1, 3)
    seen, _ = cv2.projectPoints(points, cv2.Rodrigues(rows)[0], -rows @ position, inner, None)
    return seen.reshape(-1, 2)


def parallel(points, azimuth, elevation, target, px_per_mm, resolution):
    """Pixels under an orthographic camera that has `target` at the centre of the frame."""
    rows = axes_of(azimuth, elevation)[:2]
    return (np.asarray(points) - target) @ rows.T * px_per_mm + np.array(resolution) / 2


def seen_by(view, camera, resolution):
    """Return a function from points to pixels for a shot's view, its solved place taken from a camera."""
    if view.projection == "perspective":
        focal_px = view.focal_mm * max(resolution[0] / view.sensor_mm[0], resolution[1] / view.sensor_mm[1])
        return lambda points, a, e: pinhole(points, a, e, camera.position, focal_px, resolution)
    # The scale and the place of an orthographic camera: from the images of the origin and of three unit steps.
    image = camera.matrix[:2, :3]
    scale = float(np.linalg.norm(image[0]))
    target = np.linalg.pinv(image) @ (np.array(resolution) / 2 - camera.matrix[:2, 3])
    return lambda points, a, e: parallel(points, a, e, target, scale, resolution)


def silhouette(part, by, project):
    """Outline of a part displaced by `by`: all faces of all its slabs, projected one by one and united."""
    faces = []
    for slab in part.slabs:
        rings = [np.array(ring) for ring in (slab.outline, *slab.holes)]
        levels = [[np.column_stack([ring, np.full(len(ring), z)]) + part.offset + by for ring in rings] for z in slab.z]
        for level in levels:
            flat = [project(ring) for ring in level]
            faces.append(shapely.make_valid(shapely.Polygon(flat[0], flat[1:])))
        for low, high in zip(*levels, strict=True):
            for k in range(len(low)):
                faces.append(
                    shapely.convex_hull(
                        shapely.MultiPoint(project(np.stack([low[k - 1], low[k], high[k - 1], high[k]])))
                    )
                )
    return shapely.union_all([face for face in faces if face.area > 0])
