"""Find the least that must be unlocked so that a shot has a solution again.

In:  what is kept, a trial      Out: the smallest set of parts that helps, if any
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from choreo.errors import Finding
from choreo.geometry.layout.approved import Kept
from choreo.model.plan import Removal

_TRIALS = 60
"""Sets of parts that are tried; each trial lays a shot out and times it."""
_LARGEST = 2
_OF_GAPS = ("no-room", "too-close")
_OF_ROOM = (*_OF_GAPS, "behind-camera", "leaves-frame", "lock-in-the-way", "outside-safe-area")
"""Findings whose remedies are about a camera that is open, or about gaps."""


@dataclass(frozen=True)
class Unlocking:
    """What was found out.

    Attributes
    ----------
    parts : tuple of str or None
        Parts whose unlocking is enough; None: not even all parts of the shot are.
    least : bool
        Whether every smaller set was tried.

    """

    parts: tuple[str, ...] | None
    least: bool


def least_unlocking(kept: Kept, removal: Removal, works: Callable[[Kept], bool]) -> Unlocking:
    """Return the smallest set of parts without which a shot can be solved around the rest.

    Parameters
    ----------
    kept : Kept
        What is approved, cameras included: these stay.
    removal : Removal
        Single parts and pairs are tried in its order, those nearest to a part that is not kept first.
    works : callable
        Whether the shot can be solved with what is then still kept.

    Returns
    -------
    Unlocking
        Exact for up to two parts within `_TRIALS` trials; beyond, all parts of the shot at once.

    """
    order = removal.order
    moving = [part for part in order if part in kept.tracks]
    if not works(kept.without(moving)):
        return Unlocking(None, least=True)
    new = [order.index(part) for part in order if part not in kept.tracks]
    for trial, parts in enumerate(_sets(moving, new, order)):
        if trial == _TRIALS:
            return Unlocking(tuple(moving), least=False)
        if works(kept.without(parts)):
            return Unlocking(parts, least=True)
    return Unlocking(tuple(moving), least=len(moving) - 1 <= _LARGEST)


def _sets(moving: Sequence[str], new: Sequence[int], order: Sequence[str]) -> Iterator[tuple[str, ...]]:
    def far(part: str) -> int:
        return min((abs(order.index(part) - place) for place in new), default=0)

    ranked = sorted(moving, key=far)
    for size in range(1, min(_LARGEST, len(ranked) - 1) + 1):
        yield from combinations(ranked, size)


def roomier_gap(gap_px: float, works: Callable[[float], bool]) -> float | None:
    """Return a smaller gap, whole px, with which a shot has a solution; None where none was found down to 1 px.

    It was tried, and the next px was not enough if what fits with one gap fits with all smaller ones.

    Parameters
    ----------
    gap_px : float
        With which it has none.
    works : callable
        Whether it has one with this gap, all that is locked being kept.

    """
    too_wide, gap = int(np.ceil(gap_px)), int(gap_px) // 2
    while gap >= 1 and not works(float(gap)):
        too_wide, gap = gap, gap // 2
    if gap < 1:
        return None
    while too_wide - gap > 1:
        middle = (gap + too_wide) // 2
        gap, too_wide = (middle, too_wide) if works(float(middle)) else (gap, middle)
    return float(gap)


def lacks_room(findings: Sequence[Finding]) -> bool:
    """Whether a smaller gap could be of use."""
    return any(finding.code in _OF_GAPS for finding in findings)


def around_lock(finding: Finding, late: Sequence[str], gap_px: float | None) -> Finding:
    """Return what a shot lacks with a remedy that can help: its camera is locked, and so is what stands around.

    Parameters
    ----------
    finding : Finding
        As it is said where nothing is locked.
    late : sequence of str
        Parts that are not locked.
    gap_px : float or None
        One with which all fits, where that was tried and found.

    """
    if finding.code not in _OF_ROOM:
        return finding
    remedy = (
        f"It fits with gap_px = {gap_px:g}. Or: unlock" if gap_px is not None and finding.code in _OF_GAPS else "Unlock"
    )
    remedy += " what is named below"
    if late:
        remedy += f", or give {_one_of(late)} a way of its own (along, travel_mm)"
    why = (
        "The approved camera stays, and what is locked stays where it rests."
        if finding.code in _OF_GAPS
        else finding.why
    )
    return replace(finding, why=why, remedy=f"{remedy}.")


def _one_of(late: Sequence[str]) -> str:
    return f'"{late[0]}"' if len(late) == 1 else "the part that is new"


def unlocking(shot: str, found: Unlocking, late: Sequence[str]) -> Finding:
    """Say what to unlock; `late` are the parts that are not locked."""
    otherwise = f", or give {_one_of(late)} a way of its own (along, travel_mm)" if late else ""
    if found.parts is None:
        return Finding(
            code="lock-too-tight",
            what=f'Shot "{shot}" has no solution around what is locked, not even with all its parts unlocked.',
            why="The approved camera stays, and with it the room that there is.",
            remedy=f'Take "{shot}" out of the lock, so that its camera is solved anew{otherwise}.',
        )
    names = " and ".join(f'"{part}"' for part in found.parts)
    least = "" if found.least else " Smaller sets may do; not all were tried."
    return Finding(
        code="lock-too-tight",
        what=f'Shot "{shot}" has no solution around what is locked; with {names} unlocked it has one.{least}',
        why="Everything else can stay as it was approved.",
        remedy=f"List under [lock] parts all parts but {names}{otherwise}.",
    )
