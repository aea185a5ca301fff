"""Which photograph of a numbered sequence a frame of the shot shows.

A turntable's photographs are asked for by angle, a filmed plate's by time. Frame numbers may be fractions: 12.25
lies a quarter of the way from photograph 12 to 13. Where a turntable closes its circle, a number beyond the last
photograph lies between it and the first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from choreo.model.assembly import Plate
from choreo.model.plan import Floats

_STILL_DEGREES = 1e-6
"""A turn that is smaller is one of rounding."""
_SNAP = 1e-6
"""A frame number this near to a whole one is that photograph."""


@dataclass(frozen=True, eq=False)
class Found:
    """Photographs for the frames of a shot.

    Attributes
    ----------
    frame : (n,) array
        Numbers; nan where no photograph shows the angle.
    step_degrees : float
        The largest turn from one frame of the shot to the next.
    repeated : int
        Frames of the shot that show the same photograph as the frame before, rounded to whole ones.

    """

    frame: Floats
    step_degrees: float
    repeated: int

    @property
    def missing(self) -> tuple[tuple[int, int], ...]:
        """Return the first and last frame of each stretch of the shot without a photograph."""
        gone = np.flatnonzero(np.isnan(self.frame))
        if not gone.size:
            return ()
        runs = np.split(gone, np.flatnonzero(np.diff(gone) > 1) + 1)
        return tuple((int(run[0]), int(run[-1])) for run in runs)


def frames_by_angle(turn: Floats, frames: tuple[int, int], start: float, per_frame: float) -> Found:
    """Return the photographs of a turntable that show these angles.

    Parameters
    ----------
    turn : (n,) array
        Angles that the shot needs, degrees, whole turns left open.
    frames : (first, last)
        Numbers of the photographs.
    start, per_frame : float
        Photograph n shows ``start + n * per_frame`` degrees; `per_frame` is not 0.

    Returns
    -------
    Found
        Where the sequence covers several turns, the shot runs through it without a jump if it can. An angle up
        to half a step beyond an end takes the photograph at that end; farther beyond, none.

    """
    first, last = frames
    period = 360.0 / abs(per_frame)
    steady = (np.unwrap(turn, period=360.0) - start) / per_frame
    # All whole turns by which the steady run might be shifted: the first that fits as a whole is taken.
    shift = np.ceil((first - steady.min() - _SNAP) / period) * period
    number = steady + shift if steady.max() + shift <= last + _SNAP else _folded(steady, first, last, period)
    whole = np.floor(number + 0.5)
    number = np.where(np.abs(number - whole) < _SNAP, whole, np.round(number, 6))
    steps = np.abs(np.diff(np.unwrap(turn, period=360.0)))
    return Found(number, float(steps.max(initial=0.0)), _repeats(number))


def frames_by_time(count: int, frames: tuple[int, int]) -> Found:
    """Return the photographs of a filmed plate: one a frame of the shot from its beginning; the last one holds."""
    first, last = frames
    number = np.minimum(first + np.arange(count, dtype=np.float64), last)
    return Found(number, 0.0, _repeats(number))


def turntable_in_words(step: float, repeated: int, frames: int) -> str:
    """Return what a turntable does in a shot, by its largest step, degrees, and how many frames repeat a photograph."""
    turns = "stands still"
    if step >= _STILL_DEGREES:
        size = f"{step:.1f}" if step >= 0.1 else f"{step:.2f}"
        many = size.rstrip("0").rstrip(".") if step >= 0.01 else "less than 0.01"
        turns = f"turns by up to {many} {'degree' if many == '1' else 'degrees'} a frame"
    if repeated == frames - 1:
        served = f"all {frames} frames" if frames > 1 else "the only frame"
        return f"its turntable {turns}; one photograph serves {served}"
    many = "no frame repeats" if not repeated else "1 frame repeats" if repeated == 1 else f"{repeated} frames repeat"
    return f"its turntable {turns}; {many} a photograph"


def photograph_number(plate: Plate, number: float) -> int:
    """Return the photograph nearest to a plate frame, halves up; a number past a closed circle's end is its first."""
    assert plate.frames is not None
    first, last = plate.frames
    whole = int(np.floor(number + 0.5))
    return first if whole > last else max(whole, first)


def speed_percent(shot_rate: float, plate_rate: float) -> float:
    """Return how fast a plate runs when it is shown frame for frame: 60 a second in 24 runs at 40 %."""
    return 100.0 * shot_rate / plate_rate


def _folded(number: Floats, first: int, last: int, period: float) -> Floats:
    folded = first + np.mod(number - first, period)
    beyond, before = folded - last, first + period - folded
    # A closed circle has no gap that is wider than one step.
    closed = last - first + 1 >= period - _SNAP
    found = np.where((beyond <= 0) | closed, folded, np.nan)
    found = np.where((beyond > 0) & ~closed & (beyond <= 0.5 + _SNAP), last, found)
    return np.where((beyond > 0) & ~closed & (before <= 0.5 + _SNAP), first, found)


def _repeats(number: Floats) -> int:
    # Halves round up, both here and where pictures are taken: numpy's rounding to even would repeat one in two.
    shown = np.floor(number + 0.5)
    return int((np.diff(shown) == 0).sum())
