"""Move parts that rest sideways so that fewer ways cross on the screen, all else kept.

A way is the straight line on the screen from a part's assembled place to its rest, of its middle; `crossing` says
when two of them cross. Counting is exact. Lowering the count is a local search, on a finished layout and under its
own cameras, by three kinds of steps:

- a part, or siblings as a whole, to another free place (`geometry.layout.freed` says which are tried);
- two siblings exchange their seats;
- two parts whose ways cross exchange their places: the larger goes as near to the other's as it can, that one to
  where it does best.

Of the steps at hand the one comes first that avoids the most crossings, then the one with the least travel. It must
keep all that the layout keeps (`Rested.holds`), may add no more than `EACH` to the sum of all ways for a crossing that
it avoids, and all steps together no more than `MOST`: a part is not sent across the picture for one crossing. Camera,
scale and gaps stay as they were.

What remains is a local optimum of these steps, looked for at `_LOOKED` parts or pairs at most: that some ways still
cross does not prove that they must. Parts that rest on their axes, that leave in groups, or whose travel is given,
stay where they are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from choreo.geometry.layout.aside import lift_out
from choreo.geometry.layout.freed import Unit, across, homes_of, places
from choreo.geometry.layout.rested import Rested
from choreo.geometry.layout.siblings import lowered, routes_to, siblings
from choreo.geometry.layout.standing import Standing
from choreo.geometry.layout.subject import Item
from choreo.geometry.plane.crossing import crossed
from choreo.model.plan import Floats

MOST = 0.1
"""Of the sum of all ways on the screen: by so much it may grow."""
EACH = 0.03
"""Of that sum: the most that one crossing is worth. Places grow outward from the body, so that a picture is balanced
as it is placed: a part that goes across the frame for one crossing leaves a hole."""
_LOOKED = 60
"""Times that places are looked for in one layout, for up to `_PARTS` parts; for more in proportion fewer."""
_PARTS = 40
_PROVED = 8
"""Best places of each unit that are proved, at most."""
_ELSE_PX = 40.0
"""They lie this far apart."""
_PAIRS = 6
"""Pairs that are looked at for each step: those that would avoid most with each other's ends."""
_MOST_ALIKE = 8
"""Siblings that are more than this many keep their block."""


def uncross(rested: Rested) -> bool:
    """Let parts of a layout rest elsewhere, as long as fewer ways cross then; return whether any does."""
    search, moved = _Search(rested), False
    while rested.crossings() and search.round():
        moved = True
    return moved


@dataclass(frozen=True)
class _Step:
    parts: tuple[str, ...]
    ends: Floats
    """(m, 2) px."""
    avoided: int
    longer: float
    """px."""
    routes: Callable[[], Mapping[str, Floats]]


