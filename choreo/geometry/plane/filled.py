"""What of a picture is not empty."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def filled_window(alpha: NDArray[Any], grid: int = 1) -> tuple[slice, slice]:
    """Return the rows and columns outside of which alpha, (height, width), is 0.

    Both ends lie on multiples of `grid`, or at the picture's end. Of a picture that is empty, its first pixel is
    returned, so that something is left to be drawn.
    """
    # The columns are looked for in the rows that hold something only: most plates fill little of their frame.
    rows = _span(np.flatnonzero((alpha > 0).any(axis=1)), grid, alpha.shape[0])
    return rows, _span(np.flatnonzero((alpha[rows] > 0).any(axis=0)), grid, alpha.shape[1])


def _span(filled: NDArray[np.int64], grid: int, size: int) -> slice:
    if not filled.size:
        return slice(0, 1)
    return slice(int(filled[0]) // grid * grid, min(-(-(int(filled[-1]) + 1) // grid) * grid, size))
