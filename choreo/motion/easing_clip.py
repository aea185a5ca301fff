"""An easing that stops where it first arrives, so that nothing is driven past a contact."""

from __future__ import annotations

import itertools
import math

import numpy as np

from choreo.model.plan import Floats
from choreo.motion.easing import Easing, MonotonePiece, parse_easing
from choreo.motion.easing_fit import Point, few_stops
from choreo.motion.easing_stops import LinearEasing, linear_text

BOUND = 2.5e-4
"""How far the straight lines of a cut curve may be from the curve, as a fraction of the way."""

_SAMPLING = 5e-5
"""Part of `BOUND` that is left to what may happen between two samples."""


def clipped_easing(text: str, kind: str) -> str:
    """Return the easing without what would carry a part past its assembled place.

    Parameters
    ----------
    text : str
        An easing.
    kind : str
        ``"assemble"``: progress holds 1 from the instant on at which it first reaches it. ``"explode"``, the
        same run backward: it holds 0 up to the instant at which it last leaves it.

    Returns
    -------
    str
        The canonical text, unchanged, where the easing does not go past; else a ``linear()`` that is exact for
        an easing of straight lines and within `BOUND` of any other, and never past the end. The instant of the
        first contact is exact.

    """
    easing = parse_easing(text)
    low, high = easing.extent
    if (high <= 1.0) if kind == "assemble" else (low >= 0.0):
        return easing.text
    points = _points(easing)
    held = _held(points) if kind == "assemble" else _turned(_held(_turned(points)))
    return parse_easing(linear_text(held)).text


def _turned(points: list[Point]) -> list[Point]:
    """The same motion run backward, from the other end."""
    return [(1.0 - t, 1.0 - y) for t, y in reversed(points)]


def _held(points: list[Point]) -> list[Point]:
    """Cut a polyline where it first reaches 1, and hold."""
    for index, ((t0, y0), (t1, y1)) in enumerate(itertools.pairwise(points)):
        if y0 >= 1.0:  # it begins there, or has just jumped there
            return [*points[:index], (t0, 1.0), (1.0, 1.0)]
        if y1 >= 1.0:
            at = t1 if y1 == 1.0 else min(t0 + (1.0 - y0) / (y1 - y0) * (t1 - t0), t1)
            return [*points[: index + 1], (at, 1.0), (1.0, 1.0)]
    return points


def _points(easing: Easing) -> list[Point]:
    if isinstance(easing, LinearEasing):
        return list(easing.corners)
    found: list[Point] = []
    for piece in easing.pieces:
        line = _line(piece)
        found += line if not found or found[-1] != line[0] else line[1:]
    return found


def _line(piece: MonotonePiece) -> list[Point]:
    """Few straight lines for one rise or fall; where it passes 0 and 1 is among the stops."""
    if piece.flat:
        return [(piece.t0, piece.y0), (piece.t1, piece.y1)]
    marks = [level for level in (0.0, 1.0) if min(piece.y0, piece.y1) < level < max(piece.y0, piece.y1)]
    ends = sorted([piece.y0, *marks, piece.y1], reverse=piece.y0 > piece.y1)
    found: list[Point] = [(piece.t0, piece.y0)]
    for start, stop in itertools.pairwise(ends):
        # A monotone curve stays between two samples: none of them is farther than _SAMPLING from the next.
        values = np.linspace(start, stop, math.ceil(abs(stop - start) / _SAMPLING) + 1)
        times, values = _rising(np.asarray(piece.time(values)), values)
        kept = few_stops(times, values, BOUND - _SAMPLING)[1:]
        found += [(float(times[k]), round(float(values[k]), 6) + 0.0) for k in kept]
    return found


def _rising(times: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Leave out samples whose times cannot be told from the one before; the ends stay."""
    times = np.maximum.accumulate(times)
    keep = np.append(np.diff(times) > 0, True)
    keep[0] = True
    times, values = times[keep], values[keep]
    if len(times) > 2 and times[0] == times[1]:
        times, values = np.delete(times, 1), np.delete(values, 1)
    return times, values
