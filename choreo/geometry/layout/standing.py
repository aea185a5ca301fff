"""What stands already while a layout is made: ways, outlines at rest, and what is travelled."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import Camera
from choreo.geometry.layout.placement import hulls_through
from choreo.geometry.layout.subject import Frame, Item, Subject
from choreo.geometry.plane.unions import Geometries
from choreo.model.plan import Floats

_BOX_MM = 0.1
"""Boxes are asked with this much more room than they need."""
_EDGE_PX = 1e-5
"""px; what is out by less is out by rounding: a camera that was solved has its farthest part on the very edge."""


class Standing:
    """The parts that are placed, in the order in which they were; the body is the first.

    Attributes
    ----------
    cameras : sequence of Camera
        The rest frames to respect.
    middle : int
        The camera on which sideways places are chosen.
    routes : mapping of part id to (k, 3) array
        From assembled to rest, mm.
    kept : tuple of str
        Parts whose routes were given: some of them leave before parts that are placed after them.
    ways_free : bool
        Whether a part may rest where a kept part passes that leaves before it: that one has passed by then.

    """

    def __init__(
        self,
        subject: Subject,
        cameras: Sequence[Camera],
        frame: Frame,
        *,
        bounded: bool,
        kept: Sequence[str] = (),
        ways_free: bool = True,
    ) -> None:
        self.subject, self.cameras, self.frame, self.bounded = subject, list(cameras), frame, bounded
        self.kept, self.ways_free = tuple(kept), ways_free
        self.matrices = np.stack([camera.matrix for camera in cameras])
        self.middle = len(self.cameras) // 2
        self.routes: dict[str, Floats] = {}
        self._chains: dict[str, tuple[str, ...]] = {}
        self._lanes: dict[tuple[str, int], BaseGeometry] = {}
        self._hulls: list[Geometries] = []
        self._boxes: list[Floats] = []
        self._box = {part: np.stack([own.min(axis=0), own.max(axis=0)]) for part, own in subject.points.items()}
        self._names = {part: index for index, part in enumerate(self._box)}
        self._still = np.stack(list(self._box.values()))
        self._covers: dict[tuple[object, ...], tuple[int, BaseGeometry]] = {}
        self._add(subject.body, (), np.zeros((1, 3)))

    @property
    def eye(self) -> Camera:
        """The camera on which sideways places are chosen."""
        return self.cameras[self.middle]

    @property
    def hulls(self) -> Geometries:
        """(cameras, parts) outlines at rest, px."""
        return np.stack(self._hulls, axis=1)

    def add(self, item: Item, route: Floats) -> None:
        """Let a part stand at the end of its route."""
        self._add(item.part, item.chain, route)

    def drop_to(self, count: int) -> None:
        """Forget all but the first so many parts."""
        for part in list(self.routes)[count:]:
            del self.routes[part], self._chains[part]
            self._lanes = {key: lane for key, lane in self._lanes.items() if key[0] != part}
        del self._hulls[count:], self._boxes[count:]
        self._covers = {key: known for key, known in self._covers.items() if known[0] <= count}

    def _add(self, part: str, chain: tuple[str, ...], route: Floats) -> None:
        self.routes[part], self._chains[part] = route, chain
        self._hulls.append(hulls_through(self.subject.points[part] + route[-1], self.matrices))
        self._boxes.append(self._box[part] + np.stack([route.min(axis=0), route.max(axis=0)]))

    def base(self, item: Item) -> Floats:
        """The way that an item has come with its groups, (k, 3); at least the assembled place."""
        return self.routes[item.groups[-1]] if item.groups else np.zeros((1, 3))

    def tail(self, part: str, item: Item) -> Floats:
        """The part's way from where it comes off the last group that it shares with the item."""
        shared = 0
        for one, other in zip(self._chains[part], item.chain, strict=False):
            if one != other:
                break
            shared = len(self.routes[one]) - 1
        return self.routes[part][shared:]

    def lanes(self, item: Item) -> list[BaseGeometry]:
        """What the parts that stand travel over on the middle camera, as far as the item is not with them."""
        found, gone = [], self._gone(item)
        for part in list(self.routes)[1:]:
            if part in gone:
                continue
            tail = self.tail(part, item)
            key = (part, len(tail))
            if len(tail) > 1 and key not in self._lanes:
                swept = (self.subject.points[part] + tail[:, None]).reshape(-1, 3)
                self._lanes[key] = hulls_through(swept, self.matrices[self.middle, None])[0]
            if len(tail) > 1:
                found.append(self._lanes[key])
        return found

    def met_on(self, item: Item, start: Floats, direction: Floats, farthest: float) -> list[tuple[float, float]]:
        """Return ways along a ray at which the item, resting there, would be met by a part on its way.

        Intervals, mm, sorted.
        """
        spans: list[tuple[float, float]] = []
        ray = np.stack([start, start + direction * farthest])
        reach = np.stack([ray.min(axis=0), ray.max(axis=0)])
        names, gone = list(self.routes), self._gone(item)
        boxes = np.stack(self._boxes)
        room = self.frame.clearance_mm + _BOX_MM
        for member in item.members:
            low, high = self._box[member] + reach
            near = np.all((boxes[:, 0] < high + room) & (boxes[:, 1] > low - room), axis=1)
            for index in np.flatnonzero(near[1:]) + 1:
                if names[index] not in gone:
                    tail = self.tail(names[index], item)
                    if len(tail) > 1:
                        spans += self.subject.encounters.resting_spans(
                            names[index], tail, member, (start, direction), farthest
                        )
        return sorted(spans)

    def before_kept(self, item: Item, start: Floats, direction: Floats, farthest: float) -> float:
        """How far along a ray an item gets before it meets a kept part that is at rest when it leaves, mm."""
        ray, still = np.stack([start, start + direction * farthest]), ((0.0, farthest), (0.0, 0.0))
        for member in item.members:
            for other in self._early(item):
                rest = self.routes[other][-1:]
                met = self.subject.encounters.diagram(member, other, ray, rest, still, kept=True)
                farthest = min(farthest, float(met[..., 0].min(initial=farthest)))
        return farthest

    def passed_early(self, item: Item, route: Floats) -> str | None:
        """Return the kept part, at rest when an item leaves, that it would pass through."""
        hits = self.subject.encounters.hits
        for other in self._early(item):
            if any(hits(member, route, other, self.routes[other][-1]) for member in item.members):
                return other
        return None

    def is_inside(self, part: str, rest: Floats) -> bool:
        """Whether a part at rest lies inside the safe area on all cameras."""
        return self.beyond(hulls_through(self.subject.points[part] + rest, self.matrices)) <= _EDGE_PX

    def beyond(self, hulls: Geometries) -> float:
        """How far outlines (one a camera) reach beyond the safe area, px; 0 where they do not."""
        (width, height), (left, top, right, bottom) = self.frame.resolution, self.frame.margins
        x0, y0, x1, y1 = shapely.total_bounds(hulls)
        return float(max(left - x0, top - y0, x1 - width + right, y1 - height + bottom, 0.0))

    def _early(self, item: Item) -> list[str]:
        order = self.subject.order
        first = min(order.index(member) for member in item.members)
        return [part for part in order[:first] if part in self.kept]

    def _gone(self, item: Item) -> list[str]:
        """Whose ways need not be kept free of an item at rest: they have all been travelled before it leaves."""
        return self._early(item) if self.ways_free else []

    def meets(self, member: str, path: Floats, boxes: Floats) -> list[int]:
        """Which of the boxes (n, 2, 3) the member's own meets, or comes near, on a path (k, 3)."""
        legs = np.stack([np.minimum(path[:-1], path[1:]), np.maximum(path[:-1], path[1:])], axis=1)
        swept = self._box[member] + legs
        room = self.frame.clearance_mm + _BOX_MM
        apart = (boxes[:, None, 0] >= swept[:, 1] + room) | (boxes[:, None, 1] <= swept[:, 0] - room)
        return [int(index) for index in np.flatnonzero((~apart.any(axis=2)).any(axis=1))]

    def near(self, member: str, path: Floats, others: Sequence[str]) -> list[str]:
        """Those of `others`, at their assembled places, whose boxes the member's meets on a path (k, 3)."""
        there = self._still[[self._names[other] for other in others]]
        return [others[index] for index in self.meets(member, path, there)]

    def cover(self, key: tuple[object, ...], rings: Callable[[int], Floats]) -> BaseGeometry:
        """Return the union of what all that stands forbids, as it grows.

        `rings` gives what the parts from a number on forbid, (n, v, 2), in coordinates that movers of the same key
        share; what was united for one of them serves the others.
        """
        count, known = self._covers.get(key, (0, shapely.Polygon()))
        if count < len(self.routes):
            known = shapely.union_all([known, *shapely.polygons(rings(count))])
            self._covers[key] = len(self.routes), known
        return known

    def gap(self, hulls: Geometries) -> float:
        """Smallest distance of a part's outlines (one a camera) from all that stands, px."""
        return float(shapely.distance(hulls[:, None], self.hulls).min())

    def outcome(self) -> Mapping[str, Floats]:
        """All routes, the last that was placed first, the body last."""
        return dict(reversed(self.routes.items()))


def past(way: float, blocked: Sequence[tuple[float, float]], hair: float) -> float:
    """Return the first way, from `way` on, that lies in none of the sorted open intervals.

    An interval that begins at 0 was cut off there: 0 lies in it.
    """
    for low, high in blocked:
        if (low < way or low <= 0) and way < high + hair:
            way = high + hair
    return way
