"""One move of one part along its route, and the stretches of it on which the part stands or goes one way only."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import accumulate, pairwise

import numpy as np

from choreo.model.plan import Floats
from choreo.motion.easing import MonotonePiece, parse_easing
from choreo.motion.stretches import passed_marks, share_frames

Span = tuple[float, float]

SLIVER = 1e-3
"""mm; half the width of the strip in which what collides is asked for about a part that stands still."""


@dataclass(frozen=True)
class Stretch:
    """One eased part of a walk: from way `origin` at time `start` to way `end`, mm, `frames` later."""

    start: int
    frames: int
    origin: float
    end: float


@dataclass(frozen=True)
class Walk:
    """One move of one part along a stretch of its route.

    Attributes
    ----------
    length : float
        Of the stretch, mm.
    frames : int
        Duration of the move.
    easing : str
        W3C syntax or ``min-jerk``.
    backward : bool
        False: from assembled to rest; True: from rest to assembled.
    base : float
        Way along the route at which the stretch begins, mm.
    stops : tuple of float
        Ways within the stretch, ascending, at which it comes to a stop: it is eased from each to the next.
    opens, closes : bool
        Whether it stands at its beginning for all time before, and at its end for all time after. Where another
        move comes before or after, it stands for a while only, and `standing_hits` answers for that.

    """

    length: float
    frames: int
    easing: str
    backward: bool = False
    base: float = 0.0
    stops: tuple[float, ...] = ()
    opens: bool = True
    closes: bool = True

    @property
    def ends(self) -> Span:
        """Way before the move and after it, mm."""
        ends = (self.base, self.base + self.length)
        return ends[::-1] if self.backward else ends

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        """What is eased one by one, in order of time."""
        marks = [self.base, *self.stops, self.base + self.length]
        if self.backward:
            marks.reverse()
        marks = passed_marks(marks, self.frames)
        shares = share_frames([abs(b - a) for a, b in pairwise(marks)], self.frames)
        starts = accumulate(shares, initial=0)
        return tuple(Stretch(t, n, a, b) for t, n, (a, b) in zip(starts, shares, pairwise(marks), strict=False))

    @property
    def reach(self) -> Span:
        """Lowest and highest way on the whole move, the ends of the stretch and any overshoot included, mm."""
        low, high = parse_easing(self.easing).extent
        ways = [s.origin + (s.end - s.origin) * y for s in self.stretches for y in (min(low, 0.0), max(high, 1.0))]
        return min(ways), max(ways)


@dataclass(frozen=True)
class State:
    """A stretch of a walk: standing still at ``span[0]`` over `window`, or moving one way over `span`."""

    span: Span
    window: Span
    piece: MonotonePiece | None

    def time(self, way: Floats) -> Floats:
        """Return the frames since the start at which the part is at `way`, mm (moving stretches only)."""
        assert self.piece is not None
        return np.asarray(self.piece.time(way))  # which answers for what lies beyond the span with its nearer end


def states_of(walk: Walk) -> list[State]:
    """Return what a walk is made of, in order of time, and how it stands before and after where it does for ever."""
    before, after = walk.ends
    states = moving_states(walk)
    if walk.opens:
        states.insert(0, State((before, before), (-math.inf, 0.0), None))
    if walk.closes:
        states.append(State((after, after), (float(walk.frames), math.inf), None))
    return states


def moving_states(walk: Walk) -> list[State]:
    """Return the stretches of the move itself."""
    states = []
    for part in walk.stretches:
        for eased in parse_easing(walk.easing).pieces:
            piece = eased.placed(part.start, part.frames, part.origin, part.end)
            span = (min(piece.y0, piece.y1), max(piece.y0, piece.y1))
            states.append(State(span, (piece.t0, piece.t1), None if piece.flat else piece))
    return states


def whole_span(states: list[State]) -> Span | None:
    """Return the stretch that covers all states, a sliver wider; None where no single stretch does."""
    moving = [state for state in states if state.piece is not None]
    if len(moving) != 1:
        return None
    (low, high) = moving[0].span
    if any(state.span[0] < low or state.span[1] > high for state in states):
        return None
    return low - SLIVER, high + SLIVER


def covering(states: list[State]) -> Span:
    """Return the stretch from the lowest to the highest way of all states."""
    spans = [wide(state) for state in states]
    return min(low for low, _ in spans), max(high for _, high in spans)


def wide(state: State) -> Span:
    """Return the span of a stretch, a sliver wide where the part stands, mm."""
    if state.piece is not None:
        return state.span
    return state.span[0] - SLIVER, state.span[0] + SLIVER


def falls(state: State) -> bool:
    """Return whether the way falls as time goes on."""
    assert state.piece is not None
    return state.piece.y0 > state.piece.y1
