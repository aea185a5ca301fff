"""Plates and heroes for registration tests: shapes drawn by scikit-image at known places, noisy and partly hidden."""

from __future__ import annotations

import numpy as np
import shapely
from pictures import coverage

from choreo.geometry.plane.trace import trace_alpha
from choreo.geometry.registration.similarity import apply

FINE = 0.0
"""Every crossing is kept: the corners of a simplified outline would be what is compared."""

BRACKET = np.array([(30, 40), (150, 30), (170, 80), (130, 95), (140, 140), (60, 150), (45, 110), (20, 100)], float)


def round_shape(centre, radius, corners=240):
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    return np.array(centre) + radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def box(x0, y0, x1, y1):
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)


def matte(size, outlines, noise=0.0, hidden=(), seed=0, factor=6):
    """Coverage of outlines, with normal noise as a keyer leaves it, and boxes (rows, columns) cut away."""
    alpha = coverage(size, outlines, factor=factor)
    if noise:
        alpha = np.clip(alpha + np.random.default_rng(seed).normal(0, noise, alpha.shape), 0, 1)
    for window in hidden:
        alpha[window] = 0
    return np.rint(alpha * 255).astype(np.uint8)


def traced(alpha):
    return trace_alpha(alpha, 0.5, FINE).polygons


def outline_of(points):
    return shapely.Polygon(points)


def farthest_apart(one, two, points):
    """The most that two transforms put a point apart, px."""
    return float(np.hypot(*(apply(one, points) - apply(two, points)).T).max())


# A texture known at every place, not only at pixels: a sum of plane waves, so its shifted picture is exact.
_RANDOM = np.random.default_rng(3)
_WAVES = _RANDOM.uniform(-0.35, 0.35, (30, 2))
_PHASES = _RANDOM.uniform(0, 2 * np.pi, (30, 3))
_HEIGHTS = _RANDOM.uniform(0.5, 1.0, 30)


def texture(places):
    """(n, 3) colour at (n, 2) places, px; about 0.1 to 0.9."""
    waves = zip(_WAVES, _PHASES, _HEIGHTS, strict=True)
    return 0.5 + 0.06 * sum(height * np.sin((places @ wave)[:, None] + phase) for wave, phase, height in waves)


def pixel_centres(size):
    width, height = size
    return np.stack(np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5), axis=-1).reshape(-1, 2)


def painted(size, paint, noise=0.0, seed=0):
    width, height = size
    colour = paint(pixel_centres(size)).reshape(height, width, 3)
    return colour + np.random.default_rng(seed).normal(0, noise, colour.shape) if noise else colour
