"""What every easing offers, and the monotone pieces that it is cut into."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from choreo.model.plan import Floats

Numbers = float | Floats
ArrayFunction = Callable[[Floats], Floats]


def like_given(given: Numbers, result: Floats) -> Numbers:
    """Return `result` as a plain float where `given` was a single number."""
    return float(result) if np.ndim(given) == 0 else result


@dataclass(frozen=True, eq=False)
class MonotonePiece:
    """A stretch of time over which a value only rises, only falls, or holds.

    The ends are exact: ``value(t0) == y0``, ``value(t1) == y1``, ``time(y0) == t0`` and ``time(y1) == t1``.
    `value(t1)` is the value on arrival, so where the next piece starts elsewhere there is a jump between the
    two. A jump occupies no time and is in no piece; at its very instant the later piece is right.

    Attributes
    ----------
    t0, t1 : float
        Start and end, ``t0 < t1``; a hold may reach to minus or plus infinity.
    y0, y1 : float
        Value at the start and at the end; equal for a hold.

    """

    t0: float
    t1: float
    y0: float
    y1: float
    forward: ArrayFunction | None = field(default=None, repr=False)
    """Value from time, asked only between `t0` and `t1`; None for a hold."""
    backward: ArrayFunction | None = field(default=None, repr=False)
    """Time from value, asked only between `y0` and `y1`; None for a hold."""

    @property
    def flat(self) -> bool:
        """Whether the value holds."""
        return self.y0 == self.y1

    def value(self, t: Numbers) -> Numbers:
        """Return the value at time `t`; times outside the piece give the value at the nearer end.

        Parameters
        ----------
        t : float or ndarray
            Times, in the unit of `t0` and `t1`.

        Returns
        -------
        float or ndarray
            Values, of the shape of `t`.

        """
        times = np.asarray(t, dtype=np.float64)
        if self.flat or self.forward is None:
            return like_given(t, np.full_like(times, self.y0))
        return like_given(t, _pinned(self.forward, times, (self.t0, self.t1), (self.y0, self.y1)))

    def time(self, y: Numbers) -> Numbers:
        """Return when the piece has value `y`; values it does not reach give the nearer end.

        Parameters
        ----------
        y : float or ndarray
            Values.

        Returns
        -------
        float or ndarray
            Times, of the shape of `y`, to 1e-10 of the length of the move.

        Raises
        ------
        ValueError
            If the piece is a hold: it has one value at every time.

        """
        if self.flat or self.backward is None:
            raise ValueError("a hold has its value at every time, so there is no single time to give")
        values = np.asarray(y, dtype=np.float64)
        return like_given(y, _pinned(self.backward, values, (self.y0, self.y1), (self.t0, self.t1)))

    def placed(self, start: float, length: float, low: float, high: float) -> MonotonePiece:
        """Return the piece with times 0, 1 moved to ``start, start + length`` and values 0, 1 to `low`, `high`.

        Parameters
        ----------
        start, length : float
            The new time is ``start + length * t``; `length` is positive.
        low, high : float
            The new value is ``low + (high - low) * y``.

        Returns
        -------
        MonotonePiece
            In the new units.

        """
        rise = high - low
        ends = (start + length * self.t0, start + length * self.t1, low + rise * self.y0, low + rise * self.y1)
        forward, backward = self.forward, self.backward
        if forward is None or backward is None:
            return MonotonePiece(*ends)
        return MonotonePiece(
            *ends,
            lambda t: low + rise * forward((t - start) / length),
            lambda y: start + length * backward((y - low) / rise),
        )


def _pinned(function: ArrayFunction, given: Floats, ends: tuple[float, float], images: tuple[float, float]) -> Floats:
    """Apply a monotone function between `ends`, with exact `images` of the ends and nothing beyond them."""
    # Twice as fast as clip, for the few numbers that are asked at a time.
    inside = np.minimum(np.maximum(given, min(ends)), max(ends))
    found = np.minimum(np.maximum(function(inside), min(images)), max(images))
    found = np.where(inside == ends[1], images[1], found)
    return np.asarray(np.where(inside == ends[0], images[0], found))


@dataclass(frozen=True)
class Easing(ABC):
    """How output progress follows input progress (W3C CSS Easing Functions Level 2)."""

    text: str
    """The canonical spelling; parsing it gives the same easing to the last digit, and the same text."""

    @abstractmethod
    def _evaluate(self, t: Floats) -> Floats:
        """Return output progress at the times `t`."""

    @abstractmethod
    def _cut(self) -> tuple[MonotonePiece, ...]:
        """Return the monotone pieces over [0, 1] in time order."""

    def value(self, t: Numbers) -> Numbers:
        """Return output progress at input progress `t`.

        Parameters
        ----------
        t : float or ndarray
            Input progress, dimensionless; outside [0, 1] the W3C's extrapolation holds.

        Returns
        -------
        float or ndarray
            Output progress, of the shape of `t`, to 1e-12. At a jump it is the later value.

        """
        times = np.asarray(t, dtype=np.float64)
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            return like_given(t, self._evaluate(times))

    @cached_property
    def pieces(self) -> tuple[MonotonePiece, ...]:
        """The easing over [0, 1], cut wherever it turns; a jump between two pieces occupies no time."""
        return self._cut()

    @cached_property
    def extent(self) -> tuple[float, float]:
        """Lowest and highest output progress on [0, 1]; both sides of a jump count."""
        ends = [y for piece in self.pieces for y in (piece.y0, piece.y1)]
        ends += [float(self.value(0.0)), float(self.value(1.0))]
        return min(ends), max(ends)
