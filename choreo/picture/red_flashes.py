"""Red flashes: pairs of opposing changes to and from a saturated red, as WCAG 2.2 defines them (after ISO 9241-391).

A state is saturated red if R / (R + G + B) is 0.8 or more in linear light. A change counts if one of its ends is, and
the ends lie more than 0.2 apart in the CIE 1976 chromaticity diagram (u', v'). Two saturated reds never do: the corners
of what is saturated red lie 0.15 apart at most. So changes lead into red or out of it, in turn.

Black has no chromaticity. What is too dark to have one is taken for the white of sRGB, as colour spaces have it.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats

Cells = NDArray[np.bool_]
_SATURATED, _APART = 0.8, 0.2
_DARK = 0.005
"""Of linear light, code 16 of 255: below it in all three colours a screen shows nothing of a hue."""
_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""IEC 61966-2-1, linear light to CIE 1931."""
_ROUNDING = 1e-9


class RedTurns:
    """Which cells turn into red, or out of it.

    Parameters
    ----------
    second : int
        Pictures in a second: a change that takes longer is no part of a flash within a second.

    """

    def __init__(self, second: int) -> None:
        self._seen: deque[tuple[Floats, Cells]] = deque(maxlen=second)
        self._number = 0
        self._since: NDArray[np.int64] | None = None
        self._into: NDArray[np.int8] | None = None

    def turned(self, light: Floats) -> Cells:
        """Return which cells have just changed enough, the other way than before, given (rows, columns, 3) light."""
        place, red = chromaticity(light), saturated(light)
        if self._since is None or self._into is None:
            self._since = np.zeros(red.shape, dtype=np.int64)
            self._into = np.zeros(red.shape, dtype=np.int8)
        into, out = np.zeros_like(red), np.zeros_like(red)
        if red.any() or any(was.any() for _, was in self._seen):
            first = self._number - len(self._seen)
            for number, (before, was) in enumerate(self._seen, first):
                far = (np.hypot(*np.moveaxis(place - before, -1, 0)) > _APART + _ROUNDING) & (number >= self._since)
                into |= far & red & ~was
                out |= far & was & ~red
        turned = np.asarray((into & (self._into <= 0)) | (out & (self._into >= 0)))
        self._into = np.where(turned, np.where(into, 1, -1), self._into).astype(np.int8)
        self._since = np.where(turned, self._number, self._since)
        self._seen.append((place, red))
        self._number += 1
        return turned


def saturated(light: Floats) -> Cells:
    """Return where linear light (..., 3) is a saturated red."""
    total = light.sum(axis=-1)
    seen = light.max(axis=-1) >= _DARK
    return np.asarray(seen & (light[..., 0] >= (_SATURATED - _ROUNDING) * total))


def chromaticity(light: Floats) -> Floats:
    """Return CIE 1976 u', v' (..., 2) of linear light (..., 3)."""
    shown = np.where(light.max(axis=-1, keepdims=True) >= _DARK, light, 1.0)
    x, y, z = np.moveaxis(shown @ _XYZ.T, -1, 0)
    return np.asarray(np.stack([4 * x, 9 * y], axis=-1) / (x + 15 * y + 3 * z)[..., None])
