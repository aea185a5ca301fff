"""Round the corners of the routes as widely as there is room, and bow the last free legs that ask for it.

In:  routes, Removal, pins of one shot, Encounters, cameras      Out: routes, stops, warnings

A corner that is walked with one easing is a jump in velocity. It becomes an arc, flattened so that the route stays a
polyline; the first of ever smaller arcs that is free of everything that is there when the part leaves is taken.
Where none is, the part has to stop at the corner. Exact on the polyline; the halving may leave some room unused.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from choreo.errors import Finding
from choreo.geometry.cameras.camera import Camera
from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.plane.bend import BOW_TURN, bowed, rounded, turn
from choreo.model.choreography import Shot
from choreo.model.plan import Floats, Removal
from choreo.motion.path import lengths, position

LEAST_RADIUS = 1.0
"""mm; an arc tighter than this is a corner to the eye, and the part stops there instead."""
_SHARP = BOW_TURN + math.radians(1.0)
"""A smaller turn is no corner to the eye (common practice, no source)."""
_END_LEG, _INNER_LEG = 0.8, 0.5
"""How much of a leg an arc may take: of one that ends the route, and of one with a corner at either end."""
_SLOW = 0.02
"""Fraction of a route at either end in which a part has hardly any speed, so that a corner there needs no stop."""
_HALVINGS = 10
_BOW_STEPS = 7
"""Halvings between a bow that is free and one that is not: what is taken is within 1 % of what was asked."""
_SAME = 1e-6
"""mm; two points of routes that are nearer are one."""


_EDGE_PX = 1.0
"""A bow keeps its part this far inside the frame."""


@dataclass(frozen=True, eq=False)
class Sight:
    """What a bow is measured by on the screen.

    Attributes
    ----------
    points : mapping of part id to (k, 3) array
        Hull corners, assembled, mm.
    cameras : sequence of Camera
        One a frame.
    rest_frames : sequence of int
        The middle one tells which side is which.
    resolution : (width, height)
        px.

    """

    points: Mapping[str, Floats]
    cameras: Sequence[Camera]
    rest_frames: Sequence[int]
    resolution: tuple[int, int]


@dataclass(frozen=True, eq=False)
class Corners:
    """The routes of one shot, bent.

    Attributes
    ----------
    routes : mapping of part id to (k, 3) array
        From assembled to rest, mm.
    shared_mm : mapping of part id to tuple of float
        The ways at which parts come off their groups, along the new routes.
    stops_mm : mapping of part id to tuple of float
        Ways along the new route at which the part has to stop, ascending; only parts that have any.
    warnings : tuple of Finding
        Bows that had to be reduced.

    """

    routes: Mapping[str, Floats]
    shared_mm: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    stops_mm: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    warnings: tuple[Finding, ...] = ()


def round_corners(
    shot: Shot,
    removal: Removal,
    routes: Mapping[str, Floats],
    shared_mm: Mapping[str, tuple[float, ...]],
    encounters: Encounters,
    sight: Sight,
) -> Corners:
    """Bend the routes of one shot.

    Parameters
    ----------
    shot : Shot
        For its pins' `bow_mm`.
    removal : Removal
        Who is there while a part leaves.
    routes : mapping of part id to (k, 3) array
        With sharp corners, mm.
    shared_mm : mapping of part id to tuple of float
        Ways at which parts come off their groups, outermost first.
    encounters : Encounters
        Shapes of all pairs.
    sight : Sight
        For the bows.

    Returns
    -------
    Corners
        Each route begins and ends where it did. Every new piece is free of all parts that are still there when its
        part leaves, and of those that rest by then, clearance included wherever the sharp corner kept it. Members
        of a group keep the same corners as long as they are together.

    """
    crowd = _Crowd(removal, dict(routes), shared_mm, encounters)
    warnings: list[Finding] = []
    for part, pin in shot.pins.items():
        if pin.bow_mm and part in routes and len(routes[part]) > 1:
            warnings.extend(_bow(crowd, shot.name, part, pin.bow_mm, sight))
    arcs: dict[tuple[float, ...], float] = {}
    bent = {part: _bend(crowd, part, arcs) for part in routes}
    return Corners(
        {part: one.route for part, one in bent.items()},
        {part: tuple(bent[part].way(s) for s in ways) for part, ways in shared_mm.items()},
        {part: one.stops for part, one in bent.items() if one.stops},
        tuple(warnings),
    )


@dataclass(frozen=True, eq=False)
class _Crowd:
    """Who moves with a part and who is where, at a way along its route."""

    removal: Removal
    routes: dict[str, Floats]
    shared: Mapping[str, tuple[float, ...]]
    encounters: Encounters

    def members(self, part: str, way: float) -> list[str]:
        """Return all who move with the part beyond that way, itself included."""
        return [o for o in self.removal.order if o == part or any(s > way + _SAME for s in self._common(part, o))]

    def free(self, part: str, path: Floats, way: float, *, instead: Floats) -> bool:
        """Whether the path is free for all who walk it; without clearance where the path it replaces has none."""
        together = self.members(part, way)
        for mover in together:
            for other, at in self._others(mover, together, way):
                kept = not self.encounters.hits(mover, instead, other, at, kept=True)
                if self.encounters.hits(mover, path, other, at, kept=kept):
                    return False
        return True

    def _others(self, mover: str, together: list[str], way: float) -> Iterator[tuple[str, Floats]]:
        """Those who stand still meanwhile: at rest, at their places, or where a common group came to."""
        rank = self.removal.rank(mover)
        yield self.removal.body, np.zeros(3)
        for other in self.removal.order:
            if other in together:
                continue
            if self.removal.rank(other) < rank:
                yield other, self.routes[other][-1]
                continue
            reached = [s for s in self._common(mover, other) if s <= way + _SAME]
            yield other, self._at(other, max(reached)) if reached else np.zeros(3)

    def _common(self, one: str, other: str) -> list[float]:
        """Ways at which both come to the same place with a group that both are in."""
        return [
            s
            for s, t in zip(self.shared.get(one, ()), self.shared.get(other, ()), strict=False)
            if abs(s - t) < _SAME and np.allclose(self._at(one, s), self._at(other, t), atol=_SAME)
        ]

    def _at(self, part: str, way: float) -> Floats:
        route = self.routes[part]
        return np.asarray(position(route, way / float(lengths(route)[-1]))[0])


@dataclass(frozen=True, eq=False)
class _Bent:
    route: Floats
    stops: tuple[float, ...]
    cuts: tuple[tuple[float, float], ...]
    """(way along the old route, mm that the new one is shorter by from there on)."""

    def way(self, old: float) -> float:
        """Return the way along the new route of a point that was not bent away."""
        return old - sum(saved for at, saved in self.cuts if at < old)


def _bend(crowd: _Crowd, part: str, arcs: dict[tuple[float, ...], float]) -> _Bent:
    """Round what can be rounded of one route; `arcs` remembers what was found for a corner that others share."""
    route = crowd.routes[part]
    if len(route) < 3:
        return _Bent(route, (), ())
    along = lengths(route)
    keep = np.concatenate([[True], np.diff(along) > _SAME])
    points, along = route[keep], along[keep]
    fixed = crowd.shared.get(part, ())
    made = [points[0]]
    stops: list[float] = []
    cuts: list[tuple[float, float]] = []
    for k in range(1, len(points) - 1):
        before, after = _unit(points[k] - points[k - 1]), _unit(points[k + 1] - points[k])
        angle, at = turn(before, after), float(along[k])
        if any(abs(at - s) < _SAME for s in fixed) or angle <= _SHARP:
            made.append(points[k])  # a stop already, or no corner to the eye
            continue
        key = tuple(points[k - 1 : k + 2].ravel().tolist())
        if key not in arcs:
            arcs[key] = _widest(crowd, part, points, along, k)
        tangent = arcs[key]
        if tangent:
            arc = rounded(points[k], before, after, tangent)
            made.extend(arc)
            cuts.append((at, 2 * tangent - float(lengths(arc)[-1])))
        else:
            made.append(points[k])
            if _SLOW * along[-1] < at < (1 - _SLOW) * along[-1]:
                stops.append(at - sum(saved for _, saved in cuts))
    made.append(points[-1])
    return _Bent(np.stack(made) if cuts else route, tuple(stops), tuple(cuts))


def _widest(crowd: _Crowd, part: str, points: Floats, along: Floats, k: int) -> float:
    """Return how far from a corner its arc may begin, mm; 0 where none is free."""
    before, after = _unit(points[k] - points[k - 1]), _unit(points[k + 1] - points[k])
    shares = (_END_LEG if k == 1 else _INNER_LEG, _END_LEG if k == len(points) - 2 else _INNER_LEG)
    tangent = min(shares[0] * float(along[k] - along[k - 1]), shares[1] * float(along[k + 1] - along[k]))
    least = LEAST_RADIUS * math.tan(turn(before, after) / 2)
    for _ in range(_HALVINGS):
        if tangent < least:
            return 0.0
        sharp = np.stack([points[k] - tangent * before, points[k], points[k] + tangent * after])
        if crowd.free(part, rounded(points[k], before, after, tangent), float(along[k]), instead=sharp):
            return tangent
        tangent /= 2
    return 0.0


def _bow(crowd: _Crowd, shot: str, part: str, asked: float, sight: Sight) -> list[Finding]:
    """Bow the last free leg of a part as far as there is room; the crowd's routes are changed."""
    route = crowd.routes[part]
    along = lengths(route)
    start = float(along[-2])
    if along[-1] - start < LEAST_RADIUS:  # a part that goes nowhere has no direction to bow beside
        return [_less(shot, part, asked, 0.0)]
    leg = _unit(route[-1] - route[-2])
    if len(route) == 2:
        staying = [o for o in crowd.removal.order if crowd.removal.rank(o) > crowd.removal.rank(part)]
        outs = crowd.encounters.way_out(part, leg, [*staying, crowd.removal.body])
        start = max(float(outs.max(initial=0.0)), 0.0)
    length = float(along[-1]) - start
    shared = max(crowd.shared.get(part, (0.0,)))
    if length < LEAST_RADIUS or shared > start + _SAME:
        return [_less(shot, part, asked, 0.0)]
    first = route[-1] - length * leg
    side = _aside(leg, sight)

    def fits(sagitta: float) -> bool:
        path = bowed(first, route[-1], side, sagitta)
        return crowd.free(part, path, start, instead=np.stack([first, route[-1]])) and _shown(path, part, sight)

    low, high = 0.0, max(-length / 2, min(length / 2, asked))  # beyond half a circle it would turn back
    if fits(high):
        low = high
    for _ in range(_BOW_STEPS if low == 0.0 else 0):
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    if low:
        head = route[:-1] if len(route) > 2 or start == 0.0 else np.stack([route[0], first])
        crowd.routes[part] = np.concatenate([head, bowed(first, route[-1], side, low)[1:]])
    return [] if low == asked else [_less(shot, part, asked, low)]


