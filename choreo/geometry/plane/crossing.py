"""Whether straight ways on the screen cross.

Two ways cross where each of them has its ends on both sides of the other's line, all four ends by more than a hair:
an end that lies on the other way touches it, and ways along one line do not cross, whatever the last digit says.
So parts that leave one behind another along one axis cross nobody, though rounding puts their ends beside it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats

TOUCH_PX = 0.5
"""px; an end this near to another's line touches it: a line of 1 px would show no more."""


def cross(a: Floats, b: Floats, c: Floats, d: Floats, touch_px: float = TOUCH_PX) -> NDArray[np.bool_]:
    """Return whether ways a to b and ways c to d cross; arrays of points (..., 2) that broadcast.

    With ``touch_px = 0`` it is the proper crossing of computational geometry (each segment has its ends strictly on
    both sides of the other's line). A way without length crosses nothing.
    """
    first, second = _beside(a, b, c), _beside(a, b, d)
    third, fourth = _beside(c, d, a), _beside(c, d, b)
    least = np.minimum(np.minimum(abs(first), abs(second)), np.minimum(abs(third), abs(fourth)))
    return np.asarray((first * second < 0) & (third * fourth < 0) & (least > touch_px))


def crossings(starts: Floats, ends: Floats, touch_px: float = TOUCH_PX) -> int:
    """Return how many pairs of straight ways (n, 2) to (n, 2) on the screen cross."""
    return int(crossed(starts, ends, touch_px).sum()) // 2


def crossed(starts: Floats, ends: Floats, touch_px: float = TOUCH_PX) -> NDArray[np.bool_]:
    """Return which ways cross which, (n, n)."""
    return cross(starts[:, None], ends[:, None], starts[None], ends[None], touch_px)


def _beside(a: Floats, b: Floats, point: Floats) -> Floats:
    """How far a point lies beside the line from a to b, signed, px; 0 where that has no length."""
    along, to = b - a, point - a
    length = np.hypot(along[..., 0], along[..., 1])
    area = along[..., 0] * to[..., 1] - along[..., 1] * to[..., 0]
    return np.asarray(np.where(length > 0, area / np.where(length > 0, length, 1.0), 0.0))
