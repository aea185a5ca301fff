"""Bands of a solid painted one over the other: the loops of `solids`, compiled.

All arrays are (height, width) in double precision: light that comes back, weighted by how much of the pixel is filled,
and how much is. What is nearer takes its share of a pixel, the rest keeps what room is left. Row sums are those of
`scan`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats
from choreo.picture.render.compiled import compiled

Singles = NDArray[np.float32]

_LEAST = 1e-6
"""A pixel that is filled by less has no tone."""


@compiled
def walls_over(near: Floats, lit: Floats, light: Floats, filled: Floats) -> None:
    """Paint walls, told by the row sums of their areas and of these times their tones."""
    height, width = light.shape
    for row in range(height):
        area, tone = 0.0, 0.0
        for column in range(width):
            area += near[row, column]
            tone += lit[row, column]
            before, cover = filled[row, column], min(area, 1.0)
            left = min(before, 1 - cover)
            light[row, column] = tone + light[row, column] * (left / (before if before > 0 else 1.0))
            filled[row, column] = cover + left


@compiled
def cut_to(strip: Floats, light: Floats, filled: Floats) -> None:
    """Cut what is painted to a shape, told by its coverage, and let it fill that."""
    height, width = light.shape
    for row in range(height):
        for column in range(width):
            before, cover = filled[row, column], strip[row, column]
            light[row, column] = cover * (light[row, column] / (before if before > 0 else 1.0))
            filled[row, column] = cover


@compiled
def face_over(face: Floats, bright: float, line: float, light: Floats, filled: Floats) -> None:
    """Paint a face, told by its coverage, with a soft line along the inside of its edge.

    The less of the 3 x 3 pixels around is face, the darker: `line` is what it takes from the light at most.
    """
    height, width = light.shape
    columns = np.zeros(width + 2)
    for row in range(height):
        for column in range(width):
            total = face[row, column]
            if row > 0:
                total += face[row - 1, column]
            if row + 1 < height:
                total += face[row + 1, column]
            columns[column + 1] = total
        for column in range(width):
            cover = face[row, column]
            before = filled[row, column]
            around = (columns[column] + columns[column + 1] + columns[column + 2]) / 9
            tone = cover * bright * (1 - line * (1 - around) * 1.5)
            left = min(before, 1 - cover)
            light[row, column] = tone + light[row, column] * (left / (before if before > 0 else 1.0))
            filled[row, column] = cover + left


@compiled
def band_over(light: Floats, filled: Floats, total: Floats, whole: Floats, top: int, left: int) -> None:
    """Paint a band, whose corner is at (top, left), over what has been painted so far."""
    height, width = light.shape
    for row in range(height):
        for column in range(width):
            y, x = top + row, left + column
            before, cover = whole[y, x], filled[row, column]
            rest = min(before, 1 - cover)
            total[y, x] = light[row, column] + total[y, x] * (rest / (before if before > 0 else 1.0))
            whole[y, x] = cover + rest


@compiled
def toned(light: Floats, filled: Floats) -> None:
    """Turn light into the tone of what fills a pixel: one on the outline is filled in part."""
    height, width = light.shape
    for row in range(height):
        for column in range(width):
            if filled[row, column] > _LEAST:
                light[row, column] /= filled[row, column]


@compiled
def tinted(sums: Floats, light: Singles, colour: Floats) -> Singles:
    """Return a picture (height, width, 4) of one colour times the light at each pixel; row sums tell its alpha."""
    height, width = light.shape
    out = np.empty((height, width, 4), dtype=np.float32)
    red, green, blue = np.float32(colour[0]), np.float32(colour[1]), np.float32(colour[2])
    for row in range(height):
        total = 0.0
        for column in range(width):
            total += sums[row, column]
            alpha = np.float32(min(max(total, 0.0), 1.0))
            lit = alpha * light[row, column]
            out[row, column, 0] = lit * red
            out[row, column, 1] = lit * green
            out[row, column, 2] = lit * blue
            out[row, column, 3] = alpha
    return out
