"""A spring as an easing: the step response of a damped oscillator, written as the W3C's ``linear()``.

A mass on a spring and a damper is let go at 0 with its rest at 1:  m x'' + c x' + k x = k,  x(0) = x'(0) = 0.
Its shape depends on one number, the damping ratio  c / (2 sqrt(k m)); mass and stiffness beyond that only set
how long it takes. Here the length of the move sets that: a move ends when its spring has settled.
"""

from __future__ import annotations

import itertools
import math
from functools import lru_cache

import numpy as np

from choreo.model.plan import Floats
from choreo.motion.easing_fit import few_stops
from choreo.motion.easing_stops import linear_text

SETTLED = 1e-3
"""A spring has settled when it stays this near to its rest for good, as a fraction of the way."""
BOUND = 1e-3
"""How far the straight lines may be from the spring, as a fraction of the way."""
LEAST_RATIO, MOST_RATIO = 0.05, 20.0
"""Damping ratios beyond these are no motion to look at: forty swings and more, or a crawl after a jump."""

_SAMPLING = 1e-4
"""Part of `BOUND` that is left to what may happen between two samples."""
_ROUNDING = 1e-4
"""Part of `BOUND` that is left to the rounding of the stops."""
_INPUT_DIGITS, _OUTPUT_DIGITS = 6, 7
"""Seven, so that two samples beside a late turning point are still told apart."""
_HALVINGS = 200


def damping_ratio(mass: float, stiffness: float, damping: float) -> float:
    """Return the damping over the critical damping: below 1 the spring swings past its rest.

    Parameters
    ----------
    mass, stiffness, damping : float
        kg, N/m and N s/m, or any units that fit together; each above 0.

    """
    return damping / (2.0 * math.sqrt(stiffness) * math.sqrt(mass))


def step_response(ratio: float, times: Floats) -> Floats:
    """Return where a spring is that was let go at 0 with its rest at 1.

    Parameters
    ----------
    ratio : float
        Damping ratio, above 0.
    times : ndarray
        Since it was let go, in units of sqrt(mass / stiffness).

    Returns
    -------
    ndarray
        Of the shape of `times`; closed form, to the last digits on both sides of the critical damping too.

    Notes
    -----
    The second-order step response of any textbook of vibrations or control (e.g. Ogata, Modern Control
    Engineering). Written so that nothing cancels where the ratio nears 1.

    """
    if ratio < 1.0:
        swing = math.sqrt(1.0 - ratio * ratio)
        # sin(swing t) / swing, without dividing by a number near 0
        sine = times * np.sinc(swing * times / math.pi)
        return np.asarray(1.0 - np.exp(-ratio * times) * (np.cos(swing * times) + ratio * sine))
    spread = math.sqrt((ratio - 1.0) * (ratio + 1.0))
    slow, between = -1.0 / (ratio + spread), -2.0 * spread
    fast = np.expm1(between * times) / between if between else times
    return np.asarray(1.0 - np.exp(slow * times) * (1.0 - slow * fast))


def settling_time(ratio: float) -> float:
    """Return when a spring has come within `SETTLED` of its rest for good, in units of sqrt(mass / stiffness)."""
    turns = _turns(ratio)
    low = turns[-1]
    high = low + 1.0
    while _off(ratio, high) > SETTLED:
        high = low + 2.0 * (high - low)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        if not low < middle < high:
            break
        low, high = (middle, high) if _off(ratio, middle) > SETTLED else (low, middle)
    return high


def spring_text(mass: float, stiffness: float, damping: float) -> str:
    """Return the easing of a spring in the W3C's syntax; time 1 is when it has settled.

    Parameters
    ----------
    mass, stiffness, damping : float
        See `damping_ratio`.

    Returns
    -------
    str
        A ``linear()`` that starts on 0 and ends exactly on 1. It passes the true response, divided by its value
        when it has settled, within `BOUND`; that division changes it by no more than `SETTLED` of what it is. Every
        turning point is a stop, so each rise and fall is one piece.

    Raises
    ------
    ValueError
        If the damping ratio is beyond `LEAST_RATIO` and `MOST_RATIO`. The message is meant for the user.

    """
    ratio = damping_ratio(mass, stiffness, damping)
    if not LEAST_RATIO <= ratio <= MOST_RATIO:
        way = "swings too long" if ratio < LEAST_RATIO else "only creeps"
        raise ValueError(
            f"This spring {way}: its damping is {ratio:.3g} of the critical damping, 2 sqrt(stiffness x mass); "
            f"{LEAST_RATIO:g} to {MOST_RATIO:g} can be used."
        )
    return _text(ratio)


@lru_cache(maxsize=256)
def _text(ratio: float) -> str:
    end = settling_time(ratio)
    final = float(step_response(ratio, np.array(end)))
    turns = [*_turns(ratio), end]
    # The acceleration is largest at the start, where it is 1: so far apart, samples miss no more than _SAMPLING.
    step = math.sqrt(8.0 * _SAMPLING)
    points = [(0.0, 0.0)]
    for start, stop in itertools.pairwise(turns):
        times = np.linspace(start, stop, math.ceil((stop - start) / step) + 1)
        values = step_response(ratio, times) / final
        kept = few_stops(times, values, BOUND - _SAMPLING - _ROUNDING)[1:]
        points += [
            (round(t / end, _INPUT_DIGITS), round(y, _OUTPUT_DIGITS))
            for t, y in zip(times[kept].tolist(), values[kept].tolist(), strict=True)
        ]
    points[-1] = (1.0, 1.0)
    return linear_text(points)


def _turns(ratio: float) -> list[float]:
    """Return 0 and the times at which the spring turns round while it is still unsettled."""
    if ratio >= 1.0:
        return [0.0]
    swing = math.sqrt(1.0 - ratio * ratio)
    count = math.ceil(-math.log(SETTLED) * swing / (ratio * math.pi))
    return [n * math.pi / swing for n in range(max(count, 1))]


def _off(ratio: float, time: float) -> float:
    return abs(1.0 - float(step_response(ratio, np.array(time))))
