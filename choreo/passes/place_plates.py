"""Find the scale of photographed parts and where each belongs.

In:  FoundPlates, one known width, their places on one picture      Out: PlacedPlates

Plates that were shot locked-off, in one frame, keep their places: their pictures have one size, and a mm is as many
px in all of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.geometry.registration.similarity import apply, apply_area, lying_at
from choreo.model.assembly import Point
from choreo.model.new_plates import FoundPlate, Hint, PlacedPlate
from choreo.model.registration import IDENTITY, Similarity


def place_plates(
    plates: Sequence[FoundPlate], part: str, width_mm: float, places: Mapping[str, Similarity]
) -> tuple[tuple[PlacedPlate, ...], float, Point]:
    """Return plates with their numbers, and the scale and the pivot of the picture on which they lie.

    The product's origin is the middle of the part with the known width; each part's own origin is the middle of
    its outline's box.

    Parameters
    ----------
    plates : sequence of FoundPlate
        Back to front.
    part : str
        Whose width is known.
    width_mm : float
        From its leftmost to its rightmost point as it lies on that picture.
    places : mapping of part id to Similarity
        Plate px to px of one picture: the hero still, or the known part's own frame.

    Returns
    -------
    placed, px_per_mm, pivot_px
        The last two of that picture.

    """
    known = named_plate(plates, part)
    whole = [[apply_area(places[plate.id], area) for area in plate.polygons] for plate in plates]
    left, _, right, _ = shapely.total_bounds(whole[plates.index(known)])
    px_per_mm = float(right - left) / width_mm
    origin = apply(places[part], np.array(_middle(known)))
    placed = []
    for plate, layer in zip(plates, stacked(whole), strict=True):
        place, pivot = places[plate.id], _middle(plate)
        x, y = (apply(place, np.array(pivot)) - origin) / px_per_mm
        placed.append(
            PlacedPlate(
                plate.id, plate.label, plate.colour, plate.file, plate.frames, plate.polygons, px_per_mm / place.scale,
                pivot, (float(x), -float(y)), layer, plate.keyed, place.turn_degrees,
            )
        )  # fmt: skip
    return tuple(placed), px_per_mm, (float(origin[0]), float(origin[1]))


def place_in_frame(plates: Sequence[FoundPlate], part: str, hints: Mapping[str, Hint]) -> dict[str, Similarity]:
    """Return the places of plates on the known part's own frame, where there is no hero still.

    Raises
    ------
    ChoreoError
        Exit 2, ``plates-differ``: pictures of another frame of which nobody said where they belong.

    """
    known = named_plate(plates, part)
    other = [plate for plate in plates if plate.size != known.size and plate.id not in hints]
    if other:
        raise wrong_input(_differ(other, known))
    said = {part: (hint.at_px, hint.width_px) for part, hint in hints.items()}
    return {plate.id: lying_at(plate.bounds, *said[plate.id]) if plate.id in said else IDENTITY for plate in plates}


def stacked(outlines: Sequence[Sequence[BaseGeometry]]) -> list[int]:
    """Return the layer of each part, 1 the farthest back: one above the highest of those before it that it overlaps.

    Parameters
    ----------
    outlines : sequence of polygons a part
        Back to front, at their places.

    """
    layers = [1] * len(outlines)
    for below, above in overlapping(outlines):
        layers[above] = max(layers[above], layers[below] + 1)
    return layers


def overlapping(outlines: Sequence[Sequence[BaseGeometry]]) -> list[tuple[int, int]]:
    """Return the pairs of parts, by their number, whose outlines have an area in common: by the later, then the other.

    Parameters
    ----------
    outlines : sequence of polygons a part
        At their places.

    """
    whole = np.array([shapely.union_all(list(polygons)) for polygons in outlines], dtype=np.object_)
    ones, others = shapely.STRtree(whole).query(whole, predicate="intersects")
    earlier = others < ones
    pairs = sorted(zip(ones[earlier].tolist(), others[earlier].tolist(), strict=True))
    return [(k, index) for index, k in pairs if shapely.intersection(whole[index], whole[k]).area > 0]


def named_plate(plates: Sequence[FoundPlate], part: str, option: str = "--scale") -> FoundPlate:
    """Return the plate that an option of the command line names.

    Raises
    ------
    ChoreoError
        Exit 2, ``unknown-part``.

    """
    found = next((plate for plate in plates if plate.id == part), None)
    if found is None:
        raise _unknown(plates, part, option)
    return found


def _middle(plate: FoundPlate) -> tuple[float, float]:
    # Whole px: easy to read, and nothing hangs on where a part's origin lies in it.
    left, top, right, bottom = plate.bounds
    return float(round((left + right) / 2)), float(round((top + bottom) / 2))


def _unknown(plates: Sequence[FoundPlate], part: str, option: str) -> ChoreoError:
    names = ", ".join(plate.id for plate in plates)
    return wrong_input(
        Finding(
            "unknown-part",
            f'{option} names "{part[:60]}", but no plate has this name.',
            remedy=f"Choose one of: {names}.",
        )
    )


def _differ(plates: Sequence[FoundPlate], known: FoundPlate) -> Finding:
    sizes = ", ".join(f"{plate.file} {plate.size[0]} x {plate.size[1]} px" for plate in plates)
    return Finding(
        "plates-differ",
        f"Not of one frame with {known.file}, {known.size[0]} x {known.size[1]} px: {sizes}.",
        why="From a picture of another frame nobody knows where the part belongs.",
        remedy="Give the hero still (--hero), so that the plates are placed by it; say where each belongs (--place "
        f'"{plates[0].id}=X,Y,WIDTH"); or save all plates in one frame.',
    )
