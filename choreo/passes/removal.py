"""Choose an order in which the parts really come apart, one at a time and straight out.

In:  Encounters, contact normals      Out: Removal

A part may leave along a direction if nothing that is still there stands in its way to infinity. Taking a part
away never adds a blocker, so a part that is free stays free, and peeling free parts off, again and again, finds
an order whenever there is one (for the directions that are tried). If peeling gets stuck, every part that is
left is held in every direction by another that is left: following "is held by" must close a ring, and that ring
is the proof that the user gets.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from choreo.errors import ChoreoError, Finding, no_solution
from choreo.geometry.encounter import Encounters
from choreo.geometry.freespace import WayOut, find_way_out, free_space, is_connected_out
from choreo.model.assembly import Assembly, Vector
from choreo.model.plan import Floats, Removal, RemovalStep
from choreo.motion.path import lengths

AXES: tuple[Vector, ...] = (
    (0.0, 0.0, 1.0),
    (0.0, 0.0, -1.0),
    (1.0, 0.0, 0.0),
    (-1.0, 0.0, 0.0),
    (0.0, 1.0, 0.0),
    (0.0, -1.0, 0.0),
)


def choose_body(assembly: Assembly, volumes: Mapping[str, float]) -> str:
    """Return the part that stays: what most joints lead into, then the largest, then first in the file."""
    into = dict.fromkeys(assembly.ids, 0)
    for joint in assembly.joints:
        into[joint.into] += 1
        into[joint.part] -= len(assembly.joints)
    return max(assembly.ids, key=lambda part: (into[part], volumes[part], -assembly.ids.index(part)))


def plan_removal(
    assembly: Assembly,
    encounters: Encounters,
    normals: Mapping[str, Sequence[Vector]],
    body: str,
    *,
    bent: bool = False,
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
        The part that should stay. It leaves (and another stays) only where nothing else can.
    bent : bool
        Whether a part may leave by several straight moves where none can leave by one.

    Returns
    -------
    Removal
        Among parts that are free at the same time: fasteners first, then parts that leave along their
        joint's axis, then the shortest way out, then file order.

    Raises
    ------
    ChoreoError
        Exit 1, code ``interlocked``: no part of what is left can leave; the ring of blockers is named.

    """
    present = list(assembly.ids)
    wishes = {part: _wishes(assembly, part) for part in present}
    tries = {part: _unique([*wishes[part], *AXES, *normals.get(part, ())]) for part in present}
    steps: list[RemovalStep] = []
    while len(present) > 1:
        movable = [part for part in present if part != body] or present
        best = _first_to_leave(assembly, encounters, present, movable, tries, wishes)
        loose = _loose(encounters, present) if best is None and bent else []
        if loose:
            best = _first_to_wind(assembly, encounters, present, [part for part in movable if part in loose])
        if best is None and body in present:
            best = _first_to_leave(assembly, encounters, present, [body], tries, wishes)
        if best is None:
            raise no_solution(_not_found(loose)) if loose else _interlocked(encounters, present, tries)
        steps.append(best)
        present.remove(best.part)
    return Removal(tuple(steps), present[0])


def blockers(encounters: Encounters, part: str, direction: Vector, present: Sequence[str]) -> tuple[str, ...]:
    """Return who of `present` stands in the part's straight way to infinity, in the order given."""
    way = np.array(direction)
    return tuple(other for other in present if other != part and encounters.blocks_way(part, way, other))


def is_free(encounters: Encounters, part: str, direction: Vector, present: Sequence[str]) -> bool:
    """Whether nobody of `present` stands in the part's straight way to infinity."""
    way = np.array(direction)
    return not any(other != part and encounters.blocks_way(part, way, other) for other in present)


def _wishes(assembly: Assembly, part: str) -> list[Vector]:
    """The joint axes along which this part leaves; those along which others leave it, turned round, come after."""
    own = [joint.axis for joint in assembly.joints if joint.part == part]
    theirs = [(-x + 0.0, -y + 0.0, -z + 0.0) for x, y, z in (j.axis for j in assembly.joints if j.into == part)]
    return _unique([*own, *theirs])


def _unique(directions: Sequence[Vector]) -> list[Vector]:
    return list(dict.fromkeys((round(x, 9) + 0.0, round(y, 9) + 0.0, round(z, 9) + 0.0) for x, y, z in directions))


def _first_to_leave(
    assembly: Assembly,
    encounters: Encounters,
    present: Sequence[str],
    movable: Sequence[str],
    tries: Mapping[str, Sequence[Vector]],
    wishes: Mapping[str, Sequence[Vector]],
) -> RemovalStep | None:
    ranked = []
    for index, part in enumerate(movable):
        direction = next((d for d in tries[part] if is_free(encounters, part, d, present)), None)
        if direction is None:
            continue
        own = next((joint for joint in assembly.joints if joint.part == part), None)
        others = [other for other in present if other != part]
        out = float(encounters.way_out(part, np.array(direction), others).max())
        on_axis = own is None or direction in wishes[part]
        key = (not (own and own.kind == "fasten"), not on_axis, round(out, 6), index)
        refused = own.axis if own and not on_axis else None
        ranked.append((key, RemovalStep(part, direction, refused)))
    return min(ranked, key=lambda pair: pair[0])[1] if ranked else None


