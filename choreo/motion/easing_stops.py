"""Easings made of straight lines and of steps: ``linear()`` and ``steps()``.

The rules are those of W3C CSS Easing Functions Level 2, sections 2.1 and 2.3.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

import numpy as np

from choreo.model.plan import Floats
from choreo.motion.easing_base import ArrayFunction, Easing, MonotonePiece

Stop = tuple[float, tuple[float, ...]]
"""An output, and the none, one or two inputs at which it stands."""

FIRST_JUMP_AT_0 = frozenset({"jump-start", "start", "jump-both"})


def number_text(value: float, shift: int = 0) -> str:
    """Return the shortest plain decimals that give back `value`; `shift` 2 writes it in hundredths.

    Notes
    -----
    CSSOM rounds to six decimals. Nothing is rounded here, because a key must give back its curve exactly;
    numbers with up to six decimals come out the same.

    """
    digits = format(Decimal(repr(value)).scaleb(shift), "f")
    return digits.rstrip("0").rstrip(".") if "." in digits else digits


def linear_points(stops: Sequence[Stop]) -> tuple[tuple[float, float], ...]:
    """Return the points (input, output) of a ``linear()``, every input filled in.

    Parameters
    ----------
    stops : sequence of Stop
        At least two.

    Returns
    -------
    tuple of (float, float)
        Inputs never fall.

    Notes
    -----
    The W3C's "create a linear easing function": an input never stands before an earlier one, the first stop
    stands at 0 and the last at 1 where they do not say, and the others are spread evenly.

    """
    inputs: list[float | None] = []
    outputs: list[float] = []
    largest = -math.inf
    for index, (output, places) in enumerate(stops):
        wanted: tuple[float, ...] = places
        if not places and index in (0, len(stops) - 1):
            wanted = (0.0,) if index == 0 else (1.0,)
        for place in wanted:
            largest = max(place, largest)
            inputs.append(largest)
            outputs.append(output)
        if not wanted:
            inputs.append(None)
            outputs.append(output)
    return tuple(zip(_spread(inputs), outputs, strict=True))


def _spread(inputs: Sequence[float | None]) -> list[float]:
    """Fill runs of unknown inputs evenly between their known neighbours."""
    known = [(index, value) for index, value in enumerate(inputs) if value is not None]
    filled = [known[0][1]]
    for (i, a), (j, b) in itertools.pairwise(known):
        filled += [a + (b - a) * k / (j - i) for k in range(1, j - i)]
        filled.append(b)
    return filled


def linear_text(points: Sequence[tuple[float, float]]) -> str:
    """Return the W3C's serialisation: each output with its input in per cent."""
    return "linear(" + ", ".join(f"{number_text(y)} {number_text(x, 2)}%" for x, y in points) + ")"


