"""What a renderer draws on, kept from frame to frame: only what has changed is drawn and encoded anew.

Changes are noted in blocks. Within a block light is always added from front to back, so a block that is drawn anew
is the same to the last bit as on a fresh canvas.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from choreo.picture.render.colour import OnColour, Picture, Singles
from choreo.picture.render.coverage import Window

Encode = Callable[[Picture], NDArray[np.generic]]
Add = Callable[[Picture, Window, Window], None]
Marks = NDArray[np.bool_]

_BLOCK = 64
"""px"""


@dataclass(frozen=True, eq=False)
class Item:
    """Something that adds light."""

    window: Window
    source: tuple[object, ...]
    """What its light is made from: items made from the very same objects are the same."""
    light: Callable[[Window], Picture]
    """Its light within a window inside of its own."""
    add_to: Add | None = None
    """Does the same at once: adds its light to a picture that lies in the first window, within the second one."""


class Canvas:
    """A picture of a fixed size in linear light, premultiplied, that light is added to."""

    def __init__(self, window: Window) -> None:
        self._window = window
        self.picture: Picture = np.zeros((window.height, window.width, 4), dtype=np.float32)
        self.key: bytes | None = None
        """What stands on it, in the words of whoever draws."""
        self.blank: Singles = np.zeros((window.height, window.width), dtype=np.float32)
        """Zeros to work on, which are to be left as zeros."""
        self._items: dict[tuple[int, ...], Item] = {}
        blocks = (-(-window.height // _BLOCK), -(-window.width // _BLOCK))
        self._drawn: Marks = np.zeros(blocks, dtype=np.bool_)
        self._codes: dict[Encode, tuple[NDArray[np.generic], Marks]] = {}

    def show(self, items: Sequence[Item]) -> None:
        """Draw these items and nothing else, keeping what stands there already."""
        new = {tuple(map(id, item.source)): item for item in items}
        old = self._items
        kept = [key for key in new if key in old]
        if kept != [key for key in old if key in new] or not old:
            kept = []
            dirty = self._drawn.copy()
        else:
            dirty = np.zeros_like(self._drawn)
        for key, item in (*old.items(), *new.items()):
            if key not in kept:
                dirty[_blocks(item.window)] = True
        for window in self._windows(dirty):
            self.picture[window.slices] = 0
            for item in new.values():
                common = item.window.common(window)
                if common is None:
                    continue
                if item.add_to is None:
                    self.picture[common.slices] += item.light(common)
                else:
                    item.add_to(self.picture, self._window, common)
        self._note(dirty)
        self._items = new

    def add(self, window: Window, light: Picture) -> None:
        """Add light to a part of it."""
        self.add_by(window, lambda picture: np.add(picture[window.slices], light, out=picture[window.slices]))

    def add_by(self, window: Window, add: Callable[[Picture], object]) -> None:
        """Have light added to its picture, within a window."""
        add(self.picture)
        touched = np.zeros_like(self._drawn)
        touched[_blocks(window)] = True
        self._note(touched)
        self._items = {}

    def clear(self) -> None:
        """Wipe it."""
        for window in self._windows(self._drawn):
            self.picture[window.slices] = 0
        self._note(self._drawn.copy())
        self._drawn[:] = False
        self._items = {}
        self.key = None

    def codes(self, encode: Encode) -> NDArray[np.generic]:
        """Return a copy of the picture as codes, each pixel by itself; encoders that are equal share their work."""
        if encode not in self._codes:
            pixel = encode(np.zeros((1, 1, 4), dtype=np.float32))
            blank = np.broadcast_to(pixel, (*self.picture.shape[:2], pixel.shape[2])).copy()
            self._codes[encode] = blank, self._drawn.copy()
        found, stale = self._codes[encode]
        for window in self._windows(stale):
            if isinstance(encode, OnColour):
                encode.fill(
                    self.picture, cast("NDArray[np.uint8]", found), window.y, window.x, window.height, window.width
                )
            else:
                found[window.slices] = encode(self.picture[window.slices])
        stale[:] = False
        return found.copy()

    def _note(self, touched: Marks) -> None:
        self._drawn |= touched
        for _, stale in self._codes.values():
            np.logical_or(stale, touched, out=stale)

    def _windows(self, marks: Marks) -> Iterator[Window]:
        """Return windows without overlap that make up the marked blocks."""
        height, width = self.picture.shape[:2]
        rows = np.flatnonzero(marks.any(axis=1))
        # Rows of blocks that follow each other and are marked alike go together.
        begins = np.append(True, (np.diff(rows) > 1) | (marks[rows[1:]] != marks[rows[:-1]]).any(axis=1))[: len(rows)]
        for first, last in itertools.pairwise([*np.flatnonzero(begins).tolist(), len(rows)]):
            top, bottom = int(rows[first]) * _BLOCK, min((int(rows[last - 1]) + 1) * _BLOCK, height)
            turns = np.flatnonzero(np.diff(marks[rows[first]].astype(np.int8), prepend=0, append=0))
            for start, stop in turns.reshape(-1, 2).tolist():
                left = start * _BLOCK
                yield Window(left, top, min(stop * _BLOCK, width) - left, bottom - top)


def _blocks(window: Window) -> tuple[slice, slice]:
    rows = slice(window.y // _BLOCK, -(-(window.y + window.height) // _BLOCK))
    return rows, slice(window.x // _BLOCK, -(-(window.x + window.width) // _BLOCK))
