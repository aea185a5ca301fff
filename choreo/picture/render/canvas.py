"""What a renderer draws on, kept from frame to frame: only what was drawn on is wiped, and only that is encoded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from choreo.picture.render.colour import Picture, Singles
from choreo.picture.render.coverage import Window

_BLOCK = 64
"""px; what was drawn on is noted in blocks of this size."""


class Canvas:
    """A picture of a fixed size in linear light, premultiplied, that light is added to."""

    def __init__(self, window: Window) -> None:
        self.picture: Picture = np.zeros((window.height, window.width, 4), dtype=np.float32)
        self.key: bytes | None = None
        """What stands on it, in the words of whoever draws."""
        self._blank: Singles = np.zeros((window.height, window.width), dtype=np.float32)
        self._marked = np.zeros((-(-window.height // _BLOCK), -(-window.width // _BLOCK)), dtype=np.bool_)

    def add(self, window: Window, light: Picture) -> None:
        """Add light to a part of it."""
        self.picture[window.slices] += light
        self._marked[
            window.y // _BLOCK : -(-(window.y + window.height) // _BLOCK),
            window.x // _BLOCK : -(-(window.x + window.width) // _BLOCK),
        ] = True

    def clear(self) -> None:
        """Wipe it."""
        for window in self.blocks():
            self.picture[window.slices] = 0
        self._marked[:] = False
        self.key = None

    def blocks(self) -> Iterator[Window]:
        """Return windows without overlap that hold all that was drawn."""
        height, width = self.picture.shape[:2]
        for row, marks in enumerate(self._marked):
            turns = np.flatnonzero(np.diff(marks.astype(np.int8), prepend=0, append=0))
            for start, stop in turns.reshape(-1, 2).tolist():
                top, left = row * _BLOCK, start * _BLOCK
                yield Window(left, top, min(stop * _BLOCK, width) - left, min(top + _BLOCK, height) - top)

    def blank(self) -> Singles:
        """Return zeros (height, width) to work on; give them back with `used`."""
        return self._blank

    def used(self, blank: Singles, windows: Iterable[Window]) -> None:
        """Take back what `blank` gave out, wiped where it was worked on."""
        for window in windows:
            blank[window.slices] = 0
