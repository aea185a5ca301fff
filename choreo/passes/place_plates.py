"""Find the scale of photographed parts and where each belongs.

In:  FoundPlates, one known width      Out: PlacedPlates

Plates that were shot locked-off, in one frame, keep their places: their pictures have one size, and a mm is as many
px in all of them.
"""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.model.new_plates import FoundPlate, PlacedHero, PlacedPlate


def px_per_mm_of(plates: Sequence[FoundPlate], part: str, width_mm: float) -> float:
    """Return the scale of the picture of a part whose width is known.

    Parameters
    ----------
    plates : sequence of FoundPlate
    part : str
        Its id.
    width_mm : float
        From the leftmost to the rightmost point of its outline, positive.

    Raises
    ------
    ChoreoError
        Exit 2, ``unknown-part``.

    """
    left, _, right, _ = _named(plates, part).bounds
    return (right - left) / width_mm


def place_locked_off(plates: Sequence[FoundPlate], part: str, px_per_mm: float) -> tuple[PlacedPlate, ...]:
    """Return plates of one frame, each at its place.

    The product's origin is the middle of the part with the known width; each part's own origin is the middle of
    its outline's box.

    Raises
    ------
    ChoreoError
        Exit 2, ``plates-differ``: pictures that are not of the same frame.

    """
    known = _named(plates, part)
    other = [plate for plate in plates if plate.size != known.size]
    if other:
        raise wrong_input(*[_differs(plate, known) for plate in other])
    x0, y0 = _middle(known)
    placed = []
    layers = stacked([plate.polygons for plate in plates])
    for plate, layer in zip(plates, layers, strict=True):
        x, y = _middle(plate)
        offset = ((x - x0) / px_per_mm, (y0 - y) / px_per_mm)
        placed.append(
            PlacedPlate(
                plate.id, plate.label, plate.colour, plate.file, plate.frames, plate.polygons, px_per_mm,
                (x, y), offset, layer, plate.keyed,
            )
        )  # fmt: skip
    return tuple(placed)


def stacked(outlines: Sequence[Sequence[BaseGeometry]]) -> list[int]:
    """Return the layer of each part, 1 the farthest back: one above the highest of those before it that it overlaps.

    Parameters
    ----------
    outlines : sequence of polygons a part
        Back to front, at their places.

    """
    whole = [shapely.union_all(list(polygons)) for polygons in outlines]
    layers: list[int] = []
    for index, own in enumerate(whole):
        below = [layers[k] for k in range(index) if shapely.intersection(own, whole[k]).area > 0]
        layers.append(max(below, default=0) + 1)
    return layers


def place_hero(file: str, size: tuple[int, int], known: FoundPlate, px_per_mm: float) -> PlacedHero | None:
    """Return the hero still if it was shot in the plates' frame, else None."""
    return PlacedHero(file, px_per_mm, _middle(known)) if size == known.size else None


def _named(plates: Sequence[FoundPlate], part: str) -> FoundPlate:
    found = next((plate for plate in plates if plate.id == part), None)
    if found is None:
        raise _unknown(plates, part)
    return found


def _middle(plate: FoundPlate) -> tuple[float, float]:
    # Whole px: easy to read, and nothing hangs on where a part's origin lies in it.
    left, top, right, bottom = plate.bounds
    return float(round((left + right) / 2)), float(round((top + bottom) / 2))


def _unknown(plates: Sequence[FoundPlate], part: str) -> ChoreoError:
    names = ", ".join(plate.id for plate in plates)
    return wrong_input(
        Finding(
            "unknown-part",
            f'--scale names "{part[:60]}", but no plate has this name.',
            remedy=f"Choose the plate whose width you know: {names}.",
        )
    )


def _differs(plate: FoundPlate, known: FoundPlate) -> Finding:
    return Finding(
        "plates-differ",
        f"{plate.file} is {plate.size[0]} x {plate.size[1]} px, {known.file} {known.size[0]} x {known.size[1]} px: "
        "they were not shot in one frame.",
        why="From a picture of another frame nobody knows where the part belongs.",
        remedy="Give the hero still (--hero), so that the plate is placed by it, or save all plates in one frame.",
    )
