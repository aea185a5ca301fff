"""Choose an order in which the product really comes apart: part by part, or as groups where parts must go together.

In:  Encounters, contact normals      Out: Removal

A part may leave along a direction if nothing that is still there stands in its way to infinity. Taking a part
away never adds a blocker, so a part that is free stays free, and peeling free parts off, again and again, finds
an order whenever there is one. The same holds for groups: if the product comes apart at all, so does whatever is
left after any group has gone, and so does that group. So what is free may go at once, and no choice is ever
regretted.

One part, the body, stays; everything else leaves it. What goes is as small as can be: a single part straight if any
can, else by several moves; where no single part can leave, the smallest group that can leave straight as one, else
the smallest that can leave by several moves. (Where only the body could leave alone, all others leave it as one:
that is the same motion.) A group then comes apart outside by the same rules, around a body of its own. If nothing can
go, that is proved (`choreo.model.interlock`), or the limit of the search is named.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, islice

import numpy as np

from choreo.errors import no_solution
from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.removal.blocking import closure, find_blocking
from choreo.geometry.removal.first_moves import find_first_moves
from choreo.geometry.removal.freespace import FreeSpace, Known, WayOut, find_way_out, free_space, is_connected_out
from choreo.model.assembly import Assembly, Vector
from choreo.model.plan import Floats, Removal, RemovalStep
from choreo.motion.path import lengths
from choreo.passes.removal_ways import Straight, as_bits, as_row, bits
from choreo.passes.removal_words import interlocked, not_found

_GROUPS = 250
"""How many groups are tried for ways of several moves: all there are among 8 parts and the body."""
_CORNERS = 1500
"""How many corners of the free space a way of several moves may choose from."""


def choose_body(assembly: Assembly, volumes: Mapping[str, float], among: Sequence[str] | None = None) -> str:
    """Return the part that stays: what most joints lead into, then the largest, then first in the file.

    Parameters
    ----------
    assembly : Assembly
        For ids and joints.
    volumes : mapping of part id to float
        Cubic mm.
    among : sequence of part id, optional
        Choose one of these, by the joints between them; all parts if left out.

    """
    ids = assembly.ids if among is None else among
    into = dict.fromkeys(ids, 0)
    for joint in assembly.joints:
        if joint.part in into and joint.into in into:
            into[joint.into] += 1
            into[joint.part] -= len(assembly.joints)
    return max(ids, key=lambda part: (into[part], volumes[part], -assembly.ids.index(part)))


def plan_removal(
    assembly: Assembly,
    encounters: Encounters,
    normals: Mapping[str, Sequence[Vector]],
    body: str,
    *,
    search: int = 1,
) -> Removal:
    """Peel the assembly.

    Parameters
    ----------
    assembly : Assembly
        For ids and joints.
    encounters : Encounters
        Shapes of all pairs, shrunk by what may touch.
    normals : mapping of part id to unit vectors
        Directions to try after the joint's axis and the six axes, e.g. the contact normals.
    body : str
        The part that stays.
    search : int
        How many times as far as usual ways of several moves are looked for: 250 groups and 1500 corners times
        this.

    Returns
    -------
    Removal
        Among parts that are free at the same time: fasteners first, then parts that leave along their
        joint's axis, then the shortest way out, then file order.

    Raises
    ------
    ChoreoError
        Exit 1. ``interlocked``, an `Interlocked` with the proof: nothing of what is left can leave, whatever
        single group moves, by translation. ``way-not-found``: a limit of the search was reached before that
        was proved, or before a way that exists was found.

    Notes
    -----
    Straight ways in the plane and along z are exact, for parts and for groups; askew to both the joints' axes
    are tried. Whether a part or a tried group has any way out at all, of whatever shape, is decided exactly.

    """
    blocking = find_blocking(encounters, assembly.ids)
    straight = Straight(assembly, encounters, blocking, normals)
    return _Peeling(straight, search).peel((1 << len(assembly.ids)) - 1, body)


def blockers(encounters: Encounters, part: str, direction: Vector, present: Sequence[str]) -> tuple[str, ...]:
    """Return who of `present` stands in the part's straight way to infinity, in the order given."""
    way = np.array(direction)
    return tuple(other for other in present if other != part and encounters.blocks_way(part, way, other))


