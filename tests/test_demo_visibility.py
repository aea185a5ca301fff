"""What the drawn layers of the demos show, against a z-buffer of the solids, every few frames of each shot.

The z-buffer is made here, from the slabs, the camera matrices and the samples of the tracks: every face and every
wall is a plane polygon; OpenCV fills it, and its depth is affine in the picture (its inverse, under a perspective
camera; Foley and others, Computer Graphics, 15.4, from memory). It shares no code with what it checks.
"""

import functools
import itertools
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely

from choreo.compile import compile_film
from choreo.read.project import read_project

DEMOS = Path(__file__).resolve().parents[1] / "demo_assemblies"
STEP = 1.5
"""px between two samples; a sample is judged if all eight around it agree: a band of 1.5 px around edges is not."""
SAME_MM = 0.12
"""Parts may reach 0.05 mm into each other: nearer than this either may be seen."""


class Buffer:
    """Depth of one part on the sample grid: the nearest of its faces and walls; infinite beside it."""

    def __init__(self, matrix, size):
        self.matrix = matrix
        self.perspective = bool(np.any(matrix[2, :3]))
        across = np.cross(matrix[0, :3], matrix[1, :3])
        self.forward = across / np.linalg.norm(across)
        self.near = np.full((round(size[1] / STEP), round(size[0] / STEP)), -np.inf)

    def project(self, points):
        u, v, w = self.matrix[:, :3] @ points.T + self.matrix[:, 3:]
        depth = 1 / w if self.perspective else -(points @ self.forward)
        return np.stack([u / w, v / w], axis=1) / STEP - 0.5, depth

    def fill(self, rings):
        """Add a plane polygon with holes, given as rings of points in space."""
        flat = [self.project(ring) for ring in rings]
        spots, depth = (np.concatenate(column) for column in zip(*flat, strict=True))
        low = np.maximum(np.floor(spots.min(axis=0)).astype(int), 0)
        high = np.minimum(np.ceil(spots.max(axis=0)).astype(int) + 1, self.near.shape[::-1])
        if np.any(high <= low):
            return
        plane, _, rank, _ = np.linalg.lstsq(np.column_stack([spots - low, np.ones(len(spots))]), depth, rcond=1e-9)
        if rank < 3:
            return  # seen edge-on
        mask = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
        cv2.fillPoly(mask, [np.round((ring - low) * 16).astype(np.int32) for ring, _ in flat], 1, shift=4)
        y, x = np.mgrid[: mask.shape[0], : mask.shape[1]]
        part = self.near[low[1] : high[1], low[0] : high[0]]
        np.maximum(part, np.where(mask > 0, plane[0] * x + plane[1] * y + plane[2], -np.inf), out=part)

    def depth(self):
        with np.errstate(divide="ignore"):
            return 1 / np.maximum(self.near, 0) if self.perspective else -self.near


def depth_of(part, displacement, matrix, size):
    buffer = Buffer(matrix, size)
    shift = np.array(part.offset) + displacement
    for slab in part.slabs:
        rings = [np.array(ring) for ring in (slab.outline, *slab.holes)]
        levels = [[np.column_stack([r, np.full(len(r), z)]) + shift for r in rings] for z in slab.z]
        for level in levels:
            buffer.fill(level)
        for low, high in zip(*levels, strict=True):
            for k in range(len(low)):
                buffer.fill([np.stack([low[k - 1], low[k], high[k], high[k - 1]])])
    return buffer.depth()


