"""The outline of a part, less what is left out of it, and which pixels it covers in part; kept while it is the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.geometry.regions import minus
from choreo.picture.render.coverage import WHOLE, Rings, Window, rings_of, row_sums, window_around
from choreo.picture.render.moment import Hold

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Form:
    """A part's outline on the screen."""

    silhouette: BaseGeometry
    holds: tuple[Hold, ...]
    natural: BaseGeometry
    """The silhouette less what is left out."""
    rings: Rings
    """Of the natural outline."""
    fringe: Ints
    """(n,) the pixels of the frame (row * width + column, ascending) that the natural outline covers in part."""


def form_of(silhouette: BaseGeometry, holds: Sequence[Hold], frame: Window, known: Form | None = None) -> Form:
    """Return the form of a silhouette, the known one if that was made from the very same objects."""
    from choreo.picture.render import scan  # noqa: PLC0415

    same = known is not None and known.silhouette is silhouette and len(known.holds) == len(holds)
    if known is not None and same and all(one is two for one, two in zip(known.holds, holds, strict=True)):
        return known
    natural = silhouette
    for hold in holds:
        natural = minus(alone(natural), alone(hold.region))[0]
    rings = rings_of(natural)
    where = None if natural.is_empty else window_around(natural.bounds, frame)
    fringe = np.zeros(0, dtype=np.int64)
    if where is not None:
        index, _ = scan.in_part(row_sums(rings, where), WHOLE)
        row, column = np.divmod(index, where.width)
        fringe = (row + (where.y - frame.y)) * frame.width + (column + (where.x - frame.x))
    return Form(silhouette, tuple(holds), natural, rings, fringe)


def alone(shape: BaseGeometry) -> NDArray[np.object_]:
    """Return an array with one shape."""
    out = np.empty(1, dtype=np.object_)
    out[0] = shape
    return out
