"""Who blocks whom, in every direction of the plane and along z: the non-directional blocking graph.

For one direction, let an arrow lead from each part to those that stand in its straight way: the directional
blocking graph of Wilson and Latombe (1994). Turning the direction through the plane, it changes only at the ends
of barred arcs. So finitely many *cells*, the ends and the open arcs between them, hold one graph each; +z and -z
are two more. A group of parts can leave as one exactly if no arrow leads out of it.

Barred arcs are open, so at an end fewer arrows stand than on either side of it. Whatever can leave at all can
leave at an end where something has just stopped being barred and nothing has begun to be: only these cells need
to be looked at for groups.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.collision.obstacle import Ints
from choreo.geometry.collision.shape import Shape
from choreo.geometry.removal.directions import (
    TURN,
    WHOLE,
    Bools,
    angle_of,
    barred_arcs,
    free_arcs,
    is_barred,
    outlines,
    turned,
)
from choreo.model.assembly import Vector
from choreo.model.plan import Floats

_ROUND = 11
"""Decimals of an angle in radians; ends of arcs that agree to them are one end."""
_LEVEL = 1e-9
"""mm; see `choreo.geometry.removal.directions`."""


@dataclass(frozen=True, eq=False)
class Cell:
    """Directions of the plane in which the same parts block each other.

    Attributes
    ----------
    start, end : float
        Radians; the open arc between them, or one direction where they are the same.
    graph : (n, n) array of bool
        Row i: who stands in the way of part i.

    """

    start: float
    end: float
    graph: Bools


@dataclass(frozen=True, eq=False)
class Blocking:
    """Who blocks whom.

    Attributes
    ----------
    parts : tuple of str
        In file order.
    who : (k, 2) array of int
        Mover and other of each barred arc, ascending.
    arcs : (k, 2) array
        Open, radians; see `choreo.geometry.removal.directions`.
    above : (n, n) array of bool
        Row i: who stands in the way of part i along +z. Along -z it is the same the other way round.

    """

    parts: tuple[str, ...]
    who: Ints
    arcs: Floats
    above: Bools
    _first: Ints = field(repr=False)
    """Where the arcs of each mover begin; one more at the end."""

    def free(self, movers: Bools, others: Bools) -> Floats:
        """Return the closed arcs in which some parts, moving as one, meet none of some others."""
        return free_arcs(self.arcs[movers[self.who[:, 0]] & others[self.who[:, 1]]])

    def in_plane(self, mover: int, angles: Floats) -> Bools:
        """Return who stands in a part's way in each direction of the plane, (len(angles), n)."""
        rows = slice(self._first[mover], self._first[mover + 1])
        held = np.zeros((len(angles), len(self.parts)), dtype=bool)
        way, arc = np.nonzero(is_barred(self.arcs[rows], angles))
        held[way, self.who[rows][arc, 1]] = True
        return held

    def along(self, direction: Vector) -> Bools | None:
        """Return the blocking graph of one direction, (n, n); None for one that is neither in the plane nor along z."""
        if direction[0] == 0 and direction[1] == 0:
            return self.above if direction[2] > 0 else self.above.T
        if direction[2] != 0:
            return None
        graph = np.zeros_like(self.above)
        rows = self.who[is_barred(self.arcs, angle_of(direction))]
        graph[rows[:, 0], rows[:, 1]] = True
        return graph

    def bars(self, mover: int, present: Bools) -> list[tuple[float, float, Bools]]:
        """Return who of some parts bars another in the plane: (start, end, row) of arcs with the same set, all round.

        Single directions in which fewer stand in the way than on either side have a row of their own.
        """
        rows = slice(self._first[mover], self._first[mover + 1])
        arcs, who = self.arcs[rows], self.who[rows, 1]
        arcs, who = arcs[present[who]], who[present[who]]
        ends = _ends(arcs)
        after = np.append(ends[1:], ends[:1] + TURN)
        at = np.stack([ends, (ends + after) / 2], axis=1).ravel() if len(ends) else np.zeros(1)
        held = np.zeros((len(at), len(self.parts)), dtype=bool)
        way, arc = np.nonzero(is_barred(arcs, at))
        held[way, who[arc]] = True
        changes = np.flatnonzero(np.any(held != np.roll(held, 1, axis=0), axis=1))
        if not len(changes):
            return [(0.0, TURN, held[0])]
        starts, stops = np.stack([ends, ends], axis=1).ravel(), np.stack([ends, after], axis=1).ravel()
        last = np.append(changes[1:], changes[0] + len(at)) - 1
        return [
            (float(starts[a]), float(stops[b % len(at)] + (TURN if b >= len(at) else 0.0)), held[a])
            for a, b in zip(changes, last, strict=True)
        ]

    def cells(self, present: Bools) -> Iterator[Cell]:
        """Yield the cells of the plane among some parts, counter-clockwise from +x: ends, and open arcs after them.

        Where no arc ends anywhere, one cell of a whole turn.
        """
        arcs, who = self._among(present)
        ends = _ends(arcs)
        if not len(ends):
            yield Cell(0.0, TURN, self._graph(arcs, who, 0.0))
        for start, end in zip(ends, np.append(ends[1:], ends[:1] + TURN), strict=True):
            yield Cell(float(start), float(start), self._graph(arcs, who, float(start)))
            yield Cell(float(start), float(end), self._graph(arcs, who, float(start + end) / 2))

    def openings(self, present: Bools) -> Iterator[tuple[float, list[int]]]:
        """Yield the directions in which least is barred, and their blocking graphs, counter-clockwise from +x.

        Every graph of a cell holds all arrows of one of these. Rows are bit masks: bit j of row i says that
        part j stands in the way of part i.
        """
        arcs, who = self._among(present)
        lasting = arcs[:, 1] - arcs[:, 0] > TURN
        rows = [0] * len(self.parts)
        count: dict[tuple[int, int], int] = {}

        def change(arc: int, by: int) -> None:
            i, j = who[arc].tolist()
            count[i, j] = count.get((i, j), 0) + by
            rows[i] = rows[i] | 1 << j if count[i, j] else rows[i] & ~(1 << j)

        edges = np.round(np.mod(arcs, TURN), _ROUND)
        edges[edges >= np.round(TURN, _ROUND)] = 0.0
        # Those that hold angle 0, or reach past it, are barred when the walk begins.
        for arc in np.flatnonzero(lasting | (edges[:, 1] <= edges[:, 0])).tolist():
            change(arc, 1)
        turning = np.flatnonzero(~lasting)
        events = sorted((edges[a, side], 1 - side, a) for a in turning.tolist() for side in (0, 1))
        if not events:
            yield 0.0, list(rows)
        for at, (angle, begins, arc) in enumerate(events):
            change(arc, 1 if begins else -1)
            if not begins and events[(at + 1) % len(events)][1]:
                yield float(angle), list(rows)

    def _among(self, present: Bools) -> tuple[Floats, Ints]:
        rows = present[self.who[:, 0]] & present[self.who[:, 1]]
        return self.arcs[rows], self.who[rows]

    def _graph(self, arcs: Floats, who: Ints, angle: float) -> Bools:
        graph = np.zeros_like(self.above)
        rows = who[is_barred(arcs, angle)]
        graph[rows[:, 0], rows[:, 1]] = True
        return graph


