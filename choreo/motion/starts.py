"""Whole-frame starts nearest to what was asked for, as an integer program.

What two moves owe each other is a set of allowed lags (second start less first start), a union of intervals;
what more than two owe each other is a clause: one of several differences of starts must be large enough. A
single interval is two linear constraints; every gap and every clause is a choice, with a binary for each way
out. The total departure from the wishes is then minimised exactly by HiGHS; among the optima the one with the
earliest starts wins, so that the answer is unique up to ties in that sum as well.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import highspy

Spans = tuple[tuple[int, int], ...]
"""Allowed lags, closed intervals of whole frames in ascending order."""
Clause = tuple[tuple[int, int, int], ...]
"""(p, q, c): ``start[q] - start[p] >= c``, one of which has to hold; an empty clause never does."""


@dataclass(frozen=True)
class Starts:
    """The question.

    Attributes
    ----------
    wish : sequence of int
        Start asked for, a move; counted from frame 0, or from the start of its anchor.
    latest : sequence of int
        Last start that still arrives in time; the first is 0.
    lags : mapping of (i, j) to Spans
        Allowed ``start[j] - start[i]``; pairs that are always free are left out.
    choices : mapping of i to tuple of int
        Moves that may start on these frames only (arrivals on beats).
    clauses : tuple of Clause
        What moves owe each other beyond that.
    anchors : mapping of i to int
        Moves whose wish follows the start of another move, wherever that comes to lie.

    """

    wish: Sequence[int]
    latest: Sequence[int]
    lags: Mapping[tuple[int, int], Spans]
    choices: Mapping[int, tuple[int, ...]]
    clauses: tuple[Clause, ...] = ()
    anchors: Mapping[int, int] = field(default_factory=dict)

    def wished(self, starts: Sequence[int]) -> tuple[int, ...]:
        """Return the frames asked for, given where the anchors start."""
        return tuple(w + (starts[self.anchors[k]] if k in self.anchors else 0) for k, w in enumerate(self.wish))


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


def common_lags(one: Spans, other: Spans) -> Spans:
    """Return the lags that both allow."""
    both = [(max(a, c), min(b, d)) for a, b in one for c, d in other]
    return tuple(sorted(span for span in both if span[0] <= span[1]))


def allows(spans: Spans, lag: int) -> bool:
    """Whether a lag lies in one of the closed intervals."""
    return any(low <= lag <= high for low, high in spans)


def keeps(clause: Clause, starts: Sequence[int]) -> bool:
    """Whether one of the differences is large enough."""
    return any(starts[q] - starts[p] >= c for p, q, c in clause)


def agrees(question: Starts, starts: Sequence[int]) -> bool:
    """Whether these starts break nothing."""
    in_time = all(0 <= s <= latest for s, latest in zip(starts, question.latest, strict=True))
    on_beat = all(starts[i] in allowed for i, allowed in question.choices.items())
    apart = all(allows(spans, starts[j] - starts[i]) for (i, j), spans in question.lags.items())
    return in_time and on_beat and apart and all(keeps(clause, starts) for clause in question.clauses)


def nearest_starts(question: Starts, shortest: Sequence[int] | None = None) -> tuple[int, ...] | None:
    """Return starts with the least total departure from the wishes, or None where there are none.

    Parameters
    ----------
    question : Starts
        What is asked, and what must hold.
    shortest : sequence of int, optional
        Frames each move takes: of all nearest starts, take those whose last arrival is earliest.

    Notes
    -----
    Exact: mixed-integer program, solved to a gap of 0. Departures are counted in whole frames, each move once;
    the tie is broken by the least sum of starts, each weighted with its place in the list.

    """
    as_asked = _as_asked(question)
    if agrees(question, as_asked):
        return as_asked
    if _impossible(question):
        return None
    program = _Program(question, question.latest, choices=True)
    away = [program.distance(k) for k in range(len(question.wish))]
    total = sum(away[1:], away[0] + 0.0)
    least = program.minimise(total)
    if least is None:
        return None
    program.require(total <= round(least))
    if shortest is not None:
        last = program.last_arrival(shortest)
        end = program.minimise(last + 0.0)
        assert end is not None
        program.require(last <= round(end))
    program.minimise(_weighted(program.starts))
    return program.solution()


def shortest_phase(
    question: Starts, moves: Sequence[int], longest: int, *, choices: bool = False
) -> tuple[int, tuple[int, ...]] | None:
    """Return the least number of frames that would do, and starts that need no more; wishes are ignored.

    Parameters
    ----------
    question : Starts
        Its `latest` counts for nothing.
    moves : sequence of int
        Frames each move takes.
    longest : int
        No start need be later than this.
    choices : bool
        Whether arrivals keep to the beats.

    """
    if any(not spans for spans in question.lags.values()) or not all(question.clauses):
        return None
    program = _Program(question, [longest] * len(question.wish), choices=choices)
    last = program.last_arrival(moves)
    least = program.minimise(last + 0.0)
    if least is None:
        return None
    end = round(least)
    program.require(last <= end)
    program.minimise(_weighted(program.starts))
    return end + 1, program.solution()


def has_starts(question: Starts) -> bool:
    """Whether there are any starts that break nothing, near or far."""
    if agrees(question, _as_asked(question)):
        return True
    if _impossible(question):
        return False
    program = _Program(question, question.latest, choices=True)
    return program.minimise(0.0 * program.starts[0]) is not None


def _as_asked(question: Starts) -> tuple[int, ...]:
    """Every move on the frame asked for."""
    found: dict[int, int] = {}

    def at(k: int) -> int:
        if k not in found:
            found[k] = question.wish[k] + (at(question.anchors[k]) if k in question.anchors else 0)
        return found[k]

    return tuple(at(k) for k in range(len(question.wish)))


def _impossible(question: Starts) -> bool:
    return (
        any(not spans for spans in question.lags.values())
        or not all(question.clauses)
        or any(latest < 0 for latest in question.latest)
    )


def _weighted(starts: Sequence[Any]) -> Any:
    return sum(((index + 1) * start for index, start in enumerate(starts)), 0.0 * starts[0])


class _Program:
    """The integer program of one question, with nothing to minimise yet."""

    def __init__(self, question: Starts, ends: Sequence[int], *, choices: bool) -> None:
        import highspy  # noqa: PLC0415 - 0.1 s that a schedule without conflicts need not pay

        self.solver: highspy.Highs = highspy.Highs()  # type: ignore[no-untyped-call]
        self.solver.setOptionValue("output_flag", False)  # noqa: FBT003 - its only signature
        for option, value in (("mip_rel_gap", 0.0), ("mip_abs_gap", 0.0), ("random_seed", 0), ("threads", 1)):
            self.solver.setOptionValue(option, value)
        self.question, self.ends = question, ends
        self.starts = [self.solver.addIntegral(lb=0, ub=end) for end in ends]
        for (i, j), spans in question.lags.items():
            self._keep_apart(i, j, spans)
        for clause in question.clauses:
            self._keep_one(clause)
        for i, frames in question.choices.items() if choices else ():
            self._choose(i, frames)

    def _keep_apart(self, i: int, j: int, spans: Spans) -> None:
        lag = self.starts[j] - self.starts[i]
        low_end, high_end = -self.ends[i], self.ends[j]
        spans = tuple((a, b) for a, b in spans if b >= low_end and a <= high_end) or spans
        if len(spans) == 1:
            (low, high) = spans[0]
            if low > low_end:
                self.solver.addConstr(lag >= low)
            if high < high_end:
                self.solver.addConstr(lag <= high)
            return
        picks = self._pick_one(len(spans))
        for pick, (low, high) in zip(picks, spans, strict=True):
            if low > low_end:
                self.solver.addConstr(lag >= low_end + (low - low_end) * pick)
            if high < high_end:
                self.solver.addConstr(lag <= high_end + (high - high_end) * pick)

    def _keep_one(self, clause: Clause) -> None:
        """One of the differences holds: the one that is picked."""
        if any(c <= -self.ends[p] for p, _, c in clause):
            return
        picks = self._pick_one(len(clause)) if len(clause) > 1 else [1.0]
        for pick, (p, q, c) in zip(picks, clause, strict=True):
            least = -self.ends[p]
            self.solver.addConstr(self.starts[q] - self.starts[p] >= least + (c - least) * pick)

    def _pick_one(self, count: int) -> list[Any]:
        picks = [self.solver.addBinary() for _ in range(count)]
        self.solver.addConstr(sum(picks[1:], picks[0] + 0.0) == 1)
        return picks

    def _choose(self, i: int, frames: tuple[int, ...]) -> None:
        picks = self._pick_one(len(frames))
        chosen = sum((f * p for f, p in zip(frames, picks, strict=True)), 0.0 * picks[0])
        self.solver.addConstr(self.starts[i] - chosen == 0)

    def distance(self, k: int) -> Any:
        """How far a start is from its wish."""
        away = self.solver.addVariable(lb=0)
        start, wish = self.starts[k] + 0.0, self.question.wish[k]
        if k in self.question.anchors:
            start = start - self.starts[self.question.anchors[k]]
        self.solver.addConstr(away - start >= -wish)
        self.solver.addConstr(away + start >= wish)
        return away

    def last_arrival(self, moves: Sequence[int]) -> Any:
        last = self.solver.addVariable(lb=0)
        for start, move in zip(self.starts, moves, strict=True):
            self.require(start + float(move) <= last)
        return last

    def require(self, constraint: Any) -> None:
        self.solver.addConstr(constraint)

    def minimise(self, objective: Any) -> float | None:
        """Solve; the least value, or None where there is no solution."""
        import highspy  # noqa: PLC0415

        self.solver.minimize(objective)
        if self.solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        return float(self.solver.getObjectiveValue())

    def solution(self) -> tuple[int, ...]:
        return tuple(round(float(self.solver.val(start))) for start in self.starts)
