"""Places on the screen that parts which go sideways could take instead of their own, all others where they are.

What is free to a part is exact: the safe area less the shifts that bring it too near to a part at rest, onto the
corridor of one that leaves later, or across one that rests by then. Of it the edges are tried, where ways are short:
their corners and a place at most `_EVERY_PX` from the next. Siblings are tried as wholes that keep their order: in
the blocks of `geometry.layout.siblings`, and as they were arranged, stretched; on a lattice of places, by what is free
to each.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.layout.aside import SHADOW, Out, level, room_for
from choreo.geometry.layout.placement import hulls_through, keep_outs
from choreo.geometry.layout.rested import Rested
from choreo.geometry.layout.siblings import block_shapes
from choreo.geometry.layout.subject import Item
from choreo.model.plan import Floats

_EVERY_PX = 16.0
_MORE = 0.04
"""Of the gap, kept more under a perspective camera, where an outline changes as the part goes sideways."""
_LATTICE = (48, 27)
"""Places of a block's middle across and down the safe area."""
_STRETCHES = 14
"""Of an arrangement each way, from as it was to as large as the safe area."""
_SHIFTS = (0.0, -0.06, 0.06, -0.12, 0.12)
"""Of the frame, each way, by which a stretched arrangement is tried beside its own middle."""


@dataclass(frozen=True, eq=False)
class Unit:
    """Parts that are moved as one: one part that goes sideways, or siblings that do."""

    items: tuple[Item, ...]
    outs: tuple[Out, ...]
    """All at one height."""

    @property
    def parts(self) -> tuple[str, ...]:
        """Ids, in the order of placing."""
        return tuple(item.part for item in self.items)


def places(rested: Rested, unit: Unit, without: Sequence[str] = ()) -> Floats:
    """Return places that a unit may take: displacements from where it came out to, (n, m, 3) mm.

    They are exact on the middle screen of a parallel camera, else candidates. `without` are parts that count as gone.
    """
    free = [_free(rested, item, out, (*unit.parts, *without)) for item, out in zip(unit.items, unit.outs, strict=True)]
    if len(free) == 1:
        shifts = shapely.get_coordinates(shapely.segmentize(free[0].boundary, _EVERY_PX))[:, None]
    else:
        shifts = np.concatenate([_allowed(free, tried) for tried in _arranged(rested, unit)])
    return across(rested, unit, shifts)


def across(rested: Rested, unit: Unit, shifts: Floats) -> Floats:
    """Return shifts on the middle screen, (..., m, 2) px, as displacements across the removal axis, (..., m, 3)."""
    bases = []
    for out in unit.outs:
        centre = out.points.mean(axis=0)
        bases.append([level(np.array(step), centre, out.direction, rested.eye) for step in ((1.0, 0.0), (0.0, 1.0))])
    return np.asarray(np.einsum("...mi,mij->...mj", shifts, np.array(bases)))


def homes_of(rested: Rested, unit: Unit) -> Floats:
    """Where a unit's parts have come out to on the middle screen, (m, 2) px."""
    return rested.eye.project(np.stack([out.points.mean(axis=0) for out in unit.outs]))[0]


def _free(rested: Rested, item: Item, out: Out, gone: Sequence[str]) -> BaseGeometry:
    """Shifts on the middle screen that keep all a part has to keep there."""
    hull = hulls_through(out.points, rested.matrices[rested.middle, None])[0]
    eye, frame = rested.eye, rested.frame
    gap = frame.gap_px * (1 + _MORE if eye.is_perspective else 1)
    air = frame.clearance_mm * float(eye.scale_at(out.points.mean(axis=0)))
    there = [part for part in rested.routes if part not in gone]
    turn = rested.rank(item.part)
    late = [rested.lanes[part] for part in there if part in rested.lanes and rested.rank(part) > turn]
    early = [part for part in there if part in rested.aside and rested.rank(part) < turn]
    rests = keep_outs(_array([rested.hulls[part][rested.middle] for part in there]), hull, gap)
    polygons = list(shapely.polygons(rests))
    if late:
        polygons += list(shapely.polygons(keep_outs(_array(late), hull, air)))
    if early:
        rings = keep_outs(_array([rested.hulls[part][rested.middle] for part in early]), hull, air)
        both = np.concatenate([rings, SHADOW * rings], axis=1)
        polygons += list(shapely.convex_hull(shapely.linestrings(both)))
    return shapely.difference(room_for(hull, frame), shapely.union_all(polygons))


def _array(hulls: Sequence[BaseGeometry]) -> np.ndarray:
    found = np.empty(len(hulls), dtype=np.object_)
    found[:] = hulls
    return found


def _allowed(free: Sequence[BaseGeometry], shifts: Floats) -> Floats:
    """Those of the arrangements, (n, m, 2), in which every part has a shift that is free to it."""
    for k, area in enumerate(free):
        shapely.prepare(area)
        shifts = shifts[shapely.contains_xy(area, shifts[:, k, 0], shifts[:, k, 1])]
    return shifts


def _arranged(rested: Rested, unit: Unit) -> Iterator[Floats]:
    """Shifts, (n, m, 2) px, of siblings to arrangements: in blocks, and as they were, stretched."""
    homes = homes_of(rested, unit)
    boxes = shapely.bounds(hulls_through(np.stack([out.points for out in unit.outs]), rested.matrices).ravel())
    pitch = (boxes[:, 2:] - boxes[:, :2]).max(axis=0) + rested.frame.gap_px * (1 + 1e-6)
    (width, height), (left, top, right, bottom) = rested.frame.resolution, rested.frame.margins
    low, high = np.array([left, top]), np.array([width - right, height - bottom])
    lattice = _pairs(*(np.linspace(low[k], high[k], _LATTICE[k]) for k in range(2)))
    for rows in block_shapes(len(homes)):
        yield lattice[:, None] + _seats(homes, rows) * pitch - homes
    own = homes - homes.mean(axis=0)
    extent = np.ptp(own, axis=0)
    most = [(high - low)[k] / extent[k] if extent[k] > 1 else 1.0 for k in range(2)]
    stretched = _pairs(*(np.unique(np.linspace(1.0, max(most[k], 1.0), _STRETCHES)) for k in range(2)))
    beside = _pairs(*(np.array(_SHIFTS) * rested.frame.size[k] for k in range(2)))
    arranged = own * stretched[:, None]
    one, two = np.triu_indices(len(homes), 1)
    apart = (abs(arranged[:, one] - arranged[:, two]) >= pitch).any(axis=2).all(axis=1)
    shifts = arranged[apart][:, None] + beside[:, None] - own
    yield shifts.reshape(-1, len(homes), 2)


def _pairs(xs: Floats, ys: Floats) -> Floats:
    """All pairs, (n, 2)."""
    return np.stack([each.ravel() for each in np.meshgrid(xs, ys)], axis=1)


def _seats(homes: Floats, rows: int) -> Floats:
    """Seats of a block of so many rows about its middle, in pitches, (m, 2): rows by height, left to right."""
    count = len(homes)
    columns = -(-count // rows)
    number = np.empty(count, dtype=np.int64)
    down = np.lexsort((homes[:, 0], homes[:, 1]))
    for first in range(0, count, columns):
        row = down[first : first + columns]
        number[row[np.argsort(homes[row, 0], kind="stable")]] = np.arange(first, first + len(row))
    seats = np.stack([number % columns, number // columns], axis=1).astype(np.float64)
    return np.asarray(seats - (seats.max(axis=0) + seats.min(axis=0)) / 2)
