"""Choose rest positions that read clearly, the ways to them, and the camera that shows them.

In:  Removal, hulls of the parts, Encounters, one shot      Out: Layout

The camera and the layout depend on each other, for a gap of so many px is worth more mm the farther the camera
stands. So parts are placed for a camera, the camera is solved for those places (in closed form), and again,
until the two agree: places that keep the gap under a camera that shows all of them. Then, under that camera, parts
that rest sideways are moved so that fewer ways cross. What is optimal about the places, and what is only local,
`geometry.layout.arrange` says; of crossings, `geometry.layout.uncross`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import shapely

from choreo.errors import ChoreoError
from choreo.geometry.cameras.camera import Camera
from choreo.geometry.layout.approved import Kept
from choreo.geometry.layout.arrange import place
from choreo.geometry.layout.placement import hulls_through
from choreo.geometry.layout.rested import Rested
from choreo.geometry.layout.subject import Frame, Subject
from choreo.geometry.layout.uncross import uncross
from choreo.geometry.plane.crossing import crossings
from choreo.model.choreography import Shot
from choreo.model.plan import Floats
from choreo.passes.layout_advice import advised
from choreo.passes.layout_stage import Stage, apart_frames, rest_frames

__all__ = ["Layout", "apart_frames", "plan_layout", "rest_frames"]

_WATCHED = 5
"""Rounds in which a rest frame that proved the worst joins those that are respected."""
_OK_PX = 0.01
"""px; how much of a gap may be missing by rounding."""


@dataclass(frozen=True, eq=False)
class Layout:
    """One shot's camera and ways.

    Attributes
    ----------
    cameras : tuple of Camera
        One a frame.
    routes : mapping of part id to (k, 3) array
        Displacements from assembled to rest, mm; the body's has one point.
    rest_frames : tuple of int
        Frames of the shot on which every part stands at rest.
    least_gap_px : float
        The smallest gap between two outlines (hulls) on those frames; infinite if there are none.
    distance_mm : float or None
        From the camera to what it looks at; None for an orthographic camera.
    shared_mm : mapping of part id to tuple of float
        For all who leave with a group, the way along the route at which it comes off each group, outermost first;
        of the part that a group is named by, its own group's is the whole route. Parts that leave alone are not
        in it.
    crossings : int or None
        Pairs of parts whose straight lines from assembled to rest, of their middles, cross on the screen on the
        first of those frames; None if there are none.
    uncrossed : bool
        Whether parts were moved so that fewer of them cross.

    """

    cameras: tuple[Camera, ...]
    routes: Mapping[str, Floats]
    rest_frames: tuple[int, ...]
    least_gap_px: float
    distance_mm: float | None
    shared_mm: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    crossings: int | None = None
    uncrossed: bool = False


def plan_layout(
    subject: Subject,
    shot: Shot,
    frame: Frame,
    kept: Kept | None = None,
    *,
    fewest_crossings: bool = True,
    ways_free: bool = True,
) -> Layout:
    """Lay out one shot and solve its camera.

    Parameters
    ----------
    subject : Subject
        Hulls, order, directions and obstacles of the parts.
    shot : Shot
        View, orbit, phases.
    frame : Frame
        Resolution, safe area, gap.
    kept : Kept, optional
        Cameras and routes that are approved: only the other parts are placed, inside the safe area, and none is
        moved after that.
    fewest_crossings : bool
        Whether parts are moved so that fewer ways cross.
    ways_free : bool
        Whether a part may rest in the way of a kept part that leaves before it.

    Returns
    -------
    Layout
        Keeps ``frame.gap_px`` between hulls on every rest frame, unless pins make that impossible: what is
        then missing is found by the framing pass.

    Raises
    ------
    ChoreoError
        Exit 1: ``no-room`` where a fixed camera leaves a part no place inside the safe area, ``no-fit``
        where camera and places cannot agree.

    """
    stage = Stage(subject, shot, frame)
    rest = rest_frames(shot)
    if kept is not None:
        return _around(stage, kept, rest, ways_free=ways_free)
    if not rest:  # nothing is ever at rest apart: only the assembled product has to fit
        routes = {part: np.zeros((1, 3)) for part in (*subject.order, subject.body)}
        cameras, alone = stage.fit(routes)
        return Layout(cameras, routes, (), float("inf"), alone if stage.perspective else None)
    watched = stage.spread()
    size: float | None = None
    for _ in range(_WATCHED):
        try:
            cameras, routes, size = stage.agree(sorted(watched), size)
        except ChoreoError as error:
            raise advised(stage, sorted(watched), error) from None
        gaps = _gaps(subject, routes, [cameras[f] for f in rest])
        worst = int(np.argmin(gaps))
        if gaps[worst] >= frame.gap_px - _OK_PX or rest[worst] in watched:
            break
        watched.add(rest[worst])
    least, before = float(gaps[worst]), routes
    if fewest_crossings and subject.order:
        routes = _uncrossed(stage, cameras, routes)
        least = float(_gaps(subject, routes, [cameras[f] for f in rest]).min()) if routes is not before else least
    distance, shared = size if stage.perspective else None, shared_ways(subject, routes)
    count = _crossings(subject, routes, cameras[rest[0]])
    return Layout(cameras, routes, rest, least, distance, shared, count, routes is not before)


def _uncrossed(stage: Stage, cameras: tuple[Camera, ...], routes: dict[str, Floats]) -> dict[str, Floats]:
    """Routes of which fewer cross; the same where none was changed."""
    watched = list(dict.fromkeys(cameras[frame] for frame in stage.rest))
    rested = Rested(stage.subject, routes, watched, stage.frame, partial(stage.contains, cameras))
    return rested.routes if uncross(rested) else routes


def _crossings(subject: Subject, routes: Mapping[str, Floats], camera: Camera) -> int:
    if not subject.order:
        return 0
    homes = np.stack([subject.points[part].mean(axis=0) for part in subject.order])
    ends = homes + np.stack([routes[part][-1] for part in subject.order])
    return crossings(camera.project(homes)[0], camera.project(ends)[0])


def _around(stage: Stage, kept: Kept, rest: tuple[int, ...], *, ways_free: bool) -> Layout:
    """The layout of a shot whose camera, and some of whose parts, are approved."""
    cameras, approved, subject, frame = kept.cameras, kept.routes, stage.subject, stage.frame
    if not rest:
        still = {part: np.zeros((1, 3)) for part in (*subject.order, subject.body)}
        return Layout(cameras, {**still, **approved}, (), float("inf"), _distance(subject, cameras[0]))
    watched, routes, gaps = stage.spread(), approved, np.zeros(0)
    for _ in range(_WATCHED):
        seen = list(dict.fromkeys(cameras[f] for f in sorted(watched)))
        routes = place(subject, seen, frame, gap_px=frame.gap_px, bounded=True, kept=approved, ways_free=ways_free)
        gaps = _gaps(subject, routes, [cameras[f] for f in rest])
        worst = int(np.argmin(gaps))
        if gaps[worst] >= frame.gap_px - _OK_PX or rest[worst] in watched:
            break
        watched.add(rest[worst])
    distance, shared = _distance(subject, cameras[0]), shared_ways(subject, routes)
    crossings = _crossings(subject, routes, cameras[rest[0]])
    return Layout(cameras, routes, rest, float(gaps.min()), distance, shared, crossings)


def _distance(subject: Subject, camera: Camera) -> float | None:
    """How far a camera stands from the middle of the assembled product, along its line of sight."""
    if camera.position is None:
        return None
    corners = np.concatenate(list(subject.points.values()))
    return float(((corners.min(axis=0) + corners.max(axis=0)) / 2 - camera.position) @ camera.forward)


def shared_ways(subject: Subject, routes: Mapping[str, Floats]) -> dict[str, tuple[float, ...]]:
    """Return `Layout.shared_mm` of routes whose members share their groups' corners; the same floats for all."""
    found = {}
    for item in subject.items:
        way = np.cumsum(np.linalg.norm(np.diff(routes[item.part], axis=0), axis=1))
        if item.chain:
            found[item.part] = tuple(float(way[len(routes[group]) - 2]) for group in item.chain)
    return found


