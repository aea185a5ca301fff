"""The outline of a plate's matte: traced where alpha passes a half, or, of glass, half of what it reaches.

Dust is told by size, and crumbs by being far smaller than the part: one of them a hand's breadth away would be taken
for the part's own width.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.errors import Finding, wrong_input
from choreo.geometry.plane.trace import SPECK_PX2, Traced, full_scale, trace_alpha
from choreo.read.drawn import MOST_CORNERS, MOST_HOLES, MOST_PIECES

_HALF = 0.5
_FAINT = 0.1
"""Of full alpha; what is fainter is haze that a key has left."""
_DENSE_SHARE = 0.05
"""A matte of which less than this reaches a half is one of glass with glints: of the blurred picture of a point, the
softest edge there is, ln 2 / ln 10 = 0.3 does (a Gaussian's areas above a half and above a tenth)."""
_CRUMB = 1e-3
"""Of the largest piece's area: 3 % of its width."""
_BLOCK_PX = 16
"""What is faint over squares of this size is no soft edge."""
_FAINT_SHARE = 0.02
"""Of what a matte shows: more that is faint is worth a word."""
_COARSER = (1.0, 2.0, 4.0, 8.0)


@dataclass(frozen=True, eq=False)
class MatteOutline:
    """What a matte shows."""

    polygons: tuple[BaseGeometry, ...]
    """px, y down; empty where it shows nothing."""
    simplify_px: float
    """How far they may lie from the edge."""
    level: float
    """The share of full alpha at which the edge was drawn."""
    specks: int
    crumb_px2: float
    """Area of the largest speck left out, px^2, if it was larger than dust."""
    pinholes: int
    faint: float
    """Share of what the matte shows that is fainter than the level, over more than a soft edge."""


def matte_level(alpha: NDArray[Any]) -> float:
    """Return the share of full alpha at which a matte's edge is drawn.

    Parameters
    ----------
    alpha : (height, width) array
        As `trace_alpha` takes it.

    Returns
    -------
    float
        A half; of glass, nearly all of which is fainter than that, half of what nine tenths of it stay below.

    """
    full = full_scale(alpha)
    dense = int(np.count_nonzero(alpha >= _HALF * full))
    # Cheap for all but glass: a matte of which so much is dense needs no second look.
    if dense >= _DENSE_SHARE * alpha.size:
        return _HALF
    shown = alpha >= _FAINT * full
    count = int(np.count_nonzero(shown))
    if count < SPECK_PX2 or dense >= _DENSE_SHARE * count:
        return _HALF
    return min(_HALF, _HALF * float(np.percentile(alpha[shown].astype(np.float64), 90)) / full)


def trace_matte(alpha: NDArray[Any], simplify_px: float) -> MatteOutline:
    """Return the outline of a plate.

    Raises
    ------
    ChoreoError
        Exit 2, ``too-ragged``: more pieces, holes or corners than a part may have.

    """
    level = matte_level(alpha)
    for tolerance in (simplify_px, *(one for one in _COARSER if one > simplify_px)):
        traced = trace_alpha(alpha, level, tolerance)
        pieces = _without_crumbs(traced)
        if len(pieces) > MOST_PIECES or _holes(pieces) > MOST_HOLES or _corners(pieces) <= MOST_CORNERS:
            break
    if len(pieces) > MOST_PIECES or _holes(pieces) > MOST_HOLES or _corners(pieces) > MOST_CORNERS:
        raise wrong_input(_ragged(pieces))
    crumbs = sorted(float(one.area) for one in traced.polygons)[: len(traced.polygons) - len(pieces)]
    return MatteOutline(
        pieces, tolerance, level, traced.dropped_specks + len(crumbs), max(crumbs, default=0.0),
        traced.dropped_pinholes, _faint(alpha, level, pieces),
    )  # fmt: skip


def matte_notes(found: MatteOutline, name: str, part: str) -> list[Finding]:
    """Return what is worth a word about a plate's outline; `name` is safe to print."""
    notes = []
    if found.specks or found.pinholes:
        large = f" (the largest {found.crumb_px2:.0f} px\u00b2)" if found.crumb_px2 else ""
        what = f"{name}: left out of the outline: {found.specks} specks{large} and {found.pinholes} pinholes."
        notes.append(_warning("matte-dust", what, "Nothing, unless one of them matters; the picture keeps them."))
    if found.level < _HALF:
        what = f"{name}: next to nothing of this matte is half opaque; its outline is drawn at {found.level:.0%}."
        notes.append(_warning("matte-faint", what, "Nothing, if it is glass; else mend the key."))
    elif found.faint > _FAINT_SHARE:
        what = f"{name}: {found.faint:.0%} of what this matte shows is fainter than a half, and not in the outline."
        remedy = (
            f'Nothing, if it is shadow or blur. If it is glass, give "{part}" this outline in assembly.json: '
            f'{{"matte": "{name}", "threshold": {_FAINT:g}, ...}}, with px_per_mm and pivot_px of its plate.'
        )
        notes.append(_warning("matte-faint", what, remedy))
    if len(found.polygons) and found.simplify_px > _HALF:
        what = f"{name}: its edge is so ragged that its outline lies up to {found.simplify_px:g} px from it."
        notes.append(_warning("outline-coarse", what, "Nothing for a plan; smooth the key for exact masks."))
    return notes


def _without_crumbs(traced: Traced) -> tuple[BaseGeometry, ...]:
    largest = max((float(one.area) for one in traced.polygons), default=0.0)
    return tuple(one for one in traced.polygons if float(one.area) >= _CRUMB * largest)


def _holes(pieces: tuple[BaseGeometry, ...]) -> int:
    return max((len(one.interiors) for one in pieces), default=0)


def _corners(pieces: tuple[BaseGeometry, ...]) -> int:
    rings = [ring for one in pieces for ring in shapely.get_rings(one)]
    return max((int(shapely.get_num_coordinates(ring)) - 1 for ring in rings), default=0)


def _faint(alpha: NDArray[Any], level: float, pieces: tuple[BaseGeometry, ...]) -> float:
    full = full_scale(alpha)
    height, width = (side - side % _BLOCK_PX for side in alpha.shape)
    faint = (alpha[:height, :width] >= _FAINT * full) & (alpha[:height, :width] < level * full)
    blocks = faint.reshape(height // _BLOCK_PX, _BLOCK_PX, width // _BLOCK_PX, _BLOCK_PX).all(axis=(1, 3))
    area = float(np.count_nonzero(blocks)) * _BLOCK_PX**2
    return area / max(area + float(sum(one.area for one in pieces)), 1.0)


def _ragged(pieces: tuple[BaseGeometry, ...]) -> Finding:
    return Finding(
        "too-ragged",
        f"The outline of this matte falls into {len(pieces)} pieces with up to {_holes(pieces)} holes and "
        f"{_corners(pieces)} corners.",
        why=f"At most {MOST_PIECES} pieces, {MOST_HOLES} holes and {MOST_CORNERS} corners are read.",
        remedy="Denoise the picture, or key it again.",
    )


def _warning(code: str, what: str, remedy: str) -> Finding:
    return Finding(code, what, remedy=remedy, severity="warning")
