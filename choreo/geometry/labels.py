"""Where labels go: close to what they name, over nothing, never over each other.

Each label tries places around its shape and takes the cheapest, conflicts with other labels counted in; then,
a few times over, each moves to where it is cheapest while the others stay. One that fares badly looks over the
whole room, and may take one of the places it likes best if the others can then make do. Ties go to the first place
tried, so the same picture always gets the same labels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.label_rules import APART, LEADER_ON_LABEL, Bools, conflicts
from choreo.geometry.regions import Shapes
from choreo.model.plan import Floats

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""
Chosen = list[int | None]
"""For each label which of its places it takes."""
_DIRECTIONS = 16
_REACHES = (7.0, 12.0, 20.0, 32.0, 50.0, 80.0)
_PULLS = (0.6, 0.85)
"""Shares of the way to where a label clears the shape's box: closer to shapes that do not fill theirs."""
_ROUNDS = 4
_LIKED, _RANKS = 8, 5
"""So many places of a label that fares badly are tried, each so many ranks from the next."""
_MANY = 40
"""Of more labels only the place that is liked best is tried: trying more would take seconds."""
_LEADER_OVER_SHAPE = 600.0
_OVER_LINE = 12.0
_BAD = 500.0
_FAR = 60.0
"""From this cost on it is worth looking for a place in the whole room."""
_UNPLACED = 10_000.0
_GRID = (26.0, 15.0)
_NEAREST, _FROM_GRID = 500, 200
"""So many places of the whole room are worth a look, and so many of those worth asking about."""


@dataclass(frozen=True, eq=False)
class Wanted:
    """A label to place: how large it is, and what it names."""

    size: tuple[float, float]
    shape: BaseGeometry


@dataclass(frozen=True)
class Placed:
    """Where a label went, and the line that leads from its edge to what it names."""

    box: Box
    leader: tuple[tuple[float, float], tuple[float, float]]


def place_labels(
    wanted: Sequence[Wanted],
    room: Box,
    lines: Sequence[BaseGeometry] = (),
    shapes: Sequence[BaseGeometry] = (),
) -> list[Placed | None]:
    """Place labels so that none covers another, a shape, or the leader of another, and none leaves the room.

    Parameters
    ----------
    wanted : sequence of Wanted
        In the order in which ties are broken.
    room : (left, top, right, bottom)
        What labels stay inside.
    lines : sequence of LineString
        What labels would rather not stand on.
    shapes : sequence of Polygon or MultiPolygon
        What else labels keep clear of.

    Returns
    -------
    list
        One for each label; None where there is no room for it.

    """
    if not wanted:
        return []
    inner = (room[0] + APART, room[1] + APART, room[2] - APART, room[3] - APART)
    table = _Table(wanted, inner, lines, shapes)
    seats = _Seats(wanted, inner, table)
    return seats.places(seats.improved(seats.first()))


