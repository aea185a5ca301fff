"""Rest positions beside the body, for parts whose removal axis does not show on the screen.

A part comes out by its clearance and then goes sideways in free space, to the nearest free place on the screen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.errors import ChoreoError, Finding, no_solution
from choreo.geometry.cameras.camera import Camera
from choreo.geometry.layout.axial import seen
from choreo.geometry.layout.placement import corners, hulls_through, keep_outs, nearest_free
from choreo.geometry.layout.standing import Standing
from choreo.geometry.layout.subject import Frame, Item, Subject
from choreo.geometry.plane.unions import Geometries
from choreo.model.plan import Floats

FACES = 0.05
"""Below this fraction the axis points at the viewer: how far a part comes out then does not show."""
ASIDE = 0.2
"""Of a unit direction along the line of sight: below it, what lies across the direction is seen edge-on."""
_EDGE_ON = 1e-3
"""What a camera sees of a way is taken for at least this much of what it sees of the way across it."""
_TRIES = 16
_STEADY = 6
"""Tries after which what is added is doubled each time: outlines that overlap do not say by how much."""
_DIGITS = 6
"""Decimals of a px to which two outlines are the same."""
_OK_PX = 1e-5
"""px; as much as that may be missing of a gap."""
_LANE_PX = 4.0
"""px by which a travelled corridor is kept clear of more, where perspective brought a part back into it."""
_BIAS = 0.02
"""Fraction of the frame by which a part leans to its own side of the body where places are as good."""
SHADOW = 50.0
"""What lies behind something is followed to this many times its distance."""


def sideways(standing: Standing, item: Item, gap_px: float) -> Floats:
    """Return the route out by the clearance, then to the nearest free place of the middle camera's screen.

    Raises
    ------
    ChoreoError
        Exit 1, ``no-room``: no place is free, or none was found; ``in-the-way``: of a part that comes off a group,
        where all ways sideways lead through something that has not left yet.

    """
    step = lift_out(standing, item)
    shadows: list[BaseGeometry] = []
    for _ in range(1 + len(item.outside)):
        rest = beside(standing, item, step, gap_px, shadows)
        out = step.out
        if seen(step.direction, standing.eye) < FACES and item.part not in standing.subject.travels:
            least = step.before[-1] + step.direction * least_lift(standing, item, step, rest - out)
            if stays_clear(standing, item, rest + least - out, gap_px):
                rest, out = rest + least - out, least
        route = np.concatenate([step.before, [out, rest]])
        hit = met_outside(standing, item, route)
        if hit is None:
            return route
        shadows.append(_shadow(standing, step, hit))
    raise no_solution(in_the_way(item.part, hit))


def stays_clear(standing: Standing, item: Item, rest: Floats, gap_px: float) -> bool:
    """Whether an item that rests there keeps the gap, the corridors of those who leave later, and the safe area.

    Asked where a part comes out less far than its place was found for: near a perspective camera that shows.
    """
    if not standing.eye.is_perspective:
        return True
    points = standing.subject.points[item.part] + rest
    hulls, lanes = hulls_through(points, standing.matrices), np.array(standing.lanes(item), dtype=np.object_)
    air = standing.frame.clearance_mm * float(standing.eye.scale_at(points.mean(axis=0)))
    if len(lanes) and bool(shapely.dwithin(hulls[standing.middle], lanes, air / 2).any()):
        return False
    return standing.gap(hulls) >= gap_px - _OK_PX and not (standing.bounded and standing.beyond(hulls) > _OK_PX)


def met_outside(standing: Standing, item: Item, route: Floats) -> str | None:
    """Return who stands, not having left yet, where an item that comes off its group passes on its own way."""
    own = route[len(standing.base(item)) - 1 :]
    encounters = standing.subject.encounters
    for other in item.outside if item.groups else ():
        if any(encounters.hits(member, own, other, kept=True) for member in item.members):
            return other
    return None


def in_the_way(part: str, other: str | None) -> Finding:
    """Return the finding that a part cannot come off its group."""
    return Finding(
        code="in-the-way",
        what=f'Part "{part}" cannot come off its group: "{other}" stands in its way.',
        why="The group has left, but this part goes back past what is still there.",
        remedy="Let the group travel farther (travel_mm), or turn its way (along).",
    )


@dataclass(frozen=True, eq=False)
class Out:
    """A part that has come out and may go any way sideways."""

    before: Floats
    """(k, 3) corners up to where the removal leg begins."""
    direction: Floats
    lift: float
    """mm along the removal leg."""
    out: Floats
    """(3,) displacement there."""
    points: Floats
    """(n, 3) its corners there."""

    def raised(self, lift: float) -> Out:
        """Return the same with another lift."""
        out = self.before[-1] + self.direction * lift
        return Out(self.before, self.direction, lift, out, self.points + out - self.out)


def lift_out(standing: Standing, item: Item) -> Out:
    """Return where an item is when it has come out by its clearance."""
    subject, direction = standing.subject, standing.subject.directions[item.part]
    base = standing.base(item)
    before = np.concatenate([base, base[-1] + subject.before(item.part)[1:]])
    if item.part in subject.travels:
        lift = subject.travels[item.part]
    else:
        lift = max(float(_outs(subject, item).max()), 0.0) + standing.frame.clearance_mm
    out = before[-1] + direction * lift
    return Out(before, direction, lift, out, subject.points[item.part] + out)


def beside(standing: Standing, item: Item, step: Out, gap_px: float, shadows: Sequence[BaseGeometry]) -> Floats:
    """Return the displacement, (3,), at which what has come out is at the nearest place that is free for all."""
    frame, middle = standing.frame, standing.eye
    direction, centre = step.direction, step.points.mean(axis=0)
    views = hulls_through(step.points, standing.matrices)
    hull = views[standing.middle]
    wish = _lean(standing.subject, item.part, middle) * frame.size * _BIAS
    air = frame.clearance_mm * float(middle.scale_at(centre))
    backs = [_back_to(middle, camera, centre, direction) for camera in standing.cameras]
    lanes = np.array(standing.lanes(item), dtype=np.object_)
    extra = lane = inset = 0.0
    for turn in range(_TRIES):
        allowed = room_for(hull, frame, inset) if standing.bounded else None
        forbidden = [
            _covered(standing, views, backs, gap_px + extra),
            _travelled(standing, item, hull, air + lane),
            *_back_in(direction, middle, frame),
            *shadows,
        ]
        shift = nearest_free(forbidden, wish, frame.size, allowed)
        if shift is None:
            raise _no_room(item.part, hull, list(standing.routes), frame)
        rest = step.out + level(shift, centre, direction, middle)
        # Under a perspective camera the outline changes as the part goes sideways: look again where it ended.
        hulls = hulls_through(step.points + rest - step.out, standing.matrices)
        apart = standing.gap(hulls)
        in_lane = bool(len(lanes)) and bool(shapely.dwithin(hulls[standing.middle], lanes, air / 2).any())
        beyond = standing.beyond(hulls) if standing.bounded else 0.0
        if apart >= gap_px - _OK_PX and not in_lane and beyond <= _OK_PX:
            return rest
        more = 1.0 if turn < _STEADY else 2.0
        inset += 1.02 * beyond
        if apart < gap_px:
            extra = more * extra + 1.02 * (gap_px - apart) + 1e-3
        if in_lane:
            lane = more * lane + _LANE_PX
    raise no_solution(_never_settles(item.part, gap_px - apart, beyond))


def _covered(standing: Standing, views: Geometries, backs: Sequence[Floats], gap_px: float) -> BaseGeometry:
    """The shifts of an item's outlines on the middle screen that bring it too near to something under some camera."""

    def rings(count: int) -> Floats:
        found = [keep_outs(standing.hulls[c, count:], own, gap_px) @ backs[c].T for c, own in enumerate(views)]
        most = max(each.shape[1] for each in found)
        return np.concatenate([np.pad(each, ((0, 0), (0, most - each.shape[1]), (0, 0)), "edge") for each in found])

    if standing.eye.is_perspective or len(views) > 1:
        return shapely.union_all(shapely.polygons(rings(0)))
    return _shared(standing, views[0], ("rest", gap_px), rings)