def _aside(leg: Floats, sight: Sight) -> Floats:
    """To the right of the way out on the screen of the middle rest frame; where the way points at it, its right."""
    frames = sight.rest_frames or (0,)
    camera = sight.cameras[frames[len(frames) // 2]]
    side = np.cross(camera.forward, leg)
    if np.linalg.norm(side) < _SAME:
        right = camera.matrix[0, :3]
        side = right - (right @ leg) * leg
    return _unit(side)


def _shown(path: Floats, part: str, sight: Sight) -> bool:
    """Whether the part stays in the frame all along the path, whichever camera looks."""
    points = (path[:, None] + sight.points[part][None]).reshape(-1, 3)
    most = np.array(sight.resolution) - _EDGE_PX
    for camera in dict.fromkeys(sight.cameras):
        pixels, depth = camera.project(points)
        if (camera.is_perspective and depth.min() <= camera.near) or pixels.min() < _EDGE_PX or (pixels > most).any():
            return False
    return True


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.linalg.norm(vector))


def _less(shot: str, part: str, asked: float, possible: float) -> Finding:
    return Finding(
        code="bow-reduced",
        severity="warning",
        what=f'In shot "{shot}" the way of "{part}" bends aside by {possible:.1f} mm, not by {asked:g} mm: '
        + ("there is no more room." if possible else "there is no room for a bow."),
        why="Its arc must be free of all that is there when it leaves, begin where it is out, and stay in the frame.",
        remedy="Ask for less, bend it to the other side (change the sign of bow_mm), or let it travel farther.",
    )
