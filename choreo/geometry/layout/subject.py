"""What a layout is about: the frame, the parts, and who leaves with whom.

The removal may be a tree: parts that leave as one, and come apart outside. It is read here once, as a list of
items in the order in which they are placed: from the body outward, each group before what is in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from choreo.geometry.collision.encounter import Encounters
from choreo.model.plan import Floats, Removal


@dataclass(frozen=True)
class Frame:
    """The picture's frame and what to keep in it.

    Attributes
    ----------
    resolution : (width, height)
        px.
    margins : (left, top, right, bottom)
        Safe area, px from the edges.
    gap_px : float
        Clear screen space between parts at rest.
    clearance_mm : float
        Kept in space between parts that do not touch.
    readable : float
        Fraction of its outline that every part shows at rest, at least.

    """

    resolution: tuple[int, int]
    margins: tuple[float, float, float, float]
    gap_px: float
    clearance_mm: float
    readable: float = 0.98

    @property
    def size(self) -> Floats:
        """(width, height) as an array."""
        return np.array(self.resolution, dtype=np.float64)


@dataclass(frozen=True)
class Item:
    """One step of the removal, at its level of the tree.

    Attributes
    ----------
    part : str
        Who leaves; of a group, the one that the others leave outside.
    members : tuple of str
        All who leave in this step.
    inside : tuple of str
        Who of the same level is still there, last to leave first: displaced as the item itself is.
    outside : tuple of str
        Who of the levels above is still there, at assembled places.
    groups : tuple of str
        The groups that it left with before, outermost first, each named by its own `part`.

    """

    part: str
    members: tuple[str, ...]
    inside: tuple[str, ...]
    outside: tuple[str, ...]
    groups: tuple[str, ...]

    @property
    def chain(self) -> tuple[str, ...]:
        """The groups that it leaves with, the one that it leads included."""
        return (*self.groups, self.part) if len(self.members) > 1 else self.groups


@dataclass(frozen=True, eq=False)
class Subject:
    """What is to be laid out.

    Attributes
    ----------
    points : mapping of part id to (k, 3) array
        Convex hull corners, assembled, mm.
    removal : Removal
        Who leaves first, second, ..., and with whom.
    directions : mapping of part id to (3,) array
        Unit direction of each removal leg in this shot; of a group under the part that it is named by.
    travels : mapping of part id to float
        Removal legs whose length is fixed, mm.
    encounters : Encounters
        Shapes of all pairs.
    vias : mapping of part id to (k, 3) array
        Displacements passed before the removal leg, where one straight leg does not free the part.

    """

    points: Mapping[str, Floats]
    removal: Removal
    directions: Mapping[str, Floats]
    travels: Mapping[str, float]
    encounters: Encounters
    vias: Mapping[str, Floats] = field(default_factory=dict)

    @property
    def body(self) -> str:
        """Who stays."""
        return self.removal.body

    @cached_property
    def order(self) -> tuple[str, ...]:
        """All but the body, as they come free."""
        return self.removal.order

    @cached_property
    def size(self) -> float:
        """Diagonal of the assembled product's box, mm."""
        corners = np.concatenate(list(self.points.values()))
        return float(np.linalg.norm(corners.max(axis=0) - corners.min(axis=0)))

    @cached_property
    def items(self) -> tuple[Item, ...]:
        """All steps in the order in which they are placed."""
        return tuple(_items(self.removal, (), ()))

    def before(self, part: str) -> Floats:
        """Corners of its own way up to where its removal leg begins, (k, 3), from 0 on."""
        start = np.zeros((1, 3))
        return np.concatenate([start, self.vias[part]]) if part in self.vias else start


def _items(removal: Removal, groups: tuple[str, ...], outside: tuple[str, ...]) -> list[Item]:
    found: list[Item] = []
    inside: tuple[str, ...] = (removal.body,)
    for step in reversed(removal.steps):
        item = Item(step.part, step.members, inside, outside, groups)
        found.append(item)
        if step.inner is not None:
            found += _items(step.inner, (*groups, step.part), (*inside, *outside))
        inside = (*step.members, *inside)
    return found