def _travelled(standing: Standing, item: Item, hull: BaseGeometry, air: float) -> BaseGeometry:
    """The shifts of an item's outline on the middle screen that bring it into a corridor."""

    def rings(count: int) -> Floats:
        lanes = standing.lanes(item)[max(count - 1, 0) :]
        return keep_outs(np.array(lanes, dtype=np.object_), hull, air) if lanes else np.zeros((0, 3, 2))

    if standing.eye.is_perspective or item.chain or standing.kept:  # kept parts are not in all items' way
        return shapely.union_all(shapely.polygons(rings(0)))
    return _shared(standing, hull, ("way", air), rings)


def _shared(
    standing: Standing, hull: BaseGeometry, what: tuple[str, float], rings: Callable[[int], Floats]
) -> BaseGeometry:
    """Under a parallel camera what is forbidden to one part is forbidden to all of its outline, only displaced."""
    own = corners(hull)
    union = standing.cover((*what, np.round(own - own[0], _DIGITS).tobytes()), lambda count: rings(count) + own[0])
    return shapely.transform(union, lambda xy: xy - own[0])


def _back_in(direction: Floats, camera: Camera, frame: Frame) -> list[BaseGeometry]:
    """Where a part moves parallel to the screen: the shifts that would take it back to where it came out of."""
    if _goes_across(direction, camera):
        return []
    back = -camera.matrix[:2, :3] @ direction
    back = back / np.linalg.norm(back) * SHADOW * frame.size.max()
    side = np.array([-back[1], back[0]])
    return [shapely.Polygon([side, side + back, back - side, -side])]


