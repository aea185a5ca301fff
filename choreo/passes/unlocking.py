"""Find the least that must be unlocked so that a shot has a solution again.

In:  what is kept, a trial      Out: the smallest set of parts that helps, if any
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from choreo.errors import Finding
from choreo.geometry.approved import Kept
from choreo.model.plan import Removal

_TRIALS = 60
"""Sets of parts that are tried; each trial lays a shot out and times it."""
_LARGEST = 2


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


def unlocking(shot: str, found: Unlocking) -> Finding:
    """Say what to unlock."""
    if found.parts is None:
        return Finding(
            code="lock-too-tight",
            what=f'Shot "{shot}" has no solution around what is locked, not even with all its parts unlocked.',
            why="The approved camera stays, and with it the room that there is.",
            remedy=f'Take "{shot}" out of the lock, so that its camera is solved anew.',
        )
    names = " and ".join(f'"{part}"' for part in found.parts)
    least = "" if found.least else " Smaller sets may do; not all were tried."
    return Finding(
        code="lock-too-tight",
        what=f'Shot "{shot}" has no solution around what is locked; with {names} unlocked it has one.{least}',
        why="Everything else can stay as it was approved.",
        remedy=f"List under [lock] parts all parts but {names}, or give the late part another way (along, travel_mm).",
    )
