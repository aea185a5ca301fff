"""Motion blur: a frame is the mean of pictures at instants while the shutter is open.

The shutter is centred on the frame, so a blurred part lies, in the mean, where its track says. Each instant is a
whole picture with its own places and masks; means are taken premultiplied, in linear light, so no light is lost.

An edge that moves d px while the shutter is open is drawn as n steps for a ramp. Within a pixel their difference is at
most ``1 / (2 n)`` of the contrast, and ``d / (8 n^2)`` where steps are no longer than a pixel (`samples_for`). So the
fastest part says how many instants a frame has; a slower part needs fewer steps, and stands still for several instants
at the middle of their times (`exposure`). The bound holds for each edge by itself. Where two edges cross within a pixel
their errors add: while one of them passes, the other one is off by less than half a step, ``d / (8 n^2)`` in the mean.
Where two edges run together, as those of parts that touch do, a gap of half a step would open now and then, and light
shine through it that no other instant takes back: such parts take their steps together (`abreast`), unless that too
stays within the bound.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

ERROR = 1 / 256
"""Of the contrast of an edge, in linear light: what blur may be off by."""
STILL_PX = 0.05
"""Who moves less while the shutter is open stands still: half of it is within ERROR of a pixel's filter."""
MOST = 96
"""Instants at most; past 96 px the bound is 1/192 of the contrast and steps are longer than a pixel."""
_SPARE = 1.25
"""How many times more instants than needed there may be, so that they fall into groups more evenly."""


@dataclass(frozen=True)
class Exposure:
    """The times, in frames, that a blurred frame is the mean of."""

    times: tuple[float, ...]
    """They lie about the frame evenly."""
    own: Mapping[str, tuple[float, ...]]
    """At which of its own times each instant shows a part; in the mean that is the frame as well."""


def samples_for(moved_px: float) -> int:
    """Return how many instants blur needs for a way of so many px."""
    if moved_px <= STILL_PX:
        return 1
    return min(MOST, max(math.ceil(moved_px), math.ceil(math.sqrt(moved_px / (8 * ERROR)))))


def exposure(frame: int, span: float, ways: Mapping[str, float]) -> Exposure:
    """Return when a frame shows its parts.

    Parameters
    ----------
    frame : int
    span : float
        Frames that the shutter is open for.
    ways : mapping of part id to float
        How far each part goes on the screen meanwhile, px.

    """
    needed = {part: samples_for(way) for part, way in ways.items()}
    least = max(needed.values(), default=1)
    if least == 1 or span <= 0:
        return Exposure((float(frame),), {})
    most = max(least, min(MOST, int(least * _SPARE)))
    count = min(range(least, most + 1), key=lambda number: sum(_steps(number, each) for each in needed.values()))
    steps = {part: _steps(count, each) for part, each in needed.items()}
    whole = _shown(frame, span, count, count)
    kept = {each: _shown(frame, span, count, each) for each in dict.fromkeys(steps.values())}
    return Exposure(whole, {part: kept[each] for part, each in steps.items() if each < count})


def _steps(count: int, needed: int) -> int:
    """Into how many groups so many instants fall that none is longer than the n-th part of the time."""
    return math.ceil(count / (count // needed))


def _shown(frame: int, span: float, count: int, steps: int) -> tuple[float, ...]:
    out: list[float] = []
    for step in range(steps):
        start, stop = (round(edge * count / steps) for edge in (step, step + 1))
        out += [frame + span * ((start + stop) / (2 * count) - 0.5)] * (stop - start)
    return tuple(out)
