"""Ways out of any number of straight moves, in the exact space of free displacements.

A mover among still solids, all of them stacks of bands, may be displaced by d = (x, y, z). Between two depths at
which some band of it comes level with some face of another, what is forbidden does not change with z: it is the
union of the Minkowski differences of the sections that are level (Lozano-Perez 1983). So the free space is a
stack of planar free regions, one a *storey*. Its pieces, joined where two storeys share an area, decide exactly
whether there is any way out, whatever its shape. A way itself is looked for along straight moves between the
corners of those regions: in the plane at one depth, or along z at one place; fewest moves first, then least
travel. Several parts that move as one are a mover too: what is forbidden to any of them is forbidden to all.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.collision.obstacle import Pieces
from choreo.geometry.plane.convex import convex_sums
from choreo.model.plan import Floats

_GRID = 1e-6
"""mm; corners of the free space are rounded to this."""
_SNAP = 5e-6
"""mm; a move along a wall is free although the wall's corners are rounded numbers."""
_OFF_WALL = 1e-3
"""mm; how far from the walls ways keep, where there is room. Passages narrower than twice this are not found."""
_LEAST_SHARED = 1e-9
"""Square mm; storeys that share less are not joined."""
_INSIDE = 0.25
"""Into which part of a storey's height a part is lifted before it goes sideways, at most..."""
_LIFT = 0.5
"""...and at most this many mm."""
_BESIDE = 0.5
"""mm; walls no farther than this are slid along from the start on."""
_WALLS = 16
"""How many of those, the longest first: a round wall has a great many short ones."""


@dataclass(frozen=True, eq=False)
class WayOut:
    """A way to infinity.

    Attributes
    ----------
    corners : (k, 3) array
        Displacements, mm, from assembled (the first row, 0) to where the last move begins.
    direction : (3,) array
        Unit direction of the last move.

    """

    corners: Floats
    direction: Floats


@dataclass(frozen=True, eq=False)
class _Level:
    """Two bands: between these depths the mover is level with the other and overlaps it within a region."""

    low: float
    high: float
    pieces: tuple[Pieces, Pieces]
    grow: float
    _region: list[BaseGeometry] = field(default_factory=list)

    @property
    def region(self) -> BaseGeometry:
        if not self._region:
            mover, other = self.pieces
            # Turning a convex ring about the origin keeps its sense.
            sums = convex_sums(other.points, -mover.points).reshape(
                -1, other.points.shape[1] + mover.points.shape[1], 2
            )
            region = _joined(list(shapely.polygons(sums)))
            self._region.append(shapely.buffer(region, self.grow, join_style="mitre") if self.grow else region)
        return self._region[0]

    @property
    def bounds(self) -> Floats:
        mover, other = self.pieces
        low = other.boxes[:, 0].min(axis=0) - mover.boxes[:, 1].max(axis=0) - self.grow
        high = other.boxes[:, 1].max(axis=0) - mover.boxes[:, 0].min(axis=0) + self.grow
        return np.concatenate([low, high])


@dataclass(frozen=True, eq=False)
class FreeSpace:
    """The free displacements of one mover among others that stand still; storeys are worked out when asked for.

    Attributes
    ----------
    floors : (n + 1,) array
        Depths, mm, between which the n storeys lie; the lowest and highest storey are wholly free.
    frame : polygon
        A box that holds everything that is forbidden, with room around it.

    """

    floors: Floats
    frame: BaseGeometry
    levels: tuple[_Level, ...]
    _free: dict[int, BaseGeometry] = field(default_factory=dict)

    @property
    def storeys(self) -> int:
        """How many there are."""
        return len(self.floors) - 1

    def storey(self, z: float) -> int:
        """Return the storey that holds depth z."""
        return int(np.clip(np.searchsorted(self.floors, z, side="right") - 1, 0, self.storeys - 1))

    def free(self, storey: int) -> BaseGeometry:
        """Return the free region of a storey, clipped to the frame."""
        if storey not in self._free:
            middle = (self.floors[storey] + self.floors[storey + 1]) / 2
            taken = [level.region for level in self.levels if level.low < middle < level.high]
            self._free[storey] = shapely.difference(self.frame, _joined(taken)) if taken else self.frame
        return self._free[storey]


