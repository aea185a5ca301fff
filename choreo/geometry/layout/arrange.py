"""Place named solids around a body so that they stand clear of each other on the screen.

Parts are placed from the body outward: the last to leave is placed first. So whoever leaves early, and comes
back last, rests farther out, and nobody has to pass through a part at rest. Each part goes

- along its removal axis only, where that axis shows on the screen: to the first way at which its outline is
  clear of all that is placed and at which no part placed before has to pass through it in space;
- else out by its clearance and then sideways in free space: to the nearest free place, in frame widths and
  heights, that is clear of all that is placed and of the corridors in which the parts placed before travel.

Parts that are alike are placed together where that costs no more (`geometry.layout.siblings`).

A group is placed by the part that it is named by, and the others around that one. Where they find no way out
there, past what has not left yet, the group goes farther out.

Each part's travel is the least given the parts placed before it (exactly so on the screen of the middle rest
frame under an orthographic camera; on an axis as `geometry.layout.clearing` says). The sum over all parts is a local
optimum of this order, not proved to be the global one. Ways that cross are not looked at here, except among
siblings: `geometry.layout.uncross` lowers them afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from choreo.errors import ChoreoError, Finding, no_solution
from choreo.geometry.cameras.camera import Camera
from choreo.geometry.layout.aside import ASIDE, in_the_way, met_outside, sideways
from choreo.geometry.layout.axial import along_axis, shows
from choreo.geometry.layout.siblings import siblings, together
from choreo.geometry.layout.standing import Standing
from choreo.geometry.layout.subject import Frame, Item, Subject
from choreo.model.plan import Floats

_FARTHER = 0.25
"""A group that cannot come apart where it is goes farther by this share of the product's size, and again."""
_TRIES = 12


def place(
    subject: Subject,
    cameras: list[Camera],
    frame: Frame,
    *,
    gap_px: float,
    bounded: bool,
    kept: Mapping[str, Floats] = MappingProxyType({}),
    ways_free: bool = True,
) -> dict[str, Floats]:
    """Place all parts under given cameras.

    Parameters
    ----------
    subject : Subject
        What to place.
    cameras : list of Camera
        The rest frames to respect; the middle one is the one on which sideways places are chosen.
    frame : Frame
        Safe area and clearance.
    gap_px : float
        Gap to keep, px.
    bounded : bool
        Whether places must lie inside the safe area (a camera that the shot fixes) or may lie anywhere (one
        that will be fitted to them).
    kept : mapping of part id to (k, 3) array
        Routes that are given. These parts stand first, and the rest finds its places among them.
    ways_free : bool
        Whether a part may rest where a kept part passes that leaves before it, as it may without a lock. Then it has
        to wait for that one.

    Returns
    -------
    dict of part id to (k, 3) array
        Routes, from assembled to rest, mm; in the reverse of the order in which they were placed, the body last.
        Members of a group share its corners, to the last digit.

    Raises
    ------
    ChoreoError
        Exit 1, ``no-room``: a part has no free place inside the safe area. ``in-the-way``: a part cannot come
        off its group, however far that goes.

    """
    standing = Standing(subject, cameras, frame, bounded=bounded, kept=tuple(kept), ways_free=ways_free)
    for item in subject.items:
        if item.part in kept:
            standing.add(item, kept[item.part])
    queue = [item for item in subject.items if item.part not in kept]
    while queue:
        _settle(standing, queue, gap_px)
    return dict(standing.outcome())


def _settle(standing: Standing, queue: list[Item], gap_px: float) -> None:
    """Place the first item of the queue and, of a group, all who come off it."""
    item = queue[0]
    alike = siblings(standing.subject, queue)
    if len(item.members) == 1:
        routes = together(standing, queue[:alike], gap_px) if alike > 1 else None
        for index in range(alike):
            one = queue.pop(0)
            standing.add(one, routes[index] if routes else _route(standing, one, gap_px))
        return
    count, least = len(standing.routes), 0.0
    for turn in range(_TRIES):
        rest = queue[1:]
        route = _route(standing, item, gap_px, least)
        standing.add(item, route)
        try:
            while rest and item.part in rest[0].groups:
                _settle(standing, rest, gap_px)
        except ChoreoError:
            standing.drop_to(count)
            if turn == _TRIES - 1 or not _may_go_farther(standing, item):
                raise
            least = float(np.linalg.norm(route[-1] - route[-2])) + _FARTHER * standing.subject.size
        else:
            queue[:] = rest
            return


def _may_go_farther(standing: Standing, item: Item) -> bool:
    return item.part not in standing.subject.travels and shows(standing.subject.directions[item.part], standing.cameras)


def _route(standing: Standing, item: Item, gap_px: float, least: float = 0.0) -> Floats:
    if not shows(standing.subject.directions[item.part], standing.cameras):
        route = sideways(standing, item, gap_px)
    else:
        try:
            route = along_axis(standing, item, gap_px, least)
        except ChoreoError:
            # What is kept cannot move on: where it rests in the way of all places on the axis, there are others.
            if not standing.kept or not _may_go_beside(standing, item):
                raise
            return _clear_of_kept(standing, item, sideways(standing, item, gap_px))
        hit = met_outside(standing, item, route)
        if hit is not None:
            raise no_solution(in_the_way(item.part, hit))
        route = _inside(standing, item, gap_px, route)
    return _clear_of_kept(standing, item, route)


def _clear_of_kept(standing: Standing, item: Item, route: Floats) -> Floats:
    through = standing.passed_early(item, route)
    if through is not None:
        raise no_solution(through_kept(item.part, through))
    return route


def _may_go_beside(standing: Standing, item: Item) -> bool:
    """Whether a way across its axis shows on the screen, and the shot does not say how far it goes."""
    faces = abs(float(standing.subject.directions[item.part] @ standing.eye.forward)) >= ASIDE
    return standing.bounded and faces and item.part not in standing.subject.travels


def _inside(standing: Standing, item: Item, gap_px: float, route: Floats) -> Floats:
    """Where the axis leads out of a safe area that is fixed, a place beside it if there is one, else the route."""
    if not _may_go_beside(standing, item) or standing.is_inside(item.part, route[-1]):
        return route
    try:
        beside = sideways(standing, item, gap_px)
    except ChoreoError:
        return route
    return beside if standing.is_inside(item.part, beside[-1]) else route


def through_kept(part: str, other: str) -> Finding:
    """Return the finding that a part would pass through one whose rest position is kept."""
    return Finding(
        code="lock-in-the-way",
        what=f'Part "{part}" has no way to a place of its own: "{other}" rests in it, and its place is kept.',
        why=f'"{other}" is there before "{part}" leaves.',
        remedy=f'Take "{other}" out of the lock.',
    )
