"""How long one part must wait for another, in continuous time.

Two parts walk their routes by s(time) and t(time); what collides is a region of the (s, t) plane, known once
from the geometry. Shift the second start by a lag d: the two are then at (s, t) together exactly when
``d = S(s) - T(t)``, S and T being the times at which each is there, counted from its own start. So the lags
that collide are the range of ``S(s) - T(t)`` over the region. The region is a union of convex polygons, and S
and T are monotone on each piece of an easing, so the range is taken on the polygons' edges and enclosed to
within `_FINE` frames, always rounded outward.

A part that has not started, or has arrived, stands still for all time: there the time is a half-line, and a
region that reaches the edge of the plane forbids a half-line of lags.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats
from choreo.motion.walk import SLIVER, Span, State, Walk, covering, falls, moving_states, states_of, whole_span, wide

Diagram = Callable[[Span, Span], Floats]
"""(span of s, span of t), mm -> (n, v, 2) convex polygons of the (s, t) plane that collide there."""

_FINE = 0.01
"""Frames; how closely the ends of a forbidden interval are enclosed."""
_PARTS = 8
_BATCH = 48
"""Polygons asked at a time; the ones at the ends of the range settle most of the others."""
_ROUNDS = 40
_SEAM = 1e-6
"""mm; how far two polygons of one region may be apart by rounding where they share an edge."""


def forbidden_lags(diagram: Diagram, a: Walk, b: Walk, *, quick: bool = False) -> tuple[Span, ...]:
    """Return the lags (b's start less a's, frames) at which the two collide.

    Parameters
    ----------
    diagram : Diagram
        What collides, for any stretch of the two routes.
    a, b : Walk
        How each goes its way. Ways before the start and after the arrival are held for ever.
    quick : bool
        Whether the diagram costs little for stretches however long: then all of it is looked at first.

    Returns
    -------
    tuple of (low, high)
        Disjoint open intervals in ascending order; ends may be infinite. No end lies inside the true
        interval, none more than `_FINE` frames outside it.

    """
    first, second = states_of(a), states_of(b)
    # Where one stretch covers all that its walk covers, one look at the whole diagram answers for all states.
    spans = whole_span(first), whole_span(second)
    whole = diagram(spans[0], spans[1]) if spans[0] is not None and spans[1] is not None else None
    boxes = _boxes(diagram(covering(first), covering(second))) if whole is None and quick else None
    found: list[Span] = []
    for one in first:
        for two in second:
            if boxes is None or _met(boxes, wide(one), wide(two)):
                hit = diagram(wide(one), wide(two)) if whole is None else whole
                found.extend(_lags(hit, one, two) if len(hit) else ())
    return merge_intervals(found)


def merge_intervals(intervals: list[Span]) -> tuple[Span, ...]:
    """Join intervals that overlap or touch; ascending."""
    merged: list[Span] = []
    for low, high in sorted(intervals):
        if merged and low <= merged[-1][1] + _FINE:
            merged[-1] = (merged[-1][0], max(merged[-1][1], high))
        else:
            merged.append((low, high))
    return tuple(merged)


def standing_hits(diagram: Diagram, mover: Walk, way: float) -> tuple[Span, ...]:
    """Return when a mover meets another that stands still.

    Parameters
    ----------
    diagram : Diagram
        What collides: (way of the mover, way of the other).
    mover : Walk
        The move.
    way : float
        Where on its route the other stands, mm.

    Returns
    -------
    tuple of (first, last)
        Frames since the start of the move; disjoint open intervals within it, ascending.

    """
    found: list[Span] = []
    for state in moving_states(mover):
        hit = diagram(wide(state), (way - SLIVER, way + SLIVER))
        if not len(hit):
            continue
        cut = _slice(hit, 1, way)
        if state.piece is None:
            if ((cut[:, 0] < state.span[0]) & (state.span[0] < cut[:, 1])).any():
                found.append(state.window)
            continue
        times = state.time(_within(cut, state.span))
        found += [(float(t.min()), float(t.max())) for t in times]
    return merge_intervals(found)


def standing_meet(diagram: Diagram, one: float, two: float) -> bool:
    """Whether two that stand still, at these ways along their routes, overlap."""
    hit = diagram((one - SLIVER, one + SLIVER), (two - SLIVER, two + SLIVER))
    if not len(hit):
        return False
    cut = _slice(hit, 0, one)
    return bool(((cut[:, 0] < two) & (two < cut[:, 1])).any())


def _boxes(polygons: Floats) -> Floats:
    """(n, 2 corners, 2) a box around each polygon, a sliver wider."""
    return np.stack([polygons.min(axis=1) - SLIVER, polygons.max(axis=1) + SLIVER], axis=1)


def _met(boxes: Floats, s: Span, t: Span) -> bool:
    """Whether one of the boxes comes into the rectangle of two spans."""
    low, high = np.array([s[0], t[0]]), np.array([s[1], t[1]])
    return bool(((boxes[:, 0] <= high) & (boxes[:, 1] >= low)).all(axis=1).any())


def _lags(hit: Floats, one: State, two: State) -> list[Span]:
    """Return the lags at which a point of the region is met by these two stretches."""
    if one.piece is not None and two.piece is not None:
        return _moving_lags(hit, one, two)
    if one.piece is None:
        cut = _slice(hit, 0, one.span[0])
        if two.piece is None:
            inside = (cut[:, 0] < two.span[0]) & (two.span[0] < cut[:, 1])
            return [(one.window[0] - two.window[1], one.window[1] - two.window[0])] if inside.any() else []
        times = two.time(_within(cut, two.span))
        return [(one.window[0] - float(t.max()), one.window[1] - float(t.min())) for t in times]
    times = one.time(_within(_slice(hit, 1, two.span[0]), one.span))
    return [(float(s.min()) - two.window[1], float(s.max()) - two.window[0]) for s in times]


def _slice(polygons: Floats, axis: int, at: float) -> Floats:
    """Cut convex polygons with the line ``coordinate[axis] = at``: (m, 2) stretches of the other coordinate."""
    before = polygons[..., axis] < at
    if before.all() or not before.any():
        return np.zeros((0, 2))
    here, ahead = polygons, np.roll(polygons, -1, axis=1)
    d0, d1 = here[..., axis] - at, ahead[..., axis] - at
    crosses = (d0 < 0) != (d1 < 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        where = here[..., 1 - axis] + d0 / (d0 - d1) * (ahead[..., 1 - axis] - here[..., 1 - axis])
    low = np.where(crosses, where, np.inf).min(axis=1)
    high = np.where(crosses, where, -np.inf).max(axis=1)
    keep = high > low
    touches = keep & (d0.max(axis=1) == 0)
    if touches.any():
        keep &= ~touches | _continued(polygons, axis, at, low, high)
    return np.stack([low[keep], high[keep]], axis=1)


def _continued(polygons: Floats, axis: int, at: float, low: Floats, high: Floats) -> NDArray[np.bool_]:
    """Whether what ends at the line goes on beyond it in another polygon; else it is touched, not crossed."""
    way, other = polygons[..., axis] - at, polygons[..., 1 - axis]
    beyond = (way.min(axis=1) >= 0) & (way.min(axis=1) < _SEAM) & (way.max(axis=1) > 0)
    first, last = other[beyond].min(axis=1), other[beyond].max(axis=1)
    return np.asarray(((first < high[:, None]) & (last > low[:, None])).any(axis=1))


def _within(stretches: Floats, span: Span) -> Floats:
    """Cut (m, 2) stretches to a span; drop those that only touch it."""
    return np.clip(stretches[(stretches[:, 0] < span[1]) & (stretches[:, 1] > span[0])], *span)


def _moving_lags(hit: Floats, one: State, two: State) -> list[Span]:
    """Range of S(s) - T(t) over the polygons, from their edges."""
    # The whole diagram reaches a sliver beyond the routes' ends: what lies there only is never walked.
    span = np.array([one.span, two.span])
    hit = hit[((hit.min(axis=1) < span[:, 1]) & (hit.max(axis=1) > span[:, 0])).all(axis=1)]
    if not len(hit):
        return []
    hit, s, t = _telling(hit, one, two)
    known = _joined(s - t)
    low, high = np.array(known).T.copy()
    ahead = np.roll(hit, -1, axis=1)
    # Along an edge on which S and T do not rise together the difference is monotone: its corners say it all.
    together = (ahead - hit).prod(axis=2)
    rise = together > 0 if falls(one) == falls(two) else together < 0
    # What an edge may add counts only beyond what is known to be forbidden around it.
    group = np.searchsorted(low, (s - t).min(axis=1), side="right")[:, None] - 1
    s_ends, t_ends = np.stack([s, np.roll(s, -1, axis=1)]), np.stack([t, np.roll(t, -1, axis=1)])
    most, least = s_ends.max(axis=0) - t_ends.min(axis=0), s_ends.min(axis=0) - t_ends.max(axis=0)
    above = np.nonzero(rise & (most > high[group] + _FINE))
    below = np.nonzero(rise & (least < low[group] - _FINE))
    ends = np.stack([hit, ahead], axis=2)
    # Both ends of the range in one go: a few numbers cost as much as a few more.
    edges = np.concatenate([ends[above], ends[below]])
    owner = np.concatenate([group[above[0], 0], group[below[0], 0] + len(high)])
    bound = _enclose(
        edges, owner, one, two, np.repeat([1.0, -1.0], [len(above[0]), len(below[0])]), np.append(high, -low)
    )
    high, low = bound[: len(high)], -bound[len(high) :]
    return [(float(a), float(b)) for a, b in zip(low, high, strict=True)]


def _telling(hit: Floats, one: State, two: State) -> tuple[Floats, Floats, Floats]:
    """Leave out polygons that cannot add to the range: their boxes' range lies within that of another's corners.

    With those that are left come S and T at their corners.
    """
    if len(hit) <= _BATCH:
        return hit, one.time(hit[..., 0]), two.time(hit[..., 1])
    s = one.time(np.stack([hit[..., 0].min(axis=1), hit[..., 0].max(axis=1)]))
    t = two.time(np.stack([hit[..., 1].min(axis=1), hit[..., 1].max(axis=1)]))
    low, high = s.min(axis=0) - t.max(axis=0), s.max(axis=0) - t.min(axis=0)
    chosen = np.zeros(len(hit), dtype=bool)
    covered = np.zeros(len(hit), dtype=bool)
    while not (chosen | covered).all():
        left = np.flatnonzero(~(chosen | covered))
        chosen[left[np.argsort(-high[left], kind="stable")[:_BATCH]]] = True
        chosen[left[np.argsort(low[left], kind="stable")[:_BATCH]]] = True
        at = one.time(hit[chosen, :, 0]), two.time(hit[chosen, :, 1])
        starts, ends = np.array(_joined(at[0] - at[1])).T
        group = np.searchsorted(starts, low, side="right") - 1
        covered = (group >= 0) & (high <= ends[np.maximum(group, 0)])
    return hit[chosen], *at


def _joined(lags: Floats) -> tuple[Span, ...]:
    """What (n, v) lags at the corners of polygons forbid: from the least to the largest of each, joined."""
    return merge_intervals(list(zip(lags.min(axis=1).tolist(), lags.max(axis=1).tolist(), strict=True)))


def _enclose(ends: Floats, group: NDArray[np.intp], one: State, two: State, sign: Floats, best: Floats) -> Floats:
    """Return an upper bound, an edge group, of ``sign * (S - T)`` on edges (m, 2 ends, 2), from a known lower one.

    Each edge, of its own `sign`, is cut in parts; the ends of a part bound the difference on it from above. Parts
    that may still beat the best value found are cut again until the bound is within `_FINE` of it.
    """
    steps = np.linspace(0.0, 1.0, _PARTS + 1)
    bound = best
    for _ in range(_ROUNDS if len(ends) else 0):
        points = ends[:, :1] + steps[None, :, None] * (ends[:, 1:] - ends[:, :1])
        s, t = sign[:, None] * one.time(points[..., 0]), sign[:, None] * two.time(points[..., 1])
        np.maximum.at(bound, group, (s - t).max(axis=1))
        top = np.maximum(s[:, :-1], s[:, 1:]) - np.minimum(t[:, :-1], t[:, 1:])
        row, part = np.nonzero(top > bound[group][:, None] + _FINE)
        if not len(row):
            break
        ends = np.stack([points[row, part], points[row, part + 1]], axis=1)
        group, sign = group[row], sign[row]
    return np.asarray(bound + _FINE)
