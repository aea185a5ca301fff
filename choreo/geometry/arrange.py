"""Place named solids around a body so that they stand clear of each other on the screen.

Parts are placed from the body outward: the last to leave is placed first. So whoever leaves early, and comes
back last, rests farther out, and nobody has to pass through a part at rest. Each part goes

- along its removal axis only, where that axis shows on the screen: to the first way at which its outline is
  clear of all that is placed and at which no part placed before has to pass through it in space;
- else out by its clearance and then sideways in free space: to the nearest free place, in frame widths and
  heights, that is clear of all that is placed and of the corridors in which the parts placed before travel.

Each part's travel is the least given the parts placed before it (exactly so on the screen of the middle rest
frame under an orthographic camera; within a thousandth of a px on an axis). The sum over all parts is a local
optimum of this order, not proved to be the global one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely

from choreo.errors import Finding, no_solution
from choreo.geometry.camera import Camera
from choreo.geometry.encounter import Encounters
from choreo.geometry.placement import first_clear, hulls_on_screen, keep_out, nearest_free
from choreo.model.plan import Floats

_NEAREST = 0.1
"""No part at rest comes nearer to the camera than this fraction of the product's own distance."""
SHOWS = 0.45
"""An axis shows on the screen where at least this fraction of its length does, on every rest frame."""
FACES = 0.05
"""Below this fraction the axis points at the viewer: how far a part comes out then does not show."""
_FARTHEST = 40.0
"""Travel is given up beyond this many times the size of the product."""
_EDGE_ON = 1e-3
"""What a camera sees of a way is taken for at least this much of what it sees of the way across it."""
_HAIR = 1e-6
"""mm; a part rests this far beyond the end of a way that is blocked, so that nothing passes it by rounding."""
_TRIES = 16
_LANE_PX = 4.0
"""px by which a travelled corridor is kept clear of more, where perspective brought a part back into it."""
_BIAS = 0.02
"""Fraction of the frame by which a part leans to its own side of the body where places are as good."""


@dataclass(frozen=True)
class Frame:
    """The picture's frame and what to keep in it.

    Attributes
    ----------
    resolution : (width, height)
        px.
    margins : (left, top, right, bottom)
        Safe area, px from the edges.
    gap_px : float
        Clear screen space between parts at rest.
    clearance_mm : float
        Kept in space between parts that do not touch.

    """

    resolution: tuple[int, int]
    margins: tuple[float, float, float, float]
    gap_px: float
    clearance_mm: float

    @property
    def size(self) -> Floats:
        """(width, height) as an array."""
        return np.array(self.resolution, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Subject:
    """What is to be laid out.

    Attributes
    ----------
    points : mapping of part id to (k, 3) array
        Convex hull corners, assembled, mm.
    order : tuple of str
        Who leaves first, second, ...; without the body.
    body : str
        Who stays.
    directions : mapping of part id to (3,) array
        Unit direction of each removal leg in this shot.
    travels : mapping of part id to float
        Removal legs whose length is fixed, mm.
    encounters : Encounters
        Shapes of all pairs.
    vias : mapping of part id to (k, 3) array
        Displacements passed before the removal leg, where one straight leg does not free the part.

    """

    points: Mapping[str, Floats]
    order: tuple[str, ...]
    body: str
    directions: Mapping[str, Floats]
    travels: Mapping[str, float]
    encounters: Encounters
    vias: Mapping[str, Floats] = field(default_factory=dict)

    @property
    def size(self) -> float:
        """Diagonal of the assembled product's box, mm."""
        corners = np.concatenate(list(self.points.values()))
        return float(np.linalg.norm(corners.max(axis=0) - corners.min(axis=0)))

    def before(self, part: str) -> Floats:
        """Corners of the way up to where the removal leg begins, (k, 3), from 0 on."""
        start = np.zeros((1, 3))
        return np.concatenate([start, self.vias[part]]) if part in self.vias else start

    def staying(self, part: str) -> list[str]:
        """Who is still there when this part leaves."""
        return [*self.order[self.order.index(part) + 1 :], self.body]


@dataclass(frozen=True, eq=False)
class _Placed:
    """A part with its way and its outlines at rest (one a camera) and on its way (middle camera)."""

    part: str
    route: Floats
    hulls: np.ndarray
    corridor: shapely.Geometry


def place(subject: Subject, cameras: list[Camera], frame: Frame, *, gap_px: float, bounded: bool) -> dict[str, Floats]:
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

    Returns
    -------
    dict of part id to (k, 3) array
        Routes, from assembled to rest, mm; in removal order, the body last.

    Raises
    ------
    ChoreoError
        Exit 1, ``no-room``: a part has no free place inside the safe area.

    """
    body = subject.body
    still = hulls_on_screen(subject.points[body], cameras)
    placed = [_Placed(body, np.zeros((1, 3)), still, still[len(still) // 2])]
    for part in reversed(subject.order):
        if shows(subject.directions[part], cameras):
            route = _along_axis(subject, part, placed, cameras, gap_px)
        else:
            route = _sideways(subject, part, placed, cameras, frame, gap_px, bounded)
        placed.append(_placed(subject, part, route, cameras))
    return {one.part: one.route for one in reversed(placed)}


def shows(direction: Floats, cameras: list[Camera]) -> bool:
    """Whether a travel along `direction` can be seen on every one of the cameras."""
    return min(_seen(direction, camera) for camera in cameras) >= SHOWS


def _seen(direction: Floats, camera: Camera) -> float:
    along = float(direction @ camera.forward)
    return float(np.sqrt(max(1 - along * along, 0.0)))


def _placed(subject: Subject, part: str, route: Floats, cameras: list[Camera]) -> _Placed:
    points = subject.points[part]
    middle = cameras[len(cameras) // 2]
    swept = np.concatenate([points + corner for corner in route])
    return _Placed(part, route, hulls_on_screen(points + route[-1], cameras), hulls_on_screen(swept, [middle])[0])


def _along_axis(subject: Subject, part: str, placed: list[_Placed], cameras: list[Camera], gap_px: float) -> Floats:
    """Go straight out until clear on the screen and out of everybody's way."""
    direction, before = subject.directions[part], subject.before(part)
    if part in subject.travels:
        return np.concatenate([before, [before[-1] + direction * subject.travels[part]]])
    points = subject.points[part] + before[-1]
    blocked = _in_the_way(subject, part, before[-1], placed, _FARTHEST * subject.size)
    farthest = min(_FARTHEST * subject.size, _before_cameras(points, direction, cameras))
    fixed = np.stack([one.hulls for one in placed], axis=1)
    way = first_clear(
        0.0,
        lambda t: hulls_on_screen(points + t * direction, cameras),
        fixed,
        gap_px,
        lambda t: _past(t, blocked),
        farthest,
    )
    if way is None:
        raise no_solution(_never_clear(part, gap_px))
    return np.concatenate([before, [before[-1] + direction * way]])


def _before_cameras(points: Floats, direction: Floats, cameras: list[Camera]) -> float:
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
        what=f'Part "{part}" is never {gap_px:g} px clear of the other parts, however far it goes along its axis.',
        why="In this view its way out runs toward the vanishing point, or the gap is too large for the frame.",
        remedy="Let the camera be solved or stand farther away (distance_mm), lower gap_px, or turn the view so that "
        "the removal axis shows better.",
    )


