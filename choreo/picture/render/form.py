"""The outline of a part, less what is left out of it, and the pixels its edges pass through; kept while the same."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.model.plan import Floats
from choreo.picture.render import overlap
from choreo.picture.render.coverage import Rings, Window, rings_of, window_around
from choreo.picture.render.moment import Hold

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Outline:
    """One shape, its edges cut at the borders of rows of pixels; see `overlap`."""

    rings: Rings
    pieces: Floats
    begin: Ints
    top: int
    fringe: Ints
    """(n,) the pixels of the frame (row * width + column, ascending) that its edges pass through."""


@dataclass(frozen=True, eq=False)
class Form:
    """A part's outline on the screen."""

    silhouette: BaseGeometry
    holds: tuple[Hold, ...]
    outlines: tuple[Outline, ...]
    """Of the silhouette, and of each region that is left out of it."""
    fringe: Ints
    """(n,) the pixels that any edge of these passes through, ascending."""


def form_of(silhouette: BaseGeometry, holds: Sequence[Hold], frame: Window, known: Form | None = None) -> Form:
    """Return the form of a silhouette, the known one if that was made from the very same objects."""
    same = known is not None and known.silhouette is silhouette and len(known.holds) == len(holds)
    if known is not None and same and all(one is two for one, two in zip(known.holds, holds, strict=True)):
        return known
    kept = {} if known is None else {id(hold): each for hold, each in zip(known.holds, known.outlines[1:], strict=True)}
    regions = [kept[id(hold)] if id(hold) in kept else outline_of(hold.region, frame) for hold in holds]
    outlines = (outline_of(silhouette, frame), *regions)
    return Form(silhouette, tuple(holds), outlines, united([each.fringe for each in outlines]))


def outline_of(shape: BaseGeometry, frame: Window) -> Outline:
    """Return a valid Polygon or MultiPolygon, px, as far as it lies in the frame."""
    rings = rings_of(shape)
    where = None if shape.is_empty else window_around(shape.bounds, frame)
    if where is None:
        return Outline(rings, np.zeros((0, 5)), np.zeros(1, dtype=np.int64), 0, np.zeros(0, dtype=np.int64))
    pieces, begin = overlap.by_rows(rings.xy, rings.start, rings.sign, where.y, where.height)
    fringe = overlap.touched(pieces, begin, rings.xy, rings.start, where.y, frame.width)
    return Outline(rings, pieces, begin, where.y, fringe)


def commons(index: Ints, frame: Window, own: Sequence[Outline], others: Sequence[Sequence[Outline]]) -> Floats:
    """Return the areas (3, n) in pixels of the frame of one shape, of others together, and of what they have in common.

    Parameters
    ----------
    index : (n,) array
        Pixels of the frame.
    frame : Window
        Its corner is at (0, 0).
    own : sequence of Outline
        The first, less the others.
    others : sequence of such sequences

    """
    outlines = [*own, *(outline for each in others for outline in each)]
    pieces = np.concatenate([outline.pieces for outline in outlines])
    begin = np.concatenate([outline.begin for outline in outlines])
    starts = list(itertools.accumulate([0, *(len(outline.pieces) for outline in outlines)]))
    first = list(itertools.accumulate([0, *(len(outline.begin) for outline in outlines)]))
    tops = [outline.top for outline in outlines]
    groups = [number for number, each in enumerate((own, *others)) for _ in each]
    places = np.array([starts[:-1], first[:-1], first[1:], tops, groups], dtype=np.int64)
    return overlap.commons(index, frame.width, pieces, begin, places)


def united(lists: Sequence[Ints]) -> Ints:
    """Return the numbers of ascending lists, ascending."""
    out = lists[0] if lists else np.zeros(0, dtype=np.int64)
    for each in lists[1:]:
        out = overlap.in_either(out, each)
    return out
