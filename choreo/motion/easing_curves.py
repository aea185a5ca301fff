"""Smooth easings: the cubic Bézier curve of the W3C, and the minimum-jerk curve.

A Bézier easing is a pair of cubics x(p), y(p); both its value (x known, y wanted) and its inverse (y known,
x wanted) ask for the root of a cubic. Close to a point where a cubic is stationary a plain solver loses half
or two thirds of the digits. So the curve is cut into cells, each with its own centre: the ends, and every
point where x or y turns or bends the other way. In a cell both cubics are written as powers of the distance
from the centre, with coefficients computed in exact fractions and the constant kept in two floats. There a
cubic is monotone and bends one way only, so Newton's method converges from any start.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats
from choreo.motion.easing_base import ArrayFunction, Easing, MonotonePiece

Indices = NDArray[np.intp]
Cubic = tuple[Fraction, Fraction, Fraction]
"""Coefficients of p, p squared and p cubed; the constant is 0."""

NEWTON_STEPS = 64
EPSILON = float(np.finfo(np.float64).eps)


def _cubic(a: float, b: float) -> Cubic:
    """Return the cubic Bézier polynomial with control values 0, a, b, 1."""
    p1, p2 = Fraction(a), Fraction(b)
    return 3 * p1, 3 * p2 - 6 * p1, 1 + 3 * p1 - 3 * p2


def _quadratic_roots(a: Fraction, b: Fraction, c: Fraction) -> list[float]:
    """Return where a p^2 + b p + c changes sign inside (0, 1), ascending."""
    if c == 0:  # 0 itself is a root and is not inside
        return _within(-b, a)
    if a + b + c == 0:  # so is 1; the product of the roots is c / a
        return _within(c, a)
    spread = b * b - 4 * a * c
    if spread <= 0:
        return []
    # Scaled by a power of two, so that squares of tiny numbers do not vanish.
    largest = max(abs(a), abs(b), abs(c))
    unit = Fraction(2) ** (largest.numerator.bit_length() - largest.denominator.bit_length())
    q = -(b / unit + Fraction(math.copysign(math.sqrt(spread / unit / unit), b))) / 2
    roots = _within(c / unit, q) + _within(q, a / unit)
    # Two in one place: the dip between them is narrower than a float can tell.
    return sorted(roots) if len(set(roots)) == len(roots) else []


def _within(above: Fraction, below: Fraction) -> list[float]:
    """Return the quotient if it lies inside (0, 1)."""
    if above * below > 0 and abs(above) < abs(below):
        quotient = float(above / below)
        return [quotient] if 0.0 < quotient < 1.0 else []
    return []


def _turns(cubic: Cubic) -> list[float]:
    """Return the parameters inside (0, 1) at which the cubic turns."""
    return _quadratic_roots(3 * cubic[2], 2 * cubic[1], cubic[0])


def _bends(cubic: Cubic) -> list[float]:
    """Return the parameter inside (0, 1) at which the cubic bends the other way, if there is one."""
    return _within(-cubic[1], 3 * cubic[2])


@dataclass(frozen=True, eq=False)
class _Axis:
    """One coordinate in every cell: high + low + s (c1 + s (c2 + s c3)), s the distance from the centre."""

    high: Floats
    low: Floats
    c1: Floats
    c2: Floats
    c3: Floats
    ends: Floats
    """(cells + 1,) the coordinate at the cell borders."""
    ends_low: Floats
    """What rounding took from `ends`."""

    def at(self, cell: Indices, s: Floats) -> Floats:
        """Return the coordinate at distance `s` from the centre of `cell`."""
        away = s * (self.c1[cell] + s * (self.c2[cell] + s * self.c3[cell]))
        return np.asarray(self.high[cell] + away)


@dataclass(frozen=True, eq=False)
class _Cells:
    """The curve, cell by cell in the order of p."""

    borders: tuple[float, ...]
    width: Floats
    x: _Axis
    y: _Axis


def _taylor(cubic: Cubic, at: float) -> tuple[Fraction, Fraction, Fraction, Fraction]:
    """Return value and coefficients of the cubic in powers of p - `at`, exact."""
    c1, c2, c3 = cubic
    p = Fraction(at)
    return p * (c1 + p * (c2 + p * c3)), c1 + p * (2 * c2 + 3 * p * c3), c2 + 3 * p * c3, c3


def _two_floats(value: Fraction) -> tuple[float, float]:
    high = float(value)
    return high, float(value - Fraction(high))


def _axis(cubic: Cubic, cells: list[tuple[float, float, float]]) -> _Axis:
    """Write the cubic around the centre of each cell (start, end, centre)."""
    rows = []
    for start, _, centre in cells:
        value, c1, c2, c3 = _taylor(cubic, centre)
        side = 1 if centre == start else -1  # s grows away from the centre
        rows.append([*_two_floats(value), float(side * c1), float(c2), float(side * c3)])
    ends = [_two_floats(_taylor(cubic, p)[0]) for p in [cells[0][0], *(cell[1] for cell in cells)]]
    return _Axis(*np.array(rows).T, *np.array(ends).T)


def _cells(x: Cubic, y: Cubic) -> _Cells:
    centres = sorted({0.0, 1.0, *_bends(x), *_bends(y), *_turns(y)})
    cells = []
    for a, b in itertools.pairwise(centres):
        middle = (a + b) / 2
        cells += [(a, middle, a), (middle, b, b)]
    cells = [cell for cell in cells if cell[0] < cell[1]]
    width = np.array([b - a for a, b, _ in cells])
    return _Cells((0.0, *(cell[1] for cell in cells)), width, _axis(x, cells), _axis(y, cells))


def _find(cells: _Cells, axis: _Axis, wanted: Floats, first: int, last: int) -> tuple[Indices, Floats]:
    """Return cell and distance from its centre at which `axis` has the wanted values.

    `axis` must be monotone over the cells `first` to `last` (excluded).
    """
    way = 1.0 if axis.ends[last] >= axis.ends[first] else -1.0
    inner = way * axis.ends[first + 1 : last]
    # A border that was rounded down belongs to the cell before it.
    inner = np.where(way * axis.ends_low[first + 1 : last] > 0, np.nextafter(inner, np.inf), inner)
    cell = first + np.searchsorted(inner, way * wanted, side="right")
    width = cells.width[cell]
    far = width * (axis.c1[cell] + width * (axis.c2[cell] + width * axis.c3[cell]))
    sign = np.sign(far)
    rest = np.maximum(sign * ((wanted - axis.high[cell]) - axis.low[cell]), 0.0)
    return cell, _rising_root(sign * axis.c1[cell], sign * axis.c2[cell], sign * axis.c3[cell], rest, width)


def _rising_root(c1: Floats, c2: Floats, c3: Floats, rest: Floats, width: Floats) -> Floats:
    """Return s in [0, width] with s (c1 + s (c2 + s c3)) = rest, for a rising cubic that bends one way."""
    with np.errstate(all="ignore"):
        # Where one term alone would reach the rest, the sum of rising terms has passed it.
        s = np.where(c1 > 0, np.minimum(width, rest / c1), width)
        s = np.where(c2 > 0, np.minimum(s, np.sqrt(rest / c2)), s)
        s = np.where(c3 > 0, np.minimum(s, np.cbrt(rest / c3)), s)
        for _ in range(NEWTON_STEPS):
            miss = s * (c1 + s * (c2 + s * c3)) - rest
            slope = c1 + s * (2 * c2 + 3 * s * c3)
            better = np.minimum(np.maximum(np.where(miss == 0, s, s - miss / slope), 0.0), width)
            moved = np.abs(better - s) > 2 * EPSILON * better
            s = better
            if not moved.any():
                break
    return np.asarray(s)


def _tangent(near: tuple[float, float], far: tuple[float, float]) -> float:
    """Return the slope by which the W3C extends a curve beyond its end at (0, 0)."""
    for x, y in (near, far):
        if x > 0:
            return y / x
    return 0.0


@dataclass(frozen=True)
class BezierEasing(Easing):
    """A cubic Bézier curve from (0, 0) to (1, 1) with control points (x1, y1), (x2, y2)."""

    x1: float
    y1: float
    x2: float
    y2: float

    @cached_property
    def _cells(self) -> _Cells:
        return _cells(_cubic(self.x1, self.x2), _cubic(self.y1, self.y2))

    @property
    def _start(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The control points seen from the start, nearer one first."""
        return (self.x1, self.y1), (self.x2, self.y2)

    @property
    def _end(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The control points seen from the end, looking back."""
        return (1 - self.x2, 1 - self.y2), (1 - self.x1, 1 - self.y1)

    def _inside(self, t: Floats) -> Floats:
        cells = self._cells
        return cells.y.at(*_find(cells, cells.x, t, 0, len(cells.width)))

    def _evaluate(self, t: Floats) -> Floats:
        before, after = _tangent(*self._start), _tangent(*self._end)
        inside = self._inside(np.clip(t, 0.0, 1.0))
        found = np.where(t > 1.0, 1.0 + (after * (t - 1.0) if after else 0.0), inside)
        return np.where(t < 0.0, before * t if before else 0.0, found)

    def _cut(self) -> tuple[MonotonePiece, ...]:
        cells = self._cells
        cuts = [0.0, *_turns(_cubic(self.y1, self.y2)), 1.0]
        marks = [cells.borders.index(cut) for cut in cuts]
        pieces = (self._piece(first, last) for first, last in itertools.pairwise(marks))
        return tuple(piece for piece in pieces if piece.t0 < piece.t1)

    def _piece(self, first: int, last: int) -> MonotonePiece:
        cells = self._cells

        def backward(y: Floats) -> Floats:
            return cells.x.at(*_find(cells, cells.y, y, first, last))

        t0, t1, y0, y1 = (float(axis.ends[mark]) for axis in (cells.x, cells.y) for mark in (first, last))
        return MonotonePiece(t0, t1, y0, y1, self._inside, backward)


@dataclass(frozen=True)
class MinJerkEasing(Easing):
    """The smoothest way from rest to rest: 10 t^3 - 15 t^4 + 6 t^5 (Flash and Hogan 1985)."""

    text: str = "min-jerk"

    def _evaluate(self, t: Floats) -> Floats:
        return _by_halves(_first_half, np.clip(t, 0.0, 1.0))

    def _cut(self) -> tuple[MonotonePiece, ...]:
        return (MonotonePiece(0.0, 1.0, 0.0, 1.0, self._evaluate, _min_jerk_time),)


def _first_half(t: Floats) -> Floats:
    return np.asarray(t * t * t * (10.0 + t * (6.0 * t - 15.0)))


def _by_halves(function: ArrayFunction, given: Floats) -> Floats:
    """Apply a function known on [0, 1/2] to [0, 1], by symmetry about the middle."""
    found = function(np.minimum(given, 1.0 - given))
    return np.where(given > 0.5, 1.0 - found, found)


def _min_jerk_time(y: Floats) -> Floats:
    return _by_halves(_first_half_time, y)


def _first_half_time(y: Floats) -> Floats:
    """Invert the first half, where the curve bends upward only: Newton converges from any start."""
    t = np.minimum(np.cbrt(y / 10.0) * 1.2, 0.5)
    with np.errstate(all="ignore"):
        for _ in range(NEWTON_STEPS):
            slope = 30.0 * (t * (1.0 - t)) ** 2
            better = np.clip(np.where(t > 0, t - (_first_half(t) - y) / slope, t), 0.0, 0.5)
            moved = np.abs(better - t) > 2 * EPSILON * better
            t = better
            if not moved.any():
                break
    return t
