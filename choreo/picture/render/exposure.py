"""What each part adds to a frame while the shutter is open: its whole picture, its light, its coverage.

A frame is the mean of instants, and what a part adds to it is the mean of what it adds to each of them. So the parts'
light still sums to the frame, and their coverages to its alpha, however they have passed before each other meanwhile.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from choreo.picture.render.colour import Picture
from choreo.picture.render.coverage import Window
from choreo.picture.render.shares import Layer
from choreo.picture.render.veil import Veil

HERO = "_hero"
"""What the hero still is called among the parts; no part's id begins with ``_``."""
_STEP = 64
"""px that the room for a moving part grows by."""


@dataclass(frozen=True, eq=False)
class Shown:
    """What a part, or the hero, has to do with a frame. Pictures are linear light, premultiplied."""

    part: str
    window: Window
    """What it reaches of the frame."""
    whole: Picture
    """As if nothing stood before it."""
    bare: Picture
    """What it adds to the frame without the hero; the last channel is its visible coverage there."""
    light: Picture
    """What it adds to the frame; the last channel is its visible coverage."""


def exposed(instants: Iterable[tuple[Sequence[Layer], Veil | None]], count: int, frame: Window) -> list[Shown]:
    """Return what each part adds to the mean of some instants, and the hero last, if it is there.

    Parameters
    ----------
    instants : iterable of (layers, veil)
        Of each instant; the hero's veil over them, None where it does not show.
    count : int
        How many instants there are.
    frame : Window

    """
    parts: dict[str, _Part] = {}
    hero = _Sum(frame)
    for layers, veil in instants:
        for layer in layers:
            if layer.part not in parts:
                parts[layer.part] = _Part(frame)
            parts[layer.part].add(layer, veil)
        if veil is not None:
            hero.add(veil.hero.window, veil.light())
    out = [part.shown(name, count) for name, part in parts.items()]
    if hero.reach is not None:
        still = hero.mean(count)
        out.append(Shown(HERO, hero.reach, still, still, still))
    return out


class _Sum:
    """Pictures added up, in as much room as they need; one alone is kept as it is."""

    def __init__(self, frame: Window) -> None:
        self.reach: Window | None = None
        """What has been added to."""
        self._frame = frame
        self._alone: Picture | None = None
        self._room = Window(0, 0, 0, 0)
        self._total: Picture = np.zeros((0, 0, 4), dtype=np.float32)

    def add(self, window: Window, picture: Picture) -> None:
        if self.reach is None:
            self.reach, self._alone = window, picture
            return
        if self._alone is not None:
            first, self._alone = self._alone, None
            self._add(self.reach, first)
        self._add(window, picture)

    def _add(self, window: Window, picture: Picture) -> None:
        self.reach = window if self.reach is None else _around(self.reach, window)
        if _around(self._room, window) != self._room or not self._room.width:
            room = _coarse(self.reach, self._frame)
            total = np.zeros((room.height, room.width, 4), dtype=np.float32)
            if self._room.width:
                total[self._room.within(room)] = self._total
            self._room, self._total = room, total
        self._total[window.within(self._room)] += picture

    def copy(self) -> _Sum:
        out = _Sum(self._frame)
        out.reach, out._alone, out._room, out._total = self.reach, self._alone, self._room, self._total.copy()
        return out

    def mean(self, count: int) -> Picture:
        assert self.reach is not None
        if self._alone is not None:
            return self._alone if count == 1 else np.asarray(self._alone / np.float32(count))
        return np.asarray(self._total[self.reach.within(self._room)] / np.float32(count))


class _Part:
    """One part's pictures; a sum of its own only for what differs from the one before."""

    def __init__(self, frame: Window) -> None:
        self._whole = _Sum(frame)
        self._bare: _Sum | None = None
        self._light: _Sum | None = None

    def add(self, layer: Layer, veil: Veil | None) -> None:
        window, whole = layer.tile.window, layer.tile.picture
        bare = whole if layer.whole else layer.light(window)
        light = bare if veil is None else veil.left(layer, bare)
        if light is not bare and self._light is None:
            self._light = (self._bare or self._whole).copy()
        if bare is not whole and self._bare is None:
            self._bare = self._whole.copy()
        for total, picture in ((self._whole, whole), (self._bare, bare), (self._light, light)):
            if total is not None:
                total.add(window, picture)

    def shown(self, name: str, count: int) -> Shown:
        window = self._whole.reach
        assert window is not None
        whole = self._whole.mean(count)
        bare = whole if self._bare is None else self._bare.mean(count)
        light = bare if self._light is None else self._light.mean(count)
        return Shown(name, window, whole, bare, light)


def _around(one: Window, two: Window) -> Window:
    if not one.width:
        return two
    x, y = min(one.x, two.x), min(one.y, two.y)
    right = max(one.x + one.width, two.x + two.width)
    bottom = max(one.y + one.height, two.y + two.height)
    return Window(x, y, right - x, bottom - y)


def _coarse(window: Window, frame: Window) -> Window:
    """The window with room to spare."""
    left, top = window.x // _STEP * _STEP, window.y // _STEP * _STEP
    right, bottom = -(-(window.x + window.width) // _STEP) * _STEP, -(-(window.y + window.height) // _STEP) * _STEP
    out = Window(left, top, right - left, bottom - top).common(frame)
    assert out is not None
    return out
