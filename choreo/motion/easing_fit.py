"""Few straight lines for a curve: the stops of a ``linear()`` that stays within a stated distance of it."""

from __future__ import annotations

import numpy as np

from choreo.model.plan import Floats

Point = tuple[float, float]

_BALANCING = 5


def few_stops(times: Floats, values: Floats, allowed: float) -> list[int]:
    """Return which samples to keep so that straight lines between them pass all others within `allowed`.

    Parameters
    ----------
    times : ndarray
        (n,) rising, two or more; only two may be the same.
    values : ndarray
        (n,) what the curve is there.
    allowed : float
        Largest distance, in the unit of `values`.

    Returns
    -------
    list of int
        Ascending, the first and the last sample among them.

    Notes
    -----
    From each kept sample the line goes to the farthest one that it may: a line that passes all samples between
    has its slope within the cone that each of them leaves it (the sleeve of Sklansky and Gonzalez 1980, cited
    from memory). Few stops, though not proved to be the fewest.

    """
    if len(times) == 2:
        return [0, 1]
    best = _walk(times, values, allowed)
    # As many lines do with less: that spreads the error evenly, and leaves no short line at the end.
    low, high = 0.0, allowed
    for _ in range(_BALANCING):
        middle = (low + high) / 2
        found = _walk(times, values, middle)
        if len(found) == len(best):
            best, high = found, middle
        else:
            low = middle
    return best


def _walk(times: Floats, values: Floats, allowed: float) -> list[int]:
    kept = [0]
    while kept[-1] < len(times) - 1:
        at = kept[-1]
        run, rise = times[at + 1 :] - times[at], values[at + 1 :] - values[at]
        slope = rise / run
        low = np.maximum.accumulate((rise - allowed) / run)
        high = np.minimum.accumulate((rise + allowed) / run)
        fits = np.flatnonzero((slope >= low) & (slope <= high))
        kept.append(at + 1 + int(fits[-1]))
    return kept
