"""Who of a set of named solids meets whom, where: every question about collisions is asked here.

Work is done only where it must be. A question names the relative displacements that it is about; bands whose
boxes never meet over those are left out, sections are cut into convex pieces only when something passes them
sideways, and where nothing moves in the plane two sections either overlap or they do not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
import shapely

from choreo.geometry.collision.legs import JOIN, Leg, is_flat, leg_cuts, legs_of, near_legs, relative_box
from choreo.geometry.collision.obstacle import (
    Cuts,
    Obstacle,
    cut_below,
    cut_out,
    depth_only,
    obstacle,
    overlaps_along,
)
from choreo.geometry.collision.shape import Shape, make_shape
from choreo.geometry.solids.solid import Solid, shrink
from choreo.model.plan import Floats

Answer = TypeVar("Answer")
_SPARE = 1e-6
"""mm; a pair that keeps exactly its clearance keeps it, whatever the last digits say."""


_MOST_ANSWERS = 20_000
"""Remembered of one product; far more than one shot asks for."""


@dataclass(frozen=True, eq=False)
class Encounters:
    """Who meets whom, where.

    Attributes
    ----------
    shapes : mapping of name to Shape
        Solids at their assembled places, shrunk by half of what may touch.
    pressed : mapping of (name, name) to two Shapes
        Pairs that may overlap more: shrunk further, for this pair only.
    clearance : mapping of (name, name) to float
        Distance that a pair keeps while it moves, mm from full-size solid to full-size solid; absent: it may touch.
    touch_mm : float
        What two shrunk shapes lack together, mm: distances between solids are measured with it put back.
    turning : mapping of name to (name, float)
        Solids that turn from some way along their route on, mm: from there they count as all that they sweep, which
        is the shape of the other name.

    """

    shapes: Mapping[str, Shape]
    pressed: Mapping[tuple[str, str], tuple[Shape, Shape]] = field(default_factory=dict)
    clearance: Mapping[tuple[str, str], float] = field(default_factory=dict)
    touch_mm: float = 0.0
    turning: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    _blocked: dict[tuple[str, tuple[float, ...], str], bool] = field(default_factory=dict, repr=False)
    _crossings: dict[tuple[str, str, tuple[float, ...], tuple[float, ...], float], Floats] = field(
        default_factory=dict, repr=False
    )
    _answers: dict[tuple[object, ...], Any] = field(default_factory=dict, repr=False)
    _meet: dict[tuple[str, str, int, int, float, float, float], bool] = field(default_factory=dict, repr=False)

    def pair(self, a: str, b: str) -> tuple[Shape, Shape]:
        """Return the two shapes as this pair sees them."""
        if (a, b) in self.pressed:
            return self.pressed[a, b]
        if (b, a) in self.pressed:
            two, one = self.pressed[b, a]
            return one, two
        return self.shapes[a], self.shapes[b]

    def box(self, name: str) -> Floats:
        """Return the (2, 3) box around a solid at its place, and around all that it sweeps if it turns on its way."""
        own = self.shapes[name].box
        if name not in self.turning:
            return own
        swept = self.shapes[self.turning[name][0]].box
        return np.stack([np.minimum(own[0], swept[0]), np.maximum(own[1], swept[1])])

    def room(self, a: str, b: str) -> float:
        """Return how far apart this pair's shrunk shapes keep while moving, mm."""
        kept = self.clearance.get((a, b), self.clearance.get((b, a), 0.0))
        return kept + self.touch_mm - _SPARE if kept > 0 else 0.0

    def rest_within(self, a: str, b: str, gap: float) -> bool:
        """Whether two parts, at their places, stand no farther than `gap` apart (square at corners along z)."""
        first, second = self.pair(a, b)
        gap += self.touch_mm
        still = np.zeros(3)
        return any(
            bool(shapely.dwithin(first.solid.bands[one].section, second.solid.bands[two].section, gap))
            for one, two in self._band_pairs(a, b, still, still, gap)
        )

    def with_clearance(self, clearance: Mapping[tuple[str, str], float]) -> Encounters:
        """Return the same encounters with other clearances; what is known already and does not hang on them is kept."""
        return replace(self, clearance=clearance, _crossings={}, _answers={})

    def hits(self, mover: str, path: Floats, other: str, other_at: Floats | None = None, *, kept: bool = False) -> bool:
        """Whether the mover, walking a polyline of displacements (k, 3), overlaps the other standing still.

        With `kept` the pair's clearance counts as part of the solids.
        """
        at = np.zeros(3) if other_at is None else other_at
        grow = self.room(mover, other) if kept else 0.0
        for p, q in pairwise(path):
            low, high = at - np.maximum(p, q), at - np.minimum(p, q)
            for ob in self._obstacles(mover, other, low, high, grow):
                spans = overlaps_along(ob, at - p, p - q)
                if bool(np.any((spans[:, 1] > 0) & (spans[:, 0] < 1))):
                    return True
        return False

    def blocks_way(self, mover: str, direction: Floats, other: str) -> bool:
        """Whether `other`, at its place, stands in the mover's straight way to infinity."""
        key = (mover, tuple(direction.tolist()), other)
        if key not in self._blocked:
            far = np.where(direction == 0, 0.0, np.inf)
            low, high = np.where(direction > 0, -far, 0.0), np.where(direction < 0, far, 0.0)
            self._blocked[key] = any(
                bool(np.any(overlaps_along(ob, np.zeros(3), -direction)[:, 1] > 0))
                for ob in self._obstacles(mover, other, low, high, 0.0)
            )
        return self._blocked[key]

    def way_out(self, mover: str, direction: Floats, others: Sequence[str]) -> Floats:
        """Return, for each other part, how far along a unit direction the mover is clear of it for good, mm.

        There the two may still touch, as full-size solids, but no more than that.
        """
        behind = self.shapes[mover].support(-direction) + self.touch_mm
        return np.array([max(self.shapes[other].support(direction) + behind, 0.0) for other in others])

    def overlap_depth(self, a: str, b: str) -> float:
        """Return how far two parts would have to move, at their places, to come apart, mm; 0 if they are apart.

        The depth of the deepest pair of convex pieces: exact for convex parts, else a lower bound.
        """
        deepest = 0.0
        still = np.zeros(3)
        for one, two in self._band_pairs(a, b, still, still, 0.0):
            ob = self._obstacle(a, b, one, two, still, still, 0.0, flat=False)
            real = np.any(ob.normals != 0, axis=2)
            slack = np.where(real, ob.offsets, np.inf).min(axis=1)
            deepest = max(deepest, float(slack.max(initial=0.0)))
        return deepest

    def diagram(
        self,
        a: str,
        b: str,
        a_route: Floats,
        b_route: Floats,
        spans: tuple[tuple[float, float], tuple[float, float]],
        *,
        kept: bool = False,
        hulls: bool = False,
    ) -> Floats:
        """Return what collides as (n, v, 2) convex polygons of (way of a, way of b), mm along the two routes.

        Ways below 0 continue the first leg, ways beyond the length the last. With `kept` the pair's
        clearance counts as part of the solids; with `hulls` the prism around each solid does, which is quick
        and never too little. Remembered: a shot that is timed anew asks the same again.
        """
        key = ("diagram", a, b, a_route.tobytes(), b_route.tobytes(), spans, kept, hulls)

        def make() -> Floats:
            asked = (a, b, a_route, b_route, spans)
            return self._around(a, b).diagram(*asked, kept=kept) if hulls else self._diagram(*asked, kept=kept)

        return self.remembered(key, make)

    def remembered(self, key: tuple[object, ...], make: Callable[[], Answer]) -> Answer:
        """Return what was made of these encounters before under a key that names all else that it hangs on."""
        if key not in self._answers:
            if len(self._answers) >= _MOST_ANSWERS:
                self._answers.clear()
            self._answers[key] = make()
        found: Answer = self._answers[key]
        return found

    def _diagram(
        self,
        a: str,
        b: str,
        a_route: Floats,
        b_route: Floats,
        spans: tuple[tuple[float, float], tuple[float, float]],
        *,
        kept: bool,
    ) -> Floats:
        found: list[Cuts] = []
        for one, a_span in self._stretches(a, spans[0]):
            for two, b_span in self._stretches(b, spans[1]):
                grow = self.room(one, two) if kept else 0.0
                found.extend(self._cuts(one, two, legs_of(a_route, a_span), legs_of(b_route, b_span), grow))
        return cut_out(found)

    def _around(self, a: str, b: str) -> Encounters:
        """The same two with the prisms around them in place of the solids."""
        turning = {name: self.turning[name] for name in (a, b) if name in self.turning}
        pairs = [(one, two) for one in _both(a, turning) for two in _both(b, turning)]
        hulls = {pair: (self.pair(*pair)[0].hull, self.pair(*pair)[1].hull) for pair in pairs}
        kept = {pair: self.clearance.get(pair, self.clearance.get(pair[::-1], 0.0)) for pair in pairs}
        return Encounters({}, hulls, kept, self.touch_mm, turning)

    def _stretches(self, name: str, span: tuple[float, float]) -> list[tuple[str, tuple[float, float]]]:
        """Cut a span of ways where a solid begins to turn; each piece with the shape that counts there."""
        if name not in self.turning:
            return [(name, span)]
        swept, since = self.turning[name]
        pieces = [(name, (span[0], min(span[1], since))), (swept, (max(span[0], since - JOIN), span[1]))]
        return [(one, (low, high)) for one, (low, high) in pieces if low <= high]

    def _cuts(self, a: str, b: str, a_legs: Sequence[Leg], b_legs: Sequence[Leg], grow: float) -> Iterator[Cuts]:
        """Yield what collides, a pair of straight stretches and a pair of bands at a time."""
        boxes = (self.pair(a, b)[0].box, self.pair(a, b)[1].box)
        aside: list[tuple[Leg, Leg]] = []
        for i, j in near_legs(boxes, (a_legs, b_legs), grow):
            low, high = relative_box(a_legs[i], b_legs[j])
            if is_flat(low, high):
                yield from (leg_cuts(ob, a_legs[i], b_legs[j]) for ob in self._obstacles(a, b, low, high, grow))
            else:
                aside.append((a_legs[i], b_legs[j]))
        if aside:  # the same convex pieces for all of them: what they forbid is built once
            around = np.array([relative_box(*legs) for legs in aside])
            obstacles = list(self._obstacles(a, b, around[:, 0].min(axis=0), around[:, 1].max(axis=0), grow))
            yield from (leg_cuts(ob, *legs) for legs in aside for ob in obstacles)

    def resting_spans(
        self, mover: str, route: Floats, other: str, ray: tuple[Floats, Floats], farthest: float
    ) -> list[tuple[float, float]]:
        """Return the ways along a ray at which `other`, resting there, is met by a mover on its route.

        The ray is (start, unit direction), displacements of `other`, mm. Clearance counts as part of the solids.
        Intervals in mm, one a convex piece, not merged.
        """
        start, direction = ray
        length = float(np.linalg.norm(np.diff(route, axis=0), axis=1).sum())
        if len(route) != 2 or length == 0 or start.any() or route[0].any():
            axis = np.stack([start, start + direction * farthest])
            met = self.diagram(mover, other, route, axis, ((0.0, length), (0.0, farthest)), kept=True)
        else:
            met = cut_below(self._crossing(mover, route[1] / length, other, direction, farthest), length)
        return list(zip(met[..., 1].min(axis=1).tolist(), met[..., 1].max(axis=1).tolist(), strict=True))

    def _crossing(self, mover: str, way: Floats, other: str, direction: Floats, farthest: float) -> Floats:
        """The diagram of two straight ways from the assembled places, both as long as can be; remembered."""
        key = (mover, other, tuple(np.round(way, 12).tolist()), tuple(direction.tolist()), farthest)
        if key not in self._crossings:
            routes = (np.stack([np.zeros(3), way * farthest]), np.stack([np.zeros(3), direction * farthest]))
            spans = ((0.0, farthest), (0.0, farthest))
            self._crossings[key] = self.diagram(mover, other, *routes, spans, kept=True)
        return self._crossings[key]

    def _obstacles(self, a: str, b: str, low: Floats, high: Floats, grow: float) -> Iterator[Obstacle]:
        """Yield an obstacle for each pair of bands that may meet for relative displacements in a box (3,)."""
        flat = is_flat(low, high)
        for one, two in self._band_pairs(a, b, low, high, grow):
            ob = self._obstacle(a, b, one, two, low, high, grow, flat=flat)
            if len(ob.offsets):
                yield ob

    def _band_pairs(self, a: str, b: str, low: Floats, high: Floats, grow: float) -> list[tuple[int, int]]:
        first, second = self.pair(a, b)
        least = first.boxes[:, None, 0] - second.boxes[None, :, 1] - grow
        most = first.boxes[:, None, 1] - second.boxes[None, :, 0] + grow
        one, two = np.nonzero(np.all((high > least) & (low < most), axis=2))
        return list(zip(one.tolist(), two.tolist(), strict=True))

    def _obstacle(
        self,
        a: str,
        b: str,
        one: int,
        two: int,
        low: Floats,
        high: Floats,
        grow: float,
        *,
        flat: bool,
    ) -> Obstacle:
        first, second = self.pair(a, b)
        band, other = first.solid.bands[one], second.solid.bands[two]
        depths = (band.z0 - other.z1, band.z1 - other.z0)
        if not flat:
            return obstacle(first.pieces(one), second.pieces(two), depths, low[:2], high[:2], grow)
        if self._sections_meet(a, b, one, two, float(low[0]), float(low[1]), grow):
            return depth_only(depths, grow)
        return Obstacle(np.zeros((0, 2, 3)), np.zeros((0, 2)))

    def _sections_meet(self, a: str, b: str, one: int, two: int, x: float, y: float, grow: float) -> bool:
        """Whether two sections come nearer than `grow` while B's is displaced by (x, y) relative to A's.

        Both are shrunk, so parts that only touch are apart: meeting at all is overlapping.
        """
        key = (a, b, one, two, x, y, grow)
        if key not in self._meet:
            first, second = self.pair(a, b)
            section = second.solid.bands[two].section
            if x or y:
                section = shapely.transform(section, lambda xy: xy + np.array([x, y]))
            self._meet[key] = bool(shapely.dwithin(first.solid.bands[one].section, section, grow))
        return self._meet[key]


