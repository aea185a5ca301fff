"""Say along which direction each part leaves in one shot, and how far where that is fixed.

In:  Removal, pins of one shot, Encounters      Out: Ways

The removal order gives each part a direction that is free when its turn comes. A shot may ask for another
(`along`); that is honoured if nothing that is still there stands in that way, and refused by name if something
does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from choreo.errors import Finding, no_solution
from choreo.geometry.encounter import Encounters
from choreo.model.choreography import Shot
from choreo.model.plan import Floats, Removal


@dataclass(frozen=True, eq=False)
class Ways:
    """Directions and fixed lengths of removal legs.

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
    directions: dict[str, Floats] = {}
    travels: dict[str, float] = {}
    vias: dict[str, Floats] = {}
    findings = []
    if removal.body in shot.pins:
        findings.append(_body_stays(shot, removal.body))
    for index, step in enumerate(removal.steps):
        pin = shot.pins.get(step.part)
        directions[step.part] = np.array(step.direction)
        if pin and pin.travel_mm is not None:
            travels[step.part] = pin.travel_mm
        if pin and pin.along is not None:
            along = np.array(pin.along) / np.linalg.norm(pin.along)
            staying = [later.part for later in removal.steps[index + 1 :]] + [removal.body]
            blocking = [other for other in staying if encounters.blocks_way(step.part, along, other)]
            if blocking:
                findings.append(_blocked(shot, step.part, along, blocking))
            directions[step.part] = along
        elif step.via:
            vias[step.part] = np.array(step.via)
    if findings:
        raise no_solution(*findings)
    return Ways(directions, travels, vias)


def _blocked(shot: Shot, part: str, along: Floats, blocking: list[str]) -> Finding:
    way = ", ".join(f"{c:g}" for c in np.round(along, 6))
    who = " and ".join(f'"{other}"' for other in blocking)
    return Finding(
        code="along-blocked",
        what=f'In shot "{shot.name}" part "{part}" cannot leave along ({way}): {who} would be in its way.',
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
