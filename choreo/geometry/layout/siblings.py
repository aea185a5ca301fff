"""Parts that are alike, and leave alike, rest alike: in one plane, or in rows.

Siblings are parts of one shape, up to a translation, that leave one after another along one direction.

- Where their axis shows, they travel the same way, the longest that one of them needs, so that they rest as they
  were arranged. They never go farther than that: where the longest does not do for all of them, or where they were
  closer than the gap to begin with, each is placed alone.
- Where they go sideways, they stand in rows and columns at even distances, the whole block at the nearest free
  place. Of a few shapes of block the one is taken that spreads the picture least, then the one with the shortest
  ways. Who gets which place is settled by swaps that shorten the ways (a local optimum; ways that cross are never
  the shortest, so none cross among siblings where everyone may have any place).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from choreo.errors import ChoreoError
from choreo.geometry.layout.aside import (
    FACES,
    Out,
    beside,
    least_lift,
    level,
    lift_out,
    met_outside,
    sideways,
    stays_clear,
)
from choreo.geometry.layout.axial import along_axis, seen, shows
from choreo.geometry.layout.placement import hulls_through
from choreo.geometry.layout.standing import Standing
from choreo.geometry.layout.subject import Item, Subject
from choreo.model.plan import Floats

_SAME = 1e-6
"""mm and, for directions, of length 1: what counts as alike."""
_OK_PX = 1e-3
"""px that may be missing of a gap between siblings by rounding."""
_MOST_SPREAD = 1.03
"""A block may spread the picture by this factor more than its parts would, placed each alone."""
_COMPARED = 6
"""Blocks of more parts are not compared with places of each alone."""
_SWAPS = 50
_HOPELESS = 0.8
"""Of the gap: siblings that stand nearer than this after the way that one of them needs are not looked at further."""


def siblings(subject: Subject, queue: Sequence[Item]) -> int:
    """Return how many items, from the first of the queue on, are siblings that can be placed together."""
    count = 1
    while count < len(queue) and _alike(subject, queue[0], queue[count]):
        count += 1
    return count if all(_plain(subject, item) for item in queue[:count]) else 1


def _plain(subject: Subject, item: Item) -> bool:
    return len(item.members) == 1 and item.part not in subject.travels and item.part not in subject.vias


def _alike(subject: Subject, one: Item, other: Item) -> bool:
    a, b = subject.points[one.part], subject.points[other.part]
    if one.groups != other.groups or a.shape != b.shape:
        return False
    if np.abs(subject.directions[one.part] - subject.directions[other.part]).max() > _SAME:
        return False
    step = b[0] - a[0]
    if np.abs(b - a - step).max() > _SAME:
        return False
    first, second = (subject.encounters.shapes[item.part].solid.bands for item in (one, other))
    if len(first) != len(second):
        return False
    return all(
        abs(q.z0 - p.z0 - step[2]) < _SAME
        and shapely.get_num_coordinates(p.section) == shapely.get_num_coordinates(q.section)
        and np.abs(shapely.get_coordinates(q.section) - shapely.get_coordinates(p.section) - step[:2]).max() < _SAME
        for p, q in zip(first, second, strict=True)
    )


def together(standing: Standing, items: Sequence[Item], gap_px: float) -> list[Floats] | None:
    """Return routes on which siblings rest in one plane or in rows, or None where there are none."""
    try:
        if shows(standing.subject.directions[items[0].part], standing.cameras):
            return _in_one_plane(standing, items, gap_px)
        return _in_rows(standing, items, gap_px)
    except ChoreoError:
        return None


def _in_one_plane(standing: Standing, items: Sequence[Item], gap_px: float) -> list[Floats] | None:
    first = along_axis(standing, items[0], gap_px)
    leg = first[-1] - first[-2]
    places = np.stack([standing.subject.points[item.part] + leg for item in items])
    if _least_gap(standing, places) < _HOPELESS * gap_px:  # they stand in each other's way, however far they go
        return None
    alone = [first, *(along_axis(standing, item, gap_px) for item in items[1:])]
    longest = max(float(np.linalg.norm(route[-1] - route[-2])) for route in alone)
    routes = [along_axis(standing, item, gap_px, longest) for item in items]
    if any(float(np.linalg.norm(route[-1] - route[-2])) > longest + _SAME for route in routes):
        return None
    return routes if _fit(standing, items, routes, gap_px) else None


def _least_gap(standing: Standing, places: Floats) -> float:
    """Smallest gap between siblings whose corners (n, k, 3) are there, under any camera, px."""
    hulls = hulls_through(places, standing.matrices)
    one, two = np.triu_indices(len(places), 1)
    return float(shapely.distance(hulls[one], hulls[two]).min())


def _fit(standing: Standing, items: Sequence[Item], routes: Sequence[Floats], gap_px: float) -> bool:
    """Whether siblings keep the gap among themselves and no later one has to pass through an earlier one at rest."""
    subject = standing.subject
    places = np.stack([subject.points[item.part] + route[-1] for item, route in zip(items, routes, strict=True)])
    if _least_gap(standing, places) < gap_px - _OK_PX:
        return False
    boxes = np.stack([places.min(axis=1), places.max(axis=1)], axis=1)
    for index, (item, route) in enumerate(zip(items, routes, strict=True)):
        own = route[len(standing.base(item)) - 1 :]
        for k in standing.meets(item.part, own, boxes[index + 1 :]):
            other = index + 1 + k
            if subject.encounters.hits(item.part, own, items[other].part, routes[other][-1], kept=True):
                return False
    return all(met_outside(standing, item, route) is None for item, route in zip(items, routes, strict=True))


def _in_rows(standing: Standing, items: Sequence[Item], gap_px: float) -> list[Floats] | None:
    """The best block of a few shapes."""
    outs = [lift_out(standing, item) for item in items]
    lift = max(out.lift for out in outs)
    outs = [out.raised(lift) for out in outs]
    blocks: list[tuple[float, float, int, list[Floats]]] = []
    for rows in block_shapes(len(items)):
        try:
            places = _block(standing, items, outs, rows, gap_px)
        except ChoreoError:
            continue
        for seat in _seats(standing, outs, places):
            routes = routes_to(outs, places[seat], lift)
            if _lanes_free(standing, items, routes):
                blocks.append((*_cost(standing, items, routes), len(blocks), routes))
                break
    blocks.sort(key=lambda block: block[:3])
    if len(items) <= _COMPARED and blocks:
        # Alone they spread it no less than all that stands does already: often that settles it.
        most = _MOST_SPREAD * _cost(standing, (), ())[0]
        if blocks[0][0] > most:
            most = _MOST_SPREAD * _spread_alone(standing, items, gap_px)
        blocks = [block for block in blocks if block[0] <= most]
    for *_, routes in blocks:
        for ways in (lowered(standing, items, outs, routes), routes):
            clear = all(stays_clear(standing, i, way[-1], gap_px) for i, way in zip(items, ways, strict=True))
            if clear and _fit(standing, items, ways, gap_px):
                return ways
    return None


def block_shapes(count: int) -> Iterator[int]:
    """Numbers of rows that are worth a try: about as many as columns, and for few parts one row, one column."""
    square = max(math.isqrt(count), 1)
    around = [square, -(-count // square)]
    yield from dict.fromkeys([*around, 1, count] if count <= _COMPARED + 2 else around)


def _spread_alone(standing: Standing, items: Sequence[Item], gap_px: float) -> float:
    """How far the picture spreads where each is placed alone; without bound where that cannot be."""
    count = len(standing.routes)
    try:
        for item in items:
            standing.add(item, sideways(standing, item, gap_px))
        return _cost(standing, items, [standing.routes[item.part] for item in items])[0]
    except ChoreoError:
        return math.inf
    finally:
        standing.drop_to(count)


def _cost(standing: Standing, items: Sequence[Item], routes: Sequence[Floats]) -> tuple[float, float]:
    """How much of the frame all that stands then spans, on the middle camera, and the ways in frames."""
    subject, size = standing.subject, standing.frame.size
    matrix = standing.matrices[standing.middle, None]
    hulls = [hulls_through(subject.points[i.part] + r[-1], matrix) for i, r in zip(items, routes, strict=True)]
    box = shapely.total_bounds(np.concatenate([standing.hulls[standing.middle], *hulls]))
    ways = [standing.eye.project(route)[0] for route in routes]
    length = sum(float(np.linalg.norm((way[-1] - way[0]) / size)) for way in ways)
    return float(((box[2:] - box[:2]) / size).max()), length


def _block(standing: Standing, items: Sequence[Item], outs: Sequence[Out], rows: int, gap_px: float) -> Floats:
    """Middles, (n, 3), of places in a block of so many rows at its nearest free place."""
    eye, direction = standing.eye, outs[0].direction
    middles = np.stack([out.points.mean(axis=0) for out in outs])
    homes = eye.project(middles)[0]
    boxes = shapely.bounds(hulls_through(np.stack([out.points for out in outs]), standing.matrices).ravel())
    pitch = (boxes[:, 2:] - boxes[:, :2]).max(axis=0) + gap_px * (1 + _SAME)
    columns = -(-len(items) // rows)
    number = np.arange(len(items))
    grid = np.stack([number % columns, number // columns], axis=1) * pitch
    shifts = grid - grid.mean(axis=0) + homes.mean(axis=0) - homes
    seats = [level(shift, middle, direction, eye) for shift, middle in zip(shifts, middles, strict=True)]
    points = np.concatenate([out.points + seat for out, seat in zip(outs, seats, strict=True)])
    whole = Out(outs[0].before, direction, outs[0].lift, outs[0].out, points)
    return np.asarray(middles + seats + beside(standing, items[-1], whole, gap_px, ()) - whole.out)


def _seats(standing: Standing, outs: Sequence[Out], places: Floats) -> Iterator[np.ndarray]:
    """Who goes where: by the shortest ways, then so that who leaves first goes farthest."""
    homes = np.stack([out.points.mean(axis=0) for out in outs])
    ends = standing.eye.project(places)[0][None]
    lengths = np.linalg.norm(standing.eye.project(homes)[0][:, None] - ends, axis=2)
    # Siblings come in the order of placing: who leaves first is the last of them.
    far = np.argsort(lengths.mean(axis=0), kind="stable")
    yield _shortest(lengths, np.arange(len(outs)))
    yield _shortest(lengths, far)
    yield far


def routes_to(outs: Sequence[Out], places: Floats, lift: float) -> list[Floats]:
    """Return routes up by `lift`, then across until the middles are at (n, 3) places."""
    routes = []
    for out, place in zip(outs, places, strict=True):
        top, across = out.before[-1] + out.direction * lift, place - out.points.mean(axis=0)
        routes.append(np.concatenate([out.before, [top, top + across]]))
    return routes


def lowered(standing: Standing, items: Sequence[Item], outs: Sequence[Out], routes: Sequence[Floats]) -> list[Floats]:
    """Routes that come out no farther than all of them need, where how far does not show."""
    if seen(outs[0].direction, standing.eye) >= FACES:
        return list(routes)
    places = np.stack([route[-1] - out.out + out.points.mean(axis=0) for route, out in zip(routes, outs, strict=True)])
    steps = [route[-1] - route[-2] for route in routes]
    lift = max(least_lift(standing, *each) for each in zip(items, outs, steps, strict=True))
    return routes_to(outs, places, lift)


def _shortest(lengths: Floats, seat: np.ndarray) -> np.ndarray:
    """Swap places two by two as long as that shortens the ways."""
    seat = seat.copy()
    rows = np.arange(len(seat))
    for _ in range(_SWAPS * len(seat)):
        now = lengths[rows, seat]
        swapped = lengths[rows[:, None], seat[None, :]]
        gain = now[:, None] + now[None, :] - swapped - swapped.T
        best = int(np.argmax(gain))
        if gain.flat[best] <= _SAME:
            break
        i, j = divmod(best, len(seat))
        seat[i], seat[j] = seat[j], seat[i]
    return seat


def _lanes_free(standing: Standing, items: Sequence[Item], routes: Sequence[Floats]) -> bool:
    """Whether no sibling rests where one that leaves later, and comes back before it, passes on the screen."""
    matrix = standing.matrices[standing.middle, None]
    points = standing.subject.points
    rests = [hulls_through(points[i.part] + r[-1], matrix)[0] for i, r in zip(items, routes, strict=True)]
    for index, (item, route) in enumerate(zip(items, routes, strict=True)):
        lane = hulls_through((points[item.part] + route[:, None]).reshape(-1, 3), matrix)[0]
        if len(rests[index + 1 :]) and bool(shapely.intersects(lane, np.array(rests[index + 1 :])).any()):
            return False
    return True
