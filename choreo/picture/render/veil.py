"""A hero still that has come in by a share, over a stack that stays whole beneath it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from choreo.picture.render.colour import Picture
from choreo.picture.render.coverage import Window
from choreo.picture.render.shares import Layer
from choreo.picture.render.tile import Tile


@dataclass(frozen=True, eq=False)
class Veil:
    """A hero that has come in by a share: its own light, and what it leaves of the whole stack's (plain over)."""

    hero: Tile
    share: np.float32

    def light(self, window: Window) -> Picture:
        """Return what the hero adds within a window."""
        return np.asarray(self.hero.picture[window.within(self.hero.window)] * self.share)

    def over(self, layer: Layer) -> Callable[[Window], Picture]:
        """Return a layer's light beneath it, window by window."""

        def light(window: Window) -> Picture:
            return self.dimmed(layer.light(window), window)

        return light

    def dimmed(self, light: Picture, window: Window) -> Picture:
        """Return what is left of light within a window; the same array where the hero does not reach it."""
        common = window.common(self.hero.window)
        if common is None:
            return light
        out = light.copy()
        alpha = self.hero.picture[common.within(self.hero.window)][..., 3:]
        out[common.within(window)] *= 1 - self.share * alpha
        return out
