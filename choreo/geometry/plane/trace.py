"""The edge of a matte: from alpha to polygons, with positions finer than a pixel.

Marching squares (Lorensen and Cline 1987, in the plane): the centres of four neighbouring pixels span a cell, alpha
runs linearly along its sides, and where it passes the threshold there the edge crosses. Where two opposite corners
of a cell are inside and two are not, the mean of the four decides what hangs together. Beyond the picture alpha is 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.geometry.plane.nesting import nested
from choreo.geometry.plane.simplify import simplify
from choreo.model.plan import Floats

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

SPECK_PX2 = 16.0
"""Islands and holes smaller than this, px^2, are dust and grain: no part that is worth a plate is 4 px across."""

MOST_CROSSINGS = 4_000_000
MOST_RINGS = 5000
"""Outlines and holes left when dust is gone. No photographed part comes near either bound; noise passes both."""

_ROUNDING = 1e-9
"""0.2 * 255 must be 51, whatever the last bit of the product."""

_TOP, _RIGHT, _BOTTOM, _LEFT = range(4)
_NONE = -1
# Sides by corners inside, 1 top left, 2 top right, 4 bottom left, 8 bottom right: the edge enters by one side and
# leaves by the other, with the inside on its left hand as one looks at the picture.
_ENTERS = np.array([_NONE, _LEFT, _TOP, _LEFT, _BOTTOM, _BOTTOM, _TOP, _BOTTOM,
                    _RIGHT, _LEFT, _TOP, _LEFT, _RIGHT, _RIGHT, _TOP, _NONE])  # fmt: skip
_LEAVES = np.array([_NONE, _TOP, _RIGHT, _RIGHT, _LEFT, _TOP, _RIGHT, _RIGHT,
                    _BOTTOM, _TOP, _BOTTOM, _BOTTOM, _LEFT, _TOP, _LEFT, _NONE])  # fmt: skip
_SADDLES = {
    # case: (enters, leaves) of both pieces where the middle is outside, then where it is inside
    6: (((_TOP, _RIGHT), (_BOTTOM, _LEFT)), ((_TOP, _LEFT), (_BOTTOM, _RIGHT))),
    9: (((_LEFT, _TOP), (_RIGHT, _BOTTOM)), ((_RIGHT, _TOP), (_LEFT, _BOTTOM))),
}


@dataclass(frozen=True, eq=False)
class Traced:
    """What a matte shows; coordinates are px, y down, from the picture's top-left corner, pixel centres at .5."""

    polygons: tuple[BaseGeometry, ...]
    """Valid, clear of each other, with holes; from top to bottom by where the tracing met them."""
    dropped_specks: int = 0
    """Islands smaller than `SPECK_PX2`."""
    dropped_pinholes: int = 0
    """Holes smaller than `SPECK_PX2`."""
    touches_border: bool = False
    """Whether the picture's own border cuts what it shows."""

    @property
    def area(self) -> float:
        """px^2."""
        return float(sum(polygon.area for polygon in self.polygons))


def trace_alpha(
    alpha: NDArray[Any], threshold: float = 0.5, simplify_px: float = 0.5, *, speck_px2: float = SPECK_PX2
) -> Traced:
    """Return the polygons at whose edges alpha passes the threshold.

    Parameters
    ----------
    alpha : (height, width) array
        Whole numbers without sign count up to the largest of their type; floats from 0 to 1, those outside are
        clipped. Finite.
    threshold : float
        Above 0 and below 1. A pixel of just this alpha is inside.
    simplify_px : float
        How far the result may lie from the traced edge, px, and the traced edge from the result. 0 keeps every
        crossing.
    speck_px2 : float
        Islands and holes below this area are left out and counted, px^2.

    Raises
    ------
    ChoreoError
        If the edge is longer, or falls into more rings, than any part has: the matte is noise.

    Returns
    -------
    Traced
        Before simplifying, crossings are exact for alpha that is linear between pixel centres. See `simplify` for
        what is kept after it.

    """
    least, level = _level(alpha, threshold)
    crossings, following = _crossings(alpha, least, level)
    rings = [crossings[ring] for ring in _rings(following)]
    areas = np.array([_signed_area(ring) for ring in rings])
    dust = np.abs(areas) < speck_px2
    outer = [ring for ring, area, small in zip(rings, areas, dust, strict=True) if area > 0 and not small]
    inner = [ring for ring, area, small in zip(rings, areas, dust, strict=True) if area < 0 and not small]
    if len(outer) + len(inner) > MOST_RINGS:
        raise _noise(f"falls into {len(outer) + len(inner)} pieces and holes")
    polygons = simplify(nested(outer, inner), simplify_px)
    sides = (alpha[0], alpha[-1], alpha[:, 0], alpha[:, -1]) if alpha.size else ()
    return Traced(
        polygons=tuple(polygons),
        dropped_specks=int(np.count_nonzero(dust & (areas > 0))),
        dropped_pinholes=int(np.count_nonzero(dust & (areas <= 0))),
        touches_border=any(bool((side >= least).any()) for side in sides),
    )


def full_scale(alpha: NDArray[Any]) -> float:
    """Return the value that stands for opaque: the largest of a whole-number type, 1 of a float type."""
    return 1.0 if alpha.dtype.kind == "f" else float(np.iinfo(alpha.dtype).max)