def make_encounters(
    solids: Mapping[str, Solid],
    touch_mm: float,
    pressed: Mapping[tuple[str, str], float],
    clearance: Mapping[tuple[str, str], float] | None = None,
) -> Encounters:
    """Shrink all solids by half of `touch_mm`.

    Parameters
    ----------
    solids : mapping of name to Solid
        At their assembled places, full size.
    touch_mm : float
        Overlap that still counts as touching.
    pressed : mapping of (name, name) to float
        Interference that a pair is allowed across its joint (difference of diameters), mm.
    clearance : mapping of (name, name) to float, optional
        See `Encounters`.

    """
    half = touch_mm / 2
    shapes = {name: make_shape(shrink(solid, half, half)) for name, solid in solids.items()}
    # A difference of diameters of p is an overlap of p/2 in the radius, shared by the two solids.
    more = {
        (a, b): (
            make_shape(shrink(solids[a], half + p / 4, half + p / 4)),
            make_shape(shrink(solids[b], half + p / 4, half + p / 4)),
        )
        for (a, b), p in pressed.items()
    }
    return Encounters(shapes, more, dict(clearance or {}), touch_mm)


def _both(name: str, turning: Mapping[str, tuple[str, float]]) -> list[str]:
    return [name, turning[name][0]] if name in turning else [name]
