"""Rings to polygons that can be trusted: closed, simple, with holes inside, thick enough to stay solid."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.model.assembly import Ring
from choreo.read.notes import Notes, spoken
from choreo.read.place import Place

Geometries = NDArray[np.object_]


@dataclass(frozen=True, eq=False)
class Section:
    """The section of one slab."""

    outline: Ring
    holes: tuple[Ring, ...]
    shrunk: BaseGeometry
    """Less half of ``touch_mm`` all around: where it still meets another section, the two truly overlap."""


@dataclass(frozen=True)
class _Edge:
    """One ring of one slab."""

    slab: int
    place: Place
    ring: Ring


def read_sections(
    notes: Notes,
    slabs: Sequence[tuple[Place, dict[str, Any]]],
    touch_mm: float,
    drawn: Mapping[int, Sequence[BaseGeometry]] = MappingProxyType({}),
) -> list[tuple[Section, ...]]:
    """Return the section of each slab, or note why it has none.

    Parameters
    ----------
    notes : Notes
        Of the assembly.
    slabs : sequence of (place, slab)
        Slabs that passed their schema, with ``outline`` and perhaps ``holes``.
    touch_mm : float
        mm.
    drawn : mapping of int to sequence of Polygon
        Of slabs whose outlines stand in other files, by their place in `slabs`: valid, mm.

    Returns
    -------
    list of tuple of Section
        For each slab one, several where its drawing has islands, none where something is wrong. Rings are as the
        user wrote them, but for repeated points in a row and the repeated last one.

    Notes
    -----
    All rings of the file go through each test together, which is many times faster than one by one.

    """
    edges: list[list[_Edge]] = [_edges(index, *slab) for index, slab in enumerate(slabs)]
    rings, owners = _simple(notes, edges)
    wholes = _whole(notes, edges, rings, owners)
    pieces = [drawn.get(index, [whole]) for index, whole in enumerate(wholes)]
    flat = np.array([piece for own in pieces for piece in own], dtype=object)
    with np.errstate(all="ignore"):  # corners closer together than floats can tell apart
        shrunk = iter(shapely.buffer(flat, -touch_mm / 2, join_style="mitre", mitre_limit=5.0))
    sections: list[tuple[Section, ...]] = []
    for (place, _), edge, own in zip(slabs, edges, pieces, strict=True):
        made = tuple(_section(edge, piece, next(shrunk)) for piece in own)
        usable = any(section.shrunk is not None and section.shrunk.area > 0 for section in made)
        if own[0] is not None and not usable:
            _note_thin(notes, (*place, "outline"), touch_mm)
        sections.append(made if usable else ())
    return sections


def _section(own: list[_Edge], piece: BaseGeometry, shrunk: BaseGeometry) -> Section:
    """Return a section with its rings as written where they were written, else as drawn."""
    rings = [edge.ring for edge in own]
    if not own and piece is not None:
        rings = [_ring(shapely.get_coordinates(ring)[:-1].tolist()) for ring in shapely.get_rings(piece)]
    outline, *holes = rings or [()]
    return Section(outline, tuple(holes), shrunk)


def _edges(index: int, place: Place, slab: dict[str, Any]) -> list[_Edge]:
    """Return outline and holes of a slab; none where they stand in another file."""
    if not isinstance(slab["outline"], list):
        return []
    holes = [((*place, "holes", row), points) for row, points in enumerate(slab.get("holes", []))]
    return [_Edge(index, at, _ring(points)) for at, points in [((*place, "outline"), slab["outline"]), *holes]]


def _ring(points: list[list[float]]) -> Ring:
    ring = [(float(x), float(y)) for x, y in points]
    return tuple(point for before, point in zip([ring[-1], *ring[:-1]], ring, strict=True) if point != before)


def _simple(notes: Notes, edges: list[list[_Edge]]) -> tuple[Geometries, NDArray[np.intp]]:
    """Return the rings of all slabs whose rings are simple, with the slab of each; note those that are not."""
    drawn = [edge for own in edges for edge in own if _has_corners(notes, edge)]
    if not drawn:
        return np.empty(0, dtype=object), np.empty(0, dtype=np.intp)
    points = np.concatenate([edge.ring for edge in drawn])
    rings = shapely.linearrings(points, indices=np.repeat(np.arange(len(drawn)), [len(e.ring) for e in drawn]))
    for index in np.flatnonzero(~shapely.is_valid(shapely.polygons(rings))):
        _note_crossing(notes, drawn[index], rings[index])
    keep = [index for index, edge in enumerate(drawn) if notes.sound(*edge.place[:4])]
    return rings[keep], np.array([drawn[index].slab for index in keep], dtype=np.intp)


def _has_corners(notes: Notes, edge: _Edge) -> bool:
    if len(set(edge.ring)) >= 3:
        return True
    what = f"{spoken(edge.place)} has fewer than three different points."
    notes.add("too-few-points", edge.place, what, remedy="Give at least three corners.")
    return False


def _note_crossing(notes: Notes, edge: _Edge, ring: BaseGeometry) -> None:
    name = spoken(edge.place)
    if np.linalg.matrix_rank(np.array(edge.ring) - edge.ring[0]) < 2:
        what = f"The points of {name} lie on one line."
        notes.add("no-area", edge.place, what, remedy="Give the ring an inside.")
        return
    near = re.search(r"\[(.*)\]", shapely.is_valid_reason(shapely.Polygon(ring)))
    where = f" near [{', '.join(near[1].split())}]" if near else ""
    what = f"{name} crosses or touches itself{where}."
    remedy = "Put the points in the order in which the edge runs, each once."
    notes.add("crosses-itself", edge.place, what, "Inside and outside cannot be told apart there.", remedy)


def _whole(notes: Notes, edges: list[list[_Edge]], rings: Geometries, owners: NDArray[np.intp]) -> Geometries:
    """Return each slab's polygon with its holes; None where there is none."""
    wholes = np.full(len(edges), None, dtype=object)
    present, compact = np.unique(owners, return_inverse=True)
    if len(present):
        wholes[present] = shapely.polygons(rings, indices=compact)
    for index in present[~shapely.is_valid(wholes[present])]:
        _note_holes(notes, edges[index], shapely.polygons(rings[owners == index]))
        wholes[index] = None
    return wholes


def _note_holes(notes: Notes, own: list[_Edge], polygons: Geometries) -> None:
    """Note why the holes of a slab do not fit its outline or each other."""
    outline, holes = polygons[0], polygons[1:]
    outside = np.flatnonzero(~shapely.covers(outline, holes))
    for row in outside:
        what = f"{spoken(own[1 + row].place)} is not wholly inside its outline."
        remedy = "Move the hole inside, or draw the outline around it."
        notes.add("hole-outside", own[1 + row].place, what, remedy=remedy)
    overlapping = _overlaps(holes)
    for first, second in overlapping:
        what = f"{spoken(own[1 + second].place)} overlaps {spoken(own[1 + first].place)}."
        remedy = "Join the two holes into one ring."
        notes.add("holes-overlap", own[1 + second].place, what, remedy=remedy)
    if not len(outside) and not overlapping:
        what = "A hole runs along its outline or another hole, or holes cut the slab into pieces."
        remedy = "Leave material all around each hole, or cut the outline itself."
        notes.add("hole-touches", own[1].place[:-1], what, remedy=remedy)


def _overlaps(holes: Geometries) -> list[tuple[int, int]]:
    pairs = shapely.STRtree(holes).query(holes, predicate="intersects").T
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