@dataclass(frozen=True)
class LinearEasing(Easing):
    """Straight lines between points (input, output); jumps where two points share an input."""

    points: tuple[tuple[float, float], ...]

    @cached_property
    def _arrays(self) -> tuple[Floats, Floats]:
        points = np.array(self.points, dtype=np.float64)
        return points[:, 0], points[:, 1]

    def _leg(self, t: Floats) -> np.ndarray[tuple[int, ...], np.dtype[np.intp]]:
        """Return which leg holds at each time: the one from the last point that is not later."""
        before = np.searchsorted(self._arrays[0], t, side="right") - 1
        return np.clip(before, 0, len(self.points) - 2)

    def _on_leg(self, leg: np.ndarray[tuple[int, ...], np.dtype[np.intp]], t: Floats) -> Floats:
        inputs, outputs = self._arrays
        x0, x1, y0, y1 = inputs[leg], inputs[leg + 1], outputs[leg], outputs[leg + 1]
        share = (t - x0) / np.where(x1 > x0, x1 - x0, 1.0)
        found = np.where(y0 == y1, y0, y0 + share * (y1 - y0))
        return np.asarray(np.where((x0 == x1) | (t == x1), y1, found))

    def _evaluate(self, t: Floats) -> Floats:
        return np.where(np.isnan(t), np.nan, self._on_leg(self._leg(t), t))

    @cached_property
    def _lines(self) -> Floats:
        """(n, 4) start, end, value at the start and on arrival of each straight line over [0, 1]."""
        inner = {x for x, _ in self.points if 0.0 < x < 1.0}
        cuts = np.array([0.0, *sorted(inner), 1.0])
        legs = self._leg(cuts[:-1])
        with np.errstate(over="ignore", invalid="ignore"):
            first, last = self._on_leg(legs, cuts[:-1]), self._on_leg(legs, cuts[1:])
        return np.stack([cuts[:-1], cuts[1:], first, last], axis=1)

    def _cut(self) -> tuple[MonotonePiece, ...]:
        lines = self._lines
        way = np.sign(lines[:, 3] - lines[:, 2])
        # One piece for each rise or fall, however many lines it is made of; a hold, and a jump, stay on their own.
        new = (way[1:] != way[:-1]) | (way[1:] == 0) | (lines[1:, 2] != lines[:-1, 3])
        return tuple(_chain(run) for run in np.split(lines, np.flatnonzero(new) + 1))

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """The points (input, output) on [0, 1] between which it runs straight, both ends of a jump included."""
        found: list[tuple[float, float]] = []
        for t0, t1, y0, y1 in self._lines.tolist():
            found += [(t0, y0), (t1, y1)] if not found or found[-1] != (t0, y0) else [(t1, y1)]
        return tuple(found)


def _chain(lines: Floats) -> MonotonePiece:
    """Return the piece made of joined lines that all rise or all fall, or of one that holds."""
    times, values = [*lines[:, 0].tolist(), float(lines[-1, 1])], [*lines[:, 2].tolist(), float(lines[-1, 3])]
    ends = (times[0], times[-1], values[0], values[-1])
    if values[0] == values[-1]:
        return MonotonePiece(*ends)
    return MonotonePiece(
        *ends, _between(np.array(times), np.array(values)), _between(np.array(values), np.array(times))
    )


def _between(given: Floats, wanted: Floats) -> ArrayFunction:
    """Return the map that runs straight between points; `given` rises throughout or falls throughout."""
    if given[-1] < given[0]:
        given, wanted = given[::-1], wanted[::-1]
    inner = given[1:-1]

    def at(here: Floats) -> Floats:
        line = np.searchsorted(inner, here, side="right")
        share = (here - given[line]) / (given[line + 1] - given[line])
        return np.asarray(wanted[line] + share * (wanted[line + 1] - wanted[line]))

    return at


@dataclass(frozen=True)
class StepEasing(Easing):
    """Equal intervals, each with one value; the value at a jump is the later one."""

    steps: int
    position: str
    """``jump-start``, ``jump-end``, ``jump-none``, ``jump-both``, ``start`` or ``end``."""

    @property
    def _jumps(self) -> int:
        return self.steps + {"jump-both": 1, "jump-none": -1}.get(self.position, 0)

    @property
    def _first(self) -> int:
        """Steps already taken at time 0."""
        return int(self.position in FIRST_JUMP_AT_0)

    def _evaluate(self, t: Floats) -> Floats:
        n = self.steps
        step = np.floor(t * n)
        # t * n rounds: 0.29 * 100 falls just short of 29. The jumps stand at k / n exactly as Python divides.
        step = step + ((step + 1) / n <= t) - (step / n > t) + self._first
        held = np.where(t <= 1.0, np.minimum(step, self._jumps), step)
        return np.asarray(held / self._jumps)

    def _cut(self) -> tuple[MonotonePiece, ...]:
        n, jumps = self.steps, self._jumps
        levels = [min(k + self._first, jumps) / jumps for k in range(n)]
        return tuple(MonotonePiece(k / n, (k + 1) / n, y, y) for k, y in enumerate(levels))
