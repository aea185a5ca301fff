"""The proof that parts hold each other, kept so that it can be read and drawn."""

from __future__ import annotations

from dataclasses import dataclass

from choreo.errors import ChoreoError, Finding
from choreo.model.assembly import Vector


@dataclass(frozen=True)
class Bar:
    """A class of directions in which the same others stand in the way of one part."""

    blockers: tuple[str, ...]
    """In file order."""
    direction: Vector
    """The one direction, or the middle of the arc; unit length."""
    arc: tuple[float, float] | None = None
    """An arc of the plane, degrees counter-clockwise from +x, its end not before its start; None: one direction.

    Open where it has a width: at its very ends fewer may stand in the way, and then a bar of its own, without
    width, says who.
    """


@dataclass(frozen=True)
class Held:
    """All straight ways of one part, and who bars them: +z, -z, the whole plane, then its joint axes if askew."""

    part: str
    bars: tuple[Bar, ...]


@dataclass(frozen=True)
class Link:
    """One link of a ring: a part, a direction, and who stands in that way."""

    part: str
    direction: Vector
    by: str


@dataclass(frozen=True)
class Interlock:
    """Parts of which no single one, and no group that was tried, can leave by translation.

    What it claims is limited: one group leaves, as one, without turning, while all the others stay where they are.
    Parts of which one must first be shifted a little to let another go are beyond it. Parts that must move in three
    or more directions at once, or that a twist would free, are beyond it.
    """

    parts: tuple[str, ...]
    """Who holds each other, in file order; everything else has left."""
    held: tuple[Held, ...]
    """One a part, in the same order."""
    ring: tuple[Link, ...]
    """Each is held by the next, the last by the first."""
    groups_tried: int
    """How many groups, single parts among them, were shown to have no way out of whatever shape."""
    groups_in_all: int
    """How many there are; a group and the rest move apart the same way, so they count once."""
    inside: bool = False
    """Whether these parts left the others as one before they were found to hold each other."""

    @property
    def proved(self) -> bool:
        """Whether every group was tried, rather than a limit reached."""
        return self.groups_tried == self.groups_in_all


class Interlocked(ChoreoError):  # noqa: N818 - a state of the product, as the finding calls it
    """No solution: parts hold each other; `interlock` is the proof."""

    def __init__(self, finding: Finding, interlock: Interlock) -> None:
        super().__init__((finding,), exit_code=1)
        self.interlock = interlock
