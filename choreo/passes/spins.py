"""Say from where on its way each part that is to spin has room to turn.

In:  pins of one shot, Removal, routes, Encounters      Out: Spins

A part turns only where all that it sweeps in a whole turn is clear of everything that is still there when it
leaves. Before that point it is taken as it is, from there on as what it sweeps: every later proof holds for any
angle. The turning point is exact on the swept shapes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from choreo.errors import Finding, no_solution
from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.collision.legs import JOIN
from choreo.geometry.collision.spinning import Turning, with_turning
from choreo.model.choreography import Shot
from choreo.model.plan import Floats, Removal
from choreo.model.tracks import Spin
from choreo.motion.path import lengths, position

_HAIR = 2 * JOIN
"""mm; turning begins this far beyond the point at which it is free, and beyond the place that the part leaves: at the
cuts of a diagram, which reach `JOIN` too far, it then still stands there as it is."""
_SHORTEST = 0.1
"""Of the route: what must be left of it to turn on. A turn on less would be a jerk."""


@dataclass(frozen=True, eq=False)
class Spins:
    """Who turns in one shot.

    Attributes
    ----------
    law : mapping of part id to Spin
        By progress, as the tracks carry it.
    turning : mapping of part id to Turning
        By way, as the proofs of collision see it.

    """

    law: Mapping[str, Spin]
    turning: Mapping[str, Turning]


def plan_spins(
    shot: Shot,
    removal: Removal,
    origins: Mapping[str, Floats],
    routes: Mapping[str, Floats],
    encounters: Encounters,
    shared_mm: Mapping[str, Sequence[float]] = MappingProxyType({}),
) -> Spins:
    """Return from where each part turns whose pin asks for a spin.

    Parameters
    ----------
    shot : Shot
        Its pins.
    removal : Removal
        Who is still there when a part leaves.
    origins : mapping of part id to (3,) array
        Where each part's own z axis stands when assembled, mm.
    routes : mapping of part id to (k, 3) array
        mm.
    encounters : Encounters
        Of all parts as they are.
    shared_mm : mapping of part id to sequence of float
        Ways at which parts come off their groups, see `Layout`; before the last of them nothing turns.

    Raises
    ------
    ChoreoError
        Exit 1, ``no-room-to-spin``: what the part sweeps is clear of the rest only in the last tenth of its
        way, or never.

    """
    law: dict[str, Spin] = {}
    turning: dict[str, Turning] = {}
    findings = []
    for part in removal.order:
        pin = shot.pins.get(part)
        length = float(lengths(routes[part])[-1])
        if pin is None or not pin.spin or _SHORTEST * length <= _HAIR:  # what goes nowhere does not turn
            continue
        axis = origins[part][:2]
        base = max(shared_mm.get(part, ()), default=0.0)
        since, blocker = _free_from(part, axis, removal, routes[part], (base, length), encounters)
        if since > (1 - _SHORTEST) * length:
            findings.append(_no_room(shot.name, part, blocker, since / length))
            continue
        law[part] = Spin(pin.spin, since / length)
        turning[part] = Turning(axis, since)
    if findings:
        raise no_solution(*findings)
    return Spins(law, turning)


def _free_from(
    part: str, axis: Floats, removal: Removal, route: Floats, span: tuple[float, float], encounters: Encounters
) -> tuple[float, str]:
    """The last way of a span at which the swept part meets somebody who is still there, and who that is."""
    swept = with_turning(encounters, {part: Turning(axis, -np.inf)})
    base, length = span
    mates = _mates(removal, part)
    since, blocker = base + _HAIR, ""
    order = removal.order
    for other in (*order[order.index(part) + 1 :], removal.body):
        # Who left in the same group stands where the group has gone.
        still = position(route, [base / length]) if other in mates else np.zeros((1, 3))
        for kept in (True, False):
            met = swept.diagram(part, other, route, still, (span, (0.0, 0.0)), kept=kept)
            end = float(met[..., 0].max(initial=base))
            if end < length:  # else the clearance cannot be kept at rest: geometry decides alone
                break
        if end > base and end + _HAIR > since:
            since, blocker = end + _HAIR, other
    return since, blocker


def _mates(removal: Removal, part: str) -> tuple[str, ...]:
    """All who leave with a part in its innermost group."""
    groups = [step.members for step in removal.groups if part in step.members]
    return groups[-1] if groups else ()


def _no_room(shot: str, part: str, blocker: str, share: float) -> Finding:
    where = "never" if share >= 1 else f"only after {100 * share:.0f} % of its way"
    return Finding(
        code="no-room-to-spin",
        what=f'In shot "{shot}" part "{part}" is to spin, but what it sweeps is {where} clear of "{blocker}".',
        why="A part turns only where the whole disc that it sweeps has room.",
        remedy=f'Let "{part}" travel farther (travel_mm), move its origin to the middle of the part, or drop `spin`.',
    )