def _in_the_way(
    subject: Subject, part: str, start: Floats, placed: list[_Placed], farthest: float
) -> list[tuple[float, float]]:
    """Ways along the removal leg at which the part, resting there, would be met by one placed before on its route."""
    direction = subject.directions[part]
    spans: list[tuple[float, float]] = []
    for other in placed[1:]:
        spans.extend(subject.encounters.resting_spans(other.part, other.route, part, (start, direction), farthest))
    return sorted(spans)


def _past(way: float, blocked: list[tuple[float, float]]) -> float:
    for low, high in blocked:
        if low < way < high + _HAIR:
            way = high + _HAIR
    return way


def _sideways(
    subject: Subject,
    part: str,
    placed: list[_Placed],
    cameras: list[Camera],
    frame: Frame,
    gap_px: float,
    bounded: bool,
) -> Floats:
    """Come out by the clearance, then go to the nearest place of the middle camera's screen that is free for all."""
    direction, middle = subject.directions[part], cameras[len(cameras) // 2]
    before = subject.before(part)
    lift = _lift(subject, part, frame.clearance_mm)
    out = before[-1] + direction * lift
    points = subject.points[part] + out
    hull = hulls_on_screen(points, [middle])[0]
    wish = _lean(subject, part, middle) * frame.size * _BIAS
    allowed = _room(hull, frame) if bounded else None
    air = frame.clearance_mm * float(middle.scale_at(points.mean(axis=0)))
    backs = [_back_to(middle, camera, points.mean(axis=0), direction) for camera in cameras]
    views = list(zip(hulls_on_screen(points, cameras), backs, strict=True))
    extra = lane = 0.0
    for _ in range(_TRIES):
        outlines = [
            shapely.transform(keep_out(one.hulls[c], own, gap_px + extra), lambda xy, back=back: xy @ back.T)
            for c, (own, back) in enumerate(views)
            for one in placed
        ]
        lanes = [keep_out(one.corridor, hull, air + lane) for one in placed[1:]]
        shift = nearest_free([*outlines, *lanes], wish, frame.size, allowed)
        if shift is None:
            raise _no_room(part, hull, placed, frame)
        rest = out + _level(shift, points.mean(axis=0), direction, middle)
        # Under a perspective camera the outline changes as the part goes sideways: look again where it ended.
        hulls = hulls_on_screen(subject.points[part] + rest, cameras)
        apart = float(shapely.distance(hulls[:, None], np.stack([one.hulls for one in placed], axis=1)).min())
        in_lane = any(shapely.dwithin(hulls[len(cameras) // 2], one.corridor, air / 2) for one in placed[1:])
        if apart >= gap_px - 1e-6 and not in_lane:
            break
        extra += 1.02 * max(gap_px - apart, 0.0) + (1e-3 if apart < gap_px else 0.0)
        lane += _LANE_PX if in_lane else 0.0
    if _seen(direction, middle) < FACES and part not in subject.travels:
        least = before[-1] + direction * _least_lift(subject, part, rest - out, frame.clearance_mm, lift)
        rest, out = rest + least - out, least
    return np.concatenate([before, [out, rest]])


def _lift(subject: Subject, part: str, clearance_mm: float) -> float:
    """How far the part comes out before it may go any way sideways, mm."""
    if part in subject.travels:
        return subject.travels[part]
    return max(float(_outs(subject, part).max()), 0.0) + clearance_mm


def _outs(subject: Subject, part: str) -> Floats:
    """How far along its removal leg the part is clear, for good, of each that is still there, mm."""
    direction = subject.directions[part]
    outs = subject.encounters.way_out(part, direction, subject.staying(part))
    return np.asarray(outs - float(subject.before(part)[-1] @ direction))


def _least_lift(subject: Subject, part: str, sideways: Floats, clearance_mm: float, lift: float) -> float:
    """Return the least of the depths at which it clears one part or another that lets it go this way sideways."""
    direction, staying, start = subject.directions[part], subject.staying(part), subject.before(part)[-1]
    outs = _outs(subject, part) + clearance_mm
    for least in sorted({round(float(out), 9) for out in outs if 0 < out < lift}):
        path = np.stack([start, start + direction * least, start + direction * least + sideways])
        if not any(subject.encounters.hits(part, path, other, kept=True) for other in staying):
            return least
    return lift


def _level(shift: Floats, at: Floats, direction: Floats, camera: Camera) -> Floats:
    """Return the displacement across `direction` that moves a point by `shift` px on the screen.

    Going sideways at the height it came out to, a part stays clear of all that it came out of.
    """
    scale = float(camera.scale_at(at))
    right = camera.matrix[0, :3] - (camera.matrix[0, :3] @ camera.forward) * camera.forward
    down = camera.matrix[1, :3] - (camera.matrix[1, :3] @ camera.forward) * camera.forward
    rows = np.stack([right / np.linalg.norm(right), down / np.linalg.norm(down), direction])
    return np.asarray(np.linalg.solve(rows, [shift[0] / scale, shift[1] / scale, 0.0]))


def _back_to(middle: Camera, camera: Camera, at: Floats, direction: Floats) -> Floats:
    """Return the (2, 2) map from a shift on one camera's screen to the one on the middle camera's that causes it.

    The part goes sideways, across `direction`. A way along which the camera looks does not show on its screen, so
    a shift there asks for a very long way on the middle one: what is forbidden becomes a strip.
    """
    if camera is middle:
        return np.eye(2)
    steps = np.stack([_level(np.array(shift), at, direction, middle) for shift in ((1.0, 0.0), (0.0, 1.0))])
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


def _room(hull: shapely.Geometry, frame: Frame) -> shapely.Geometry:
    """Displacements that keep a hull inside the safe area; empty if it is larger than that."""
    (width, height), (left, top, right, bottom) = frame.resolution, frame.margins
    x0, y0, x1, y1 = shapely.bounds(hull)
    low, high = (left - x0, top - y0), (width - right - x1, height - bottom - y1)
    if low[0] > high[0] or low[1] > high[1]:
        return shapely.Polygon()
    return shapely.box(*low, *high)


def _no_room(part: str, hull: shapely.Geometry, placed: list[_Placed], frame: Frame) -> Exception:
    x0, y0, x1, y1 = shapely.bounds(hull)
    width = frame.resolution[0] - frame.margins[0] - frame.margins[2]
    height = frame.resolution[1] - frame.margins[1] - frame.margins[3]
    there = ", ".join(f'"{one.part}"' for one in placed)
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
            f"and {frame.gap_px:g} px must stay clear of {there}.",
            why="The shot fixes how large the product appears, so the parts cannot move closer to fit.",
            remedy='Let the camera be solved ("fit"), show the product smaller, lower gap_px, or widen the safe area.',
        )
    )
