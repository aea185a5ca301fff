"""Which whole-frame starts are asked for, and what must hold of them.

What two moves owe each other is a set of allowed lags (second start less first start), a union of intervals;
what more than two owe each other is a clause: one of several differences of starts must be large enough.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

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