def _ends(arcs: Floats) -> Floats:
    """All ends of arcs, but of those that bar everything, in [0, 2 pi), ascending."""
    ends = np.round(np.mod(arcs[arcs[:, 1] - arcs[:, 0] <= TURN], TURN), _ROUND)
    return np.unique(np.where(ends >= np.round(TURN, _ROUND), 0.0, ends))


def find_blocking(encounters: Encounters, parts: Sequence[str]) -> Blocking:
    """Work out who blocks whom on straight ways in the plane and along z, for all pairs of parts.

    Parameters
    ----------
    encounters : Encounters
        Shapes of all pairs, shrunk by what may touch.
    parts : sequence of str
        In file order.

    Returns
    -------
    Blocking
        Exact for the shapes; what a clearance asks for is not part of them.

    """
    n = len(parts)
    place = {part: index for index, part in enumerate(parts)}
    pairs = np.triu(np.ones((n, n), dtype=bool), 1)
    own = [(a, b) for a, b in encounters.pressed if a in place and b in place]
    for a, b in own:
        pairs[place[a], place[b]] = pairs[place[b], place[a]] = False
    who, arcs, above = _between([encounters.shapes[part] for part in parts], pairs)
    for a, b in own:
        # Pressed pairs have shapes of their own, shrunk by what is pressed as well.
        _, some, over = _between(list(encounters.pressed[a, b]), np.array([[False, True], [False, False]]))
        names = np.array([place[a], place[b]])
        who = np.concatenate([who, np.tile(names, (len(some), 1))])
        arcs = np.concatenate([arcs, some])
        above[np.ix_(names, names)] = over
    return assembled(parts, who, arcs, above)


