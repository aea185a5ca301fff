"""Solve the one free number of a camera, in closed form, so that given points stay inside given margins.

For a camera that looks at a target, let (X, Y, Z) be a point's place along the camera's right, up and forward
axes, counted from the target. Under an orthographic camera the point lands k X px right of the frame's centre;
under a perspective one f X / (Z + D). "Inside the margin" is therefore linear in k, and in D, and the best k or
D is the extreme over all points and all four sides: nothing is searched.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from choreo.model.plan import Floats


@dataclass(frozen=True, eq=False)
class FitPoints:
    """Points that must stay inside margins on some frames.

    Attributes
    ----------
    points : (n, 3) array
        Product space, mm.
    axes : (f, 3, 3) array
        Rows right, up, forward of the camera on each of these frames.
    margins : (left, top, right, bottom)
        px from the frame's edges.

    """

    points: Floats
    axes: Floats
    margins: tuple[float, float, float, float]


def needed_distance(
    sets: list[FitPoints], target: Floats, focal_px: float, resolution: tuple[int, int], nearest: float
) -> float:
    """Return the least distance (mm) of a perspective camera to `target` at which all sets stay inside.

    Parameters
    ----------
    sets : list of FitPoints
        What must be inside, when.
    target : (3,) array
        What stays at the centre of the frame.
    focal_px : float
        Focal length in px.
    resolution : (width, height)
        px.
    nearest : float
        Depth in front of the camera that every point must keep, mm.

    """
    least = nearest
    for one in sets:
        depth = one.axes[:, 2]
        for side, half in _sides(one, resolution):
            # Inside the side: f * offset <= half * (depth + D). Linear in the point, so one product does it.
            least = max(least, _extreme(one, focal_px / half * side - depth, target))
        least = max(least, nearest + _extreme(one, -depth, target))
    return least


def needed_scale(sets: list[FitPoints], target: Floats, resolution: tuple[int, int]) -> float:
    """Return the largest px per mm of an orthographic camera on `target` at which all sets stay inside."""
    shrink = 0.0
    for one in sets:
        for side, half in _sides(one, resolution):
            shrink = max(shrink, _extreme(one, side / half, target))
    return 1.0 / shrink if shrink > 0 else 1.0


def centred_target(sets: list[FitPoints], target: Floats, distance: float | None) -> Floats:
    """Shift a target so that what the first set shows lies in the middle, on its middle frame.

    `distance` is the camera's for a perspective view, None for an orthographic one.
    """
    first = sets[0]
    axes = first.axes[len(first.axes) // 2]
    x, y, z = axes @ (first.points - target).T
    if distance is not None:
        x, y = x * distance / (z + distance), y * distance / (z + distance)
    # An uneven safe area has its middle off the frame's: its shift is a matter of margins, handled by the fit.
    middle_x, middle_y = (x.max() + x.min()) / 2, (y.max() + y.min()) / 2
    return np.asarray(target + middle_x * axes[0] + middle_y * axes[1])


def _extreme(one: FitPoints, functional: Floats, target: Floats) -> float:
    """The largest value that any of the (f, 3) linear functionals takes on any point, counted from the target."""
    return float(((functional @ one.points.T).max(axis=1) - functional @ target).max())


def _sides(one: FitPoints, resolution: tuple[int, int]) -> list[tuple[Floats, float]]:
    """Directions toward each side of the picture, one row a frame, and the room there, px from the centre."""
    width, height = resolution
    left, top, right, bottom = one.margins
    x, y = one.axes[:, 0], one.axes[:, 1]
    return [(-x, width / 2 - left), (x, width / 2 - right), (y, height / 2 - top), (-y, height / 2 - bottom)]
