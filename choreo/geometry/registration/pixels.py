"""Pictures as functions of place: read between pixels, halved, blurred. Pixel centres lie at .5."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats

Bools = NDArray[np.bool_]

_CUT = 3.0
"""A Gaussian ends at so many standard deviations."""


def cubic_at(picture: Floats, points: Floats) -> Floats:
    """Return a picture's values, (n, c), at (n, 2) places, px; beyond its border the nearest pixel counts.

    Exact for pictures that are quadratic in x and in y.

    Parameters
    ----------
    picture : (h, w, c) array
    points : (n, 2) array

    Notes
    -----
    R. Keys, "Cubic convolution interpolation for digital image processing", IEEE ASSP 29(6), 1981, with a = -1/2.

    """
    at = points - 0.5
    base = np.floor(at).astype(np.int64)
    x, y = (at - base).T
    columns, rows = _keys(x), _keys(y)
    height, width = picture.shape[:2]
    out = np.zeros((len(points), picture.shape[2]))
    for j in range(4):
        row = np.clip(base[:, 1] + j - 1, 0, height - 1)
        line = np.zeros_like(out)
        for i in range(4):
            column = np.clip(base[:, 0] + i - 1, 0, width - 1)
            line += columns[i][:, None] * picture[row, column]
        out += rows[j][:, None] * line
    return out


def linear_at(picture: NDArray[Any], points: Floats) -> Floats:
    """Return values, (n, ...), at (n, 2) places, px, from the four pixels around; the border repeats."""
    at = points - 0.5
    base = np.floor(at).astype(np.int64)
    height, width = picture.shape[:2]
    share = (at - base).reshape(len(points), 2, *[1] * (picture.ndim - 2))
    x, y = share[:, 0], share[:, 1]
    left, right = (np.clip(base[:, 0] + k, 0, width - 1) for k in (0, 1))
    top, bottom = (np.clip(base[:, 1] + k, 0, height - 1) for k in (0, 1))
    upper = picture[top, left] * (1 - x) + picture[top, right] * x
    lower = picture[bottom, left] * (1 - x) + picture[bottom, right] * x
    return np.asarray(upper * (1 - y) + lower * y, dtype=np.float64)


def blurred(picture: Floats, sd_px: float) -> Floats:
    """Return a picture, (h, w, ...), under a Gaussian; the border repeats."""
    if sd_px <= 0:
        return picture
    reach = max(1, math.ceil(_CUT * sd_px))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sd_px) ** 2)
    return _along_both(picture, kernel / kernel.sum())


def slopes(picture: Floats) -> Floats:
    """Return (h, w, ..., 2): how a picture changes per px in x and in y, by central differences."""
    down, across = np.gradient(picture, axis=(0, 1))
    return np.stack([across, down], axis=-1)


def halved(picture: Floats) -> Floats:
    """Return a picture of half the size: means of two by two pixels; an odd last row or column is left out."""
    height, width = picture.shape[0] // 2 * 2, picture.shape[1] // 2 * 2
    four = picture[:height, :width].reshape(height // 2, 2, width // 2, 2, *picture.shape[2:])
    return np.asarray(four.mean(axis=(1, 3)))


def eroded(mask: Bools, border_px: int) -> Bools:
    """Return a mask without what is within so many px of its outside, across and down; the picture's edge counts."""
    out = np.pad(mask, border_px)
    for axis in (0, 1):
        run = out.copy()
        for step in range(1, border_px + 1):
            run &= np.roll(out, step, axis) & np.roll(out, -step, axis)
        out = run
    height, width = mask.shape
    return out[border_px : border_px + height, border_px : border_px + width]


def _along_both(picture: Floats, kernel: Floats) -> Floats:
    reach = len(kernel) // 2
    for axis in (0, 1):
        room = [(reach, reach) if a == axis else (0, 0) for a in range(picture.ndim)]
        padded = np.pad(picture, room, mode="edge")
        moved = np.moveaxis(padded, axis, 0)
        total = np.zeros_like(np.moveaxis(picture, axis, 0))
        for k, share in enumerate(kernel):
            total += share * moved[k : k + len(total)]
        picture = np.moveaxis(total, 0, axis)
    return picture


def _keys(t: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Shares of the four pixels, from the one before, at a place a share t after the second."""
    return (
        ((-0.5 * t + 1.0) * t - 0.5) * t,
        (1.5 * t - 2.5) * t * t + 1.0,
        ((-1.5 * t + 2.0) * t + 0.5) * t,
        (0.5 * t - 0.5) * t * t,
    )
