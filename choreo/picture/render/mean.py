"""The mean of some instants, tile by tile: while a part's tile stays the same, only its shares are added up."""

from __future__ import annotations

import numpy as np

from choreo.picture.render.canvas import Canvas
from choreo.picture.render.colour import Singles
from choreo.picture.render.coverage import Window
from choreo.picture.render.shares import Layer
from choreo.picture.render.tile import Tile


class Mean:
    """Adds layers of instants to a canvas, each by its part of the time.

    Parameters
    ----------
    canvas : Canvas
    frame : Window
        The whole picture.
    count : int
        How many instants there are.

    """

    def __init__(self, canvas: Canvas, frame: Window, count: int) -> None:
        self._canvas, self._frame, self._count = canvas, frame, count
        self._open: dict[str, _Total] = {}

    def add(self, layer: Layer) -> None:
        """Take a part's layer of the next instant."""
        known = self._open.get(layer.part)
        if known is not None and known.tile is layer.tile:
            known.add(layer.share)
            return
        if known is not None:
            self._draw(known)
        self._open[layer.part] = _Total(layer.tile, layer.share)

    def finish(self) -> None:
        """Draw what has not been drawn yet."""
        for total in self._open.values():
            self._draw(total)
        self._open.clear()

    def _draw(self, total: _Total) -> None:
        window, tile = total.tile.window, total.tile
        share, weight = total.mean(self._count)
        self._canvas.add_by(window, lambda picture: tile.add_to(picture, self._frame, window, share, weight))


class _Total:
    """Shares of one tile added up; the same one several times is counted."""

    def __init__(self, tile: Tile, share: Singles) -> None:
        self.tile = tile
        self._sum: Singles | None = None
        self._last, self._times = share, 1

    def add(self, share: Singles) -> None:
        if share is self._last:
            self._times += 1
        else:
            self._close()
            self._last, self._times = share, 1

    def mean(self, count: int) -> tuple[Singles, float]:
        """The sum of shares and what it has to be multiplied by."""
        if self._sum is None:
            return self._last, self._times / count
        self._close()
        return self._sum, 1 / count

    def _close(self) -> None:
        part = self._last if self._times == 1 else self._last * np.float32(self._times)
        if self._sum is None:
            self._sum = part.copy() if part is self._last else part
        else:
            self._sum += part