def assembled(parts: Sequence[str], who: Ints, arcs: Floats, above: Bools) -> Blocking:
    """Return the graph of all pairs from the arcs of each pair one way round: what bars a from b bars b from a."""
    who, arcs = np.concatenate([who, who[:, ::-1]]), np.concatenate([turned(arcs, 0.0), turned(arcs, np.pi)])
    arcs[arcs[:, 1] - arcs[:, 0] > TURN, :] = WHOLE
    order = np.lexsort((arcs[:, 0], who[:, 1], who[:, 0]))
    first = np.searchsorted(who[order, 0], np.arange(len(parts) + 1))
    return Blocking(tuple(parts), who[order], arcs[order], above, first)


def _between(shapes: Sequence[Shape], pairs: Bools) -> tuple[Ints, Floats, Bools]:
    who, arcs = barred_arcs(outlines(shapes), pairs)
    return who, arcs, _above(shapes, pairs)


def _above(shapes: Sequence[Shape], pairs: Bools) -> Bools:
    """Who stands in whose way along +z, for the wanted pairs, both ways round."""
    above = np.zeros((len(shapes), len(shapes)), dtype=bool)
    keys = [(owner, band) for owner, shape in enumerate(shapes) for band in shape.solid.bands]
    if not keys:
        return above
    owner = np.array([key[0] for key in keys])
    sections = np.array([band.section for _, band in keys], dtype=np.object_)
    low, high = np.array([(band.z0, band.z1) for _, band in keys]).T
    box = shapely.bounds(sections)
    near = (box[:, None, 2:] >= box[None, :, :2]).all(axis=2) & (box[None, :, 2:] >= box[:, None, :2]).all(axis=2)
    one, two = np.nonzero(near & pairs[owner[:, None], owner[None, :]])
    # Shrunk sections that touch at all would overlap.
    meet = shapely.intersects(sections[one], sections[two])
    one, two = one[meet], two[meet]
    up, down = high[two] - low[one] > _LEVEL, high[one] - low[two] > _LEVEL
    above[owner[one[up]], owner[two[up]]] = True
    above[owner[two[down]], owner[one[down]]] = True
    return above


def smallest_closed(rows: Sequence[int], members: Sequence[int], barred: int, most: int) -> int:
    """Return the smallest group that no arrow leads out of, as a bit mask; 0 if there is none.

    Parameters
    ----------
    rows : sequence of int
        A blocking graph, bit j of row i: j stands in the way of i.
    members : sequence of int
        Who may be in it.
    barred : int
        Bit mask of who may not: the body.
    most : int
        How many it may have.

    Notes
    -----
    A group without arrows out of it holds all that can be reached from any one of its members; a smallest one
    is what can be reached from one (a strongly connected component that leads nowhere). Of equally small ones
    the first in the order of bits wins.

    """
    best = 0
    for first in members:
        group = closure(rows, first, barred, most)
        if group:
            best, most = group, group.bit_count() - 1
    return best


def closure(rows: Sequence[int], first: int, barred: int = 0, most: int | None = None) -> int:
    """Return the smallest group that holds one part and that no arrow leads out of; 0 if it is too large or barred."""
    group, todo = 1 << first, [first]
    while todo and not group & barred and (most is None or group.bit_count() <= most):
        more = rows[todo.pop()] & ~group
        group |= more
        while more:
            low = more & -more
            todo.append(low.bit_length() - 1)
            more ^= low
    fits = not group & barred and (most is None or group.bit_count() <= most)
    return group if fits else 0
