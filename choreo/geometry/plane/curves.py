"""Curves to points: Béziers and elliptical arcs, each chord within a distance of its curve."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats

MOST_CHORDS = 20_001
"""Of one curve; more than a ring may have corners, so a curve cut short here is refused for its corners."""
_LEAST_REACH = 1e-300
"""Of an arc so short beside its radii that floats cannot tell it from a point; keeps a division finite."""


@dataclass(frozen=True)
class Arc:
    """Part of an ellipse: ``centre + turn * (rx * cos t + i ry * sin t)`` for t from `start` on by `sweep`."""

    centre: complex
    rx: float
    ry: float
    rotation: float
    """Radians, of the ellipse's x axis."""
    start: float
    sweep: float


def bezier(points: list[complex], tolerance: float) -> Floats:
    """Return (n, 2) points of a quadratic or cubic Bézier after its first, the last its end.

    Notes
    -----
    A chord over 1/n of the parameter lies within ``max |B''| / (8 n**2)`` of the curve (the error of linear
    interpolation); B'' is a combination of the second differences of the control points.

    """
    control = np.array(points)
    degree = len(points) - 1
    bend = degree * (degree - 1) * float(np.abs(np.diff(control, 2)).max())
    t = _steps(math.sqrt(bend / (8 * tolerance)))[:, None]
    power = np.arange(degree + 1)
    weights = np.array([math.comb(degree, k) for k in power]) * t**power * (1 - t) ** (degree - power)
    found = weights @ control
    found[-1] = points[-1]
    return _pairs(found)


def arc(start: complex, radii: tuple[float, float], rotation: float, large: bool, clockwise: bool, end: complex,
        tolerance: float) -> Floats:  # fmt: skip
    """Return (n, 2) points of an elliptical arc after its first, the last its end; `rotation` in degrees.

    Notes
    -----
    SVG 2, section 9.5.1: an arc to where it starts is left out, one with a radius of 0 is a straight line.

    """
    if start == end:
        return np.empty((0, 2))
    if not radii[0] or not radii[1]:
        return _pairs(np.array([end]))
    whole = centre_of(start, radii, rotation, large, clockwise, end)
    widest = max(whole.rx, whole.ry)
    # The chord of a step s on the auxiliary circle lies within r (1 - cos(s / 2)) = 2 r sin(s / 4)**2 of it.
    step = 4 * math.asin(min(math.sqrt(tolerance / (2 * widest)), 0.5))
    t = whole.start + _steps(abs(whole.sweep) / step) * whole.sweep
    turn = complex(math.cos(whole.rotation), math.sin(whole.rotation))
    found = whole.centre + turn * (whole.rx * np.cos(t) + 1j * whole.ry * np.sin(t))
    found[-1] = end
    return _pairs(found)


def centre_of(
    start: complex, radii: tuple[float, float], rotation: float, large: bool, clockwise: bool, end: complex
) -> Arc:
    """Return centre and angles of an arc between two different points.

    Parameters
    ----------
    start, end : complex
    radii : (rx, ry)
        Other than 0; made just large enough where they are too small to reach.
    rotation : float
        Degrees.
    large, clockwise : bool
        The flags of the path command A; clockwise as seen with y down.

    Notes
    -----
    SVG 2, appendix B.2.4, "Conversion from endpoint to center parameterization", and B.2.5 for the radii.

    """
    rx, ry = abs(radii[0]), abs(radii[1])
    angle = math.radians(rotation % 360)
    turn = complex(math.cos(angle), math.sin(angle))
    half = (start - end) / 2 / turn  # (x1', y1'), equation (eq. 5.1)
    reach = (half.real / rx) ** 2 + (half.imag / ry) ** 2
    if reach > 1:  # (eq. 6.2), (eq. 6.3)
        rx, ry, reach = rx * math.sqrt(reach), ry * math.sqrt(reach), 1.0
    # (eq. 5.2), divided by the square of rx ry
    share = math.sqrt(max(1 / max(reach, _LEAST_REACH) - 1, 0.0)) * (-1 if large == clockwise else 1)
    middle = complex(share * rx * half.imag / ry, -share * ry * half.real / rx)
    first = complex((half.real - middle.real) / rx, (half.imag - middle.imag) / ry)
    last = complex((-half.real - middle.real) / rx, (-half.imag - middle.imag) / ry)
    begin = math.atan2(first.imag, first.real)
    sweep = (math.atan2(last.imag, last.real) - begin) % (2 * math.pi)
    if not clockwise and sweep > 0:
        sweep -= 2 * math.pi
    return Arc(middle * turn + (start + end) / 2, rx, ry, angle, begin, sweep)


def _steps(count: float) -> Floats:
    """Return the ends of so many equal steps from 0 to 1, at least one, at most `MOST_CHORDS`."""
    number = max(1, math.ceil(min(count, MOST_CHORDS)))
    return np.arange(1, number + 1) / number


def _pairs(points: NDArray[np.complex128]) -> Floats:
    return np.stack([points.real, points.imag], axis=1)
