"""How photographed plates meet the hero still: places on the still, what was measured, and what would mend it.

Places are px of the hero still, y down. A positive turn is clockwise as seen (from x toward y).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.model.assembly import Point

Pixels = NDArray[Any]


@dataclass(frozen=True, eq=False)
class Photograph:
    """One keyed picture."""

    outline: tuple[BaseGeometry, ...]
    """Polygons, px; traced with a `simplify_px` of 0.1 or less."""
    colour: Pixels | None = None
    """(h, w, 3), whole numbers up to their type's largest or floats up to 1, not multiplied by alpha."""
    alpha: Pixels | None = None
    """(h, w), in the same way."""
    load: Callable[[], tuple[Pixels, Pixels]] | None = None
    """Reads colour and alpha when they are needed, for few parts are measured by their picture."""

    def pixels(self) -> tuple[Pixels, Pixels] | None:
        """Return colour and alpha, if there are any."""
        if self.load is not None:
            return self.load()
        return None if self.colour is None or self.alpha is None else (self.colour, self.alpha)


@dataclass(frozen=True, eq=False)
class Photographs:
    """What can be laid on a hero still, and the still."""

    hero: Photograph
    plates: Mapping[str, Photograph] = field(default_factory=dict)
    """Stills from the hero's view, by part; those that could be read."""
    known: str = ""
    """What tells these files from others, where that is known: a registration of them can then be recalled."""


@dataclass(frozen=True)
class Similarity:
    """A point p of one picture lies at ``scale * turned(p) + shift_px`` of another."""

    scale: float
    """Above 0: a picture is never mirrored."""
    turn_degrees: float
    shift_px: Point


IDENTITY = Similarity(1.0, 0.0, (0.0, 0.0))


@dataclass(frozen=True)
class Held:
    """A way to move a part that what is visible of it cannot tell; it was left as it was at the start."""

    kind: str
    """``"shift"``, ``"turn"``, ``"size"``, ``"turn and size"`` or ``"all"``."""
    words: str
    """For people, e.g. ``"turn about (120, 85)"``."""


EVERYTHING = Held("all", "place, size and turn")


@dataclass(frozen=True)
class Arrow:
    """One point of a part's outline, and how far from it the hero's outline runs."""

    at_px: Point
    off_px: Point


@dataclass(frozen=True)
class OutlineFit:
    """A part's silhouette laid against the hero's."""

    transform: Similarity
    """Plate px to hero px."""
    mean_px: float
    """Mean distance between the two outlines where they were compared."""
    worst_px: float
    worst_at_px: Point
    used_share: float
    """Share of the part's outline that was found on the hero's, 0 to 1."""
    used_px: float
    sd_px: float
    """Expected error of the whole part's place that remains, root mean square, in the directions not held."""
    held: tuple[Held, ...]
    determined: tuple[str, ...]
    """Of ``"shift x"``, ``"shift y"``, ``"size"``, ``"turn"`` (about the part's middle) those measured."""
    arrows: tuple[Arrow, ...] = ()
    """A few dozen of the points used, in the order of the outline."""


@dataclass(frozen=True)
class ContentFit:
    """What a part's plate shows, laid against the same spot of the hero."""

    transform: Similarity
    """Plate px to hero px."""
    confidence: float
    """Share of the hero's contrast under the part that the plate explains, 0 to 1."""
    used_share: float
    """Share of the pixels looked at that agree; the rest is hidden, in glare, or retouched."""
    sd_px: float
    held: tuple[Held, ...]
    determined: tuple[str, ...]
    trouble: str
    """Why it is not to be trusted, for people; empty where it is."""


@dataclass(frozen=True, eq=False)
class StackMatch:
    """The outline of all parts together against the hero's; areas in px^2."""

    stack: BaseGeometry
    hero: BaseGeometry
    shared_px2: float
    surplus_px2: float
    """Area of the stack outside the hero, slivers included."""
    missing_px2: float
    surplus: tuple[BaseGeometry, ...]
    """Pieces that are no specks, largest first."""
    gaps: tuple[BaseGeometry, ...]
    mean_px: float
    """Mean distance between the outlines, taken both ways."""
    worst_px: float
    """Largest distance from a point of either outline to the other (Hausdorff)."""
    worst_at_px: Point
    """Where a notch is sharp, the two mattes round it differently: half a pixel there is no fault."""

    @property
    def meets(self) -> bool:
        """Whether nothing worth listing sticks out or is missing."""
        return not self.surplus and not self.gaps and not self.stack.is_empty


@dataclass(frozen=True)
class Correction:
    """The numbers of a plate that put it where it was measured to be."""

    px_per_mm: float
    pivot_px: Point
    turn_degrees: float
    """By how much the picture is to be turned about its pivot; clockwise as seen is positive."""


@dataclass(frozen=True)
class PartRegistration:
    """One plate."""

    part: str
    verdict: str
    """``"within"``, ``"off"``, ``"misfit"`` (its best place is still off), ``"hidden"`` (other parts hide it on
    the still, so that nothing can be off) or ``"unmeasured"``."""
    said: str
    """The verdict for people, e.g. ``"off by 1.3 px at (412, 96)"``."""
    off_px: float | None
    """The farthest that any point of its outline is from where it should be; None where unmeasured."""
    off_at_px: Point | None
    by: str
    """``"outline"``, ``"picture"``, or empty."""
    placed: Similarity | None
    """Where the numbers put it; None without a plate for this view."""
    outline: OutlineFit | None
    content: ContentFit | None
    correction: Correction | None
    """None where nothing was measured."""
    mean_px: float | None = None
    """How far its outline is from where it should be, on average along it."""
    goal: Similarity | None = None
    """Where it was measured to belong."""
    pivot_at_px: Point | None = None
    """Where its numbers put its pivot."""


@dataclass(frozen=True, eq=False)
class Registration:
    """All plates of one view against the hero still."""

    handoff_px: float
    parts: tuple[PartRegistration, ...]
    """In the order of the assembly."""
    stack: StackMatch
    """By the numbers as they stand."""
    mended: StackMatch
    """With every correction made."""

    @property
    def within(self) -> bool:
        """Whether no part is off, and the stack nowhere sticks out or gapes by more than the hand-off allows."""
        settled = all(part.verdict in {"within", "hidden", "unmeasured"} for part in self.parts)
        return settled and self.stack.meets
