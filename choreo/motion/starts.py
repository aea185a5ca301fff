"""Whole-frame starts nearest to what was asked for.

Moves fall into sets that owe nothing to each other, and each set is settled for itself: by looking (`StartsSearch`)
where that soon comes to an end, else by an integer program. There a single interval of lags is two linear
constraints; every gap and every clause is a choice, with a binary for each way out. The total departure from the
wishes is minimised exactly by HiGHS; among the optima the one with the earliest starts wins, so that the answer is
unique up to ties in that sum as well.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from choreo.motion.starts_question import Clause, Spans, Starts, agrees
from choreo.motion.starts_search import StartsSearch, TooLongError

if TYPE_CHECKING:
    import highspy


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
    Exact: a search that comes to its end, or a mixed-integer program solved to a gap of 0. Departures are counted in
    whole frames, each move once; the tie is broken by the least sum of starts, each weighted with its place in the
    list.

    """
    as_asked = _as_asked(question)
    if agrees(question, as_asked):
        return as_asked
    if _impossible(question):
        return None
    latest = dict(enumerate(question.latest))
    sets = _sets(question)
    found = _settled(question, sets, latest, shortest)
    if found is None or shortest is None:
        return found
    end = max(start + move for start, move in zip(found, shortest, strict=True))
    soon = {k: min(last, end - shortest[k]) for k, last in latest.items()}
    return _settled(question, sets, soon, None)


def _settled(
    question: Starts, sets: Sequence[Sequence[int]], latest: Mapping[int, int], moves: Sequence[int] | None
) -> tuple[int, ...] | None:
    """The nearest starts of each set of moves: the least in sum, or those with the earliest last arrival."""
    starts: dict[int, int] = {}
    for members in sets:
        try:
            found = StartsSearch(question, members, latest, moves).run()
        except TooLongError:
            found = _by_program(question, members, latest, moves)
        if found is None:
            return None
        starts.update(found)
    return tuple(starts[k] for k in range(len(starts)))


def _by_program(
    question: Starts, members: Sequence[int], latest: Mapping[int, int], moves: Sequence[int] | None
) -> dict[int, int] | None:
    own = _among(replace(question, latest=[latest[k] for k in range(len(latest))]), members)
    program = _Program(own, own.latest, choices=True)
    away = [program.distance(k) for k in range(len(members))]
    total = sum(away[1:], away[0] + 0.0)
    least = program.minimise(total)
    if least is None:
        return None
    program.require(total <= round(least))
    if moves is None:
        program.minimise(_weighted(program.starts, members))
    else:
        program.minimise(program.last_arrival([moves[k] for k in members]) + 0.0)
    return dict(zip(members, program.solution(), strict=True))


def _sets(question: Starts) -> list[list[int]]:
    """Moves by sets that owe nothing to each other, each ascending, in the order of their first."""
    leader = list(range(len(question.wish)))

    def of(k: int) -> int:
        while leader[k] != k:
            k = leader[k]
        return k

    joined = [pair for pair, spans in question.lags.items() if not _is_free(question, pair, spans)]
    joined += [pair for clause in question.clauses for p, q, _ in clause for pair in ((p, q), (p, clause[0][0]))]
    for pair in (*joined, *question.anchors.items()):
        low, high = sorted(map(of, pair))
        leader[high] = low
    sets: dict[int, list[int]] = {}
    for k in range(len(leader)):
        sets.setdefault(of(k), []).append(k)
    return list(sets.values())


def _is_free(question: Starts, pair: tuple[int, int], spans: Spans) -> bool:
    """Whether no lag that can come to be is forbidden."""
    i, j = pair
    return any(low <= -question.latest[i] and high >= question.latest[j] for low, high in spans)


def _among(question: Starts, members: Sequence[int]) -> Starts:
    """What is asked of these moves, numbered anew; they owe nothing to the others."""
    at = {k: number for number, k in enumerate(members)}
    return Starts(
        [question.wish[k] for k in members],
        [question.latest[k] for k in members],
        {(at[i], at[j]): spans for (i, j), spans in question.lags.items() if i in at and j in at},
        {at[k]: frames for k, frames in question.choices.items() if k in at},
        tuple(tuple((at[p], at[q], c) for p, q, c in clause) for clause in question.clauses if clause[0][0] in at),
        {at[k]: at[anchor] for k, anchor in question.anchors.items() if k in at},
    )


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
    program.minimise(_weighted(program.starts, range(len(program.starts))))
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


def _weighted(starts: Sequence[Any], places: Sequence[int]) -> Any:
    """The sum of starts, each weighted with its place in the list."""
    return sum(((place + 1) * start for place, start in zip(places, starts, strict=True)), 0.0 * starts[0])


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
