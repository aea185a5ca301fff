"""A z-buffer of its own for the tests: numpy only, nothing from choreo but the bare data of slabs.

Depth and label of the nearest surface at pixel centres. Every slab is a prism; a line of sight meets it on a
face (a plane of constant z, inside the polygon by the even-odd rule) or on a wall (an upright plane, between
the ends of an edge and between the faces).
"""

import numpy as np

BACKGROUND = -1


def rays(matrix, pixels):
    """Origins and directions (m, 3) of the lines of sight through (m, 2) pixels."""
    matrix = np.asarray(matrix, dtype=float)
    linear, last = matrix[:, :3], matrix[:, 3]
    if np.abs(linear[2]).max() == 0:
        away = np.cross(linear[0], linear[1])
        away = away / np.linalg.norm(away)
        system = np.vstack([linear[:2] / last[2], away])
        right = np.column_stack([pixels - last[:2] / last[2], np.zeros(len(pixels))])
        return np.linalg.solve(system, right.T).T - 1e4 * away, np.broadcast_to(away, (len(pixels), 3))
    inverse = np.linalg.inv(linear)
    away = np.column_stack([pixels, np.ones(len(pixels))]) @ inverse.T
    return np.broadcast_to(-inverse @ last, away.shape), away


def inside(points, rings):
    """Even-odd rule for (m, 2) points."""
    odd = np.zeros(len(points), dtype=bool)
    for ring in rings:
        a = np.asarray(ring, dtype=float)
        b = np.roll(a, -1, axis=0)
        for (x0, y0), (x1, y1) in zip(a, b, strict=True):
            if y0 == y1:
                continue
            crosses = (y0 > points[:, 1]) != (y1 > points[:, 1])
            at = x0 + (points[:, 1] - y0) / (y1 - y0) * (x1 - x0)
            odd ^= crosses & (points[:, 0] < at)
    return odd


def slab_depth(slab, shift, origin, away):
    """Nearest positive way along each line of sight to the slab; inf where it is missed."""
    rings = [np.asarray(ring, dtype=float) + shift[:2] for ring in (slab.outline, *slab.holes)]
    z0, z1 = slab.z[0] + shift[2], slab.z[1] + shift[2]
    best = np.full(len(away), np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        for z in (z0, z1):
            t = (z - origin[:, 2]) / away[:, 2]
            t[~np.isfinite(t)] = -1
            hit = (t > 0) & (t < best)
            hit[hit] = inside((origin + t[:, None] * away)[hit, :2], rings)
            best[hit] = t[hit]
        for ring in rings:
            for p, q in zip(ring, np.roll(ring, -1, axis=0), strict=True):
                e = q - p
                normal = np.array([-e[1], e[0]])
                t = ((p - origin[:, :2]) @ normal) / (away[:, :2] @ normal)
                along = ((origin[:, :2] + t[:, None] * away[:, :2] - p) @ e) / (e @ e)
                z = origin[:, 2] + t * away[:, 2]
                hit = (t > 0) & (t < best) & (along >= 0) & (along <= 1) & (z >= z0) & (z <= z1)
                best[hit] = t[hit]
    return best


def picture(parts, shifts, matrix, box, shape):
    """Pixel centres (h, w, 2), depths (parts, h, w) and nearest part (h, w) over a screen box."""
    left, top, right, bottom = box
    xs = left + (np.arange(shape[1]) + 0.5) * (right - left) / shape[1]
    ys = top + (np.arange(shape[0]) + 0.5) * (bottom - top) / shape[0]
    pixels = np.stack(np.meshgrid(xs, ys), axis=-1)
    origin, away = rays(matrix, pixels.reshape(-1, 2))
    depth = np.stack(
        [
            np.min([slab_depth(slab, np.asarray(shift, dtype=float), origin, away) for slab in slabs], axis=0)
            for slabs, shift in zip(parts, shifts, strict=True)
        ]
    ).reshape(-1, *shape)
    nearest = np.where(np.isfinite(depth.min(axis=0)), depth.argmin(axis=0), BACKGROUND)
    return pixels, depth, nearest


def clear_of_edges(nearest, depth):
    """Pixels around which (5 by 5) neither the nearest part nor the set of parts met changes."""
    keep = np.zeros(nearest.shape, dtype=bool)
    keep[2:-2, 2:-2] = True
    met = np.isfinite(depth)
    for dy in range(-2, 3):
        for dx in range(-2, 3):
            moved = np.roll(nearest, (dy, dx), axis=(0, 1))
            keep &= moved == nearest
            keep &= (np.roll(met, (dy, dx), axis=(1, 2)) == met).all(axis=0)
    return keep