Known = dict[tuple[str, str, bool], list[_Level]]
"""What is forbidden to a mover by another, at all levels; kept from one question to the next."""


def free_space(
    encounters: Encounters,
    mover: str | Sequence[str],
    present: Sequence[str],
    *,
    kept: bool = True,
    known: Known | None = None,
) -> FreeSpace:
    """Return where a mover, or several parts moving as one, may be, among the others of `present` at their places.

    With `kept` the pairs' clearances count as part of the solids. What two parts forbid each other is worked out
    once and put into `known`, if that is given.
    """
    movers = (mover,) if isinstance(mover, str) else tuple(mover)
    known = {} if known is None else known
    levels: list[_Level] = []
    for part in movers:
        for other in present:
            if other not in movers:
                key = (part, other, kept)
                if key not in known:
                    known[key] = _levels(encounters, part, other, encounters.room(part, other) if kept else 0.0)
                levels.extend(known[key])
    cuts = sorted({round(z, 9) for level in levels for z in (level.low, level.high)})
    if not cuts:
        return FreeSpace(np.array([-1.0, 1.0]), shapely.box(-1, -1, 1, 1), ())
    bounds = np.stack([level.bounds for level in levels])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    margin = float(max(*(high - low), 1.0))
    frame = shapely.box(*(low - margin), *(high + margin))
    return FreeSpace(np.array([cuts[0] - margin, *cuts, cuts[-1] + margin]), frame, tuple(levels))


def is_connected_out(space: FreeSpace) -> bool:
    """Whether any way at all leads from assembled to infinity: exact, for translations of any shape."""
    return _explore(space)[0]


def _explore(space: FreeSpace, *, whole: bool = False) -> tuple[bool, list[int]]:
    """Walk from room to room; return whether a way leads out, and the storeys seen (all of them if `whole`)."""
    rooms: dict[int, list[BaseGeometry]] = {}

    def on(storey: int) -> list[BaseGeometry]:
        if storey not in rooms:
            rooms[storey] = list(shapely.get_parts(space.free(storey)))
        return rooms[storey]

    first, origin, out = space.storey(0.0), shapely.Point(0, 0), False
    todo = [(first, n) for n, room in enumerate(on(first)) if shapely.dwithin(room, origin, _SNAP)]
    seen = set(todo)
    while todo and (whole or not out):
        storey, n = todo.pop()
        out = out or storey in (0, space.storeys - 1) or _touches_frame(on(storey)[n], space.frame)
        for near in (storey - 1, storey + 1):
            for m, room in enumerate(on(near) if 0 <= near < space.storeys else ()):
                if (near, m) not in seen and shapely.intersection(on(storey)[n], room).area > _LEAST_SHARED:
                    seen.add((near, m))
                    todo.append((near, m))
    return out, sorted({storey for storey, _ in seen})


def find_way_out(space: FreeSpace, *, most_corners: int = 1500) -> WayOut | None:
    """Return the way out with the fewest straight moves, the shortest of these, or None if none was found.

    Fewest and shortest among ways that turn at corners of the free space, where they are level with the start
    along x or y, or where a slide along a wall beside the start comes into or out of a storey; shortest but for
    where in a storey it goes sideways, at most half a millimetre a turn.

    Parameters
    ----------
    space : FreeSpace
        Of the mover.
    most_corners : int
        Search limit: how many of these places are looked at, those nearest to the start. Where the space is
        connected out and the answer is None, this limit (or a way that turns elsewhere) is the reason.

    """
    out, storeys = _explore(space, whole=False)
    if not out:
        return None
    _, storeys = _explore(space, whole=True)
    return _Search(space, storeys, most_corners).run()