def _gaps(subject: Subject, routes: Mapping[str, Floats], cameras: list[Camera]) -> Floats:
    """Smallest gap between two hulls at rest under each camera, px; infinite where there is but one part."""
    known = list(dict.fromkeys(cameras))
    row = {camera: index for index, camera in enumerate(known)}
    matrices = np.stack([camera.matrix for camera in known])
    hulls = np.stack([hulls_through(subject.points[part] + route[-1], matrices) for part, route in routes.items()])
    one, two = np.triu_indices(len(hulls), 1)
    least = np.full(len(known), np.inf)
    for c, boxes in enumerate(shapely.bounds(hulls).transpose(1, 0, 2)):
        if not len(one):
            break
        # Boxes are never farther apart than what is in them: most pairs need no more than a look at these.
        between = np.maximum(boxes[one, :2], boxes[two, :2]) - np.minimum(boxes[one, 2:], boxes[two, 2:])
        apart = np.hypot(*np.maximum(between, 0.0).T)
        first = int(np.argmin(apart))
        near = apart <= shapely.distance(hulls[one[first], c], hulls[two[first], c])
        near[first] = True  # whatever the last digit says
        least[c] = shapely.distance(hulls[one[near], c], hulls[two[near], c]).min()
    return least[[row[camera] for camera in cameras]]
