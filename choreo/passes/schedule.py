"""Choose whole-frame starts nearest to the designer's wishes that keep every rule and never collide.

In:  one shot, Removal, routes, Encounters      Out: Schedule

What is timed is an *item*: one step of the removal, alone or as a group. For each pair of parts the region of
the (way, way) plane that collides is known from the geometry alone; with the two easings it becomes forbidden
lags between two items, and clauses where a part stands between two of its own (`motion.lag`), in continuous
time. What is left is an integer program over the starts of one phase (`motion.starts`). Phases do not interact:
every part stands still at a common state between them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from choreo.errors import ChoreoError, Finding, no_solution
from choreo.geometry.collision.encounter import Encounters
from choreo.model.choreography import Phase, Shot
from choreo.model.plan import Floats, Move, Removal
from choreo.motion.path import lengths
from choreo.motion.starts import nearest_starts
from choreo.motion.starts_question import Starts
from choreo.passes.schedule_items import Items, list_items
from choreo.passes.schedule_kept import Fixed, kept_moves, kept_stops
from choreo.passes.schedule_meetings import Meetings, drifting, refuse_hits_on_body
from choreo.passes.schedule_rules import Rule, asked_with, tree_rules, wish_rules
from choreo.passes.schedule_why import Told, reason, why_not
from choreo.passes.schedule_words import Said, drifts_apart, empty_beats, move_too_long, no_beat, shortened

_NONE: Mapping[str, Sequence[float]] = MappingProxyType({})


@dataclass(frozen=True)
class Schedule:
    """The timing of one shot.

    Attributes
    ----------
    moves : tuple of Move
        In order of phase, then start, then removal order. A part that leaves in a group, or stops on its way, has
        several in one phase, each over a stretch of its route.
    bare_pairs : tuple of (part, part)
        Pairs that cannot keep their clearance on these routes; they do not collide.
    warnings : tuple of Finding
        E.g. that a stagger had to be shortened.
    frames : tuple of int
        Length of each phase; that of a phase with ``frames = "fit"`` is solved.

    """

    moves: tuple[Move, ...]
    bare_pairs: tuple[tuple[str, str], ...]
    warnings: tuple[Finding, ...]
    frames: tuple[int, ...]


def plan_schedule(
    shot: Shot,
    removal: Removal,
    routes: Mapping[str, Floats],
    encounters: Encounters,
    *,
    shared_mm: Mapping[str, Sequence[float]] = _NONE,
    stops_mm: Mapping[str, Sequence[float]] = _NONE,
    kept: Sequence[Move] = (),
) -> Schedule:
    """Time all moves of a shot.

    Parameters
    ----------
    shot : Shot
        Phases with their motions and wishes.
    removal : Removal
        Steps that move as one. An explode starts them in this order, an assemble in reverse.
    routes : mapping of part id to (k, 3) array
        Displacements, mm.
    encounters : Encounters
        Shapes of all pairs.
    shared_mm : mapping of part id to sequence of float
        Ways along a part's route at which it comes off each of its groups, outermost first, mm; absent: it is in
        none. A group's own `part` has no legs beyond it.
    stops_mm : mapping of part id to sequence of float
        Ways along the route at which the part comes to a stop, ascending, mm. Between stops it is eased anew; the
        frames of the move are shared by length.
    kept : sequence of Move
        Moves that are approved: they stay as they are, and the rest is timed around them.

    Returns
    -------
    Schedule
        Free of collisions at every instant, overshoot included.

    Raises
    ------
    ChoreoError
        Exit 1, with the rules that contradict each other: ``too-little-time`` with the frames that would do,
        ``no-beat``, ``rules-conflict``, ``cannot-pass``; ``rests-in-the-way``; ``overshoot-collides`` where an
        easing drives a part into another beyond the ends of its route, ``group-overshoots`` where it tears a
        group apart.

    Notes
    -----
    Optimal in this sense: of all whole-frame starts that keep every rule and do not collide in continuous time,
    a phase gets those whose distances from the wishes add up to the least, each item counted once; among these
    the earliest. A wish is stagger plus delay, shortened by one common factor where the phase has no room for
    them; what comes off a group is staggered from where the group's arrival really lies. A phase with ``frames =
    "fit"`` has nothing shortened: its distances add up to the least that any length allows, and of the lengths
    that allow it the phase gets the shortest. ``move = "fit"`` is the longest common move, not longer than the
    stagger leaves room for, that has a timing.

    """
    moves: list[Move] = []
    bare: dict[tuple[str, str], None] = {}
    warnings: list[Finding] = []
    failed: list[Finding] = []
    frames: list[int] = []
    ways = {part: float(lengths(route)[-1]) for part, route in routes.items()}
    for index, phase in enumerate(shot.phases):
        start = sum(frames)
        frames.append(phase.frames)
        if phase.kind == "hold":
            continue
        said = Said(f'phase {index + 1} of shot "{shot.name}"', phase)
        fixed = kept_moves(kept, index, start)
        items = list_items(removal, fixed.phase(phase), ways, shared_mm, {**stops_mm, **kept_stops(kept, ways)})
        job = _Job(said, fixed.wished(items), removal.body, routes, encounters, fixed)
        try:
            timed = _time_phase(job)
        except ChoreoError as error:  # the other phases may have something to say as well
            failed.extend(error.findings)
            continue
        frames[-1] = timed.frames
        bare.update(dict.fromkeys(timed.bare))
        warnings.extend(timed.warnings)
        moves.extend(fixed.checked(_moves(job, timed, ways, index, start)))
    if failed:
        raise no_solution(*failed)
    rank = {part: k for k, part in enumerate(removal.order)}
    moves.sort(key=lambda move: (move.phase, move.start, rank[move.part]))
    return Schedule(tuple(moves), tuple(bare), tuple(warnings), tuple(frames))


@dataclass(frozen=True, eq=False)
class _Job:
    """One phase with what its timing hangs on."""

    said: Said
    items: Items
    body: str
    routes: Mapping[str, Floats]
    encounters: Encounters
    kept: Fixed

    @property
    def phase(self) -> Phase:
        return self.said.phase


@dataclass(frozen=True)
class _Timed:
    starts: tuple[int, ...]
    wishes: tuple[int, ...]
    moves: tuple[int, ...]
    reasons: tuple[str, ...]
    bare: tuple[tuple[str, str], ...]
    warnings: tuple[Finding, ...]
    frames: int


def _moves(job: _Job, timed: _Timed, ways: Mapping[str, float], phase: int, since: int) -> list[Move]:
    """Each item's move of each of its parts, cut at the stops."""
    found = []
    for k, item in enumerate(job.items.items):
        start, kind, easing = since + timed.starts[k], job.phase.kind, item.motion.easing
        for part in item.parts:
            walk = job.items.walk(k, part, timed.moves[k])
            whole = ways[part]
            for leg in walk.stretches:
                at, first = start + leg.start, leg.start == 0
                wish, why = (since + timed.wishes[k], timed.reasons[k]) if first else (at, "")
                low, high = sorted((leg.origin, leg.end))
                span = (low / whole, high / whole) if whole > 0 else (0.0, float(k == job.items.outer(part)))
                found.append(Move(part, phase, at, leg.frames, easing, kind, wish, why, span))
    return found