def _goes_across(direction: Floats, camera: Camera) -> bool:
    """Whether a part that comes out this way goes across it; else it goes parallel to the screen."""
    return abs(float(direction @ camera.forward)) >= ASIDE


def _shadow(standing: Standing, step: Out, other: str) -> BaseGeometry:
    """Shifts on the middle screen that lead over the outline of something that stands at its assembled place."""
    matrix = standing.matrices[standing.middle, None]
    air = standing.frame.clearance_mm * float(standing.eye.scale_at(step.points.mean(axis=0)))
    still = hulls_through(standing.subject.points[other], matrix)
    ring = keep_outs(still, hulls_through(step.points, matrix)[0], air)[0]
    return shapely.convex_hull(shapely.multipoints(np.concatenate([ring, SHADOW * ring])))


def _outs(subject: Subject, item: Item) -> Floats:
    """How far along its removal leg the item is clear, for good, of each that is still there, mm."""
    direction = subject.directions[item.part]
    outs = [subject.encounters.way_out(member, direction, item.inside) for member in item.members]
    return np.asarray(np.max(outs, axis=0) - float(subject.before(item.part)[-1] @ direction))


def least_lift(standing: Standing, item: Item, step: Out, across: Floats) -> float:
    """Return the least of the depths at which it clears one part or another that lets it go this way sideways."""
    subject, direction = standing.subject, step.direction
    start = subject.before(item.part)[-1]
    outs = _outs(subject, item) + standing.frame.clearance_mm
    for least in sorted({round(float(out), 9) for out in outs if 0 < out < step.lift}):
        path = np.stack([start, start + direction * least, start + direction * least + across])
        if not any(
            subject.encounters.hits(member, path, other, kept=True)
            for member in item.members
            for other in standing.near(member, path, item.inside)
        ):
            return least
    return step.lift


def level(shift: Floats, at: Floats, direction: Floats, camera: Camera) -> Floats:
    """Return the displacement across `direction` that moves a point by `shift` px on the screen.

    Going sideways at the height it came out to, a part stays clear of all that it came out of. Where the camera sees
    that height edge-on, the part moves parallel to the screen instead.
    """
    scale = float(camera.scale_at(at))
    right = camera.matrix[0, :3] - (camera.matrix[0, :3] @ camera.forward) * camera.forward
    down = camera.matrix[1, :3] - (camera.matrix[1, :3] @ camera.forward) * camera.forward
    across = direction if _goes_across(direction, camera) else camera.forward
    rows = np.stack([right / np.linalg.norm(right), down / np.linalg.norm(down), across])
    return np.asarray(np.linalg.solve(rows, [shift[0] / scale, shift[1] / scale, 0.0]))


