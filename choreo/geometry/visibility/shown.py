"""What shows of each part on one frame, and which parts lie side by side there."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.regions import NOTHING, joined_rows, minus
from choreo.geometry.plane.unions import mended
from choreo.model.plan import Region
from choreo.model.tracks import Masking


def shown_regions(outlines: Mapping[str, BaseGeometry], masking: Masking, frame: int) -> dict[str, BaseGeometry]:
    """Return what shows of each part: its outline less its holdouts, less what lies above it.

    Parameters
    ----------
    outlines : mapping of part id to Polygon or MultiPolygon
        Silhouettes on that frame, px.
    masking : Masking
        Layer orders and holdouts of the shot.
    frame : int
        Of the shot.

    Returns
    -------
    mapping of part id to Polygon or MultiPolygon
        In the order of the outlines; exact but for leftovers of rounding, empty where a part is hidden wholly.

    """
    return {part: _less(outlines[part], hiding) for part, hiding in _hiding(outlines, masking, frame).items()}


def hidden_regions(
    outlines: Mapping[str, BaseGeometry], masking: Masking, frame: int, around_px: float
) -> dict[str, BaseGeometry]:
    """Return where each part is not seen: its holdouts, and what lies above it; so far around the box of its outline.

    Parameters
    ----------
    outlines, masking, frame
        See `shown_regions`.
    around_px : float

    """
    found = {}
    for part, hiding in _hiding(outlines, masking, frame).items():
        left, top, right, bottom = shapely.bounds(outlines[part])
        box = shapely.box(left - around_px, top - around_px, right + around_px, bottom + around_px)
        found[part] = _less(box, [_less(box, hiding)]) if hiding and not outlines[part].is_empty else NOTHING
    return found


def _hiding(outlines: Mapping[str, BaseGeometry], masking: Masking, frame: int) -> dict[str, list[BaseGeometry]]:
    """What is left out of each part, and the layers above that meet what is left of it."""
    order = next(span.back_to_front for span in masking.orders if span.first <= frame <= span.last)
    held: dict[str, list[BaseGeometry]] = {}
    for one in masking.holdouts:
        if one.first <= frame <= one.last:
            held.setdefault(one.part, []).extend(map(_polygon, one.region))
    above: list[BaseGeometry] = []
    found = {}
    for part in reversed(order):
        layer = _less(outlines[part], held.get(part, []))
        found[part] = [*held.get(part, []), *(other for other in above if shapely.intersects(other, layer))]
        above.append(layer)
    return {part: found[part] for part in outlines}


def side_by_side(regions: Mapping[str, BaseGeometry], within_px: float) -> dict[str, tuple[str, ...]]:
    """Return for each region those others that lie within so many px of it; empty ones lie beside nothing."""
    return {
        part: tuple(
            name
            for name, other in regions.items()
            if name != part and not region.is_empty and not other.is_empty and shapely.dwithin(region, other, within_px)
        )
        for part, region in regions.items()
    }


def _polygon(region: Region) -> BaseGeometry:
    polygon = shapely.Polygon(region.outline, region.holes)
    return polygon if polygon.is_valid else mended(polygon)  # rounding may have folded a corner into a line


def _less(shape: BaseGeometry, others: list[BaseGeometry]) -> BaseGeometry:
    if not others:
        return shape
    row = np.empty((1, len(others) + 1), dtype=np.object_)
    row[0] = [shape, *others]
    return minus(row[:, 0], joined_rows(row[:, 1:]))[0]
