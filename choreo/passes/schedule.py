"""Choose whole-frame starts nearest to the designer's stagger and delays that never collide.

In:  one shot, routes, Encounters      Out: tuple of Move

For each pair of parts the region of the (way, way) plane that collides is known from the geometry alone; with
the two easings it becomes a set of forbidden lags (`motion.lag`), in continuous time. What is left is an
integer program over the starts of one phase (`motion.starts`). Phases do not interact: every part stands still
at a common state between them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from choreo.errors import ChoreoError, Finding, no_solution
from choreo.geometry.encounter import Encounters
from choreo.model.choreography import Phase, Shot
from choreo.model.plan import Floats, Move
from choreo.motion.lag import Span, Walk, forbidden_lags
from choreo.motion.starts import Spans, Starts, allowed_lags, nearest_starts, shortest_phase


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
    for index, (start, phase) in enumerate(zip(shot.starts, shot.phases, strict=True)):
        if phase.kind == "hold":
            continue
        turn = order if phase.kind == "explode" else order[::-1]
        job = _PhaseJob(f'phase {index + 1} of shot "{shot.name}"', phase, turn, body, routes, encounters)
        timed = _time_phase(job)
        bare.update(dict.fromkeys(timed.bare))
        warnings.extend(timed.warnings)
        moves.extend(
            Move(part, index, start + s, timed.moves[k], phase.motion(part).easing, phase.kind, start + w, why)
            for k, (part, s, w, why) in enumerate(zip(turn, timed.starts, timed.wishes, timed.reasons, strict=True))
        )
    moves.sort(key=lambda move: (move.phase, move.start, order.index(move.part)))
    return Schedule(tuple(moves), tuple(bare), tuple(warnings))


@dataclass(frozen=True, eq=False)
class _PhaseJob:
    name: str
    phase: Phase
    parts: tuple[str, ...]
    """In the order in which they start."""
    body: str
    routes: Mapping[str, Floats]
    encounters: Encounters

    def walk(self, part: str, frames: int) -> Walk:
        length = float(np.linalg.norm(np.diff(self.routes[part], axis=0), axis=1).sum())
        return Walk(length, frames, self.phase.motion(part).easing, self.phase.kind == "assemble")

    def lags(self, a: str, b: str, moves: tuple[int, int], *, kept: bool) -> tuple[Span, ...]:
        return forbidden_lags(
            lambda s, t: self.encounters.diagram(a, b, self.routes[a], self.routes[b], (s, t), kept=kept),
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
    for part, move, last in zip(job.parts, moves, latest, strict=True):
        if last < 0:
            raise no_solution(_move_too_long(job, part, move))
    _refuse_hits_on_body(job, moves)
    lags, bare = _all_lags(job, moves)
    asked = _asked(job)
    over = [last / want for want, last in zip(asked, latest, strict=True) if want > last]
    scale = min(over, default=1.0)
    wishes = tuple(round(scale * want) for want in asked)
    choices = _beats(job, moves)
    question = Starts(wishes, latest, lags, choices)
    starts = nearest_starts(question)
    if starts is None:
        raise no_solution(_why_not(job, question, moves))
    reasons = tuple(_reason(job, question, starts, asked, k) for k in range(len(starts)))
    warnings = (_shortened(job, scale),) if scale < 1 else ()
    return _Timed(starts, tuple(asked), moves, reasons, bare, warnings)


def _all_lags(
    job: _PhaseJob, moves: tuple[int, ...]
) -> tuple[dict[tuple[int, int], Spans], tuple[tuple[str, str], ...]]:
    """Allowed lags of each pair that can meet; and the pairs that could only be timed without their clearance."""
    lags: dict[tuple[int, int], Spans] = {}
    bare = []
    horizon = max(job.phase.frames, sum(moves))
    for i, j in combinations(range(len(job.parts)), 2):
        a, b = job.parts[i], job.parts[j]
        forbidden = job.lags(a, b, (moves[i], moves[j]), kept=True)
        # One after the other, in this order, must stay possible: where the clearance forbids it, geometry
        # decides alone.
        if forbidden and forbidden[-1][1] > moves[i] + 1:
            tight = job.lags(a, b, (moves[i], moves[j]), kept=False)
            if tight != forbidden:
                bare.append((a, b))
                forbidden = tight
        if forbidden == ((-np.inf, np.inf),):
            raise no_solution(_rests_in_way(job, a, b) or _cannot_pass(job, a, b))
        if forbidden:
            lags[i, j] = allowed_lags(forbidden, horizon)
    return lags, tuple(bare)


def _refuse_hits_on_body(job: _PhaseJob, moves: tuple[int, ...]) -> None:
    """The body never moves: a part that meets it does so whatever the timing."""
    for part, move in zip(job.parts, moves, strict=True):
        walk = job.walk(part, move)
        low, high = _reach(walk)
        still = np.zeros((1, 3))
        met = job.encounters.diagram(part, job.body, job.routes[part], still, ((low, high), (0.0, 0.0)))
        if len(met):
            deep = max(0.0, -float(met[..., 0].min())) if low < 0 else 0.0
            raise no_solution(_overshoot(job, part, job.body, deep) if deep else _cannot_pass(job, part, job.body))


def _reach(walk: Walk) -> Span:
    from choreo.motion.easing import parse_easing  # noqa: PLC0415

    low, high = parse_easing(walk.easing).extent
    if walk.backward:
        low, high = 1 - high, 1 - low
    return min(low, 0.0) * walk.length, max(high, 1.0) * walk.length


def _beats(job: _PhaseJob, moves: tuple[int, ...]) -> dict[int, tuple[int, ...]]:
    """Starts from which a move arrives on a beat."""
    if not job.phase.beats:
        return {}
    choices = {k: tuple(beat - move for beat in job.phase.beats if beat >= move) for k, move in enumerate(moves)}
    for k, frames in choices.items():
        if not frames:
            raise no_solution(_no_beat(job, job.parts[k], moves[k]))
    return choices


def _reason(job: _PhaseJob, question: Starts, starts: tuple[int, ...], asked: list[int], k: int) -> str:
    moved = starts[k] - asked[k]
    if moved == 0:
        return ""
    way = "later" if moved > 0 else "earlier"
    size = f"{abs(moved)} frame{'s' if abs(moved) != 1 else ''} {way}"
    if k in question.choices:
        return f"{size}, to land on a beat"
    for i, j in question.lags:
        other = j if i == k else i if j == k else None
        if other is None:
            continue
        lag = starts[j] - starts[i]
        if any(lag in span for span in question.lags[i, j] if abs(lag) < job.phase.frames):
            return f"{size}, to stay clear of {job.parts[other]}"
    if question.wish[k] != asked[k]:
        return f"{size}: the phase is too short for the stagger"
    return f"{size}, so that others stay clear"


def _shortened(job: _PhaseJob, scale: float) -> Finding:
    return Finding(
        code="stagger-shortened",
        severity="warning",
        what=f"In {job.name} the stagger of {job.phase.stagger} frames is shortened to "
        f"{scale * job.phase.stagger:.2g}: {len(job.parts)} parts do not fit the {job.phase.frames} frames otherwise.",
        remedy="Give the phase more frames, or ask for a shorter stagger, delay or move.",
    )


def _move_too_long(job: _PhaseJob, part: str, move: int) -> Finding:
    return Finding(
        code="too-little-time",
        what=f'In {job.name} the move of "{part}" takes {move} frames and needs {move + 1} to be shown, '
        f"start and arrival included; the phase has {job.phase.frames}.",
        why="Stagger and delays may be shortened, a move never.",
        remedy=f'Give the phase {move + 1} frames or more, shorten "move", or write move = "fit".',
    )


def _no_beat(job: _PhaseJob, part: str, move: int) -> Finding:
    beats = ", ".join(str(beat) for beat in job.phase.beats)
    return Finding(
        code="no-beat",
        what=f'In {job.name} "{part}" cannot arrive on any beat ({beats}): its move takes {move} frames.',
        why="A part that starts on the first frame of the phase arrives `move` frames later at the earliest.",
        remedy=f"Add a beat at frame {move} or later, or shorten the move.",
    )


def _why_not(job: _PhaseJob, question: Starts, moves: tuple[int, ...]) -> Finding:
    """Say which chain of parts needs how many frames, or that it is the beats."""
    found = shortest_phase(question, moves)
    if found is None:
        return _stuck(job)
    frames, starts = found
    if frames <= job.phase.frames:
        beats = ", ".join(str(beat) for beat in job.phase.beats)
        return Finding(
            code="no-beat",
            what=f"In {job.name} the parts cannot all arrive on the beats {beats} without colliding.",
            why=f"Without the beats {frames} frames would do; with them, parts that must pass each other are forced "
            "onto the same frames.",
            remedy="Add beats, move them apart, or shorten the moves.",
        )
    chain = _chain(question, starts, moves)
    links = ", then ".join(f'"{job.parts[k]}" (frames {starts[k]} to {starts[k] + moves[k]})' for k in chain)
    return Finding(
        code="too-little-time",
        what=f"In {job.name} the parts need {frames} frames; the phase has {job.phase.frames}.",
        why=f"This chain cannot be shorter, for each must wait until the one before it is out of its way: {links}.",
        remedy=f"Give the phase {frames} frames or more, or shorten the moves of the parts in the chain.",
    )


def _chain(question: Starts, starts: tuple[int, ...], moves: tuple[int, ...]) -> list[int]:
    """From the last arrival back along waits that cannot be shortened."""
    at = max(range(len(starts)), key=lambda k: (starts[k] + moves[k], -k))
    chain = [at]
    while starts[at] > 0:
        before = [
            i
            for (i, j), spans in question.lags.items()
            if j == at and i not in chain and any(starts[j] - starts[i] == low for low, _ in spans)
        ]
        before += [
            j
            for (i, j), spans in question.lags.items()
            if i == at and j not in chain and any(starts[j] - starts[i] == high for _, high in spans)
        ]
        if not before:
            break
        at = min(before, key=lambda k: starts[k])
        chain.append(at)
    return chain[::-1]


def _stuck(job: _PhaseJob) -> Finding:
    return Finding(
        code="cannot-pass",
        what=f"In {job.name} no timing keeps the parts from meeting.",
        why="The waits that they owe each other contradict one another.",
        remedy="Pin one of the parts to another direction (along) or another travel (travel_mm).",
    )


def _rests_in_way(job: _PhaseJob, a: str, b: str) -> Finding | None:
    """Say so where one of the two rests on the other's route."""
    for mover, other in ((a, b), (b, a)):
        rest = job.routes[other][-1]
        if job.encounters.hits(mover, job.routes[mover], other, rest):
            return Finding(
                code="rests-in-the-way",
                what=f'In {job.name} "{other}" rests where "{mover}" has to pass.',
                why=f'Whatever the timing, "{mover}" would run into it on the way.',
                remedy=f'Let "{other}" travel farther (travel_mm), or pin one of the two to another direction (along).',
            )
    return None


def _cannot_pass(job: _PhaseJob, a: str, b: str) -> Finding:
    return Finding(
        code="cannot-pass",
        what=f'In {job.name} "{a}" and "{b}" meet whatever the time between them.',
        why="Their routes cross, or an easing carries one of them beyond its route's end into the other.",
        remedy="Use an easing without overshoot, or pin one of them to another direction (along) or travel.",
    )


def _overshoot(job: _PhaseJob, part: str, other: str, deep: float) -> Finding:
    return Finding(
        code="overshoot-collides",
        what=f'In {job.name} the easing of "{part}" overshoots and drives it {deep:.2f} mm into "{other}".',
        why="An overshoot carries the part on beyond the end of its route, and there the way is not free.",
        remedy='Use an easing that stays between 0 and 1, such as "ease-out" or "min-jerk".',
    )
