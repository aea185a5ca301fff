"""What two labels may not do to each other, for many places at once.

A label is a box and a leader, the line from the box to what it names.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats

Bools = NDArray[np.bool_]

APART = 5.0
"""Room between two labels, and between a label and a shape."""
_LEADER_APART = 2.0
"""Room between a label and the leader of another."""

REACH = APART + 1e-6
"""Labels whose boxes, leaders included, are farther apart than this have no conflict."""

ON_LABEL = 3000.0
LEADER_ON_LABEL = 1500.0
LEADERS_CROSS = 700.0


def conflicts(boxes: Floats, leaders: Floats, other_boxes: Floats, other_leaders: Floats) -> Floats:
    """Return the cost of each place against another label's.

    Parameters
    ----------
    boxes, other_boxes : (..., 4) arrays
        Left, top, right, bottom.
    leaders, other_leaders : (..., 2, 2) arrays

    Returns
    -------
    (...) array
        Whole numbers; 0 where both may be, and surely where they are more than `REACH` apart.

    """
    a, b, p, q = boxes, other_boxes, leaders, other_leaders
    apart = (a[..., :2] >= b[..., 2:] + APART) | (b[..., :2] >= a[..., 2:] + APART)
    over = _passes(p, b).astype(np.float64) + _passes(q, a)
    return np.asarray(
        ON_LABEL * ~(apart[..., 0] | apart[..., 1]) + LEADER_ON_LABEL * over + LEADERS_CROSS * _cross(p, q),
        dtype=np.float64,
    )


def _passes(segments: Floats, boxes: Floats) -> Bools:
    """Whether a segment comes into a box: somewhere along it, it is between both pairs of sides."""
    start, way = segments[..., 0, :], segments[..., 1, :] - segments[..., 0, :]
    low, high = boxes[..., :2] - _LEADER_APART - start, boxes[..., 2:] + _LEADER_APART - start
    still = way == 0
    safe = np.where(still, 1.0, way)
    inside = (low <= 0) & (high >= 0)
    enter = np.where(still, np.where(inside, -np.inf, np.inf), np.minimum(low / safe, high / safe))
    leave = np.where(still, np.where(inside, np.inf, -np.inf), np.maximum(low / safe, high / safe))
    # Spelt out: reducing over an axis of two is many times slower.
    late, early = np.maximum(enter[..., 0], enter[..., 1]), np.minimum(leave[..., 0], leave[..., 1])
    return np.asarray(np.maximum(late, 0.0) <= np.minimum(early, 1.0))


def _cross(one: Floats, other: Floats) -> Bools:
    """Whether two segments cross or touch."""
    crossed = (_sides(one, other) <= 0) & (_sides(other, one) <= 0)
    # Of two on one line the sides say nothing.
    low, high = np.maximum(_low(one), _low(other)), np.minimum(_high(one), _high(other))
    return np.asarray(crossed & (low[..., 0] <= high[..., 0]) & (low[..., 1] <= high[..., 1]))


def _low(segment: Floats) -> Floats:
    return np.minimum(segment[..., 0, :], segment[..., 1, :])


def _high(segment: Floats) -> Floats:
    return np.maximum(segment[..., 0, :], segment[..., 1, :])


def _sides(line: Floats, ends: Floats) -> Floats:
    """Negative where the ends of a segment lie on both sides of a line."""
    origin, way = line[..., 0, :], line[..., 1, :] - line[..., 0, :]
    first, second = ends[..., 0, :] - origin, ends[..., 1, :] - origin
    return np.asarray(
        (way[..., 0] * first[..., 1] - way[..., 1] * first[..., 0])
        * (way[..., 0] * second[..., 1] - way[..., 1] * second[..., 0])
    )
