"""The product: parts, how they join, and the plates that show them.

Lengths are mm in product space (x right, y up, z toward a viewer of the plan view).
"""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float]
Vector = tuple[float, float, float]
Ring = tuple[Point, ...]
"""A closed ring without its repeated last point."""


@dataclass(frozen=True)
class Slab:
    """A polygon with holes in the part's own xy plane, extruded over ``z = (z0, z1)``."""

    outline: Ring
    holes: tuple[Ring, ...]
    z: tuple[float, float]


@dataclass(frozen=True)
class Part:
    """One component. Its solid is the union of its slabs, placed at `offset`."""

    id: str
    label: str
    colour: str
    """``#rrggbb``, lower case."""
    offset: Vector
    slabs: tuple[Slab, ...]
    stand_in: str | None = None
    """Why this piece is not the real one, if it is not."""


@dataclass(frozen=True)
class Joint:
    """`part` leaves `into` along `axis` (unit length)."""

    kind: str
    part: str
    into: str
    axis: Vector
    press_mm: float = 0.0
    """Interference across the joint (difference of the two diameters); 0 where the fit is not a press fit."""


@dataclass(frozen=True)
class ViewAngle:
    """Where the camera stands, degrees; azimuth turns toward +x, elevation lifts toward +y."""

    azimuth: float = 0.0
    elevation: float = 0.0


@dataclass(frozen=True)
class Turntable:
    """A plate shot on a turntable: frame n shows the part turned by ``start + n * per_frame`` degrees."""

    axis: Vector
    start: float
    per_frame: float


@dataclass(frozen=True)
class Plate:
    """A photographed part: a single picture, or a numbered sequence where `frames` is given."""

    part: str
    file: str
    px_per_mm: float
    pivot_px: Point
    view: ViewAngle
    frames: tuple[int, int] | None = None
    frame_rate: tuple[int, int] | None = None
    turntable: Turntable | None = None
    turn: float = 0.0
    """Degrees by which the picture is turned about its pivot, clockwise, to lie right."""
    absent: tuple[int, ...] = ()
    """Photographs of a sequence that are not on disk, sorted; none as long as the whole sequence is still to come."""


@dataclass(frozen=True)
class Hero:
    """The polished still of the whole product."""

    file: str
    px_per_mm: float
    pivot_px: Point
    view: ViewAngle
    turn: float = 0.0
    """Degrees by which the still is turned about its pivot, clockwise, to lie right."""


@dataclass(frozen=True)
class Assembly:
    """The whole product, parts in file order (which breaks every tie)."""

    name: str
    touch_mm: float
    parts: tuple[Part, ...]
    joints: tuple[Joint, ...] = ()
    plates: tuple[Plate, ...] = ()
    hero: Hero | None = None

    @property
    def ids(self) -> tuple[str, ...]:
        """Part ids in file order."""
        return tuple(part.id for part in self.parts)

    @property
    def without_plate(self) -> tuple[str, ...]:
        """Ids of parts without a plate, in file order; none where there are no plates at all."""
        shown = {plate.part for plate in self.plates}
        return tuple(part for part in self.ids if shown and part not in shown)

    def part(self, part_id: str) -> Part:
        """Return the part with that id.

        Raises
        ------
        KeyError
            If there is none.

        """
        for part in self.parts:
            if part.id == part_id:
                return part
        raise KeyError(part_id)
