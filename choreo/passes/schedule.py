"""Choose whole-frame starts nearest to the designer's stagger and delays that never collide.

In:  one shot, routes, Encounters      Out: tuple of Move

For each pair of parts the region of the (way, way) plane that collides is known from the geometry alone; with
the two easings it becomes a set of forbidden lags (`motion.lag`), in continuous time. What is left is an
integer program over the starts of one phase (`motion.starts`). Phases do not interact: every part stands still
at a common state between them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from choreo.errors import ChoreoError, Finding, no_solution
from choreo.geometry.encounter import Encounters
from choreo.model.choreography import Shot
from choreo.model.plan import Floats, Move
from choreo.motion.lag import Span, Walk, forbidden_lags
from choreo.motion.path import lengths
from choreo.motion.starts import Spans, Starts, allowed_lags, allows, nearest_starts
from choreo.passes.schedule_words import (
    Said,
    cannot_pass,
    move_too_long,
    no_beat,
    overshoot,
    reason,
    rests_in_way,
    shortened,
    why_not,
)


@dataclass(frozen=True)
class Schedule:
    """The timing of one shot.

    Attributes
    ----------
    moves : tuple of Move
        In order of phase, then start, then removal order.
    bare_pairs : tuple of (part, part)
        Pairs that cannot keep their clearance on these routes; they do not collide.
    warnings : tuple of Finding
        E.g. that a stagger had to be shortened.

    """

    moves: tuple[Move, ...]
    bare_pairs: tuple[tuple[str, str], ...]
    warnings: tuple[Finding, ...]


def plan_schedule(
    shot: Shot, order: tuple[str, ...], body: str, routes: Mapping[str, Floats], encounters: Encounters
) -> Schedule:
    """Time all moves of a shot.

    Parameters
    ----------
    shot : Shot
        Phases with easing, move, stagger, delay and beats.
    order : tuple of str
        Removal order, without the body. An explode starts its parts in this order, an assemble in reverse.
    body : str
        The part that stands still.
    routes : mapping of part id to (k, 3) array
        Displacements, mm.
    encounters : Encounters
        Shapes of all pairs.

    Returns
    -------
    Schedule
        Free of collisions at every instant, overshoot included.

    Raises
    ------
    ChoreoError
        Exit 1: ``too-little-time`` with the chain of parts and both numbers, ``no-beat`` where no arrival can
        be put on the beats, ``cannot-pass`` where two parts meet whatever the lag, ``overshoot-collides``
        where an easing drives a part into another beyond the ends of its route.

    """
    moves: list[Move] = []
    bare: dict[tuple[str, str], None] = {}
    warnings: list[Finding] = []
    failed: list[Finding] = []
    for index, (start, phase) in enumerate(zip(shot.starts, shot.phases, strict=True)):
        if phase.kind == "hold":
            continue
        turn = order if phase.kind == "explode" else order[::-1]
        job = _PhaseJob(f'phase {index + 1} of shot "{shot.name}"', phase, turn, body, routes, encounters)
        try:
            timed = _time_phase(job)
        except ChoreoError as error:  # the other phases may have something to say as well
            failed.extend(error.findings)
            continue
        bare.update(dict.fromkeys(timed.bare))
        warnings.extend(timed.warnings)
        moves.extend(
            Move(part, index, start + s, timed.moves[k], phase.motion(part).easing, phase.kind, start + w, why)
            for k, (part, s, w, why) in enumerate(zip(turn, timed.starts, timed.wishes, timed.reasons, strict=True))
        )
    if failed:
        raise no_solution(*failed)
    moves.sort(key=lambda move: (move.phase, move.start, order.index(move.part)))
    return Schedule(tuple(moves), tuple(bare), tuple(warnings))


@dataclass(frozen=True, eq=False)
class _PhaseJob(Said):
    """One phase with what its timing hangs on."""

    body: str
    routes: Mapping[str, Floats]
    encounters: Encounters

    def walk(self, part: str, frames: int) -> Walk:
        length = float(lengths(self.routes[part])[-1])
        return Walk(length, frames, self.phase.motion(part).easing, self.phase.kind == "assemble")

    def lags(self, a: str, b: str, moves: tuple[int, int], *, kept: bool, hulls: bool = False) -> tuple[Span, ...]:
        return forbidden_lags(
            lambda s, t: self.encounters.diagram(a, b, self.routes[a], self.routes[b], (s, t), kept=kept, hulls=hulls),
            self.walk(a, moves[0]),
            self.walk(b, moves[1]),
        )


@dataclass(frozen=True)
class _Timed:
    starts: tuple[int, ...]
    wishes: tuple[int, ...]
    moves: tuple[int, ...]
    reasons: tuple[str, ...]
    bare: tuple[tuple[str, str], ...]
    warnings: tuple[Finding, ...]


def _time_phase(job: _PhaseJob) -> _Timed:
    wanted = [job.phase.motion(part).move for part in job.parts]
    if all(move is not None for move in wanted):
        return _with_moves(job, tuple(move for move in wanted if move is not None))
    # "fit": the longest common move with which the stagger still fits the phase, then shorter ones.
    asked = max((_asked(job)), default=0)
    longest = max(job.phase.frames - 1 - asked, (job.phase.frames - 1) // 3, 1)
    for fitted in range(longest, 0, -1):
        try:
            return _with_moves(job, tuple(fitted if move is None else move for move in wanted))
        except ChoreoError:
            if fitted == 1:
                raise
    raise AssertionError


def _asked(job: _PhaseJob) -> list[int]:
    """Starts that stagger and delay ask for, counted in the phase."""
    return [k * job.phase.stagger + job.phase.motion(part).delay for k, part in enumerate(job.parts)]


def _with_moves(job: _PhaseJob, moves: tuple[int, ...]) -> _Timed:
    latest = [job.phase.frames - 1 - move for move in moves]
    long = [move_too_long(job, part, moves[k]) for k, part in enumerate(job.parts) if latest[k] < 0]
    if long:
        raise no_solution(*long)
    _refuse_hits_on_body(job, moves)
    asked = _asked(job)
    over = [last / want for want, last in zip(asked, latest, strict=True) if want > last]
    scale = min(over, default=1.0)
    wishes = tuple(round(scale * want) for want in asked)
    lags = _Lags(job, moves)
    question, starts = _nearest(Starts(wishes, latest, {}, _beats(job, moves)), lags)
    if starts is None:
        raise no_solution(why_not(job, replace(question, lags=lags.all_exact()), moves))
    reasons = tuple(reason(job, question, starts, asked, k) for k in range(len(starts)))
    warnings = (shortened(job, scale),) if scale < 1 else ()
    return _Timed(starts, tuple(asked), moves, reasons, tuple(lags.bare), warnings)


def _nearest(question: Starts, lags: _Lags) -> tuple[Starts, tuple[int, ...] | None]:
    """Return the nearest starts, and the question with the lags that decided them.

    Starts with no pair of parts in it and adds those that the answer gets wrong, until it gets none wrong. What
    is left out is kept all the same, so the answer is the optimum of the whole question; and where the pairs
    that are in it have no answer, all of them have none.
    """
    exact: dict[tuple[int, int], Spans] = {}
    while True:
        question = replace(question, lags=dict(sorted(exact.items())))
        starts = nearest_starts(question)
        wrong = [] if starts is None else lags.broken(starts, exact)
        if not wrong:
            return question, starts
        exact.update({pair: lags.exact(*pair) for pair in wrong})


class _Lags:
    """Which lags each pair of moves allows: roughly for all, exactly for those that are asked for.

    Roughly means for the prisms around the solids: a lag that is free for those is free.
    """

    def __init__(self, job: _PhaseJob, moves: tuple[int, ...]) -> None:
        self.job, self.moves = job, moves
        self.horizon = max(job.phase.frames, sum(moves))
        self.bare: dict[tuple[str, str], None] = {}
        self._exact: dict[tuple[int, int], Spans] = {}
        self._rough: dict[tuple[int, int], Spans] = {}
        for i, j in combinations(range(len(moves)), 2):
            forbidden = job.lags(job.parts[i], job.parts[j], (moves[i], moves[j]), kept=True, hulls=True)
            if forbidden:
                self._rough[i, j] = allowed_lags(forbidden, self.horizon)

    def broken(self, starts: tuple[int, ...], settled: Mapping[tuple[int, int], Spans]) -> list[tuple[int, int]]:
        """Return the pairs, beyond those settled, that these starts make collide."""
        suspects = [
            pair
            for pair, spans in self._rough.items()
            if pair not in settled and not allows(spans, starts[pair[1]] - starts[pair[0]])
        ]
        return [pair for pair in suspects if not allows(self.exact(*pair), starts[pair[1]] - starts[pair[0]])]

    def all_exact(self) -> dict[tuple[int, int], Spans]:
        """Return the exact lags of all pairs that may meet."""
        return {pair: self.exact(*pair) for pair in self._rough}

    def exact(self, i: int, j: int) -> Spans:
        """Return the lags of one pair that do not collide, in continuous time."""
        if (i, j) not in self._exact:
            self._exact[i, j] = self._settle(i, j)
        return self._exact[i, j]

    def _settle(self, i: int, j: int) -> Spans:
        a, b = self.job.parts[i], self.job.parts[j]
        moves = (self.moves[i], self.moves[j])
        forbidden = self.job.lags(a, b, moves, kept=True)
        # One after the other, in this order, must stay possible: where the clearance forbids it, geometry
        # decides alone.
        if forbidden and forbidden[-1][1] > moves[0] + 1:
            tight = self.job.lags(a, b, moves, kept=False)
            if tight != forbidden:
                self.bare[a, b] = None
                forbidden = tight
        if forbidden == ((-np.inf, np.inf),):
            raise no_solution(self._never(a, b))
        return allowed_lags(forbidden, self.horizon)

    def _never(self, a: str, b: str) -> Finding:
        """Why no lag will do: one of the two rests on the other's route, or they meet elsewhere."""
        routes, encounters = self.job.routes, self.job.encounters
        for mover, other in ((a, b), (b, a)):
            if encounters.hits(mover, routes[mover], other, routes[other][-1]):
                return rests_in_way(self.job, mover, other)
        return cannot_pass(self.job, a, b)


def _refuse_hits_on_body(job: _PhaseJob, moves: tuple[int, ...]) -> None:
    """The body never moves: a part that meets it does so whatever the timing."""
    for part, move in zip(job.parts, moves, strict=True):
        low, high = job.walk(part, move).reach
        still = np.zeros((1, 3))
        met = job.encounters.diagram(part, job.body, job.routes[part], still, ((low, high), (0.0, 0.0)))
        if len(met):
            deep = max(0.0, -float(met[..., 0].min())) if low < 0 else 0.0
            raise no_solution(overshoot(job, part, job.body, deep) if deep else cannot_pass(job, part, job.body))


def _beats(job: _PhaseJob, moves: tuple[int, ...]) -> dict[int, tuple[int, ...]]:
    """Starts from which a move arrives on a beat."""
    if not job.phase.beats:
        return {}
    choices = {k: tuple(beat - move for beat in job.phase.beats if beat >= move) for k, move in enumerate(moves)}
    late = [no_beat(job, job.parts[k], moves[k]) for k, frames in choices.items() if not frames]
    if late:
        raise no_solution(*late)
    return choices
