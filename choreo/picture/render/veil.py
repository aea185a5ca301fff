"""A hero still that has come in by a share, over a stack that stays whole beneath it.

Over the whole it comes by plain *over*, and where it has taken over single parts already it lies atop of these first
(`taken`). Of alpha over needs no more than is there, and atop changes none: so a still that comes in never thins the
picture, where a cross-fade of both would dip to 3/4 in the middle (1 - 1/2 * 1/2). Proof, for a pixel in which parts
have shares c that sum to a <= 1, still of alpha h: atop turns each c into c (1 - u h) + c u h = c; over then makes
a (1 - g h) + g h = a + g h (1 - a) >= a of their sum.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from choreo.picture.render.canvas import Item
from choreo.picture.render.colour import Picture
from choreo.picture.render.coverage import Window
from choreo.picture.render.shares import Layer
from choreo.picture.render.taken import Taking
from choreo.picture.render.tile import Tile


@dataclass(frozen=True, eq=False)
class Veil:
    """A hero that has come in by a share: its own light, and what it leaves of the stack's."""

    hero: Tile
    share: np.float32
    """Over the whole."""
    taken: Mapping[str, Taking] = field(default_factory=dict)
    """Parts that it has taken over by more than that."""

    def items(self, layers: Sequence[Layer]) -> list[Item]:
        """Return what is to be drawn of layers and hero, front to back; the hero over the whole is the last."""
        out = []
        for layer in layers:
            taking = self.taken.get(layer.part)
            one = layer if taking is None else taking
            if self.share > 0:
                out.append(Item(layer.tile.window, (one, self), self._dimming(one)))
            else:
                out.append(Item(layer.tile.window, (one,), one.light, one.add_to))
        return out if self.share <= 0 else [*out, Item(self.hero.window, (self,), self._whole)]

    def layers(self, layers: Sequence[Layer]) -> list[Layer] | None:
        """Return the same, taken apart into layers of parts and still; None where the hero lies over the whole."""
        if self.share > 0:
            return None
        known = [self.taken.get(layer.part) for layer in layers]
        return [
            one
            for layer, taking in zip(layers, known, strict=True)
            for one in ((layer,) if taking is None else (taking.left, taking.upon))
        ]

    def light(self) -> Picture:
        """Return all that the hero adds, within its window."""
        out = self._whole(self.hero.window)
        for taking in self.taken.values():
            window = taking.upon.tile.window
            out[window.within(self.hero.window)] += self.dimmed(taking.upon.light(window), window)
        return out

    def left(self, layer: Layer, light: Picture) -> Picture:
        """Return what is left of a layer's light, all of it; the same array where the hero takes none."""
        window = layer.tile.window
        taking = self.taken.get(layer.part)
        return self.dimmed(light if taking is None else taking.left.light(window), window)

    def dimmed(self, light: Picture, window: Window) -> Picture:
        """Return what a hero over the whole leaves of light within a window; the same array where it takes none."""
        common = window.common(self.hero.window)
        if common is None or self.share <= 0:
            return light
        out = light.copy()
        alpha = self.hero.picture[common.within(self.hero.window)][..., 3:]
        out[common.within(window)] *= 1 - self.share * alpha
        return out

    def _whole(self, window: Window) -> Picture:
        return np.asarray(self.hero.picture[window.within(self.hero.window)] * self.share)

    def _dimming(self, one: Layer | Taking) -> Callable[[Window], Picture]:
        def light(window: Window) -> Picture:
            return self.dimmed(one.light(window), window)

        return light