def drawn(shot, frame, depths, ids):
    """Which part remains on top at each sample: layers back to front, each without its holdouts."""
    (order,) = [span for span in shot.masking.orders if span.first <= frame <= span.last]
    top = np.full(next(iter(depths.values())).shape, -1)
    y, x = np.mgrid[: top.shape[0], : top.shape[1]]
    for name in order.back_to_front:
        shown = np.isfinite(depths[name])
        for holdout in shot.masking.holdouts:
            if holdout.part == name and holdout.first <= frame <= holdout.last:
                left_out = shapely.union_all([shapely.Polygon(r.outline, r.holes).buffer(0) for r in holdout.region])
                shapely.prepare(left_out)
                rows = np.flatnonzero(shown)
                inside = shapely.contains_xy(left_out, (x.flat[rows] + 0.5) * STEP, (y.flat[rows] + 0.5) * STEP)
                shown.flat[rows[inside]] = False
        top[shown] = ids.index(name)
    return top


def clear_of_edges(*pictures):
    """Samples around which nothing changes, one sample each way."""
    calm = np.ones(pictures[0].shape, bool)
    for picture in pictures:
        ids = picture.astype(np.float32)
        kernel = np.ones((3, 3), np.uint8)
        calm &= cv2.dilate(ids, kernel) == cv2.erode(ids, kernel)
    return calm


def mismatches(shot, frame, parts, size):
    ids = [part.id for part in parts]
    tracks = {track.id: track for track in shot.parts}
    depths = {p.id: depth_of(p, tracks[p.id].position[frame], shot.cameras[frame], size) for p in parts}
    stack = np.stack([depths[name] for name in ids])
    nearest = stack.min(axis=0)
    truth = np.where(np.isfinite(nearest), stack.argmin(axis=0), -1)
    top = drawn(shot, frame, depths, ids)
    shown = np.where(top >= 0, np.take_along_axis(stack, np.maximum(top, 0)[None], axis=0)[0], np.inf)
    with np.errstate(invalid="ignore"):
        wrong = (top != truth) & ~(shown - nearest <= SAME_MM)
    calm = clear_of_edges(truth, top, *(np.isfinite(depths[name]) for name in ids))
    return int((wrong & calm).sum()), int((calm & (truth >= 0)).sum())


@functools.cache
def filmed(demo):
    project = read_project(DEMOS / demo)
    return project, compile_film(project.assembly, project.choreography)


@pytest.mark.parametrize(("demo", "every"), [("headlamp", 13), ("layers_only", 13), ("hand_grinder", 48)])
def test_drawn_layers_show_what_a_z_buffer_shows(demo, every):
    project, film = filmed(demo)
    for shot in film.tracks.shots:
        for frame in range(0, shot.frames, every):
            wrong, judged = mismatches(shot, frame, project.assembly.parts, film.tracks.resolution)
            assert judged > 1000
            assert wrong == 0, f"{demo}, shot {shot.name}, frame {frame}: {wrong} of {judged} samples"


def test_grinder_keeps_its_promises():
    """At home on the first frame or the last, exactly; at rest apart by the gap, by shapely's distances of corners."""
    project, film = filmed("hand_grinder")
    parts = project.assembly.parts
    for shot, home, rest in zip(film.tracks.shots, (0, -1), (-1, 0), strict=True):
        assert all(t.position[home].tolist() == [0, 0, 0] for t in shot.parts)
        assert sum(t.position.any() for t in shot.parts) == len(parts) - 1
        hulls = [
            shapely.convex_hull(shapely.MultiPoint(corners(part, track.position[rest], shot.cameras[rest])))
            for part, track in zip(parts, shot.parts, strict=True)
        ]
        for a, b in itertools.combinations(range(len(parts)), 2):
            gap = shapely.distance(hulls[a], hulls[b])
            assert gap >= project.choreography.gap_px - 0.01, (parts[a].id, parts[b].id)


def corners(part, displacement, matrix):
    """Every corner of every slab on the screen, px (Hartley and Zisserman, ch. 6)."""
    points = [[*xy, z] for s in part.slabs for xy in s.outline for z in s.z]
    uvw = (np.array(points) + part.offset + displacement) @ matrix[:, :3].T + matrix[:, 3]
    return uvw[:, :2] / uvw[:, 2:]
