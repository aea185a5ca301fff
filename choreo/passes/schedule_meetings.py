"""Which timings make two parts of one phase collide, as rules: roughly for all pairs, exactly where it matters.

Roughly means for the prisms around the solids: what is free for those is free. Pairs whose swept boxes never
meet are not looked at.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from choreo.errors import Finding, no_solution
from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.collision.reach import pairs_within_reach
from choreo.model.plan import Floats
from choreo.motion.lag import Diagram, forbidden_lags, standing_hits, standing_meet
from choreo.motion.starts_question import Clause, Spans, allowed_lags, common_lags
from choreo.motion.walk import Span, Walk
from choreo.passes.schedule_items import Items
from choreo.passes.schedule_rules import Rule
from choreo.passes.schedule_words import Said, cannot_pass, overshoot, rests_in_way


@dataclass(frozen=True)
class _Stay:
    """A part stands at `way` from the arrival of one item to the start of another; None: for ever."""

    way: float
    since: int | None
    until: int | None


class Meetings:
    """The rules that keep the parts of one phase apart, for given moves."""

    def __init__(
        self,
        said: Said,
        items: Items,
        moves: tuple[int, ...],
        horizon: int,
        routes: Mapping[str, Floats],
        encounters: Encounters,
    ) -> None:
        self.said, self.items, self.moves, self.horizon = said, items, moves, horizon
        self.routes, self.encounters = routes, encounters
        self.bare: dict[tuple[str, str], None] = {}
        self.parts = tuple(dict.fromkeys(item.lead for item in items.items))
        self._walks = {(k, part): items.walk(k, part, moves[k]) for part in self.parts for k in items.of(part)}
        self._serial = [sum(moves[:k]) + k for k in range(len(moves))]
        self._exact: dict[tuple[str, str], Rule] = {}
        self._rough: dict[tuple[str, str], Rule] = {}
        near = pairs_within_reach(encounters, self.parts, routes, {part: self.reach(part) for part in self.parts})
        for i, j in near:
            pair = (self.parts[i], self.parts[j])
            rough = self._rule(*pair, kept=True, hulls=True)
            if rough.lags or rough.clauses:
                self._rough[pair] = rough

    def reach(self, part: str) -> Span:
        """Return the lowest and the highest way of a part, overshoot included, mm."""
        spans = [self._walks[k, part].reach for k in self.items.of(part)]
        return min(low for low, _ in spans), max(high for _, high in spans)

    def broken(self, starts: Sequence[int], settled: Mapping[tuple[str, str], Rule]) -> list[tuple[str, str]]:
        """Return the pairs, beyond those settled, that these starts make collide."""
        suspects = [p for p, rule in self._rough.items() if p not in settled and not rule.kept(starts)]
        return [pair for pair in suspects if not self.exact(*pair).kept(starts)]

    def exact(self, a: str, b: str) -> Rule:
        """Return what keeps one pair apart, in continuous time."""
        if (a, b) not in self._exact:
            self._exact[a, b] = self._settle(a, b)
        return self._exact[a, b]

    def _settle(self, a: str, b: str) -> Rule:
        rule = self._rule(a, b, kept=True)
        # One after the other, in this order, must stay possible: where the clearance forbids it, geometry
        # decides alone.
        if not rule.kept(self._serial):
            tight = self._rule(a, b, kept=False)
            if tight != rule:
                self.bare[a, b] = None
                rule = tight
        if rule.hopeless:
            raise no_solution(self._never(a, b))
        return rule

    def _never(self, a: str, b: str) -> Finding:
        """Why no timing will do: one of the two rests on the other's route, or they meet elsewhere."""
        for mover, other in ((a, b), (b, a)):
            if self.encounters.hits(mover, self.routes[mover], other, self.routes[other][-1]):
                return rests_in_way(self.said, mover, other)
        for mover, other in ((a, b), (b, a)):
            deep = self.too_deep(mover, other)
            if deep:
                return overshoot(self.said, mover, other, deep)
        return cannot_pass(self.said, a, b)

    def too_deep(self, mover: str, other: str) -> float:
        """Return how far the mover's easing drives it into the other at its assembled place, mm; 0: not at all.

        Counted along its way, from where the two first touch.
        """
        low, _ = self.reach(mover)
        if low >= 0:
            return 0.0
        still = np.zeros((1, 3))
        met = self.encounters.diagram(mover, other, self.routes[mover], still, ((low, 0.0), (0.0, 0.0)))
        if not len(met):
            return 0.0
        # Shapes are shrunk by what may touch: their first contact comes that much late.
        first = min(float(met[..., 0].max()), 0.0) + self.encounters.touch_mm
        return min(-low, first - float(met[..., 0].min()))

    def _rule(self, a: str, b: str, *, kept: bool, hulls: bool = False) -> Rule:
        def diagram(s: Span, t: Span) -> Floats:
            return self.encounters.diagram(a, b, self.routes[a], self.routes[b], (s, t), kept=kept, hulls=hulls)

        def mirrored(s: Span, t: Span) -> Floats:
            return diagram(t, s)[..., ::-1]

        lags: dict[tuple[int, int], Spans] = {}
        for i in self.items.of(a):
            for j in self.items.of(b):
                if i == j:
                    continue
                forbidden = self._forbidden(diagram, (a, i), (b, j), kept=kept, hulls=hulls)
                if forbidden:
                    self._forbid(lags, i, j, forbidden)
        clauses = [
            *self._around_stays(a, b, mirrored),
            *self._around_stays(b, a, diagram),
            *self._between_stays(a, b, diagram),
        ]
        return Rule("clear", (a, b), lags, tuple(dict.fromkeys(clauses)))

    def _forbidden(
        self, diagram: Diagram, one: tuple[str, int], two: tuple[str, int], *, kept: bool, hulls: bool
    ) -> tuple[Span, ...]:
        """The lags at which two items make their parts meet; wishes have no part in it, so it is remembered."""
        (a, i), (b, j) = one, two
        walks = self._walks[i, a], self._walks[j, b]
        key = ("lags", a, b, self.routes[a].tobytes(), self.routes[b].tobytes(), kept, hulls, walks)
        return self.encounters.remembered(key, lambda: forbidden_lags(diagram, *walks, quick=hulls))

    def _forbid(self, lags: dict[tuple[int, int], Spans], i: int, j: int, forbidden: Sequence[Span]) -> None:
        if i > j:
            i, j, forbidden = j, i, [(-high, -low) for low, high in reversed(forbidden)]
        spans = allowed_lags(forbidden, self.horizon)
        lags[i, j] = common_lags(lags[i, j], spans) if (i, j) in lags else spans

    def _around_stays(self, stander: str, mover: str, diagram: Diagram) -> list[Clause]:
        """No item of the mover, seen as (mover, stander), goes through where the other stands between two items."""
        clauses = []
        for stay in self._stays(stander):
            if stay.since is None or stay.until is None:
                continue  # a half-line: the lags answer for it
            for k in self.items.of(mover):
                if k in (stay.since, stay.until):
                    continue  # moved by the same item: at the same time
                for first, last in standing_hits(diagram, self._walks[k, mover], stay.way):
                    clauses += _clause(
                        (k, stay.since, math.ceil(last) - self.moves[stay.since]),
                        (stay.until, k, math.ceil(-first)),
                    )
        return clauses

    def _between_stays(self, a: str, b: str, diagram: Diagram) -> list[Clause]:
        """Two do not stand in one place at once, one of them between two items."""
        clauses = []
        for one in self._stays(a):
            for two in self._stays(b):
                half = (one.since is None or one.until is None) and (two.since is None or two.until is None)
                if half or not standing_meet(diagram, one.way, two.way):
                    continue
                literals = [
                    (first.until, then.since, -self.moves[then.since])
                    for first, then in ((one, two), (two, one))
                    if first.until is not None and then.since is not None
                ]
                clauses += _clause(*literals)
        return clauses

    def _stays(self, part: str) -> list[_Stay]:
        own = self.items.of(part)
        if len(own) < 2:
            walk = self._walks[own[0], part]
            return [_Stay(walk.ends[0], None, own[0]), _Stay(walk.ends[1], own[0], None)]
        first, last = self._walks[own[0], part], self._walks[own[-1], part]
        between = [_Stay(self._walks[i, part].ends[1], i, j) for i, j in pairwise(own)]
        return [_Stay(first.ends[0], None, own[0]), *between, _Stay(last.ends[1], own[-1], None)]


