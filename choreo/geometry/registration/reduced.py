"""Lay what a large plate shows on a large hero still: by pictures made small enough to be quick.

Both are cut out around the part and halved until few enough pixels are left. A place on pictures of an eighth of
the size is still known to a hundredth of their px, so to less than a tenth of the whole; where it is not, the next
larger ones are compared.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.trace import full_scale
from choreo.geometry.registration.content import register_content
from choreo.geometry.registration.pixels import Bools
from choreo.geometry.registration.similarity import apply
from choreo.model.plan import Floats
from choreo.model.registration import ContentFit, Pixels, Similarity

_MOST_PX = 400_000
"""Pixels of either cut-out that are compared at first."""
_MOST_HALVINGS = 3
"""Reading between pixels is exact to some thousandths of a px: after three halvings to some hundredths."""
_SURE_PX = 0.05
"""Expected error, root mean square, that needs no larger pictures: twice that is 0.1 px."""
_NEARER_PX = 1.5
"""What hides a part is taken to be so much wider: it may be off as well."""


def register_reduced(
    colour: Pixels,
    alpha: Pixels,
    hero: Pixels,
    start: Similarity,
    *,
    hidden: BaseGeometry | None = None,
) -> ContentFit:
    """Return where a plate's picture fits the hero's best; see `register_content`.

    The expected error is 0.05 px of the whole pictures or less, or what `sd_px` of the answer says, on pictures that
    were halved at most three times and never to fewer than 100 000 px.

    Parameters
    ----------
    colour : (h, w, 3) array
        Not multiplied by alpha; whole numbers up to their type's largest, or floats up to 1.
    alpha : (h, w) array
    hero : (H, W, 3) array
        In the same transfer function as the plate.
    start : Similarity
        Plate px to hero px.
    hidden : Polygon or MultiPolygon, optional
        Where nearer parts may hide this one, hero px.

    """
    plate_box, hero_box = _boxes(alpha, hero.shape[:2], start)
    largest = max(_size(plate_box), _size(hero_box))
    level = min(_MOST_HALVINGS, max(0, math.ceil(math.log(max(largest, 1) / _MOST_PX, 4))))
    found = _at_level(colour, alpha, hero, start, hidden, plate_box, hero_box, level)
    if level and (found.trouble or found.sd_px > _SURE_PX):
        finer = _at_level(colour, alpha, hero, start, hidden, plate_box, hero_box, level - 1)
        return found if finer.trouble else finer
    return found


_Box = tuple[int, int, int, int]


def _boxes(alpha: Pixels, size: tuple[int, int], start: Similarity) -> tuple[_Box, _Box]:
    """Left, top, right and bottom of what counts of the plate and of the hero, on multiples of the largest step."""
    filled = alpha > 0
    columns, rows = np.flatnonzero(filled.any(axis=0)), np.flatnonzero(filled.any(axis=1))
    if not len(rows):
        return (0, 0, 0, 0), (0, 0, 0, 0)
    own = _aligned((columns[0], rows[0], columns[-1] + 1, rows[-1] + 1), alpha.shape)
    corners = apply(start, np.array([(x, y) for x in own[::2] for y in own[1::2]], dtype=np.float64))
    low, high = corners.min(axis=0), corners.max(axis=0)
    room = 16 * 2**_MOST_HALVINGS + 0.4 * float((high - low).max())
    return own, _aligned((*(low - room), *(high + room)), size)


def _aligned(box: tuple[float, ...], shape: tuple[int, ...]) -> _Box:
    step = 2**_MOST_HALVINGS
    left, top = (max(0, math.floor(value / step) * step) for value in box[:2])
    right, bottom = (
        min(most, math.ceil(value / step) * step) for value, most in zip(box[2:], shape[1::-1], strict=True)
    )
    return left, top, max(left, right), max(top, bottom)


def _size(box: _Box) -> int:
    return (box[2] - box[0]) * (box[3] - box[1])


def _at_level(
    colour: Pixels, alpha: Pixels, hero: Pixels, start: Similarity,
    hidden: BaseGeometry | None, plate_box: _Box, hero_box: _Box, level: int,
) -> ContentFit:  # fmt: skip
    step = 2**level
    under = _smaller(hero, hero_box, step)
    return register_content(
        _smaller(colour, plate_box, step),
        _smaller(alpha, plate_box, step),
        under,
        start,
        visible=None if hidden is None else _visible(hidden, hero_box, step, under.shape[:2]),
        plate_grid=Similarity(float(step), 0.0, (float(plate_box[0]), float(plate_box[1]))),
        hero_grid=Similarity(float(step), 0.0, (float(hero_box[0]), float(hero_box[1]))),
    )


def _smaller(picture: Pixels, box: _Box, step: int) -> Floats:
    """Means of step by step px within a box, 0 to 1; rows and columns that do not fill a step are left out."""
    cut = picture[box[1] : box[3], box[0] : box[2]]
    height, width = cut.shape[0] // step, cut.shape[1] // step
    parts = cut[: height * step, : width * step].reshape(height, step, width, step, *cut.shape[2:])
    return np.asarray(parts.mean(axis=(1, 3), dtype=np.float64) / full_scale(picture))


def _visible(hidden: BaseGeometry, box: _Box, step: int, shape: tuple[int, ...]) -> Bools:
    wide = hidden.buffer(_NEARER_PX + step)
    shapely.prepare(wide)
    x, y = np.meshgrid(box[0] + step * (np.arange(shape[1]) + 0.5), box[1] + step * (np.arange(shape[0]) + 0.5))
    return np.asarray(~shapely.contains_xy(wide, x, y))