def _noise(reason: str) -> ChoreoError:
    what = f"The edge of this matte {reason}, more than that of any part."
    remedy = "Denoise or key it again; a threshold farther from the noise may do."
    return wrong_input(Finding("too-ragged", what, remedy=remedy))


def _level(alpha: NDArray[Any], threshold: float) -> tuple[Any, float]:
    """Return the least value of a pixel inside, in the type of alpha, and the level of the edge just below it.

    No pixel lies on the level: then no crossing lies on a pixel centre, and no ring touches itself or another.
    """
    kind, level = alpha.dtype.type, threshold * full_scale(alpha)
    if alpha.dtype.kind != "f":
        least = np.ceil(level - _ROUNDING * full_scale(alpha))
        return kind(least), min(level, float(least) - 2.0**-10)
    near = kind(level)
    return near, (float(near) + float(np.nextafter(near, kind(0)))) / 2


def _crossings(alpha: NDArray[Any], least: Any, level: float) -> tuple[Floats, Ints]:
    """Return all points where the edge crosses a side of a cell, (k, 2) px, and which of them follows each."""
    inside = np.zeros((alpha.shape[0] + 2, alpha.shape[1] + 2), dtype=bool)
    np.greater_equal(alpha, least, out=inside[1:-1, 1:-1])
    width = inside.shape[1]
    top, bottom = inside[:-1], inside[1:]
    mixed = (top != bottom)[:, :-1]
    mixed |= (top != bottom)[:, 1:]
    mixed |= top[:, :-1] != top[:, 1:]
    row, column = np.nonzero(mixed)
    if len(row) > MOST_CROSSINGS:
        raise _noise(f"winds through {len(row)} pixels")
    case = sum(
        inside[row + down, column + right].astype(np.int64) << (2 * down + right) for down in (0, 1) for right in (0, 1)
    )
    cell, enters, leaves = _pieces(alpha, level, row, column, np.asarray(case))
    sides_in, sides_out = (_side(row[cell], column[cell], side, width) for side in (enters, leaves))
    # Every crossed side is entered from one cell and left into the other: what follows is a permutation.
    order = np.argsort(sides_in)
    following = np.searchsorted(sides_in[order], sides_out[order])
    return _points(alpha, level, sides_in[order], width), following


def _pieces(
    alpha: NDArray[Any], level: float, row: Ints, column: Ints, case: Ints
) -> tuple[Ints, NDArray[np.int64], NDArray[np.int64]]:
    """Return for each piece of edge its cell, the side where it enters, and the side where it leaves."""
    enters, leaves = _ENTERS[case], _LEAVES[case]
    cells, more_in, more_out = [np.arange(len(case))], [], []
    for number, (apart, joined) in _SADDLES.items():
        where = np.flatnonzero(case == number)
        if not len(where):
            continue
        total = sum(_values(alpha, row[where] + down, column[where] + right) for down in (0, 1) for right in (0, 1))
        middle = np.asarray(total) / 4 > level
        choice = np.where(middle[:, None, None], np.array(joined), np.array(apart))
        enters[where], leaves[where] = choice[:, 0].T
        cells.append(where)
        more_in.append(choice[:, 1, 0])
        more_out.append(choice[:, 1, 1])
    return np.concatenate(cells), np.concatenate([enters, *more_in]), np.concatenate([leaves, *more_out])


def _side(row: Ints, column: Ints, side: Ints, width: int) -> Ints:
    """Return the number of a cell's side: even where it runs across, odd where it runs down."""
    corner = (row + (side == _BOTTOM)) * width + column + (side == _RIGHT)
    return np.asarray(2 * corner + ((side == _LEFT) | (side == _RIGHT)))


def _values(alpha: NDArray[Any], row: Ints, column: Ints) -> Floats:
    """Return alpha at places counted with one row and one column of nothing around the picture."""
    height, width = alpha.shape
    held = (row > 0) & (row <= height) & (column > 0) & (column <= width)
    found = alpha[np.clip(row - 1, 0, height - 1), np.clip(column - 1, 0, width - 1)].astype(np.float64)
    if alpha.dtype.kind == "f":
        found = np.clip(found, 0.0, 1.0)
    return np.where(held, found, 0.0)


def _points(alpha: NDArray[Any], level: float, sides: Ints, width: int) -> Floats:
    corner, down = np.divmod(sides, 2)
    row, column = np.divmod(corner, width)
    first, second = _values(alpha, row, column), _values(alpha, row + down, column + 1 - down)
    share = (level - first) / (second - first)
    return np.stack([column + (1 - down) * share, row + down * share], axis=1) - 0.5


def _rings(following: Ints) -> list[list[int]]:
    """Return the rings of a permutation, each from its lowest member."""
    after = following.tolist()
    rings: list[list[int]] = []
    for start in range(len(after)):
        ring, here = [], start
        while after[here] >= 0:
            ring.append(here)
            after[here], here = -1, after[here]
        if ring:
            rings.append(ring)
    return rings


def _signed_area(ring: Floats) -> float:
    """Area, px^2, above 0 where the inside is on the left as one looks at the picture (y down)."""
    x, y = (ring - ring[0]).T
    return float(np.dot(np.roll(x, -1), y) - np.dot(x, np.roll(y, -1))) / 2