def _clause(*literals: tuple[int, int, int]) -> list[Clause]:
    """The clause of these differences, those between a start and itself decided; none if it always holds."""
    if any(p == q and c <= 0 for p, q, c in literals):
        return []
    return [tuple((p, q, c) for p, q, c in literals if p != q)]


def refuse_hits_on_body(meetings: Meetings, body: str) -> None:
    """Raise if a part meets the body, which never moves: no timing helps.

    Raises
    ------
    ChoreoError
        Exit 1: ``overshoot-collides`` or ``cannot-pass``.

    """
    for part in meetings.parts:
        low, high = meetings.reach(part)
        still = np.zeros((1, 3))
        met = meetings.encounters.diagram(part, body, meetings.routes[part], still, ((low, high), (0.0, 0.0)))
        if len(met):
            deep = meetings.too_deep(part, body)
            said = meetings.said
            raise no_solution(overshoot(said, part, body, deep) if deep else cannot_pass(said, part, body))


def drifting(items: Items, moves: Sequence[int]) -> list[int]:
    """Return the items of groups whose easing carries them beyond where the group comes apart.

    There each part would go on along its own way: they would no longer move as one.
    """
    found = []
    for k, item in enumerate(items.items):
        if len(item.parts) > 1:
            walk: Walk = items.walk(k, item.lead, moves[k])
            if walk.reach[1] > item.ways[item.lead][1]:
                found.append(k)
    return found
