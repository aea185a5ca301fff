"""Whole-frame starts nearest to what was asked for, as an integer program.

Each pair of moves leaves a set of lags (second start less first start) that do not collide: a union of
intervals. One interval is two linear constraints; several are a choice, one binary each. The total departure
from the wishes is then minimised exactly by HiGHS; among the optima the one with the earliest starts wins, so
that the answer is unique up to ties in that sum as well.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import highspy

Spans = tuple[tuple[int, int], ...]
"""Allowed lags, closed intervals of whole frames in ascending order."""


@dataclass(frozen=True)
class Starts:
    """The question.

    Attributes
    ----------
    wish : sequence of int
        Start asked for, a move.
    latest : sequence of int
        Last start that still arrives in time; the first is 0.
    lags : mapping of (i, j) to Spans
        Allowed ``start[j] - start[i]``; pairs that are always free are left out.
    choices : mapping of i to tuple of int
        Moves that may start on these frames only (arrivals on beats).

    """

    wish: Sequence[int]
    latest: Sequence[int]
    lags: Mapping[tuple[int, int], Spans]
    choices: Mapping[int, tuple[int, ...]]


def allowed_lags(forbidden: Sequence[tuple[float, float]], horizon: int) -> Spans:
    """Return the whole lags in ``[-horizon, horizon]`` that lie in none of the open intervals."""
    spans = []
    low = -horizon
    for start, end in forbidden:
        if start >= low:
            last = math.floor(start)
            spans.append((low, min(last, horizon)))
        low = max(low, math.ceil(end) if math.isfinite(end) else horizon + 1)
        if low > horizon:
            break
    if low <= horizon:
        spans.append((low, horizon))
    return tuple((a, b) for a, b in spans if a <= b)


def allows(spans: Spans, lag: int) -> bool:
    """Whether a lag lies in one of the closed intervals."""
    return any(low <= lag <= high for low, high in spans)


def agrees(question: Starts, starts: Sequence[int]) -> bool:
    """Whether these starts break nothing."""
    in_time = all(0 <= s <= latest for s, latest in zip(starts, question.latest, strict=True))
    on_beat = all(starts[i] in allowed for i, allowed in question.choices.items())
    return in_time and on_beat and all(allows(spans, starts[j] - starts[i]) for (i, j), spans in question.lags.items())


def nearest_starts(question: Starts) -> tuple[int, ...] | None:
    """Return starts with the least total departure from the wishes, or None where there are none.

    Notes
    -----
    Exact: mixed-integer program, solved to a gap of 0.

    """
    if agrees(question, question.wish):
        return tuple(question.wish)
    if any(not spans for spans in question.lags.values()) or any(latest < 0 for latest in question.latest):
        return None
    program = _Program(question, bounded=True)
    away = [program.distance(x, w) for x, w in zip(program.starts, question.wish, strict=True)]
    if not program.minimise(sum(away[1:], away[0] + 0.0)):
        return None
    total = round(program.value)
    program.require(sum(away[1:], away[0] + 0.0) <= total)
    program.minimise(_weighted(program.starts))
    return program.solution()


def shortest_phase(question: Starts, moves: Sequence[int]) -> tuple[int, tuple[int, ...]] | None:
    """Return the least number of frames that would do, and starts that need no more; wishes and beats ignored."""
    if any(not spans for spans in question.lags.values()):
        return None
    program = _Program(question, bounded=False)
    last = program.free()
    for start, move in zip(program.starts, moves, strict=True):
        program.require(start + float(move) <= last)
    if not program.minimise(last + 0.0):
        return None
    end = round(program.value)
    program.require(last <= end)
    program.minimise(_weighted(program.starts))
    starts = program.solution()
    return end + 1, starts


def _weighted(starts: Sequence[Any]) -> Any:
    return sum(((index + 1) * start for index, start in enumerate(starts)), 0.0 * starts[0])


class _Program:
    """The integer program of one question, with nothing to minimise yet."""

    def __init__(self, question: Starts, *, bounded: bool) -> None:
        import highspy  # noqa: PLC0415 - 0.1 s that a schedule without conflicts need not pay

        self.solver: highspy.Highs = highspy.Highs()  # type: ignore[no-untyped-call]
        self.solver.setOptionValue("output_flag", False)  # noqa: FBT003 - its only signature
        for option, value in (("mip_rel_gap", 0.0), ("mip_abs_gap", 0.0), ("random_seed", 0), ("threads", 1)):
            self.solver.setOptionValue(option, value)
        self.horizon = max((abs(a) for spans in question.lags.values() for s in spans for a in s), default=0)
        ends = question.latest if bounded else [len(question.wish) * (self.horizon + 1)] * len(question.wish)
        self.starts = [self.solver.addIntegral(lb=0, ub=end) for end in ends]
        self.ends = ends
        for (i, j), spans in question.lags.items():
            self._keep_apart(i, j, spans)
        for i, frames in question.choices.items() if bounded else ():
            self._choose(i, frames)

    def _keep_apart(self, i: int, j: int, spans: Spans) -> None:
        lag = self.starts[j] - self.starts[i]
        low_end, high_end = -self.ends[i], self.ends[j]
        spans = tuple((a, b) for a, b in spans if b >= low_end and a <= high_end) or spans
        if len(spans) == 1:
            (low, high) = spans[0]
            if low > low_end and low > -self.horizon:
                self.solver.addConstr(lag >= low)
            if high < high_end and high < self.horizon:
                self.solver.addConstr(lag <= high)
            return
        picks = [self.solver.addBinary() for _ in spans]
        self.solver.addConstr(sum(picks[1:], picks[0] + 0.0) == 1)
        for pick, (low, high) in zip(picks, spans, strict=True):
            if low > -self.horizon:
                self.solver.addConstr(lag >= low_end + (low - low_end) * pick)
            if high < self.horizon:
                self.solver.addConstr(lag <= high_end + (high - high_end) * pick)

    def _choose(self, i: int, frames: tuple[int, ...]) -> None:
        picks = [self.solver.addBinary() for _ in frames]
        self.solver.addConstr(sum(picks[1:], picks[0] + 0.0) == 1)
        chosen = sum((f * p for f, p in zip(frames, picks, strict=True)), 0.0 * picks[0])
        self.solver.addConstr(self.starts[i] - chosen == 0)

    def free(self) -> Any:
        return self.solver.addVariable(lb=0)

    def distance(self, start: Any, wish: int) -> Any:
        away = self.solver.addVariable(lb=0)
        self.solver.addConstr(away - start >= -wish)
        self.solver.addConstr(away + start >= wish)
        return away

    def require(self, constraint: Any) -> None:
        self.solver.addConstr(constraint)

    def minimise(self, objective: Any) -> bool:
        import highspy  # noqa: PLC0415

        self.solver.minimize(objective)
        return bool(self.solver.getModelStatus() == highspy.HighsModelStatus.kOptimal)

    @property
    def value(self) -> float:
        return float(self.solver.getObjectiveValue())

    def solution(self) -> tuple[int, ...]:
        return tuple(round(float(self.solver.val(start))) for start in self.starts)
