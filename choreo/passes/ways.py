"""Say along which direction each part leaves in one shot, and how far where that is fixed.

In:  Removal, pins of one shot, Encounters      Out: Ways

The removal order gives each part a direction that is free when its turn comes. A shot may ask for another
(`along`); that is honoured if nothing that is still there stands in that way, and refused by name if something
does. A group's way is that of the part it is named after, the one that the others come away from outside: what
the shot asks for that part, it asks for the group. Inside a group only the rest of the group can be in the way.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from choreo.errors import Finding, no_solution
from choreo.geometry.collision.encounter import Encounters
from choreo.model.choreography import Shot
from choreo.model.plan import Floats, Removal, RemovalStep


@dataclass(frozen=True, eq=False)
class Ways:
    """Directions and fixed lengths of removal legs, in the order in which parts come free.

    What a part that a group is named after has here, is how the group leaves.

    Attributes
    ----------
    directions : mapping of part id to (3,) array
        Unit length.
    travels : mapping of part id to float
        mm; only parts whose travel the shot fixes.
    vias : mapping of part id to (k, 3) array
        Displacements passed before the removal leg; only parts that need more than one move.

    """

    directions: Mapping[str, Floats]
    travels: Mapping[str, float]
    vias: Mapping[str, Floats]


def plan_ways(shot: Shot, removal: Removal, encounters: Encounters) -> Ways:
    """Return the ways of one shot.

    Raises
    ------
    ChoreoError
        Exit 1, ``along-blocked``: a direction that the shot asks for is not free, and who stands in it; one
        finding a part. ``body-stays``: the shot pins the part that does not move.

    """
    made: dict[str, _Way] = {}
    findings = [_body_stays(shot, removal.body)] if removal.body in shot.pins else []
    for step, staying in _turns(removal):
        pin = shot.pins.get(step.part)
        direction, via = np.array(step.direction), np.array(step.via) if step.via else None
        if pin and pin.along is not None:
            direction, via = np.array(pin.along) / np.linalg.norm(pin.along), None
            blocking = [o for o in staying if any(encounters.blocks_way(m, direction, o) for m in step.members)]
            if blocking:
                findings.append(_blocked(shot, step, direction, blocking))
        made[step.part] = _Way(direction, pin.travel_mm if pin else None, via)
    if findings:
        raise no_solution(*findings)
    ways = {part: made[part] for part in removal.order}
    return Ways(
        {part: way.direction for part, way in ways.items()},
        {part: way.travel for part, way in ways.items() if way.travel is not None},
        {part: way.via for part, way in ways.items() if way.via is not None},
    )


class _Way(NamedTuple):
    direction: Floats
    travel: float | None
    via: Floats | None


def _turns(removal: Removal) -> Iterator[tuple[RemovalStep, tuple[str, ...]]]:
    """Yield every step with who is still there when its turn comes: inside a group, of that group alone."""
    for index, step in enumerate(removal.steps):
        yield step, (*(part for later in removal.steps[index + 1 :] for part in later.members), removal.body)
        if step.inner is not None:
            yield from _turns(step.inner)


def _blocked(shot: Shot, step: RemovalStep, along: Floats, blocking: list[str]) -> Finding:
    way = ", ".join(f"{c:g}" for c in np.round(along, 6))
    who = " and ".join(f'"{other}"' for other in blocking)
    group = f" (with {', '.join(step.members[:-1])})" if step.inner is not None else ""
    return Finding(
        code="along-blocked",
        what=f'In shot "{shot.name}" part "{step.part}"{group} cannot leave along ({way}): {who} would be in its way.',
        why="When its turn comes to leave, these parts are still there.",
        remedy="Take `along` away, so that the removal order's own direction is used, or choose another direction.",
    )


def _body_stays(shot: Shot, body: str) -> Finding:
    return Finding(
        code="body-stays",
        what=f'Shot "{shot.name}" fixes a way for "{body}", but that is the body: it stays where it is.',
        why="All other parts leave it, so it needs no way of its own.",
        remedy=f'Take the entry for "{body}" away.',
    )
