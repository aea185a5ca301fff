"""Photographed parts on their way into a new project: as found in a folder, and placed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from choreo.model.assembly import Point
from choreo.model.registration import Pixels


@dataclass(frozen=True, eq=False)
class FoundPlate:
    """One photographed part."""

    id: str
    label: str
    file: str
    """Its name in the folder; a sequence's has a run of # where the number stands."""
    frames: tuple[int, int] | None
    first: str
    """The name of its picture; of a sequence, of the first."""
    size: tuple[int, int]
    """Width and height of the picture, px."""
    polygons: tuple[BaseGeometry, ...]
    """Traced outlines with holes, px, y down."""
    colour: str
    """Mean of what it shows, ``#rrggbb``."""
    keyed: str = ""
    """The screen colour that was keyed out here, ``green`` or ``blue``; empty where the picture has a matte."""
    kept: Callable[[], tuple[Pixels, Pixels]] | None = None
    """Colour and alpha of its picture, as `Photograph` has them, where they are still in memory."""

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of what it shows, px."""
        left, top, right, bottom = (float(c) for c in shapely.total_bounds(list(self.polygons)))
        return left, top, right, bottom


@dataclass(frozen=True, eq=False)
class PlacedPlate:
    """A part to be written: its outline in its own picture, and where it belongs.

    Attributes
    ----------
    id, label, colour, file : str
    frames : (first, last) or None
        Of a numbered sequence.
    polygons : sequence of Polygon
        px of its own picture, y down.
    px_per_mm : float
        Scale of its picture.
    pivot_px : (x, y)
        The part's own origin in its picture.
    offset_mm : (x, y)
        Where that origin lies in the product, y up.
    layer : int
        1 for the farthest back; parts whose outlines overlap never share one.
    keyed : str
        Screen colour that was keyed out for planning; then the picture itself is not used as a plate.
    turn : float
        Degrees by which its picture is turned about the pivot, clockwise, to lie right.

    """

    id: str
    label: str
    colour: str
    file: str
    frames: tuple[int, int] | None
    polygons: Sequence[BaseGeometry]
    px_per_mm: float
    pivot_px: Point
    offset_mm: Point
    layer: int = 1
    keyed: str = ""
    turn: float = 0.0


@dataclass(frozen=True)
class PlacedHero:
    """The hero still: its scale, and the product's origin in it."""

    file: str
    px_per_mm: float
    pivot_px: Point


@dataclass(frozen=True)
class Hint:
    """Where a part was said to lie, px of the hero still, or of the known part's frame where there is no still."""

    at_px: Point
    """The middle of its outline's box."""
    width_px: float | None = None
    """Of that box; None: it is as large there as what is known already."""