def _levels(encounters: Encounters, mover: str, other: str, grow: float) -> list[_Level]:
    one, two = encounters.pair(mover, other)
    return [
        _Level(still.z0 - band.z1 - grow, still.z1 - band.z0 + grow, (one.pieces(i), two.pieces(j)), grow)
        for i, band in enumerate(one.solid.bands)
        for j, still in enumerate(two.solid.bands)
    ]


def _joined(areas: Sequence[BaseGeometry]) -> BaseGeometry:
    """Union on a fine grid: without one, edges that all but coincide can cost a whole area."""
    return shapely.union_all(areas, grid_size=_GRID)


def _touches_frame(room: BaseGeometry, frame: BaseGeometry) -> bool:
    return bool(shapely.dwithin(room, frame.exterior, _SNAP))


class _Search:
    """Dijkstra over (storey, corner), by number of moves, then by length."""

    def __init__(self, space: FreeSpace, storeys: list[int], most_corners: int) -> None:
        # Storeys that cannot be reached are shut: neighbours of one that can be reached are all reached.
        self.space, self.first = space, storeys[0]
        self.free = [space.free(storey) for storey in storeys]
        self.floors = space.floors[storeys[0] : storeys[-1] + 2]
        self.rooms = [shapely.buffer(region, _SNAP, join_style="mitre") for region in self.free]
        for room in self.rooms:
            shapely.prepare(room)
        # Corners a hair off the walls: a way along them is free whatever the last digits say.
        off_wall = [shapely.buffer(region, -_OFF_WALL, join_style="mitre") for region in self.free]
        inner = [shapely.get_coordinates(region) for region in off_wall]
        frame = shapely.bounds(space.frame)
        found = np.concatenate(inner)
        # Level with where it starts a part moves as the eye expects: straight along x or y.
        level = np.concatenate([found * [1, 0], found * [0, 1], self._along_walls(off_wall)])
        corners = np.unique(np.round(np.concatenate([np.zeros((1, 2)), found, level]), 9) + 0.0, axis=0)
        on_frame = (corners <= frame[:2] + _SNAP) | (corners >= frame[2:] - _SNAP)
        corners = corners[~on_frame.any(axis=1)]
        near_first = np.argsort(np.hypot(*corners.T), kind="stable")[:most_corners]
        self.corners = corners[near_first]
        spots = shapely.points(self.corners)
        self.open = np.stack([shapely.covers(room, spots) for room in self.rooms])
        self.start = int(np.flatnonzero(np.all(self.corners == 0, axis=1))[0])

    def _along_walls(self, off_wall: Sequence[BaseGeometry]) -> Floats:
        """Where slides along the walls right beside the start come into and out of every storey, (n, 2)."""
        room = self.free[self.space.storey(0.0) - self.first]
        xy = shapely.get_coordinates(room)
        near = shapely.dwithin(shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1)), shapely.Point(0, 0), _BESIDE)
        edges = np.diff(xy, axis=0)[near]
        size = np.hypot(*edges.T)
        walls = edges[size > _SNAP] / size[size > _SNAP, None]
        walls = walls[np.argsort(-size[size > _SNAP], kind="stable")][:_WALLS]
        far = 2 * float(np.ptp(shapely.bounds(self.space.frame).reshape(2, 2), axis=0).max())
        lines = shapely.linestrings(np.stack([-far * walls, far * walls], axis=1))
        crossed = shapely.intersection(np.array(off_wall, dtype=np.object_)[:, None], lines[None])
        return np.asarray(shapely.get_coordinates(crossed))

    def run(self) -> WayOut | None:
        storey = self.space.storey(0.0) - self.first
        if not self.open[storey, self.start]:
            return None
        best: dict[tuple[int, int], tuple[int, float]] = {(storey, self.start): (0, 0.0)}
        come: dict[tuple[int, int], tuple[int, int]] = {}
        depth = {(storey, self.start): 0.0}
        heap = [(0, 0.0, storey, self.start)]
        while heap:
            moves, length, storey, at = heapq.heappop(heap)
            node = (storey, at)
            if best[node] != (moves, length):
                continue
            direction = self._exit(storey, at)
            if direction is not None:
                return WayOut(self._trace(node, come, depth), direction)
            for to, travel, z in [*self._across(node, depth[node]), *self._along_z(node, depth[node])]:
                cost = (moves + 1, length + travel)
                if cost < best.get(to, (1 << 30, 0.0)):
                    best[to], come[to], depth[to] = cost, node, z
                    heapq.heappush(heap, (*cost, *to))
        return None

    def _across(self, node: tuple[int, int], z: float) -> list[tuple[tuple[int, int], float, float]]:
        storey, at = node
        others = np.flatnonzero(self.open[storey])
        others = others[others != at]
        here = np.repeat(self.corners[at][None], len(others), axis=0)
        lines = shapely.linestrings(np.stack([here, self.corners[others]], axis=1))
        free = others[shapely.covers(self.rooms[storey], lines)]
        travel = np.hypot(*(self.corners[free] - self.corners[at]).T)
        return [((storey, int(to)), float(t), z) for to, t in zip(free, travel, strict=True)]

    def _along_z(self, node: tuple[int, int], z: float) -> list[tuple[tuple[int, int], float, float]]:
        storey, at = node
        out = []
        for step in (1, -1):
            to = storey + step
            while 0 <= to < len(self.rooms) and self.open[to, at]:
                level = self._level(to, step)
                out.append(((to, at), abs(level - z), level))
                to += step
        return out

    def _level(self, storey: int, step: int) -> float:
        """Where in a storey, entered going up (1) or down (-1), a part stops to go sideways."""
        low, high = self.floors[storey : storey + 2]
        into = min(_INSIDE * (high - low), _LIFT)
        return float(low + into if step > 0 else high - into)

    def _exit(self, storey: int, at: int) -> Floats | None:
        top = self.first + len(self.rooms) == self.space.storeys
        if top and bool(self.open[storey:, at].all()):
            return np.array([0.0, 0.0, 1.0])
        if self.first == 0 and bool(self.open[: storey + 1, at].all()):
            return np.array([0.0, 0.0, -1.0])
        far = 2 * float(np.ptp(shapely.bounds(self.space.frame).reshape(2, 2), axis=0).max())
        ways = self._directions(storey)
        here = np.repeat(self.corners[at][None], len(ways), axis=0)
        rays = shapely.linestrings(np.stack([here, here + far * ways], axis=1))
        frame = shapely.box(*shapely.bounds(self.space.frame))
        solid = shapely.difference(frame, self.rooms[storey])
        free = np.flatnonzero(~shapely.intersects(solid, rays))
        return np.array([*ways[free[0]], 0.0]) if len(free) else None

    def _directions(self, storey: int) -> Floats:
        """The axes, then the directions of the storey's walls."""
        xy = shapely.get_coordinates(self.free[storey])
        edges = np.diff(xy, axis=0)
        size = np.hypot(*edges.T)
        walls = edges[size > _SNAP] / size[size > _SNAP, None]
        ways = np.concatenate([[[1, 0], [-1, 0], [0, 1], [0, -1]], walls, -walls])
        _, first = np.unique(np.round(ways, 9), axis=0, return_index=True)
        return np.asarray(ways[np.sort(first)])

    def _trace(
        self,
        node: tuple[int, int],
        come: dict[tuple[int, int], tuple[int, int]],
        depth: dict[tuple[int, int], float],
    ) -> Floats:
        path = [node]
        while path[-1] in come:
            path.append(come[path[-1]])
        return np.array([[*self.corners[at], depth[storey, at]] for storey, at in reversed(path)])