class _Seats:
    """The places each label may take, and which one it takes."""

    def __init__(self, wanted: Sequence[Wanted], room: Box, table: _Table) -> None:
        self.wanted, self.room, self.table = wanted, room, table
        self.offers = [table.offers(index, _around(want)) for index, want in enumerate(wanted)]
        self.order = sorted(range(len(wanted)), key=lambda index: (len(self.offers[index].cost), index))
        self.wide: set[int] = set()
        self.known: dict[int, tuple[Chosen, Floats]] = {}
        """Per label where the others stood when last asked, and the conflicts (places, labels) with them."""

    def first(self) -> Chosen:
        """Seat one label after the other, those with the least choice first, then let them move."""
        chosen: Chosen = [None] * len(self.wanted)
        for index in self.order:
            chosen[index] = self._cheapest(index, chosen)
        return self._settled(chosen)

    def improved(self, chosen: Chosen) -> Chosen:
        """Give those that fare badly a place they like and see whether the others can make do."""
        best = self._energy(chosen)
        for index in self.order:
            for place in self._liked(index):
                if self._suffers(index, chosen) < _BAD:
                    break
                trial = list(chosen)
                trial[index] = place
                trial = self._settled(self._settled(trial, frozen=index))
                energy = self._energy(trial)
                if energy < best:
                    chosen, best = trial, energy
        return chosen

    def _liked(self, index: int) -> list[int]:
        """The place a label likes best, and a few that differ more from it than their neighbours do."""
        count = _LIKED if len(self.wanted) <= _MANY else 1
        return [int(at) for at in np.argsort(self.offers[index].cost, kind="stable")[: count * _RANKS : _RANKS]]

    def places(self, chosen: Chosen) -> list[Placed | None]:
        """Leave out labels until none stands on another or on the leader of another."""
        kept = list(chosen)
        for index in reversed(self.order):
            if kept[index] is not None and self._against(index, kept, kept[index]).max(initial=0.0) >= LEADER_ON_LABEL:
                kept[index] = None
        return [None if at is None else offer.placed(at) for offer, at in zip(self.offers, kept, strict=True)]

    def _settled(self, chosen: Chosen, frozen: int | None = None) -> Chosen:
        """Let each label move to where it is cheapest until all are content, or the rounds are over."""
        chosen = list(chosen)
        for _ in range(_ROUNDS):
            before = list(chosen)
            for index in self.order:
                if index != frozen:
                    self._widen(index, chosen)
                    chosen[index] = self._cheapest(index, chosen)
            if chosen == before:
                break
        return chosen

    def _cheapest(self, index: int, chosen: Chosen) -> int | None:
        offer = self.offers[index]
        if not len(offer.cost):
            return None
        return int(np.argmin(offer.cost + self._against(index, chosen).sum(axis=1)))

    def _against(self, index: int, chosen: Chosen, at: int | None = None) -> Floats:
        """Conflicts of a label's places, or of one of them, with each label; only to be read.

        From one question to the next few labels have moved: only their columns are worked out anew.
        """
        offer = self.offers[index]
        if index not in self.known:
            self.known[index] = ([None] * len(chosen), np.zeros((len(offer.cost), len(chosen))))
        places, table = self.known[index]
        moved = [i for i, place in enumerate(chosen) if place != places[i] and i != index]
        if moved:
            standing = [(i, place) for i in moved if (place := chosen[i]) is not None]
            table[:, moved] = 0.0
            if standing:
                boxes = np.stack([self.offers[i].boxes[place] for i, place in standing])
                ends = np.stack([self.offers[i].ends[place] for i, place in standing])
                table[:, [i for i, _ in standing]] = conflicts(offer.boxes, offer.ends, boxes, ends)
            for i in moved:
                places[i] = chosen[i]
        return table if at is None else table[at : at + 1]

    def _suffers(self, index: int, chosen: Chosen) -> float:
        """What a label's place costs it."""
        at = chosen[index]
        if at is None:
            return _UNPLACED
        return float(self.offers[index].cost[at] + self._against(index, chosen, at).sum())

    def _energy(self, chosen: Chosen) -> float:
        """What all places cost, each conflict counted from both sides."""
        return sum(self._suffers(index, chosen) for index in range(len(chosen)))

    def _widen(self, index: int, chosen: Chosen) -> None:
        """Look over the whole room for a label that has no place or a bad one."""
        if index not in self.wide and self._suffers(index, chosen) > _FAR:
            self.wide.add(index)
            more = self.table.offers(index, _everywhere(self.room, self.wanted[index].size))
            self.offers[index] = self.offers[index].joined(more.cheapest(_FROM_GRID))
            self.known.pop(index, None)


@dataclass(frozen=True, eq=False)
class _Offers:
    """Places that one label may take, whatever the others do."""

    boxes: Floats
    """(n, 4)"""
    ends: Floats
    """(n, 2, 2) leaders: at the label, at the shape."""
    cost: Floats
    """(n,)"""

    def cheapest(self, count: int) -> _Offers:
        """The cheapest places, in the order in which they stand."""
        kept = np.sort(np.argsort(self.cost, kind="stable")[:count])
        return _Offers(self.boxes[kept], self.ends[kept], self.cost[kept])

    def joined(self, more: _Offers) -> _Offers:
        """These places and then those."""
        return _Offers(
            np.concatenate([self.boxes, more.boxes]),
            np.concatenate([self.ends, more.ends]),
            np.concatenate([self.cost, more.cost]),
        )

    def placed(self, at: int) -> Placed:
        box, ends = self.boxes[at].tolist(), self.ends[at].tolist()
        return Placed((box[0], box[1], box[2], box[3]), ((ends[0][0], ends[0][1]), (ends[1][0], ends[1][1])))


