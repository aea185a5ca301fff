"""How far along its route one part is, at any time of a shot.

A law is the moves of one part with holds between them. Keys say the same in the words of the W3C's keyframe
model, and pieces say it in stretches that only rise, only fall or hold, which can be inverted.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from choreo.model.plan import Floats, Move
from choreo.model.tracks import Key
from choreo.motion.easing import Easing, MonotonePiece, parse_easing


@dataclass(frozen=True)
class Leg:
    """One move: from progress `before` on frame `start` to progress `after` on frame `end`."""

    start: int
    end: int
    before: float
    after: float
    easing: Easing


@dataclass(frozen=True)
class ProgressLaw:
    """Progress of one part over a shot; holds fill the time between the legs.

    A leg rules from its `start` up to, but not on, its `end`. From there on the progress is exactly `after`,
    whatever the easing ends on.
    """

    initial: float
    """Progress before the first leg."""
    legs: tuple[Leg, ...]


def progress_law(moves: Sequence[Move]) -> ProgressLaw:
    """Return the law of one part.

    Parameters
    ----------
    moves : sequence of Move
        The moves of one part in one shot, sorted by start; each begins where the one before it ended. None: it stays
        assembled.

    Returns
    -------
    ProgressLaw
        Continuous wherever the easings are.

    Raises
    ------
    ValueError
        If a move takes no time, begins before the last one has ended, or does not begin where that one ended
        (explode after explode), or if its easing cannot be read.

    """
    legs = tuple(Leg(move.start, move.start + move.frames, *_ends(move), parse_easing(move.easing)) for move in moves)
    for leg, move in zip(legs, moves, strict=True):
        if move.frames < 1:
            raise ValueError(f'"{move.part}" moves in {move.frames} frames on frame {leg.start}: it needs one or more.')
    for (one, other), move in zip(itertools.pairwise(legs), moves[1:], strict=True):
        if other.start < one.end:
            raise ValueError(f'"{move.part}" starts on frame {other.start}, but it is under way until {one.end}.')
        if other.before != one.after:
            again = f'"{move.part}" would {move.kind} twice in a row, on frame {other.start} again.'
            apart = f'"{move.part}" is at progress {one.after:g} on frame {other.start}, not at {other.before:g}.'
            raise ValueError(again if one.before == other.before else apart)
    return ProgressLaw(legs[0].before if legs else 0.0, legs)


def _ends(move: Move) -> tuple[float, float]:
    """Progress before and after a move."""
    low, high = move.span
    return (low, high) if move.kind == "explode" else (high, low)


def progress(law: ProgressLaw, frames: ArrayLike) -> Floats:
    """Return progress at any times of the shot.

    Parameters
    ----------
    law : ProgressLaw
        Of one part.
    frames : array_like
        (n,) frames from the start of the shot, fractions allowed.

    Returns
    -------
    ndarray
        (n,) progress: 0 assembled, 1 at rest.

    """
    times = np.asarray(frames, dtype=np.float64)
    found = np.full_like(times, law.initial)
    for leg in law.legs:
        found[times >= leg.end] = leg.after
        under_way = (times >= leg.start) & (times < leg.end)
        if under_way.any():
            eased = leg.easing.value((times[under_way] - leg.start) / (leg.end - leg.start))
            found[under_way] = leg.before + (leg.after - leg.before) * eased
    return found


def keys(law: ProgressLaw) -> tuple[Key, ...]:
    """Return the keyframes that give the same progress under the W3C's rule (see `evaluate_keys`).

    Parameters
    ----------
    law : ProgressLaw
        Of one part.

    Returns
    -------
    tuple of Key
        Ascending frames, at least one key; a key without an easing starts a hold.

    """
    if not law.legs:
        return (Key(0, law.initial),)
    found: list[Key] = []
    for leg in law.legs:
        if found and found[-1].frame == leg.start:
            found.pop()
        found += [Key(leg.start, leg.before, leg.easing.text), Key(leg.end, leg.after)]
    return tuple(found)


def evaluate_keys(given: Sequence[Key], frames: ArrayLike) -> Floats:
    """Return the value of keyframes at any times.

    The W3C's rule: a key's easing rules from it to the next key (no easing: linear); on a key's frame the
    interval that begins there rules; before the first and after the last key the value holds.

    Parameters
    ----------
    given : sequence of Key
        Ascending frames, one key or more.
    frames : array_like
        (n,) frames, fractions allowed.

    Returns
    -------
    ndarray
        (n,) values.

    """
    times = np.asarray(frames, dtype=np.float64)
    at = np.array([key.frame for key in given], dtype=np.float64)
    values = np.array([key.value for key in given], dtype=np.float64)
    interval = np.searchsorted(at, times, side="right") - 1
    found = values[np.clip(interval, 0, len(given) - 1)]
    for index in range(len(given) - 1):
        inside = interval == index
        if inside.any():
            local = (times[inside] - at[index]) / (at[index + 1] - at[index])
            share = parse_easing(given[index].easing or "linear").value(local)
            found[inside] = values[index] + (values[index + 1] - values[index]) * share
    return found


def pieces(law: ProgressLaw) -> tuple[MonotonePiece, ...]:
    """Return the law cut into monotone pieces, in time order and without gaps.

    Parameters
    ----------
    law : ProgressLaw
        Of one part.

    Returns
    -------
    tuple of MonotonePiece
        Times in frames of the shot, from minus to plus infinity; holds are flat pieces. A jump of a stepped
        easing lies between two pieces and occupies no time.

    """
    found: list[MonotonePiece] = []
    since, level = -math.inf, law.initial
    for leg in law.legs:
        if leg.start > since:
            found.append(MonotonePiece(since, leg.start, level, level))
        span = leg.end - leg.start
        found += [piece.placed(leg.start, span, leg.before, leg.after) for piece in leg.easing.pieces]
        since, level = leg.end, leg.after
    return (*found, MonotonePiece(since, math.inf, level, level))
