"""Straight stretches of routes, two at a time: where the parts on them stand relative to each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from choreo.geometry.collision.obstacle import Cuts, Obstacle, cuts_between
from choreo.model.plan import Floats

JOIN = 1e-6
"""mm; legs of a diagram overlap by this much, so that no crack opens between them."""


@dataclass(frozen=True, eq=False)
class Leg:
    """A straight stretch: displacement at way w is ``origin + w * way`` for w in `span`."""

    origin: Floats
    way: Floats
    span: tuple[float, float]


def legs_of(route: Floats, span: tuple[float, float]) -> list[Leg]:
    """Cut a route to the span of ways, its first and last legs carried on beyond the ends."""
    steps = np.diff(route, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    steps, starts, lengths = steps[lengths > 0], route[:-1][lengths > 0], lengths[lengths > 0]
    if not len(lengths):
        return [Leg(route[0], np.zeros(3), span)]  # it stands there, whatever its way is said to be
    ends = np.cumsum(lengths)
    legs = []
    for k, (start, step, length, end) in enumerate(zip(starts, steps, lengths, ends, strict=True)):
        low = -np.inf if k == 0 else end - length - JOIN
        high = np.inf if k == len(lengths) - 1 else end + JOIN
        low, high = max(low, span[0]), min(high, span[1])
        if low <= high:
            way = step / length
            legs.append(Leg(start - (end - length) * way, way, (float(low), float(high))))
    return legs


def relative_box(a: Leg, b: Leg) -> tuple[Floats, Floats]:
    """Return the lowest and highest displacement of B relative to A while both walk their legs."""
    a_ends = a.origin + np.outer(a.span, a.way)
    b_ends = b.origin + np.outer(b.span, b.way)
    return b_ends.min(axis=0) - a_ends.max(axis=0), b_ends.max(axis=0) - a_ends.min(axis=0)


def is_flat(low: Floats, high: Floats) -> bool:
    """Whether relative displacements in this box differ along z only."""
    return bool(high[0] - low[0] < JOIN and high[1] - low[1] < JOIN)


def leg_cuts(ob: Obstacle, a: Leg, b: Leg) -> Cuts:
    """Return where an obstacle is met on two legs."""
    return cuts_between(ob, b.origin - a.origin, (a.way, b.way), (a.span, b.span))


def near_legs(
    boxes: tuple[Floats, Floats], legs: tuple[Sequence[Leg], Sequence[Leg]], grow: float
) -> list[tuple[int, int]]:
    """Return the pairs of legs on which the (2, 3) boxes of two solids meet, grown by a clearance."""
    if not legs[0] or not legs[1]:
        return []
    (one, two) = boxes
    first, second = (np.stack([leg.origin + np.outer(leg.span, leg.way) for leg in some]) for some in legs)
    low = second.min(axis=1)[None] - first.max(axis=1)[:, None]
    high = second.max(axis=1)[None] - first.min(axis=1)[:, None]
    near = np.all((high > one[0] - two[1] - grow) & (low < one[1] - two[0] + grow), axis=2)
    return [(int(i), int(j)) for i, j in np.argwhere(near)]
