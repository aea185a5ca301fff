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
    inner: Removal | None = None
    """How a group that leaves as one comes apart outside; its body is `part`. None: a single part leaves."""

    @property
    def members(self) -> tuple[str, ...]:
        """All parts that leave in this step, in the order in which they come free; `part` is the last."""
        return (self.part,) if self.inner is None else (*self.inner.order, self.part)


@dataclass(frozen=True)
class Removal:
    """A proved order in which the parts come apart: a tree, where parts can leave only together."""

    steps: tuple[RemovalStep, ...]
    """First to leave first; the body is in none of them."""
    body: str
    """The part that stays where it is."""

    @property
    def order(self) -> tuple[str, ...]:
        """All parts but the body, in the order in which they come free."""
        return tuple(part for step in self.steps for part in step.members)

    @property
    def groups(self) -> tuple[RemovalStep, ...]:
        """All steps in which several parts leave as one, each before those inside it."""
        found: list[RemovalStep] = []
        for step in self.steps:
            if step.inner is not None:
                found += [step, *step.inner.groups]
        return tuple(found)

    def step_of(self, part_id: str) -> RemovalStep | None:
        """Return the step that a part leads: its own, or that of the group that leaves with it; None for the body."""
        for step in self.steps:
            if step.part == part_id:
                return step
            if step.inner is not None and part_id in step.members:
                return step.inner.step_of(part_id)
        return None

    def rank(self, part_id: str) -> int:
        """Return 0 for the first part that comes free; the body comes last."""
        order = self.order
        return order.index(part_id) if part_id in order else len(order)


@dataclass(frozen=True)
class Move:
    """One part's way along its route, or along a stretch of it, in one phase."""

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
    span: tuple[float, float] = (0.0, 1.0)
    """The stretch of the route, as progress, that this move covers; an assemble walks it from the end."""


@dataclass(frozen=True)
class Region:
    """A polygon with holes on the screen, px; rings without their repeated last point."""

    outline: tuple[Point, ...]
    holes: tuple[tuple[Point, ...], ...] = ()
