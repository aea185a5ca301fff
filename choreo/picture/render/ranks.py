"""ID mattes: for each pixel the parts that show in it, the one that shows most first.

Cryptomatte Specification 1.1.0, section "Ranking Pixel Filter": the coverages are those of the pictures they go with,
filter and motion blur included, and are ranked. A pixel that shows nothing has the number 0 and no coverage.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from choreo.picture.render.colour import Singles
from choreo.picture.render.coverage import Window
from choreo.picture.render.exposure import Shown
from choreo.picture.render.stack import NONE


@dataclass(frozen=True, eq=False)
class Ranks:
    """Numbers and coverages (ranks, height, width) within a window, the highest coverage first."""

    window: Window
    """The smallest that holds all; a pixel where nothing shows at all."""
    numbers: Singles
    coverages: Singles
    most: int
    """How many parts show in one pixel, at most."""
    left_out: float
    """The largest coverage that all parts for which there is no rank have together in one pixel."""


def ranked(shown: Iterable[Shown], numbers: Mapping[str, np.float32], count: int, frame: Window) -> Ranks:
    """Return the parts of each pixel by their coverage; of equal ones the first comes first.

    Parameters
    ----------
    shown : iterable of Shown
        Of one frame.
    numbers : mapping of part id to float32
        What stands for each part.
    count : int
        How many parts are kept in a pixel; the ones that show least are left out.
    frame : Window

    """
    pixels = frame.height * frame.width
    number, cover = np.zeros((2, count, pixels), dtype=np.float32)
    parts, left = np.zeros(pixels, dtype=np.uint16), np.zeros(pixels, dtype=np.float32)
    for one in shown:
        alpha = one.light[..., 3]
        rows, columns = np.nonzero(alpha > NONE)
        place = (rows + one.window.y) * frame.width + columns + one.window.x
        coming = np.full(place.size, numbers[one.part], dtype=np.float32)
        share = alpha[rows, columns]
        parts[place] += 1
        for rank in range(count):
            # Who covers more stays; who covers less goes on to the next rank, where somebody stood here.
            old, its = cover[rank, place], number[rank, place]
            more = share > old
            cover[rank, place], number[rank, place] = np.where(more, share, old), np.where(more, coming, its)
            share, coming = np.where(more, old, share), np.where(more, its, coming)
            going = share > 0
            place, share, coming = place[going], share[going], coming[going]
            if not place.size:
                break
        left[place] += share
    window = _holding(cover[0].reshape(frame.height, frame.width))
    shape = (count, frame.height, frame.width)
    rows_, columns_ = window.slices
    return Ranks(
        window,
        number.reshape(shape)[:, rows_, columns_],
        cover.reshape(shape)[:, rows_, columns_],
        int(parts.max(initial=0)),
        float(left.max(initial=0.0)),
    )


def _holding(cover: Singles) -> Window:
    rows, columns = np.flatnonzero(cover.any(axis=1)), np.flatnonzero(cover.any(axis=0))
    if not rows.size:
        return Window(0, 0, 1, 1)
    top, left = int(rows[0]), int(columns[0])
    return Window(left, top, int(columns[-1]) + 1 - left, int(rows[-1]) + 1 - top)
