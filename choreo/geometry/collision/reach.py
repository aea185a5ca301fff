"""Which parts could meet at all on their routes: boxes around what each leg sweeps, compared all at once.

Cheap and never too little: a pair that is left out cannot meet, whatever the timing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from choreo.geometry.collision.encounter import Encounters
from choreo.model.plan import Floats


def pairs_within_reach(
    encounters: Encounters,
    names: Sequence[str],
    routes: Mapping[str, Floats],
    reach: Mapping[str, tuple[float, float]],
) -> list[tuple[int, int]]:
    """Return the pairs whose swept boxes meet, clearance included.

    Parameters
    ----------
    encounters : Encounters
        Shapes at their assembled places, and the clearance of pairs.
    names : sequence of str
        The parts that move.
    routes : mapping of name to (k, 3) array
        Displacements, mm.
    reach : mapping of name to (low, high)
        Ways along the route that are walked, mm: below 0 the first leg goes on, beyond the length the last.

    Returns
    -------
    list of (i, j)
        Places in `names`, i before j, in ascending order.

    """
    if not names:
        return []
    room = max([encounters.room(*pair) for pair in encounters.clearance], default=0.0)
    boxes, owner = [], []
    for k, name in enumerate(names):
        legs = _legs(routes[name], reach[name])
        shape = encounters.box(name)
        boxes.append(np.stack([legs.min(axis=1) + shape[0], legs.max(axis=1) + shape[1]], axis=1))
        owner += [k] * len(legs)
    swept, whose = np.concatenate(boxes), np.array(owner)
    low, high = swept[:, 0] - room, swept[:, 1]
    meet = np.zeros((len(names), len(names)), dtype=np.bool_)
    for k in range(len(names)):  # one part against all at a time: memory stays linear
        mine = whose == k
        near = np.all((low[mine, None] < high[None]) & (low[None] < high[mine, None]), axis=2).any(axis=0)
        meet[k, whose[near]] = True
    first, second = np.nonzero(np.triu(meet, 1))
    return list(zip(first.tolist(), second.tolist(), strict=True))


def _legs(route: Floats, reach: tuple[float, float]) -> Floats:
    """(legs, 2, 3) ends of each leg, the first and the last carried on as far as they are walked."""
    steps = np.diff(route, axis=0)
    sizes = np.linalg.norm(steps, axis=1)
    if not sizes.any():
        return np.repeat(np.asarray(route[:1], dtype=np.float64)[None], 2, axis=1)
    legs = np.stack([route[:-1], route[1:]], axis=1)[sizes > 0].astype(np.float64)
    ways = (steps / np.where(sizes > 0, sizes, 1.0)[:, None])[sizes > 0]
    legs[0, 0] += ways[0] * min(reach[0], 0.0)
    legs[-1, 1] += ways[-1] * max(reach[1] - float(sizes.sum()), 0.0)
    return np.asarray(legs)