def _time_phase(job: _Job) -> _Timed:
    wanted = [item.motion.move for item in job.items.items]
    if all(move is not None for move in wanted):
        return _with_moves(job, tuple(move for move in wanted if move is not None))
    # "fit": the longest common move with which the stagger still fits the phase, then shorter ones.
    room = job.phase.frames - 1 - job.phase.least_hold
    asked = max((slack for _, slack in job.items.nominal([0] * len(wanted))), default=0)
    for fitted in range(max(room - asked, room // 3, 1), 0, -1):
        try:
            return _with_moves(job, tuple(fitted if move is None else move for move in wanted))
        except ChoreoError:
            if fitted == 1:
                raise
    raise AssertionError


def _with_moves(job: _Job, moves: tuple[int, ...]) -> _Timed:
    phase, items = job.phase, job.items
    nominal = items.nominal(moves)
    horizon = _horizon(phase, nominal, moves)
    room = horizon if phase.fit else phase.frames - 1
    long = [move_too_long(job.said, items.items[k].lead, move) for k, move in enumerate(moves) if move > room]
    long += [drifts_apart(job.said, items.items[k].lead, items.items[k].parts) for k in drifting(items, moves)]
    if long:
        raise no_solution(*long)
    latest = [room - (0 if phase.fit else phase.least_hold) - move for move in moves]
    scale = _scale(nominal, latest)
    meetings = Meetings(job.said, items, moves, horizon, job.routes, job.encounters)
    refuse_hits_on_body(meetings, job.body)
    anchors = {k: wish.anchor for k, wish in enumerate(items.wishes) if wish.anchor is not None}
    question = Starts(_wishes(items, nominal, moves, scale), latest, {}, _beats(job, moves), (), anchors)
    rules = (*tree_rules(items, moves, horizon), *wish_rules(items, phase, moves, horizon))
    told = Told(job.said, items, moves, asked_with(question, rules), rules, horizon)
    told, starts = _nearest(told, meetings)
    if starts is None:
        raise no_solution(why_not(told, meetings, fit=phase.fit))
    unscaled = replace(question, wish=_wishes(items, nominal, moves, 1.0)).wished(starts)
    reasons = tuple(reason(told, starts, k, unscaled[k]) for k in range(len(starts)))
    landings = [s + m for s, m in zip(starts, moves, strict=True)]
    found = (
        shortened(job.said, scale, len(meetings.parts)) if scale < 1 else None,
        empty_beats(job.said, landings, moves),
    )
    warnings = tuple(finding for finding in found if finding is not None)
    last = max(landings, default=0)
    frames = last + 1 + phase.least_hold if phase.fit else phase.frames
    return _Timed(starts, unscaled, moves, reasons, tuple(meetings.bare), warnings, frames)


def _horizon(phase: Phase, nominal: Sequence[tuple[int, int]], moves: Sequence[int]) -> int:
    """No start need be later: beyond the last wish and the last beat, a pause of all parts could be left out."""
    asked = max((fixed + slack for fixed, slack in nominal), default=0)
    own = 0 if phase.fit else phase.frames
    return max(own, asked, *phase.beats, 0) + 2 * sum(moves) + len(moves)


def _scale(nominal: Sequence[tuple[int, int]], latest: Sequence[int]) -> float:
    """The share of stagger and delays that the phase has room for."""
    over = [
        max(last - fixed, 0) / slack
        for (fixed, slack), last in zip(nominal, latest, strict=True)
        if fixed + slack > last and slack > 0
    ]
    return min(over, default=1.0)


def _wishes(items: Items, nominal: Sequence[tuple[int, int]], moves: Sequence[int], scale: float) -> tuple[int, ...]:
    """Starts asked for, each counted from its anchor's; rounded so that sums do not drift."""
    found = []
    for k, wish in enumerate(items.wishes):
        before = round(scale * nominal[wish.anchor][1]) if wish.anchor is not None else 0
        found.append(items.fixed(k, moves) + round(scale * nominal[k][1]) - before)
    return tuple(found)


def _nearest(told: Told, meetings: Meetings) -> tuple[Told, tuple[int, ...] | None]:
    """Return the nearest starts, with the rules that decided them.

    Begins without any pair of parts and adds those that the answer gets wrong, until it gets none wrong. What is
    left out is kept all the same, so the answer is the optimum of the whole question; and where the pairs that
    are in it have no answer, all of them have none.
    """
    exact: dict[tuple[str, str], Rule] = {}
    own = told.rules
    shortest = told.moves if told.said.phase.fit else None
    while True:
        starts = nearest_starts(told.question, shortest)
        wrong = [] if starts is None else meetings.broken(starts, exact)
        if not wrong:
            return told, starts
        exact.update({pair: meetings.exact(*pair) for pair in wrong})
        told = told.with_rules([*own, *exact.values()])


def _beats(job: _Job, moves: tuple[int, ...]) -> dict[int, tuple[int, ...]]:
    """Starts from which a move arrives on a beat; what is kept starts where it was approved."""
    choices: dict[int, tuple[int, ...]] = {}
    if job.phase.beats:
        choices = {k: tuple(beat - move for beat in job.phase.beats if beat >= move) for k, move in enumerate(moves)}
    choices.update({k: (start,) for k, start in job.kept.pinned(job.items).items()})
    late = [no_beat(job.said, job.items.items[k].lead, moves[k]) for k, frames in choices.items() if not frames]
    if late:
        raise no_solution(*late)
    return choices
