"""Pictures that flash: the general and the red flash threshold of WCAG 2.2, success criterion 2.3.1.

A general flash is a pair of opposing changes of relative luminance of a tenth or more of the largest, where the darker
state is below 0.80. A red flash is a pair of opposing changes to and from a saturated red (see `red_flashes`). More
than three of either within any second, at one time over more than a quarter of any block of 341 x 256 px of a screen of
1024 px across (about 10 degrees of the visual field), is too much. This finds what is plainly too much; it is no test
that a broadcaster would accept.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats
from choreo.picture.red_flashes import RedTurns
from choreo.picture.render.colour import to_linear

_CHANGE, _BRIGHT = 0.10, 0.80
_MOST_FLASHES = 3
_AREA = 0.25
_BLOCK = (341 / 1024, 256 / 1024)
"""Width and height of the block, of the picture's width."""
_COLUMNS = 96
"""Of the grid on which luminance is looked at: a cell is about a third of a degree, so fine patterns cancel out."""
_FINE = 4
_ROUNDING = 1e-9
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Of linear light, WCAG's definition of relative luminance."""


@dataclass(frozen=True)
class Flashing:
    """The first second that flashes too much: frames, both included, counted from the first picture."""

    first: int
    last: int


@dataclass
class FlashMeter:
    """Looks at pictures one after another."""

    rate: float
    """Pictures a second."""
    _general: GeneralTurns = field(init=False)
    _red: RedTurns = field(init=False)
    _counts: dict[str, _Count] = field(init=False)

    def __post_init__(self) -> None:
        second = math.ceil(self.rate)
        self._general, self._red = GeneralTurns(), RedTurns(second)
        self._counts = {"general": _Count(second), "red": _Count(second)}

    @property
    def found(self) -> Flashing | None:
        """Of general flashes."""
        return self._counts["general"].found

    @property
    def found_red(self) -> Flashing | None:
        """Of red flashes."""
        return self._counts["red"].found

    def look(self, codes: NDArray[np.uint8]) -> None:
        """Take the next picture, (height, width, 3) sRGB codes."""
        self.measure(cells_of(codes))

    def measure(self, light: Floats) -> None:
        """Take the linear light (rows, columns, 3) of the next picture's cells."""
        self._counts["general"].add(self._general.turned(light @ LUMINANCE))
        self._counts["red"].add(self._red.turned(light))


class _Count:
    """Flashes within a second, and how much of a block has too many of them."""

    def __init__(self, second: int) -> None:
        self.found: Flashing | None = None
        self._number = 0
        self._turns: deque[NDArray[np.bool_]] = deque(maxlen=second)

    def add(self, turned: NDArray[np.bool_]) -> None:
        """Take which cells have just turned."""
        self._turns.append(turned)
        if self.found is None and turned.any():
            flashes = np.sum(self._turns, axis=0) // 2
            if _largest_share(flashes > _MOST_FLASHES) > _AREA + _ROUNDING:
                self.found = Flashing(max(0, self._number - len(self._turns) + 1), self._number)
        self._number += 1


class GeneralTurns:
    """Which cells turn, by their relative luminance."""

    def __init__(self) -> None:
        self._low: Floats | None = None
        self._high: Floats | None = None
        self._rising: NDArray[np.int8] | None = None

    def turned(self, now: Floats) -> NDArray[np.bool_]:
        """Return which cells have just changed enough against their last peak or valley, the other way than before."""
        if self._low is None or self._high is None or self._rising is None:
            self._low, self._high = now.copy(), now.copy()
            self._rising = np.zeros(now.shape, dtype=np.int8)
            return np.zeros(now.shape, dtype=np.bool_)
        self._low, self._high = np.minimum(self._low, now), np.maximum(self._high, now)
        enough = _CHANGE - _ROUNDING
        up = (now - self._low >= enough) & (self._low < _BRIGHT) & (self._rising <= 0)
        down = (self._high - now >= enough) & (now < _BRIGHT) & (self._rising >= 0)
        down &= ~up
        turned = up | down
        self._rising = np.where(up, 1, np.where(down, -1, self._rising)).astype(np.int8)
        # A new stretch begins: what counts from here on is the peak, or the valley, of this stretch alone.
        self._low = np.where(turned, now, self._low)
        self._high = np.where(turned, now, self._high)
        return np.asarray(turned)


def cells_of(codes: NDArray[np.uint8]) -> Floats:
    """Return the linear light (rows, columns, 3) of a picture's cells."""
    import cv2  # noqa: PLC0415

    height, width = codes.shape[:2]
    columns = min(_COLUMNS, max(1, width // _FINE))
    rows = max(1, round(height * columns / width))
    small = cv2.resize(codes, (columns * _FINE, rows * _FINE), interpolation=cv2.INTER_AREA)
    light = to_linear(np.arange(256) / 255)[small]
    return np.asarray(light.reshape(rows, _FINE, columns, _FINE, 3).mean(axis=(1, 3)))


def _largest_share(flashing: NDArray[np.bool_]) -> float:
    """The largest share of a block, anywhere in the picture, that flashes."""
    rows, columns = flashing.shape
    wide = max(1, min(columns, round(_BLOCK[0] * columns)))
    high = max(1, min(rows, round(_BLOCK[1] * columns)))
    sums: NDArray[np.int64] = np.pad(np.cumsum(np.cumsum(flashing, axis=0), axis=1), ((1, 0), (1, 0)))
    blocks = sums[high:, wide:] - sums[:-high, wide:] - sums[high:, :-wide] + sums[:-high, :-wide]
    return float(blocks.max() / (wide * high))
