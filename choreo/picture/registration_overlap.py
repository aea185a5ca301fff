"""The stack laid on the hero still, as pixels: common ground is light, what sticks out black, what is missing striped.

Coverage is the true area of each pixel (`render.coverage`), so the picture does not hang on a rasteriser. Pieces that
are listed as sticking out or missing are drawn at least so wide that they are seen.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.unions import only_areas
from choreo.model.plan import Floats
from choreo.model.registration import Registration
from choreo.picture.render.coverage import Window, coverages

_LONGEST_PX = 2048
_ROOM_PX = 16
_SEEN_PX = 1.0
"""Half the least width of a listed piece."""
_LIGHT, _STRIPE = 0.84, 6
_LEVEL = 6


def overlap_png(found: Registration) -> bytes:
    """Return the bytes of a grey PNG of at most 2048 px a side; the same input gives the same bytes.

    One px is one of the hero still, or a whole number of them where the still is larger.

    Parameters
    ----------
    found : Registration

    """
    import imagecodecs  # noqa: PLC0415

    grey = overlap_picture(found)
    return bytes(imagecodecs.png_encode(np.floor(grey * 255 + 0.5).astype(np.uint8), level=_LEVEL))


def overlap_picture(found: Registration) -> Floats:
    """Return (h, w) grey, 0 to 1: 1 where neither is, 0.84 where both are, 0 where the stack sticks out."""
    stack, hero = found.stack.stack, found.stack.hero
    left, top, right, bottom = (float(c) for c in shapely.total_bounds([stack, hero]))
    if not left <= right:
        return np.ones((2 * _ROOM_PX, 2 * _ROOM_PX))
    step = max(1.0, np.ceil(max(right - left, bottom - top) / (_LONGEST_PX - 2 * _ROOM_PX)))
    corner = np.floor(np.array([left, top]) / step) * step - _ROOM_PX * step
    size = np.ceil((np.array([right, bottom]) - corner) / step).astype(int) + _ROOM_PX

    def drawn(shape: BaseGeometry) -> BaseGeometry:
        return shapely.transform(shape, lambda points: (points - corner) / step)

    over, under = drawn(stack), drawn(hero)
    pieces = [
        *(drawn(piece).buffer(_SEEN_PX, join_style="mitre") for piece in found.stack.surplus),
        *(drawn(piece).buffer(_SEEN_PX, join_style="mitre") for piece in found.stack.gaps),
    ]
    count = len(found.stack.surplus)
    shapes = [
        shapely.intersection(over, under),
        shapely.union_all([shapely.difference(over, under), *pieces[:count]]),
        shapely.union_all([shapely.difference(under, over), *pieces[count:]]),
    ]
    window = Window(0, 0, int(size[0]), int(size[1]))
    both, out, missing = coverages([only_areas(shape) for shape in shapes], window)
    rows, columns = np.indices(both.shape)
    striped = ((rows + columns) // _STRIPE % 2).astype(np.float64)
    grey = 1 - (1 - _LIGHT) * both
    grey = grey * (1 - missing) + striped * missing
    return np.asarray(grey * (1 - out))