class _Table:
    """What stands in the room before any label does."""

    def __init__(
        self,
        wanted: Sequence[Wanted],
        room: Box,
        lines: Sequence[BaseGeometry],
        shapes: Sequence[BaseGeometry],
    ) -> None:
        self.wanted, self.room = wanted, np.array(room)
        outlines = [*(want.shape for want in wanted), *shapes]
        self.shapes = _Obstacles(outlines)
        # A label in the opening of a ring would be taken for the ring's.
        self.filled = _Obstacles([_filled(outline) for outline in outlines])
        self.lines = _Obstacles(lines)

    def offers(self, index: int, centres: Floats) -> _Offers:
        """The places among those that are inside the room and over no shape."""
        want = self.wanted[index]
        half = np.array(want.size) / 2
        boxes = np.hstack([centres - half, centres + half])
        boxes = boxes[(boxes[:, :2] >= self.room[:2]).all(axis=1) & (boxes[:, 2:] <= self.room[2:]).all(axis=1)]
        boxes = _nearest(boxes, want.shape.bounds)
        met = self.filled.met_by(_rectangles(boxes, APART))
        met[:, index] = self.shapes.only(index).met_by(_rectangles(boxes, APART))[:, 0]
        boxes = boxes[~met.any(axis=1)]
        leaders = np.asarray(shapely.shortest_line(_rectangles(boxes, 0.0), want.shape), dtype=np.object_)
        ends = shapely.get_coordinates(leaders).reshape(-1, 2, 2)
        return _Offers(boxes, ends, self._cost(index, boxes, leaders))

    def _cost(self, index: int, boxes: Floats, leaders: Shapes) -> Floats:
        over = self.filled.met_by(leaders)
        over[:, index] = False
        cost = shapely.length(leaders) + _LEADER_OVER_SHAPE * over.sum(axis=1)
        cost += _OVER_LINE * self.lines.met_by(_rectangles(boxes, 1.0)).sum(axis=1)
        # A leader reads best where it leaves its label sideways or straight up or down, from the middle.
        middle = (boxes[:, :2] + boxes[:, 2:]) / 2
        x0, y0, x1, y1 = self.wanted[index].shape.bounds
        aside = np.abs(middle - [(x0 + x1) / 2, (y0 + y1) / 2])
        return np.asarray(cost + 0.06 * aside[:, 0] + 0.10 * aside[:, 1])


class _Obstacles:
    """Shapes or lines that stand still, asked many times what meets them."""

    def __init__(self, shapes: Sequence[BaseGeometry]) -> None:
        self.shapes = list(shapes)
        shapely.prepare(self.shapes)
        self.bounds = shapely.bounds(self.shapes).reshape(-1, 4)

    def only(self, index: int) -> _Obstacles:
        """One of them."""
        return _Obstacles(self.shapes[index : index + 1])

    def met_by(self, others: Shapes) -> Bools:
        """(others, shapes) whether they have a point in common."""
        left, top, right, bottom = shapely.bounds(others).reshape(-1, 4).T[..., None]
        x0, y0, x1, y1 = self.bounds.T
        near = (left <= x1) & (right >= x0) & (top <= y1) & (bottom >= y0)
        for column, shape in enumerate(self.shapes):
            rows = np.flatnonzero(near[:, column])
            near[rows, column] = shapely.intersects(shape, others[rows])
        return np.asarray(near)


def _filled(shape: BaseGeometry) -> BaseGeometry:
    """A shape without its openings."""
    return shapely.multipolygons([shapely.Polygon(part.exterior) for part in shapely.get_parts(shape)])


def _nearest(boxes: Floats, bounds: Box) -> Floats:
    """Those boxes that lie nearest to the bounds, in the order in which they stand."""
    gap = np.maximum(np.array(bounds[:2]) - boxes[:, 2:], boxes[:, :2] - np.array(bounds[2:]))
    kept = np.argsort(np.hypot(*np.maximum(gap, 0.0).T), kind="stable")[:_NEAREST]
    return np.asarray(boxes[np.sort(kept)])


def _around(want: Wanted) -> Floats:
    """(n, 2) centres of places around a shape's box, near ones first."""
    x0, y0, x1, y1 = want.shape.bounds
    centre = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    angles = np.arange(_DIRECTIONS) * (2 * np.pi / _DIRECTIONS)
    toward = np.round(np.column_stack([np.cos(angles), np.sin(angles)]), 12)
    half = (np.array([x1 - x0, y1 - y0]) + want.size) / 2
    rings = [(pull, _REACHES[0]) for pull in _PULLS] + [(1.0, reach) for reach in _REACHES]
    places = []
    for pull, reach in rings:
        with np.errstate(divide="ignore"):
            way = ((half + reach) / np.abs(toward)).min(axis=1)
        places.append(centre + toward * (way * pull)[:, None])
    return np.concatenate(places)


def _everywhere(room: Box, size: tuple[float, float]) -> Floats:
    """(n, 2) centres of a grid over the room."""
    x = np.arange(room[0] + size[0] / 2, room[2] - size[0] / 2, _GRID[0])
    y = np.arange(room[1] + size[1] / 2, room[3] - size[1] / 2, _GRID[1])
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def _rectangles(boxes: Floats, grow: float) -> Shapes:
    left, top, right, bottom = (boxes + np.array([-grow, -grow, grow, grow])).T
    return np.asarray(shapely.box(left, top, right, bottom), dtype=np.object_)