def _first_to_wind(
    assembly: Assembly, encounters: Encounters, present: Sequence[str], movable: Sequence[str]
) -> RemovalStep | None:
    """Return the part that leaves by the fewest straight moves, then by the shortest way, then first in the file.

    Clearances are kept where a way that keeps them exists.
    """
    ranked = []
    for index, part in enumerate(movable):
        for kept in (True, False):
            way = find_way_out(free_space(encounters, part, present, kept=kept))
            if way is not None and _is_clear(encounters, part, way, present):
                length = float(lengths(way.corners)[-1])
                ranked.append(((len(way.corners), not kept, round(length, 6), index), part, way))
                break
    if not ranked:
        return None
    _, part, way = min(ranked, key=lambda found: found[0])
    own = next((joint.axis for joint in assembly.joints if joint.part == part), None)
    direction = _vector(way.direction)
    asked = own if own is not None and own != direction else None
    return RemovalStep(part, direction, asked, tuple(_vector(corner) for corner in way.corners[1:]))


def _is_clear(encounters: Encounters, part: str, way: WayOut, present: Sequence[str]) -> bool:
    """Whether a way, proved in the plane storey by storey, holds as a whole: every leg, and the last to infinity."""
    others = [other for other in present if other != part]
    out = float(encounters.way_out(part, way.direction, others).max()) - float(way.corners[-1] @ way.direction)
    path = np.concatenate([way.corners, [way.corners[-1] + max(out, 0.0) * way.direction]])
    return not any(encounters.hits(part, path, other) for other in others)


def _vector(values: Floats) -> Vector:
    x, y, z = (float(c) + 0.0 for c in values)
    return x, y, z


def _loose(encounters: Encounters, present: Sequence[str]) -> list[str]:
    """Who of `present` has any way out at all among the others, of whatever shape: exact."""
    return [part for part in present if is_connected_out(free_space(encounters, part, present, kept=False))]


def _not_found(loose: Sequence[str]) -> Finding:
    return Finding(
        code="way-not-found",
        what=f"There is a way out for {_list(loose)}, but no sequence of straight moves was found for it.",
        why="The search looks at ways between the corners of the free space; passages narrower than 0.002 mm, and "
        "products with very many corners, are beyond it.",
        remedy="Give the passage a little more room, raise touch_mm, or draw the outlines with fewer corners.",
    )


def _interlocked(encounters: Encounters, present: Sequence[str], tries: Mapping[str, Sequence[Vector]]) -> ChoreoError:
    held = {part: {d: blockers(encounters, part, d, present) for d in tries[part]} for part in present}
    ring = _ring(present, held)
    links = [f'  "{part}" is held by "{by}" on its way {say_direction(d)}' for part, d, by in ring]
    table = [f'  "{part}": {_by_blocker(ways)}' for part, ways in held.items()]
    return no_solution(
        Finding(
            code="interlocked",
            what=f"The parts {_list(present)} hold each other: none of them can leave.",
            why="\n".join(
                ["this ring of blockers closes:", *links, "every direction tried, and who is in the way:", *table]
            ),
            remedy="Split one part of the ring into pieces that can leave, open a gap for it, or leave it out of the "
            "assembly and photograph the ring as one part.",
        )
    )


def _by_blocker(ways: Mapping[Vector, tuple[str, ...]]) -> str:
    """Directions that the same parts stand in, together: ``+x -x blocked by frame; +z by frame and west``."""
    grouped: dict[tuple[str, ...], list[str]] = {}
    for direction, by in ways.items():
        grouped.setdefault(by, []).append(say_direction(direction))
    return "; ".join(f"{' '.join(said)} by {' and '.join(by)}" for by, said in grouped.items())


def _ring(
    present: Sequence[str], held: Mapping[str, Mapping[Vector, tuple[str, ...]]]
) -> list[tuple[str, Vector, str]]:
    """Follow each part's first blocker, in its least blocked direction, until one comes up again."""
    walk: list[tuple[str, Vector, str]] = []
    part = present[0]
    while part not in [step[0] for step in walk]:
        direction, by = min(held[part].items(), key=lambda way: len(way[1]))
        walk.append((part, direction, by[0]))
        part = by[0]
    first = [step[0] for step in walk].index(part)
    return walk[first:]


def say_direction(direction: Vector) -> str:
    """Return a direction in words where it has one (``+z``), else as numbers."""
    for name, axis in zip(("+z", "-z", "+x", "-x", "+y", "-y"), AXES, strict=True):
        if max(abs(d - a) for d, a in zip(direction, axis, strict=True)) < 1e-9:
            return name
    return "(" + ", ".join(f"{c:.4g}" for c in direction) + ")"


def _list(names: Sequence[str]) -> str:
    quoted = [f'"{name}"' for name in names]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + " and " + quoted[-1]