def _back_to(middle: Camera, camera: Camera, at: Floats, direction: Floats) -> Floats:
    """Return the (2, 2) map from a shift on one camera's screen to the one on the middle camera's that causes it.

    The part goes sideways, across `direction`. A way along which the camera looks does not show on its screen, so
    a shift there asks for a very long way on the middle one: what is forbidden becomes a strip.
    """
    if camera is middle:
        return np.eye(2)
    steps = np.stack([level(np.array(shift), at, direction, middle) for shift in ((1.0, 0.0), (0.0, 1.0))])
    small = 1e-3 / float(np.abs(steps).max())
    there = (camera.project(at + small * steps)[0] - camera.project(at)[0]).T / small
    u, size, v = np.linalg.svd(there)
    return np.asarray(v.T @ np.diag(1 / np.maximum(size, _EDGE_ON * size[0])) @ u.T)


def _lean(subject: Subject, part: str, camera: Camera) -> Floats:
    """Unit direction on the screen toward which the part leans: its own side of the body, else by its axis."""
    body, own = subject.points[subject.body], subject.points[part]
    at = camera.project(np.stack([(body.min(0) + body.max(0)) / 2, (own.min(0) + own.max(0)) / 2]))[0]
    offset = at[1] - at[0]
    size = np.ptp(camera.project(body)[0], axis=0).max()
    if float(np.linalg.norm(offset)) > 0.05 * size:
        return np.asarray(offset / np.linalg.norm(offset))
    toward = -float(subject.directions[part] @ camera.forward)
    return np.array([0.96, -0.28]) * (1.0 if toward >= 0 else -1.0)


def room_for(hull: BaseGeometry, frame: Frame, inset: float = 0.0) -> BaseGeometry:
    """Displacements that keep a hull inside the safe area, px `inset` from its edges; empty if it is too large."""
    (width, height), (left, top, right, bottom) = frame.resolution, frame.margins
    x0, y0, x1, y1 = shapely.bounds(hull)
    low = (left - x0 + inset, top - y0 + inset)
    high = (width - right - x1 - inset, height - bottom - y1 - inset)
    if low[0] > high[0] or low[1] > high[1]:
        return shapely.Polygon()
    return shapely.box(*low, *high)


def _no_room(part: str, hull: BaseGeometry, there: list[str], frame: Frame) -> ChoreoError:
    x0, y0, x1, y1 = shapely.bounds(hull)
    width = frame.resolution[0] - frame.margins[0] - frame.margins[2]
    height = frame.resolution[1] - frame.margins[1] - frame.margins[3]
    short = max(x1 - x0 - width, y1 - y0 - height)
    by = (
        f"it is {short:.0f} px larger than the safe area"
        if short > 0
        else f"its outline is {x1 - x0:.0f} x {y1 - y0:.0f} px"
    )
    return no_solution(
        Finding(
            code="no-room",
            what=f'Part "{part}" has no place at rest inside the safe area ({width:.0f} x {height:.0f} px): {by}, '
            f"and {frame.gap_px:g} px must stay clear of " + ", ".join(f'"{one}"' for one in there) + ".",
            why="The shot fixes how large the product appears, so the parts cannot move closer to fit.",
            remedy='Let the camera be solved ("fit"), show the product smaller, lower gap_px, or widen the safe area.',
        )
    )


def _never_settles(part: str, near_px: float, beyond_px: float) -> Finding:
    lacks = "comes into the way of a part that leaves later"
    if near_px > _OK_PX or beyond_px > _OK_PX:
        lacks = f"is {near_px:.1f} px too near to another" if near_px > beyond_px else f"is {beyond_px:.1f} px outside"
    return Finding(
        code="no-room",
        what=f'No place beside the other parts was found for part "{part}" in {_TRIES} tries: in the last it {lacks}.',
        why="So near to the camera an outline grows and turns as the part goes sideways.",
        remedy="Let the camera be solved, stand farther away (distance_mm) or have a longer lens (focal_mm), "
        "or lower gap_px.",
    )