class _Search:
    def __init__(self, rested: Rested) -> None:
        self.rested, self.looked, self.total = rested, 0, rested.travel()
        self.most = min(_LOOKED, max(_LOOKED // 4, _LOOKED * _PARTS // len(rested.names)))
        self.standing = Standing(rested.subject, rested.watched, rested.frame, bounded=True)
        self.units = list(_units(rested, self.standing))

    def round(self) -> bool:
        """Take the steps that are found, the best first, as far as each still is one; whether any was taken."""
        units = [unit for unit in self.units if self.rested.crossings_of(unit.parts, self._ends(unit))]
        steps = [step for unit in units for step in (*self._seats(unit), *self._elsewhere(unit))]
        steps += [step for one, two in self._pairs() for step in self._exchange(one, two)]
        return self._take(steps)

    def _may_look(self) -> bool:
        """Whether there is work left; counts it."""
        self.looked += 1
        return self.looked <= self.most

    def _ends(self, unit: Unit) -> Floats:
        return self.rested.ends[[self.rested.rank(part) for part in unit.parts]]

    def _take(self, steps: Sequence[_Step]) -> bool:
        taken = False
        for step in sorted(steps, key=lambda each: (-each.avoided, each.longer)):
            if not self._worth(*self._gains(step.parts, step.ends)):  # others were taken since
                continue
            routes = step.routes()
            # Under a perspective camera a part may end a little elsewhere.
            if self._worth(*self._gain(routes)) and self.rested.holds(routes):
                self.rested.take(routes)
                taken = True
        return taken

    def _step(self, parts: tuple[str, ...], ends: Floats, routes: Callable[[], Mapping[str, Floats]]) -> _Step:
        avoided, longer = self._gains(parts, ends)
        return _Step(parts, ends, int(avoided), float(longer), routes)

    def _gain(self, routes: Mapping[str, Floats]) -> tuple[np.ndarray, np.ndarray]:
        return self._gains(list(routes), self.rested.ends_of(list(routes), routes))

    def _gains(self, parts: Sequence[str], ends: Floats) -> tuple[np.ndarray, np.ndarray]:
        """How many crossings are avoided, and px that the ways are longer, were the ends (..., m, 2) there."""
        rested, rows = self.rested, [self.rested.rank(part) for part in parts]
        starts, own = rested.starts[rows], rested.ends[rows]
        avoided = rested.crossings_of(parts, own) - rested.crossings_of(parts, ends)
        longer = np.linalg.norm(ends - starts, axis=-1).sum(axis=-1) - np.linalg.norm(own - starts, axis=-1).sum()
        return avoided, np.asarray(longer)

    def _worth(self, avoided: np.ndarray, longer: np.ndarray) -> np.ndarray:
        """Whether avoiding so many crossings is worth so many px."""
        cheap = longer <= EACH * self.total * avoided
        return np.asarray((avoided > 0) & cheap & (self.rested.travel() + longer <= (1 + MOST) * self.total))

    def _elsewhere(self, unit: Unit) -> Iterator[_Step]:
        """The best steps of a unit to other places."""
        if not self._may_look():
            return
        steps, ends = self._places(unit)
        avoided, longer = self._gains(unit.parts, ends)
        good = np.flatnonzero(self._worth(avoided, longer))
        good = good[np.lexsort((longer[good], -avoided[good]))]
        for _ in range(_PROVED):
            if not len(good):
                return
            best = int(good[0])
            yield self._step(unit.parts, ends[best], self._routes(unit, steps[best]))
            good = good[np.linalg.norm(ends[good] - ends[best], axis=2).max(axis=1) > _ELSE_PX]

    def _routes(self, unit: Unit, step: Floats) -> Callable[[], Mapping[str, Floats]]:
        """Routes of a unit that goes sideways by (m, 3) from where it came out to, no farther out than it must."""

        def routes() -> Mapping[str, Floats]:
            ends = np.stack([out.points.mean(axis=0) for out in unit.outs]) + step
            high = routes_to(unit.outs, ends, unit.outs[0].lift)
            return dict(zip(unit.parts, lowered(self.standing, unit.items, unit.outs, high), strict=True))

        return routes

    def _seats(self, unit: Unit) -> Iterator[_Step]:
        """Exchanges of two siblings' seats."""
        rested, one, two = self.rested, *np.triu_indices(len(unit.items), 1)
        steps = [rested.routes[part][-1] - rested.routes[part][-2] for part in unit.parts]
        at = rested.eye.project(np.stack([o.points.mean(axis=0) + s for o, s in zip(unit.outs, steps, strict=True)]))[0]
        for i, j in zip(one.tolist(), two.tolist(), strict=True):
            seats = list(range(len(at)))
            seats[i], seats[j] = j, i
            if self._worth(*self._gains(unit.parts, self._ends(unit)[seats])):
                there = across(rested, unit, at[seats] - homes_of(rested, unit))
                yield self._step(unit.parts, self._ends(unit)[seats], self._routes(unit, there))

    def _pairs(self) -> list[tuple[Unit, Unit]]:
        """Single parts whose ways cross each other, those first that would avoid most with each other's ends.

        Exchanged ends never make such ways longer: straight lines that cross are longer than the two that do not.
        """
        single = [unit for unit in self.units if len(unit.items) == 1]
        rows = [self.rested.rank(unit.parts[0]) for unit in single]
        table = crossed(self.rested.starts[rows], self.rested.ends[rows])
        found = []
        for i, j in np.argwhere(np.triu(table)).tolist():
            ends = np.concatenate([self._ends(single[j]), self._ends(single[i])])
            avoided, longer = self._gains((*single[i].parts, *single[j].parts), ends)
            found.append((-int(avoided), float(longer), i, j))
        return [(single[i], single[j]) for _, _, i, j in sorted(found)[:_PAIRS]]

    def _exchange(self, one: Unit, two: Unit) -> Iterator[_Step]:
        """The best step at which the larger of two parts rests as near as it can to where the other does now."""
        if not self._may_look():
            return
        rested = self.rested
        area = [float(shapely.area(rested.hulls[unit.parts[0]][rested.middle])) for unit in (one, two)]
        first, second = (one, two) if area[0] >= area[1] else (two, one)
        before = {part: rested.routes[part] for part in (*first.parts, *second.parts)}
        steps, ends = self._places(first, second.parts)
        if not len(steps):
            return
        nearest = np.argmin(np.linalg.norm(ends - self._ends(second), axis=2))
        moved = self._routes(first, steps[nearest])()
        rested.take(moved)
        steps, ends = self._places(second)
        rested.take(before)
        both = np.concatenate([np.broadcast_to(rested.ends_of(first.parts, moved), ends.shape), ends], axis=1)
        avoided, longer = self._gains((*first.parts, *second.parts), both)
        good = np.flatnonzero(self._worth(avoided, longer))
        if len(good):
            best = good[np.lexsort((longer[good], -avoided[good]))[0]]
            last = self._routes(second, steps[best])
            yield self._step((*first.parts, *second.parts), both[best], lambda: {**moved, **last()})

    def _places(self, unit: Unit, without: Sequence[str] = ()) -> tuple[Floats, Floats]:
        """Steps (n, m, 3) of a unit to free places, and where its middles then rest, (n, m, 2)."""
        steps = places(self.rested, unit, without)
        middles = np.stack([out.points.mean(axis=0) for out in unit.outs])
        ends = self.rested.watched[0].project((middles + steps).reshape(-1, 3))[0]
        return steps, ends.reshape(*steps.shape[:2], 2)


def _units(rested: Rested, standing: Standing) -> Iterator[Unit]:
    """What may be moved, in the order of placing."""
    subject, queue = rested.subject, list(rested.subject.items)
    while queue:
        alike = siblings(subject, queue)
        items, queue = queue[:alike], queue[alike:]
        if alike <= _MOST_ALIKE and all(_may_move(rested, item) for item in items):
            outs = [lift_out(standing, item) for item in items]
            lift = max(out.lift for out in outs)
            yield Unit(tuple(items), tuple(out.raised(lift) for out in outs))


def _may_move(rested: Rested, item: Item) -> bool:
    single = len(item.members) == 1 and not item.groups
    return single and item.part in rested.aside and item.part not in rested.subject.travels
