"""Places that a label may take, whatever other labels do: inside the room, over no shape, and what each costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.labels.rules import APART, Bools
from choreo.geometry.plane.regions import Shapes
from choreo.model.plan import Floats

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""
_DIRECTIONS = 16
_REACHES = (7.0, 12.0, 20.0, 32.0, 50.0, 80.0)
_PULLS = (0.6, 0.85)
"""Shares of the way to where a label clears the shape's box: closer to shapes that do not fill theirs."""
_LEADER_OVER_SHAPE = 600.0
_OVER_LINE = 12.0
_GRID = (26.0, 15.0)
_NEAREST = 500
"""So many places of the whole room are worth a look."""


@dataclass(frozen=True, eq=False)
class Wanted:
    """A label to place: how large it is, and what it names."""

    size: tuple[float, float]
    shape: BaseGeometry


@dataclass(frozen=True, eq=False)
class Offers:
    """Places that one label may take."""

    boxes: Floats
    """(n, 4)"""
    ends: Floats
    """(n, 2, 2) leaders: at the label, at the shape."""
    cost: Floats
    """(n,)"""

    def cheapest(self, count: int) -> Offers:
        """Return the cheapest places, in the order in which they stand."""
        kept = np.sort(np.argsort(self.cost, kind="stable")[:count])
        return Offers(self.boxes[kept], self.ends[kept], self.cost[kept])


class Table:
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

    def near(self, index: int) -> Offers:
        """Return the places around a label's shape."""
        return self._offers(index, _around(self.wanted[index]))

    def everywhere(self, index: int) -> Offers:
        """Return the places of a grid over the whole room."""
        return self._offers(index, _everywhere(self.room, self.wanted[index].size))

    def _offers(self, index: int, centres: Floats) -> Offers:
        """The places among those that are inside the room and over no shape."""
        want = self.wanted[index]
        if want.shape.is_empty:  # seen edge-on, or hidden: there is nothing that a line could lead to
            centres = np.zeros((0, 2))
        half = np.array(want.size) / 2
        boxes = np.hstack([centres - half, centres + half])
        boxes = boxes[(boxes[:, :2] >= self.room[:2]).all(axis=1) & (boxes[:, 2:] <= self.room[2:]).all(axis=1)]
        boxes = _nearest(boxes, want.shape.bounds)
        grown = _rectangles(boxes, APART)
        met = self.filled.met_by(grown)
        met[:, index] = shapely.intersects(self.shapes.shapes[index], grown)
        boxes = boxes[~met.any(axis=1)]
        leaders = np.asarray(shapely.shortest_line(_rectangles(boxes, 0.0), want.shape), dtype=np.object_)
        ends = shapely.get_coordinates(leaders).reshape(-1, 2, 2)
        return Offers(boxes, ends, self._cost(index, boxes, leaders))

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
        self.shapes = np.array(shapes, dtype=np.object_)
        shapely.prepare(self.shapes)
        self.bounds = shapely.bounds(self.shapes).reshape(-1, 4)

    def met_by(self, others: Shapes) -> Bools:
        """(others, shapes) whether they have a point in common."""
        left, top, right, bottom = shapely.bounds(others).reshape(-1, 4).T[..., None]
        x0, y0, x1, y1 = self.bounds.T
        met = np.asarray((left <= x1) & (right >= x0) & (top <= y1) & (bottom >= y0))
        row, column = np.nonzero(met)
        met[row, column] = shapely.intersects(self.shapes[column], others[row])
        return met


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


def _everywhere(room: Floats, size: tuple[float, float]) -> Floats:
    """(n, 2) centres of a grid over the room."""
    x = np.arange(room[0] + size[0] / 2, room[2] - size[0] / 2, _GRID[0])
    y = np.arange(room[1] + size[1] / 2, room[3] - size[1] / 2, _GRID[1])
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def _rectangles(boxes: Floats, grow: float) -> Shapes:
    left, top, right, bottom = (boxes + np.array([-grow, -grow, grow, grow])).T
    return np.asarray(shapely.box(left, top, right, bottom), dtype=np.object_)
