"""Cameras: 3x4 matrices that take product space (mm) to the screen (px, y down, frame centre at W/2, H/2).

Every matrix is kept in one scale: for a perspective camera w is the depth in mm along the view direction,
for an orthographic one w is 1. So one formula projects both, and a sign of w means "behind the camera".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from choreo.errors import Finding, wrong_input
from choreo.model.assembly import Vector
from choreo.model.plan import Floats


@dataclass(frozen=True, eq=False)
class Camera:
    """One view. Arrays are read-only."""

    matrix: Floats
    """(3, 4), row-major, ``(u, v, w) = matrix @ (x, y, z, 1)`` and ``pixel = (u / w, v / w)``."""
    forward: Floats
    """(3,) unit view direction."""
    position: Floats | None
    """(3,) centre of projection, mm; None for an orthographic camera."""

    near: ClassVar[float] = 0.1
    """A perspective camera sees only what lies at least this deep, mm. No lens comes that close; what counts
    is that it is positive, so that pixels stay finite."""

    @property
    def is_perspective(self) -> bool:
        """Whether nearer things look larger."""
        return self.position is not None

    def project(self, points: Floats) -> tuple[Floats, Floats]:
        """Return where points land on the screen and how deep they lie.

        Parameters
        ----------
        points : (..., 3) array
            Product space, mm.

        Returns
        -------
        pixels : (..., 2) array
            Screen, px. Without meaning where a perspective camera has the point at depth 0 or less.
        depth : (...) array
            mm along the view direction, larger is farther: from the camera for a perspective one, from the
            origin of product space for an orthographic one.

        """
        points = np.asarray(points, dtype=np.float64)
        image = points @ self.matrix[:, :3].T + self.matrix[:, 3]
        if not self.is_perspective:
            return image[..., :2], points @ self.forward
        with np.errstate(divide="ignore", invalid="ignore"):
            return image[..., :2] / image[..., 2:], image[..., 2]

    def scale_at(self, points: Floats) -> Floats:
        """Return px per mm, across the view direction, at the depth of (..., 3) points."""
        _, depth = self.project(points)
        return self.focal_px / depth if self.is_perspective else np.full_like(depth, self.focal_px)

    @cached_property
    def focal_px(self) -> float:
        """The focal length in px; of an orthographic camera px per mm."""
        # The part of a row along the view direction drops out of the triple product: what stays is the square of it.
        rows = np.cross(self.matrix[0, :3], self.matrix[1, :3])
        return math.sqrt(abs(float(rows @ self.forward)))


def track_on_screen(cameras: Sequence[Camera], points: Floats) -> tuple[Floats, Floats]:
    """Return pixel (n, 2) and px per mm (n,) of n points (n, 3), each under its own camera (all of one kind)."""
    matrices = np.stack([camera.matrix for camera in cameras])
    forward = np.stack([camera.forward for camera in cameras])
    image = np.einsum("nij,nj->ni", matrices[:, :, :3], points) + matrices[:, :, 3]
    across = np.cross(matrices[:, 0, :3], matrices[:, 1, :3])
    scale = np.sqrt(np.abs(np.einsum("ni,ni->n", across, forward)))
    return image[:, :2] / image[:, 2:], scale / image[:, 2]


def perspective_camera(
    azimuth: float,
    elevation: float,
    target: Vector | Floats,
    distance_mm: float,
    focal_mm: float,
    sensor_mm: tuple[float, float],
    resolution: tuple[int, int],
) -> Camera:
    """Return a pinhole camera with square pixels that shows `target` at the centre of the frame.

    Parameters
    ----------
    azimuth, elevation : float
        Degrees; azimuth turns the camera toward +x, elevation lifts it toward +y.
    target : (3,)
        Product space, mm.
    distance_mm : float
        From the centre of projection to the target, positive.
    focal_mm : float
        From the centre of projection to the sensor, positive.
    sensor_mm : (width, height)
        The frame is the largest rectangle of its own shape that fits on the sensor.
    resolution : (width, height)
        px.

    """
    right, up, forward = view_axes(azimuth, elevation)
    position = np.asarray(target, dtype=np.float64) - distance_mm * forward
    focal_px = focal_mm * max(resolution[0] / sensor_mm[0], resolution[1] / sensor_mm[1])
    linear = np.stack(
        [
            focal_px * right + resolution[0] / 2 * forward,
            -focal_px * up + resolution[1] / 2 * forward,
            forward,
        ]
    )
    return _camera(linear, -linear @ position, forward, position)


def orthographic_camera(
    azimuth: float,
    elevation: float,
    target: Vector | Floats,
    px_per_mm: float,
    resolution: tuple[int, int],
) -> Camera:
    """Return a parallel projection that shows `target` at the centre of the frame.

    Parameters
    ----------
    azimuth, elevation : float
        Degrees; azimuth turns the camera toward +x, elevation lifts it toward +y.
    target : (3,)
        Product space, mm.
    px_per_mm : float
        Positive, the same at every depth.
    resolution : (width, height)
        px.

    """
    right, up, forward = view_axes(azimuth, elevation)
    linear = np.stack([px_per_mm * right, -px_per_mm * up, np.zeros(3)])
    centre = np.array([resolution[0] / 2, resolution[1] / 2, 1.0])
    return _camera(linear, centre - linear @ np.asarray(target, dtype=np.float64), forward, None)


def camera_from_matrix(matrix: Floats) -> Camera:
    """Return the camera that a 3x4 matrix stands for, whatever its scale and sign.

    Parameters
    ----------
    matrix : (3, 4) array
        A finite or an affine camera; affine where the last row is (0, 0, 0, c).

    Raises
    ------
    ChoreoError
        If the matrix squeezes space flat, or is not made of 3x4 finite numbers.

    References
    ----------
    Hartley and Zisserman, Multiple View Geometry, ch. 6: the centre is the null vector of the matrix, the
    principal axis is the last row of the left 3x3 block with the sign of that block's determinant.

    """
    matrix = np.asarray(matrix, dtype=np.float64)
    if matrix.shape != (3, 4) or not np.isfinite(matrix).all():
        raise wrong_input(_unreadable("It is not made of 3 rows of 4 finite numbers."))
    linear, last = matrix[:, :3], matrix[:, 3]
    if not linear[2].any():
        return _affine_camera(linear, last)
    volume = float(np.linalg.det(linear))
    # Rows of a sound camera span a volume that is no vanishing share of the product of their lengths.
    if abs(volume) <= _FLAT * float(np.prod(np.linalg.norm(linear, axis=1))):
        raise wrong_input(_unreadable("Its left 3x3 block has no inverse: it squeezes space flat."))
    scale = math.copysign(float(np.linalg.norm(linear[2])), volume)
    return _camera(linear / scale, last / scale, linear[2] / scale, np.linalg.solve(linear, -last).astype(np.float64))


_FLAT = 1e-14
"""Share of the largest possible determinant below which rounding alone explains it."""


def _affine_camera(linear: Floats, last: Floats) -> Camera:
    across = np.cross(linear[0], linear[1])
    length = float(np.linalg.norm(across))
    if last[2] == 0 or length <= _FLAT * float(np.prod(np.linalg.norm(linear[:2], axis=1))):
        raise wrong_input(_unreadable("It is a parallel projection that squeezes the picture to a line."))
    return _camera(linear / last[2], last / last[2], across / length, None)


def view_axes(azimuth: float, elevation: float) -> tuple[Floats, Floats, Floats]:
    """Right, up and forward, unit vectors; of use straight above and below as well."""
    sin_a, cos_a = _sin_cos(azimuth)
    sin_e, cos_e = _sin_cos(elevation)
    right = np.array([cos_a, 0.0, -sin_a])
    up = np.array([-sin_a * sin_e, cos_e, -cos_a * sin_e])
    forward = -np.array([sin_a * cos_e, sin_e, cos_a * cos_e])
    return right, up, forward


def _sin_cos(degrees: float) -> tuple[float, float]:
    """Exact at quarter turns, so that a side view shows faces edge-on and not as slivers."""
    quarter, rest = divmod(degrees, 90.0)
    angle = math.radians(rest)
    turned = ((0, 1), (1, 0), (0, -1), (-1, 0))[int(quarter) % 4]
    return (
        turned[0] * math.cos(angle) + turned[1] * math.sin(angle),
        turned[1] * math.cos(angle) - turned[0] * math.sin(angle),
    )


def _camera(linear: Floats, last: Floats, forward: Floats, position: Floats | None) -> Camera:
    matrix = np.column_stack([linear, last])
    for array in (matrix, forward, position):
        if array is not None:
            array.setflags(write=False)
    return Camera(matrix, forward, position)


def _unreadable(why: str) -> Finding:
    return Finding(
        "camera-matrix",
        "A camera matrix cannot be read as a camera.",
        why=why,
        remedy="Write 12 numbers, row by row, as (u, v, w) = P (x, y, z, 1) needs them.",
    )
