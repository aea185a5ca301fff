"""Removal of parts made of unit cubes, by brute force on the grid: over all groups, straight ways and walks.

Cells are open cubes. Of one cell and another that lies (p, q) away at the same depth, the mover's displacements at
which they overlap are the open square of side 2 around (p, q), so who blocks whom in the plane changes only at
directions that lead to a corner of such a square: integer vectors. Walks go from cell to cell, one step at a time.
"""

import functools
import itertools
import math
import re
from fractions import Fraction

import numpy as np
from random_assemblies import AXES, blocks

STEPS = tuple(AXES.values())


def plane_directions(far):
    """Every direction in the plane in which anything can change, for cells less than `far` apart."""
    return [(a, b, 0) for a in range(-far, far + 1) for b in range(-far, far + 1) if math.gcd(a, b) == 1]


def stands_in_way(own, other, direction):
    """Whether a cell of `other` is met by a cell of `own` on its way along an integer direction; exact."""
    if direction[2]:
        return blocks(own, other, direction)
    a, b, _ = direction
    return any(_meets(p - x, q - y, a, b) for x, y, z in own for p, q, depth in other if depth == z)


@functools.cache
def _meets(p, q, a, b):
    low, high = Fraction(0), None
    for at, way in ((p, a), (q, b)):
        if way == 0:
            if at != 0:
                return False
            continue
        near, far = sorted((Fraction(at - 1, way), Fraction(at + 1, way)))
        low, high = max(low, near), far if high is None else min(high, far)
    return low < high


def straight_ways(cells, group, present, far=4):
    """The axes along z and the integer directions of the plane in which a group leaves the others as one."""
    own, rest = joined(cells, group), joined(cells, present - group)
    ways = [(0, 0, 1), (0, 0, -1), *plane_directions(far)]
    return [d for d in ways if not stands_in_way(own, rest, d)]


def joined(cells, group):
    return frozenset().union(*(cells[name] for name in group))


@functools.cache
def walks_out(own, rest, reach=7):
    """Whether steps from cell to cell lead a group out: breadth first."""
    seen, todo = {(0, 0, 0)}, [(0, 0, 0)]
    for at in todo:
        if max(map(abs, at)) >= reach:
            return True
        for step in STEPS:
            to = tuple(map(sum, zip(at, step, strict=True)))
            if to not in seen and not any((x + to[0], y + to[1], z + to[2]) in rest for x, y, z in own):
                seen.add(to)
                todo.append(to)
    return False


def groups_of(present, least=1):
    """All groups that are not everything, smallest first, then in order of their names."""
    names = sorted(present)
    for size in range(least, len(names)):
        yield from map(frozenset, itertools.combinations(names, size))


def leaves(cells, group, present):
    return walks_out(joined(cells, group), joined(cells, present - group))


def comes_apart(cells):
    """Whether some order of groups that leave as one, and come apart outside, takes everything apart."""

    @functools.cache
    def from_here(present):
        return len(present) == 1 or any(
            leaves(cells, group, present) and from_here(group) and from_here(present - group)
            for group in groups_of(present)
        )

    return from_here(frozenset(cells))


def path_is_clear(own, rest, corners, direction):
    """Whether cells that give way by 6 thousandths pass each other on a path and then to infinity; exact."""
    away = np.array([np.subtract(b, a) for a in own for b in rest], dtype=float)
    ends = [*np.diff(corners, axis=0), 1e4 * np.asarray(direction)]
    for at, step in zip(corners, ends, strict=True):
        with np.errstate(divide="ignore", invalid="ignore"):
            near, far = ((away - at + side * 0.994) / np.where(step == 0, np.nan, step) for side in (-1, 1))
        still = np.abs(away - at) < 0.994
        low = np.where(step == 0, np.where(still, -np.inf, np.inf), np.minimum(near, far)).max(axis=1)
        high = np.where(step == 0, np.where(still, np.inf, -np.inf), np.maximum(near, far)).min(axis=1)
        if np.any((low < high) & (low < 1) & (high > 0)):
            return False
    return True


RING = re.compile(r'"(\w+)" is held by "(\w+)" on its way ([+-][xyz])')


def read_ring(finding):
    """(part, who holds it, on which way) of each link; the ring must close."""
    ring = RING.findall(finding.why)
    assert ring
    assert [by for _, by, _ in ring] == [part for part, _, _ in ring[1:] + ring[:1]]
    return ring


def bar_at(held, angle):
    """The bar that holds a direction of the plane, degrees; one without a width goes first."""
    arcs = [
        (bar.arc[1] - bar.arc[0], bar)
        for bar in held.bars
        if bar.arc and (angle - bar.arc[0]) % 360 <= bar.arc[1] - bar.arc[0]
    ]
    return min(arcs, key=lambda pair: pair[0])[1]


def check_proof(cells, error, far=4):
    """Nothing of what is left leaves, each link of the ring holds, and who bars what is true in all directions."""
    (finding,) = error.findings
    assert (error.exit_code, finding.code) == (1, "interlocked")
    proof = error.interlock
    left = frozenset(proof.parts)
    assert set(re.findall(r'"(\w+)"', finding.what)) == left
    assert not any(leaves(cells, group, left) for group in groups_of(left))
    for part, by, axis in read_ring(finding):
        assert blocks(cells[part], cells[by], AXES[axis])
    assert proof.proved
    for held in proof.held:
        others = [name for name in proof.parts if name != held.part]
        up, down = (next(b for b in held.bars if b.direction == (0, 0, z)) for z in (1, -1))
        assert list(up.blockers) == [o for o in others if blocks(cells[held.part], cells[o], (0, 0, 1))]
        assert list(down.blockers) == [o for o in others if blocks(cells[held.part], cells[o], (0, 0, -1))]
        for d in plane_directions(far):
            found = bar_at(held, math.degrees(math.atan2(d[1], d[0]))).blockers
            assert list(found) == [o for o in others if stands_in_way(cells[held.part], cells[o], d)]
