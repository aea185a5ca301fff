"""Straight ways of parts and of groups that move as one, for `choreo.passes.removal`.

A part's ways in the plane are exact arcs, those along z are exact as well; directions askew to both are tried
one by one: the axes of joints. Everything that is worked out is kept, as who is in the way of whom does not
change while parts leave: only who is still there does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.removal.blocking import Blocking, smallest_closed
from choreo.geometry.removal.directions import TURN, Bools, angle_of, direction_at
from choreo.model.assembly import Assembly, Joint, Vector
from choreo.model.plan import Floats

AXES: tuple[Vector, ...] = (
    (0.0, 0.0, 1.0),
    (0.0, 0.0, -1.0),
    (1.0, 0.0, 0.0),
    (-1.0, 0.0, 0.0),
    (0.0, 1.0, 0.0),
    (0.0, -1.0, 0.0),
)
_NARROW = np.radians(10.0)
"""A free arc no wider than this is a slot: its wall says better than its middle where the way leads."""


@dataclass(frozen=True, eq=False)
class Straight:
    """Who can leave straight out, and along which direction.

    Parts are numbers here, in file order, and groups are bit masks of them.

    Attributes
    ----------
    assembly : Assembly
        For joints.
    encounters : Encounters
        Shapes of all pairs.
    blocking : Blocking
        Who blocks whom in the plane and along z.
    normals : mapping of part id to unit vectors
        Of its contacts.

    """

    assembly: Assembly
    encounters: Encounters
    blocking: Blocking
    normals: Mapping[str, Sequence[Vector]]
    _held: dict[tuple[int, Vector], int] = field(default_factory=dict)
    _joints: dict[int, list[Joint]] = field(default_factory=dict)
    _wishes: dict[int, tuple[Vector, ...]] = field(default_factory=dict)
    _tries: dict[int, tuple[Vector, ...]] = field(default_factory=dict)
    _reach: dict[Vector, Floats] = field(default_factory=dict)

    def names(self, group: int) -> tuple[str, ...]:
        """Return the parts of a group, in file order."""
        return tuple(self.blocking.parts[part] for part in bits(group))

    def joints(self, group: int) -> list[Joint]:
        """Return the joints that lead from a group to parts outside it, in file order."""
        if group not in self._joints:
            names = self.names(group)
            own = [joint for joint in self.assembly.joints if joint.part in names and joint.into not in names]
            self._joints[group] = own
        return self._joints[group]

    def wishes(self, group: int) -> tuple[Vector, ...]:
        """Return the axes along which a group's joints leave; those along which others leave it, turned, come after."""
        if group in self._wishes:
            return self._wishes[group]
        names = self.names(group)
        theirs = [joint.axis for joint in self.assembly.joints if joint.into in names and joint.part not in names]
        own = [joint.axis for joint in self.joints(group)]
        self._wishes[group] = _unique([*own, *((-x, -y, -z) for x, y, z in theirs)])
        return self._wishes[group]

    def tries(self, group: int) -> tuple[Vector, ...]:
        """Return the directions that a group would rather take than others: joint axes, axes, contact normals."""
        if group not in self._tries:
            normals = [normal for name in self.names(group) for normal in self.normals.get(name, ())]
            self._tries[group] = _unique([*self.wishes(group), *AXES, *normals])
        return self._tries[group]

    def blockers(self, group: int, direction: Vector) -> int:
        """Return who, of all parts, stands in a group's straight way to infinity."""
        by = 0
        for part in bits(group):
            if (part, direction) not in self._held:
                self._look(part, direction)
            by |= self._held[part, direction]
        return by & ~group

    def way(self, group: int, present: int) -> Vector | None:
        """Return the direction in which a group leaves the others that are there; None if there is none.

        A joint's axis, else one of the six axes or a contact normal, else in the plane the middle of the widest
        free arc, or, where that is narrow, the direction of a wall in it.
        """
        for direction in self.tries(group):
            if not self.blockers(group, direction) & present:
                return direction
        n = len(self.blocking.parts)
        arcs = self.blocking.free(as_row(group, n), as_row(present & ~group, n))
        for start, end in arcs[np.argsort(arcs[:, 0] - arcs[:, 1], kind="stable")]:
            direction = self._along_wall(group, start, end) or direction_at((start + end) / 2)
            if not self._met(group, direction, present):
                return direction
        return None

    def travel(self, group: int, direction: Vector, present: int) -> float:
        """Return how far a group goes along a unit direction until it is clear of the others, mm."""
        if direction not in self._reach:
            shapes, way = self.encounters.shapes, np.array(direction)
            ids = self.blocking.parts
            self._reach[direction] = np.array([(shapes[p].support(way), shapes[p].support(-way)) for p in ids])
        ahead, behind = self._reach[direction].T
        far = ahead[list(bits(present & ~group))].max() + behind[list(bits(group))].max() + self.encounters.touch_mm
        return float(max(far, 0.0))

    def smallest_group(self, present: int, body: int) -> tuple[int, Vector]:
        """Return the smallest group, without the body, that leaves the others straight as one, and a way it can take.

        Over all directions in the plane, +z, -z, and the askew axes of joints. Of equally small groups the first
        in file order. 0 if there is none.
        """
        members = list(bits(present))
        best, way, most = 0, AXES[0], len(members) - 1
        for direction, rows in self._graphs(present):
            group = smallest_closed(rows, members, body, most)
            if group and (not best or (group.bit_count(), list(bits(group))) < (best.bit_count(), list(bits(best)))):
                best, way, most = group, direction, group.bit_count()
        return best, way

    def _graphs(self, present: int) -> Iterator[tuple[Vector, list[int]]]:
        there = as_row(present, len(self.blocking.parts))
        for direction, above in zip(AXES[:2], (self.blocking.above, self.blocking.above.T), strict=True):
            yield direction, [as_bits(row & there) for row in above]
        for angle, rows in self.blocking.openings(there):
            yield direction_at(angle), rows
        for direction in _unique(d for part in bits(present) for d in self.tries(1 << part) if is_askew(d)):
            yield direction, [self.blockers(1 << part, direction) & present for part in range(len(there))]

    def _look(self, part: int, direction: Vector) -> None:
        """Work out who stands in a part's way; in the plane for all directions that it tries at once."""
        if is_askew(direction):
            self._held[part, direction] = self._met(1 << part, direction, (1 << len(self.blocking.parts)) - 1)
        elif direction[2] != 0:
            above = self.blocking.above if direction[2] > 0 else self.blocking.above.T
            self._held[part, direction] = as_bits(above[part])
        else:
            ways = _unique([direction, *(d for d in self.tries(1 << part) if d[2] == 0)])
            rows = self.blocking.in_plane(part, np.array([angle_of(d) for d in ways]))
            self._held.update(((part, way), as_bits(row)) for way, row in zip(ways, rows, strict=True))

    def _met(self, group: int, direction: Vector, present: int) -> int:
        """Who of those present is met, asked of the solids themselves."""
        ids, way = self.blocking.parts, np.array(direction)
        met = 0
        for other in bits(present & ~group):
            if any(self.encounters.blocks_way(ids[part], way, ids[other]) for part in bits(group)):
                met |= 1 << other
        return met

    def _along_wall(self, group: int, start: float, end: float) -> Vector | None:
        """The wall of a contact that runs within a narrow arc, nearest to its middle."""
        if end - start > _NARROW:
            return None
        flat = [angle_of(n) for name in self.names(group) for n in self.normals.get(name, ()) if n[2] == 0]
        walls = np.concatenate([np.array(flat) + np.pi / 2, np.array(flat) - np.pi / 2])
        past = np.mod(walls - start, TURN)
        inside = np.flatnonzero(past <= end - start)
        if not len(inside):
            return None
        return direction_at(float(walls[inside[np.argmin(np.abs(past[inside] - (end - start) / 2))]]))


def is_askew(direction: Vector) -> bool:
    """Return whether a direction is neither in the plane nor along z."""
    return direction[2] != 0 and (direction[0] != 0 or direction[1] != 0)


def _unique(directions: Iterable[Vector]) -> tuple[Vector, ...]:
    return tuple(dict.fromkeys((round(x, 9) + 0.0, round(y, 9) + 0.0, round(z, 9) + 0.0) for x, y, z in directions))


def bits(group: int) -> Iterator[int]:
    """Yield the numbers of the bits that are set, ascending."""
    while group:
        low = group & -group
        yield low.bit_length() - 1
        group ^= low


def as_bits(row: Bools) -> int:
    """Return a row of bool as a bit mask."""
    return sum(1 << int(place) for place in np.flatnonzero(row))


def as_row(group: int, count: int) -> Bools:
    """Return a bit mask as a row of bool."""
    row = np.zeros(count, dtype=bool)
    row[list(bits(group))] = True
    return row
