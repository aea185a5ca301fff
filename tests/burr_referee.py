"""Six-piece burrs by brute force on the grid: how the pieces fit, and the fewest moves to the first release.

A burr is three pairs of sticks of 2 x 2 x 6 cubes that cross at right angles; what is cut away lies where sticks
cross. A piece is written as its four rows of six cubes: two rows side by side, then the two on top of them; `x` is a
cube, `.` a notch. A *move* shifts any pieces as one, by any number of cubes along one axis, the others still; the
*level* of a burr is the number of moves up to the first one that takes pieces away from the rest. So Cutler counts,
"A Computer Analysis of All 6-Piece Burrs" (1994), billcutlerpuzzles.com/docs/CA6PB.
"""

from __future__ import annotations

import functools
import itertools

import numpy as np
from random_assemblies import AXES

_AWAY = 12
"""Cubes; farther apart than this along an axis, pieces of 6 cubes no longer reach each other."""


def _places():
    """The cells of the six sticks, each pair side by side in the middle: along x, y and z in turn."""
    found = []
    for axis in range(3):
        for side in (1, 3):
            ranges = [None, None, None]
            ranges[axis], ranges[(axis + 1) % 3], ranges[(axis + 2) % 3] = range(6), (2, 3), (side, side + 1)
            found.append(frozenset(itertools.product(*ranges)))
    return found


PLACES = _places()


def _turns():
    """The 24 rotations of a cube, as matrices."""
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1, -1), repeat=3):
            turn = np.zeros((3, 3), dtype=int)
            turn[range(3), order] = signs
            if round(np.linalg.det(turn)) == 1:
                yield turn


def stick(text):
    """The cells of a piece along x."""
    rows = text.split("/")
    return [(x, k % 2, k // 2) for k, row in enumerate(rows) for x in range(6) if row[x] == "x"]


@functools.cache
def ways_to_lie(text, place):
    """All sets of cells that a piece can fill in a place."""
    corner = np.min(list(place), axis=0) * 2 + np.ptp(list(place), axis=0)  # twice the middle
    centred = 2 * np.array(stick(text)) - (5, 1, 1)
    found = {frozenset(map(tuple, ((centred @ turn.T + corner) // 2).tolist())) for turn in _turns()}
    return sorted((own for own in found if own <= place), key=sorted)


def assemblies(pieces):
    """Every way of putting the pieces into the six places without overlap, the first piece in the first place.

    The burr looks the same from every place, so nothing is lost by that.
    """

    def put(rest, free_places, taken, cells):
        if not rest:
            yield cells
            return
        for place in free_places:
            for own in ways_to_lie(pieces[rest[0]], PLACES[place]):
                if not own & taken:
                    left = [p for p in free_places if p != place]
                    yield from put(rest[1:], left, taken | own, {**cells, rest[0]: own})

    names = list(pieces)
    for own in ways_to_lie(pieces[names[0]], PLACES[0]):
        yield from put(names[1:], list(range(1, 6)), own, {names[0]: own})


def full():
    """All cells of a burr without a hole in it."""
    return frozenset().union(*PLACES)


def level(cells, most=12):
    """The fewest moves up to the first that takes pieces away, and which pieces that move takes; None if none does.

    Breadth first over all places that the pieces can be shifted to.
    """
    names = sorted(cells)
    meet = {
        (i, j): {tuple(np.subtract(b, a).tolist()) for a in cells[names[i]] for b in cells[names[j]]}
        for i, j in itertools.permutations(range(len(names)), 2)
    }
    groups = [g for n in range(1, len(names)) for g in itertools.combinations(range(1, len(names)), n)]
    start = ((0, 0, 0),) * len(names)
    seen, todo = {start}, [start]
    for moves in range(1, most + 1):
        after = []
        for state in todo:
            for group, axis in itertools.product(groups, AXES.values()):
                for far, to in _slides(state, group, axis, meet):
                    if far == _AWAY:
                        return moves, frozenset(names[i] for i in group)
                    if to not in seen:
                        seen.add(to)
                        after.append(to)
        todo = after
    return None


def _slides(state, group, axis, meet):
    """Where a group comes along an axis, cube by cube, until it is stopped or away."""
    rest = [j for j in range(len(state)) if j not in group]
    for far in range(1, _AWAY + 1):
        to = list(state)
        for i in group:
            to[i] = tuple(p + far * a for p, a in zip(state[i], axis, strict=True))
        if any(tuple(p - q for p, q in zip(to[i], to[j], strict=True)) in meet[i, j] for i in group for j in rest):
            return
        yield far, tuple(to)
