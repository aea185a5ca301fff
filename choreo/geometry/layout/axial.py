"""Rest positions on the removal axis, where that axis shows on the screen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from choreo.errors import Finding, no_solution
from choreo.geometry.cameras.camera import Camera
from choreo.geometry.layout.clearing import first_clear
from choreo.geometry.layout.standing import Standing, past
from choreo.geometry.layout.subject import Item
from choreo.model.plan import Floats

SHOWS = 0.45
"""An axis shows on the screen where at least this fraction of its length does, on every rest frame."""
_NEAREST = 0.1
"""No part at rest comes nearer to the camera than this fraction of the product's own distance."""
_FARTHEST = 40.0
"""Travel is given up beyond this many times the size of the product."""
_HAIR = 1e-6
"""mm; a part rests this far beyond the end of a way that is blocked, so that nothing passes it by rounding."""


def shows(direction: Floats, cameras: Sequence[Camera]) -> bool:
    """Whether a travel along `direction` can be seen on every one of the cameras."""
    return min(seen(direction, camera) for camera in cameras) >= SHOWS


def seen(direction: Floats, camera: Camera) -> float:
    """What fraction of a way along `direction` (unit) shows on the screen."""
    along = float(direction @ camera.forward)
    return float(np.sqrt(max(1 - along * along, 0.0)))


def along_axis(standing: Standing, item: Item, gap_px: float, least: float = 0.0) -> Floats:
    """Return the route straight out until the part is clear on the screen and out of everybody's way.

    Parameters
    ----------
    standing : Standing
        What to keep clear of.
    item : Item
        Whom to place.
    gap_px : float
        px.
    least : float
        mm that the removal leg has at least.

    Raises
    ------
    ChoreoError
        Exit 1, ``no-room``.

    """
    subject, direction = standing.subject, standing.subject.directions[item.part]
    base = standing.base(item)
    before = np.concatenate([base, base[-1] + subject.before(item.part)[1:]])
    if item.part in subject.travels:
        return np.concatenate([before, [before[-1] + direction * subject.travels[item.part]]])
    points = subject.points[item.part] + before[-1]
    farthest = standing.before_kept(item, before[-1], direction, _FARTHEST * subject.size)
    blocked = standing.met_on(item, before[-1], direction, farthest)
    way = first_clear(
        points,
        direction,
        standing.matrices,
        standing.hulls,
        gap_px,
        lambda t: past(t, blocked, _HAIR),
        min(farthest, _before_cameras(points, direction, standing.cameras)),
        least,
    )
    if way is None:
        raise no_solution(_never_clear(item.part, gap_px))
    return np.concatenate([before, [before[-1] + direction * way]])


def _before_cameras(points: Floats, direction: Floats, cameras: Sequence[Camera]) -> float:
    """How far a part may go before it comes too near to one of the cameras, mm."""
    ways = [np.inf]
    for camera in cameras:
        pace = float(direction @ camera.forward)
        if camera.position is not None and pace < 0:
            depth = (points - camera.position) @ camera.forward
            ways.append((float(depth.min()) - _NEAREST * float(depth.max())) / -pace)
    return min(ways)


def _never_clear(part: str, gap_px: float) -> Finding:
    return Finding(
        code="no-room",
        what=f'Part "{part}" finds no place on its axis that is {gap_px:g} px clear of the other parts.',
        why="In this view its way out runs toward the vanishing point, or the gap is too large for the frame.",
        remedy="Let the camera be solved or stand farther away (distance_mm), lower gap_px, or turn the view so that "
        "the removal axis shows better.",
    )
