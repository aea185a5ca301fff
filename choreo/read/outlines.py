"""Rings to polygons that can be trusted: closed, simple, with holes inside, thick enough to stay solid."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.model.assembly import Ring
from choreo.read.notes import Notes, Place, spoken

Polygon = Any
"""A shapely Polygon."""


@dataclass(frozen=True, eq=False)
class Section:
    """The section of one slab."""

    outline: Ring
    holes: tuple[Ring, ...]
    shrunk: BaseGeometry
    """Less half of ``touch_mm`` all around: where it still meets another section, the two truly overlap."""


def read_section(notes: Notes, place: Place, slab: dict[str, Any], touch_mm: float) -> Section | None:
    """Return the section of a slab that passed its schema, or note why there is none.

    Parameters
    ----------
    notes : Notes
        Of the assembly.
    place : tuple
        Of the slab.
    slab : dict
        With ``outline`` and perhaps ``holes``.
    touch_mm : float
        mm.

    Returns
    -------
    Section or None
        Rings as the user wrote them, but for repeated points in a row and the repeated last one.

    """
    if not isinstance(slab["outline"], list):
        _note_not_yet(notes, (*place, "outline"), "matte" if "matte" in slab["outline"] else "svg")
        return None
    places = [(*place, "outline"), *((*place, "holes", i) for i in range(len(slab.get("holes", []))))]
    rings = [_ring(points) for points in [slab["outline"], *slab.get("holes", [])]]
    polygons = [_simple(notes, at, ring) for at, ring in zip(places, rings, strict=True)]
    if any(polygon is None for polygon in polygons):
        return None
    whole = shapely.Polygon(rings[0], rings[1:])
    if len(rings) > 1 and not _holes_fit(notes, places, polygons, whole):
        return None
    shrunk = shapely.buffer(whole, -touch_mm / 2, join_style="mitre", mitre_limit=5.0)
    if shrunk.is_empty:
        _note_thin(notes, (*place, "outline"), touch_mm)
        return None
    return Section(rings[0], tuple(rings[1:]), shrunk)


def _ring(points: list[list[float]]) -> Ring:
    ring = [(float(x), float(y)) for x, y in points]
    return tuple(point for before, point in zip([ring[-1], *ring[:-1]], ring, strict=True) if point != before)


def _simple(notes: Notes, place: Place, ring: Ring) -> Polygon | None:
    """Return the polygon inside one ring, or note why there is none."""
    name = spoken(place)
    if len(set(ring)) < 3:
        what = f"{name} has fewer than three different points."
        notes.add("too-few-points", place, what, remedy="Give at least three corners.")
        return None
    polygon = shapely.Polygon(ring)
    if not polygon.is_valid:
        near = re.search(r"\[(.*)\]", shapely.is_valid_reason(polygon))
        where = ", ".join(near[1].split()) if near else "?"
        if np.linalg.matrix_rank(np.array(ring) - ring[0]) < 2:
            what = f"The points of {name} lie on one line."
            notes.add("no-area", place, what, remedy="Give the ring an inside.")
        else:
            what = f"{name} crosses or touches itself near [{where}]."
            remedy = "Put the points in the order in which the edge runs, each once."
            notes.add("crosses-itself", place, what, "Inside and outside cannot be told apart there.", remedy)
        return None
    return polygon


def _holes_fit(notes: Notes, places: list[Place], polygons: list[Polygon], whole: Polygon) -> bool:
    """Whether all holes lie inside the outline and clear of each other; notes those that do not."""
    if whole.is_valid:
        return True
    outline, holes = polygons[0], polygons[1:]
    before = len(holes)
    inside = shapely.covers(outline, holes)
    for place, fits in zip(places[1:], inside, strict=True):
        if not fits:
            what = f"{spoken(place)} is not wholly inside its outline."
            notes.add("hole-outside", place, what, remedy="Move the hole inside, or draw the outline around it.")
            before -= 1
    overlapping = _overlaps(holes)
    for first, second in overlapping:
        what = f"{spoken(places[1 + second])} overlaps {spoken(places[1 + first])}."
        notes.add("holes-overlap", places[1 + second], what, remedy="Join the two holes into one ring.")
    if before == len(holes) and not overlapping:
        what = "A hole runs along its outline or another hole, or holes cut the slab into pieces."
        remedy = "Leave material all around each hole, or cut the outline itself."
        notes.add("hole-touches", places[1][:-1], what, remedy=remedy)
    return False


def _overlaps(holes: list[Polygon]) -> list[tuple[int, int]]:
    tree = shapely.STRtree(holes)
    pairs = tree.query(holes, predicate="intersects").T
    ordered = sorted((int(a), int(b)) for a, b in pairs if a < b)
    return [(a, b) for a, b in ordered if shapely.intersection(holes[a], holes[b]).area > 0]


def _note_thin(notes: Notes, place: Place, touch_mm: float) -> None:
    notes.add(
        "too-thin",
        place,
        f"This slab is nowhere wider than touch_mm, {touch_mm:g} mm.",
        "Two parts may overlap by that much and count as touching; a slab as thin as that could not collide.",
        "Make the slab wider, or set a smaller touch_mm.",
    )


def _note_not_yet(notes: Notes, place: Place, kind: str) -> None:
    notes.add(
        "not-yet-readable",
        place,
        f"Outlines from {'a matte' if kind == 'matte' else 'an SVG drawing'} cannot be read yet.",
        "They come with a later version.",
        "Give the outline as a ring of points in mm.",
    )
