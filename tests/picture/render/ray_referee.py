"""What a line of sight through each pixel meets first, by trying every plane of a solid. Slow and simple."""

from __future__ import annotations

import itertools

import numpy as np
import shapely


def rays(camera, window):
    """Origins and directions (h, w, 3) through the centres of pixels."""
    rows, columns = np.mgrid[window.y : window.y + window.height, window.x : window.x + window.width] + 0.5
    linear, last = camera.matrix[:, :3], camera.matrix[:, 3]
    if camera.position is None:
        grid = np.stack([columns - last[0], rows - last[1], np.zeros_like(rows)], axis=-1)
        block = np.stack([linear[0], linear[1], camera.forward])
        start = np.linalg.solve(block, grid[..., None])[..., 0] - 1e4 * camera.forward
        return start, np.broadcast_to(camera.forward, start.shape)
    grid = np.stack([columns, rows, np.ones_like(rows)], axis=-1)
    return np.broadcast_to(camera.position, grid.shape), np.linalg.solve(linear, grid[..., None])[..., 0]


def first_met(solid, camera, shift, window):
    """Normals (h, w, 3) of what is met first, NaN where nothing is; and which plane (h, w, 4): normal and distance."""
    start, along = rays(camera, window)
    start = start - shift
    nearest = np.full(start.shape[:2], np.inf)
    normal = np.full(start.shape, np.nan)
    plane = np.full(start.shape[:2], np.nan)

    def meet(distance, hit, facing, out):
        closer = hit & (distance > 1e-6) & (distance < nearest - 1e-9)
        nearest[closer] = distance[closer]
        normal[closer] = facing
        plane[closer] = out

    with np.errstate(divide="ignore", invalid="ignore"):
        for band in solid.bands:
            for z, up in ((band.z0, -1.0), (band.z1, 1.0)):
                t = (z - start[..., 2]) / along[..., 2]
                spot = start + np.where(np.isfinite(t), t, 0)[..., None] * along
                hit = np.isfinite(t) & shapely.contains_xy(band.section, spot[..., 0], spot[..., 1])
                meet(t, hit & (along[..., 2] * up < 0), (0, 0, up), z * up)
            for polygon in shapely.get_parts(shapely.orient_polygons(band.section, exterior_cw=False)):
                for ring in [polygon.exterior, *polygon.interiors]:
                    points = shapely.get_coordinates(ring)
                    for p, q in itertools.pairwise(points):
                        edge = q - p
                        outward = np.array([edge[1], -edge[0], 0.0]) / np.hypot(*edge)
                        slope = along @ outward
                        t = ((p - start[..., :2]) @ outward[:2]) / slope
                        spot = start + np.where(np.isfinite(t), t, 0)[..., None] * along
                        share = ((spot[..., :2] - p) @ edge) / (edge @ edge)
                        inside = (share > 0) & (share < 1) & (spot[..., 2] > band.z0) & (spot[..., 2] < band.z1)
                        meet(t, inside & (slope < 0), outward, p @ outward[:2])
    return normal, np.concatenate([normal, plane[..., None]], axis=2)