@dataclass(frozen=True, eq=False)
class _Peeling:
    """Takes groups apart; what two parts forbid each other is worked out once for all of them."""

    straight: Straight
    search: int
    known: Known = field(default_factory=dict)

    def peel(self, present: int, body: str, *, inside: bool = False) -> Removal:
        """Take the parts of a bit mask apart; `body` stays."""
        steps: list[RemovalStep] = []
        stays = 1 << self.straight.blocking.parts.index(body)
        while present != stays:
            step, gone = self._next(present, stays, inside=inside)
            steps.append(step)
            present &= ~gone
        return Removal(tuple(steps), body)

    def _next(self, present: int, body: int, *, inside: bool) -> tuple[RemovalStep, int]:
        """Return what leaves first, and as which bits."""
        singles = [1 << part for part in bits(present & ~body)]
        step = self._straight_out(singles, present)
        if step is not None:
            return step, 1 << self.straight.blocking.parts.index(step.part)
        loose = [part for part in singles if is_connected_out(self._space(part, present))]
        found = self._first_wound(loose, present)
        if found is not None:
            return self._step(self.straight.names(found[0])[0], *found), found[0]
        group, direction = self.straight.smallest_group(present, body)
        if group:
            direction = self.straight.way(group, present) or direction
            return self._together(group, WayOut(np.zeros((1, 3)), np.array(direction))), group
        tried = len(singles)
        for groups in self._groups(present, body, _GROUPS * self.search):
            free = [group for group in groups if is_connected_out(self._space(group, present))]
            tried += len(groups)
            found = self._first_wound(free, present)
            if found is not None:
                return self._together(*found), found[0]
            loose += free
        if loose:
            raise no_solution(not_found([self.straight.names(group) for group in loose], self.search))
        raise interlocked(self.straight, present, tried, self.search, inside=inside)

    def _straight_out(self, singles: Sequence[int], present: int) -> RemovalStep | None:
        """The part that leaves straight: fasteners, then those on their joint's axis, then the shortest way."""
        ranked = []
        for part in singles:
            direction = self.straight.way(part, present)
            if direction is None:
                continue
            joints = self.straight.joints(part)
            on_axis = not joints or direction in self.straight.wishes(part)
            out = round(self.straight.travel(part, direction, present), 6)
            fastener = bool(joints) and joints[0].kind == "fasten"
            refused = None if on_axis else joints[0].axis
            step = RemovalStep(self.straight.names(part)[0], direction, refused)
            ranked.append(((not fastener, not on_axis, out, part), step))
        return min(ranked, key=lambda pair: pair[0])[1] if ranked else None

    def _first_wound(self, loose: Sequence[int], present: int) -> tuple[int, WayOut] | None:
        """Who leaves by the fewest straight moves, then by the shortest way, then first in the file."""
        found = [(*ranked, group) for group in loose if (ranked := self._wound(group, present))]
        if not found:
            return None
        _, way, group = min(found, key=lambda one: (*one[0], list(bits(one[2]))))
        return group, way

    def _together(self, group: int, way: WayOut) -> RemovalStep:
        """The step of a group, and how it comes apart outside."""
        shapes = self.straight.encounters.shapes
        members = self.straight.names(group)
        volumes = {part: round(shapes[part].solid.volume, 6) for part in members}
        inner = self.peel(group, choose_body(self.straight.assembly, volumes, members), inside=True)
        return self._step(inner.body, group, way, inner)

    def _step(self, leader: str, group: int, way: WayOut, inner: Removal | None = None) -> RemovalStep:
        direction = _vector(way.direction)
        joints = self.straight.joints(group)
        # A joint's axis is asked for by the first joint that leads out.
        turned = bool(joints) and direction not in self.straight.wishes(group)
        via = tuple(_vector(corner) for corner in way.corners[1:])
        return RemovalStep(leader, direction, joints[0].axis if turned else None, via, inner)

    def _groups(self, present: int, body: int, most: int) -> Iterator[list[int]]:
        """Yield groups of two and more, as many as may be tried, those of one size together, smallest first.

        A group and the rest move apart the same way, so groups that hold the body need not be looked at. Where there
        are more than may be tried, those that the contacts let make a first move come before all others.
        """
        parts = list(bits(present & ~body))
        likely: list[int] = []
        if (1 << len(parts)) - 1 - len(parts) > most:
            likely = self._let_go_by_contacts(present, body)[:most]
            yield from ([group] for group in likely)
            most -= len(likely)
        for size in range(2, len(parts) + 1):
            groups = (sum(1 << part for part in members) for members in combinations(parts, size))
            chosen = list(islice((group for group in groups if group not in likely), most))
            most -= len(chosen)
            if chosen:
                yield chosen

    def _let_go_by_contacts(self, present: int, body: int) -> list[int]:
        """Groups that nothing they touch keeps from a first move in some direction, smallest first."""
        blocking = find_first_moves(self.straight.encounters, self.straight.blocking.parts)
        there = as_row(present, len(blocking.parts))
        graphs = [[as_bits(row & there) for row in above] for above in (blocking.above, blocking.above.T)]
        graphs += [rows for _, rows in blocking.openings(there)]
        groups = {closure(rows, part) for rows in graphs for part in bits(present)}
        return sorted((g for g in groups if not g & body and g.bit_count() > 1), key=lambda g: (g.bit_count(), g))

    def _space(self, group: int, present: int, *, kept: bool = False) -> FreeSpace:
        names = self.straight.names
        return free_space(self.straight.encounters, names(group), names(present), kept=kept, known=self.known)

    def _wound(self, group: int, present: int) -> tuple[tuple[int, bool, float], WayOut] | None:
        """A way of several moves and its rank; clearances are kept where a way that keeps them exists."""
        for kept in (True, False):
            way = find_way_out(self._space(group, present, kept=kept), most_corners=_CORNERS * self.search)
            if way is not None and self._is_clear(group, way, present):
                length = round(float(lengths(way.corners)[-1]), 6)
                return (len(way.corners), not kept, length), way
        return None

    def _is_clear(self, group: int, way: WayOut, present: int) -> bool:
        """Whether a way, proved storey by storey, holds as a whole: every leg, and the last to infinity."""
        encounters, names = self.straight.encounters, self.straight.names
        others = names(present & ~group)
        out = self.straight.travel(group, _vector(way.direction), present)
        out -= float(way.corners[-1] @ way.direction)
        path = np.concatenate([way.corners, [way.corners[-1] + max(out, 0.0) * way.direction]])
        return not any(encounters.hits(part, path, other) for part in names(group) for other in others)


def _vector(values: Floats) -> Vector:
    x, y, z = (float(c) + 0.0 for c in values)
    return x, y, z
