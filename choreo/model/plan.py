"""What the passes hand to each other: removal order, moves, regions on the screen.

Vectors are displacements from the assembled position in mm unless a docstring says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from choreo.model.assembly import Point, Vector

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RemovalStep:
    """One part leaves while everything not yet removed stays."""

    part: str
    direction: Vector
    """Of its last straight move; unit length."""
    joint_axis: Vector | None = None
    """The axis the joint asked for, where geometry made the solver choose another."""
    via: tuple[Vector, ...] = ()
    """Displacements it passes before its last move, where no single straight move frees it."""


@dataclass(frozen=True)
class Removal:
    """A proved order in which the parts come apart."""

    steps: tuple[RemovalStep, ...]
    """First to leave first; the body is not in it."""
    body: str
    """The part that stays where it is."""

    def rank(self, part_id: str) -> int:
        """Return 0 for the first part that leaves; the body comes last."""
        for index, step in enumerate(self.steps):
            if step.part == part_id:
                return index
        return len(self.steps)


@dataclass(frozen=True)
class Move:
    """One part's way along its whole route in one phase."""

    part: str
    phase: int
    start: int
    """Frame of the shot on which it is still where it was."""
    frames: int
    """It arrives on frame ``start + frames``."""
    easing: str
    kind: str
    """``"explode"`` or ``"assemble"``."""
    wish: int
    """The start that stagger and delay asked for."""
    reason: str = ""
    """Why it does not start there, in the user's words; empty where it does."""


@dataclass(frozen=True)
class Region:
    """A polygon with holes on the screen, px; rings without their repeated last point."""

    outline: tuple[Point, ...]
    holes: tuple[tuple[Point, ...], ...] = ()
