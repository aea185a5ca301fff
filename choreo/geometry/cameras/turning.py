"""Which turn of a turntable shows a part as the shot's camera sees it.

A view is a rotation: its rows are right, up and back, the axes of the picture. A part that stands turned by the
angle t about the table's axis a, photographed by a camera with the rows C, shows ``C R(a, t) p`` for each of its
points p. The shot needs ``N p``. The t for which the two are nearest is found in closed form: the one that makes
the trace of ``R(a, -t) C^T N`` largest, which is a sine wave in t. What then remains is a rotation by the angle
`off`, which no turn of that table can mend.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from choreo.geometry.cameras.camera import Camera, view_axes
from choreo.model.assembly import Vector
from choreo.model.plan import Floats


def view_rows(azimuth: float, elevation: float) -> Floats:
    """Return right, up and back (3, 3) of a camera that stands at these angles, degrees."""
    right, up, forward = view_axes(azimuth, elevation)
    return np.stack([right, up, -forward])


def rows_toward(cameras: list[Camera], points: Floats) -> Floats:
    """Return the view (n, 3, 3) that each camera has of its own point (n, 3).

    A perspective camera sees a part beside the middle of its picture from aside: its axes are turned there by
    the smallest rotation that brings the view direction onto the line of sight.
    """
    rows = np.stack([_rows(camera) for camera in cameras])
    if not cameras[0].is_perspective:
        return rows
    centres = np.stack([np.asarray(camera.position) for camera in cameras])
    back = centres - points
    back /= np.linalg.norm(back, axis=1, keepdims=True)
    return np.asarray(np.einsum("nij,nkj->nki", _smallest_rotation(rows[:, 2], back), rows))


def turn_about_z(degrees: Floats) -> Floats:
    """Return the rotations (n, 3, 3) about +z by angles (n,)."""
    angle = np.radians(degrees)
    found = np.zeros((len(angle), 3, 3))
    found[:, 0, 0] = found[:, 1, 1] = np.cos(angle)
    found[:, 1, 0] = np.sin(angle)
    found[:, 0, 1] = -found[:, 1, 0]
    found[:, 2, 2] = 1.0
    return found


def table_turn(plate: Floats, axis: Vector, needed: Floats) -> tuple[Floats, Floats]:
    """Return the angle at which the table shows what is needed, and by how much the view is then still off.

    Parameters
    ----------
    plate : (3, 3) array
        Rows of the camera that shot the plates.
    axis : (3,)
        Of the table, unit length.
    needed : (n, 3, 3) array
        The rotation from the part's own axes to the picture that each frame needs.

    Returns
    -------
    turn, off : (n,) arrays
        Degrees; `turn` lies in (-180, 180], `off` in [0, 180]. Exact: the best of all turns.

    """
    a = np.asarray(axis, dtype=np.float64)
    cross = np.array([[0.0, -a[2], a[1]], [a[2], 0.0, -a[0]], [-a[1], a[0], 0.0]])
    between = np.einsum("ji,njk->nik", plate, needed)
    along = np.einsum("i,nij,j->n", a, between, a)
    even = np.trace(between, axis1=1, axis2=2) - along
    odd = -np.einsum("ij,nji->n", cross, between)
    best = along + np.hypot(even, odd)
    return np.degrees(np.arctan2(odd, even)), _angle(best)


def view_off(plate: Floats, needed: Floats) -> Floats:
    """Return the angle (n,) between one view and those that are needed (n, 3, 3), degrees."""
    return _angle(np.einsum("ij,nij->n", plate, needed))


def table_rotation(axis: Vector, degrees: Floats) -> Floats:
    """Return the rotations (n, 3, 3) about an axis of unit length (Rodrigues)."""
    a = np.asarray(axis, dtype=np.float64)
    cross = np.array([[0.0, -a[2], a[1]], [a[2], 0.0, -a[0]], [-a[1], a[0], 0.0]])
    angle = np.radians(degrees)[:, None, None]
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * (cross @ cross))


@lru_cache(maxsize=1024)
def _rows(camera: Camera) -> Floats:
    """Right, up and back of a camera; every part with a plate asks for those of the same cameras."""
    # The first two rows of the matrix hold right and down, plus a share of forward for a perspective camera.
    forward = camera.forward
    right = camera.matrix[0, :3] - (camera.matrix[0, :3] @ forward) * forward
    right = right / np.linalg.norm(right)
    return np.stack([right, np.cross(-forward, right), -forward])


def _smallest_rotation(start: Floats, end: Floats) -> Floats:
    """Rotations (n, 3, 3) that take unit vectors (n, 3) onto others, not opposite to them."""
    cross = np.cross(start, end)
    outer = np.einsum("ni,nj->nij", cross, cross)
    cos = np.einsum("ni,ni->n", start, end)
    skew = np.zeros((len(start), 3, 3))
    skew[:, 0, 1], skew[:, 0, 2], skew[:, 1, 2] = -cross[:, 2], cross[:, 1], -cross[:, 0]
    skew -= skew.transpose(0, 2, 1)
    return np.asarray(cos[:, None, None] * np.eye(3) + skew + outer / (1 + cos)[:, None, None])


def _angle(trace: Floats) -> Floats:
    return np.asarray(np.degrees(np.arccos(np.clip((trace - 1) / 2, -1.0, 1.0))))
