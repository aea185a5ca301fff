"""What a hero still takes over of single parts, while others are still on their way.

The still goes *atop* of a part's share of the picture (Porter and Duff 1984: A atop B is A times the alpha of B, and B
times what A leaves), by as much as it lies over that part beyond what it lies over the whole. So alpha stays what it
is, to the last digit; a part that passes before the one that is taken has its own share of each pixel, and is neither
covered nor seen through. Over the whole the still then goes as ever (`veil`).

It goes atop of no more of a pixel than shows the part now and will when all is assembled: the lesser of the two
coverages. What of a part is to disappear behind another one stays as it is until that one is there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from choreo.picture.render.colour import Picture, Singles, by_pixel
from choreo.picture.render.coverage import Window
from choreo.picture.render.shares import Layer
from choreo.picture.render.tile import Tile


@dataclass(frozen=True, eq=False)
class Taking:
    """A part of a picture, and how much of its share the still has taken."""

    layer: Layer
    hero: Tile
    window: Window
    """Inside of the windows of both."""
    amount: Singles
    """(height, width) of each pixel; at most the layer's share."""

    def left(self, light: Picture, window: Window) -> Picture:
        """Return what the still leaves of the part's light within a window inside of its tile's."""
        common = window.common(self.window)
        if common is None:
            return light
        out = light.copy()
        out[common.within(window)] = by_pixel(light[common.within(window)], self._leaves[common.within(self.window)])
        return out

    def still(self) -> Picture:
        """Return the light of the still upon the part, within `window`."""
        return by_pixel(self._hero(self.window), self.amount)

    def light(self, window: Window) -> Picture:
        """Return what shows in the part's share within a window inside of its tile's: of the part, and of the still."""
        light = self.layer.light(window)
        out = self.left(light, window)
        common = window.common(self.window)
        if common is not None:
            out[common.within(window)] += by_pixel(self._hero(common), self.amount[common.within(self.window)])
        return out

    @cached_property
    def _leaves(self) -> Singles:
        """How much of the part's light is left; instants and blocks of a frame ask for it again and again."""
        share = self.layer.share[self.window.within(self.layer.tile.window)]
        taken = np.divide(self.amount, share, out=np.zeros_like(self.amount), where=share > 0)
        return np.asarray(1 - taken * self._hero(self.window)[..., 3])

    def _hero(self, window: Window) -> Picture:
        return self.hero.picture[window.within(self.hero.window)]


@dataclass(frozen=True, eq=False)
class Home:
    """Who shows where when all is assembled."""

    layers: Mapping[str, Layer]
    key: bytes
    """Tells it from others."""


@dataclass(frozen=True, eq=False)
class Known:
    """A taking and what it was made from."""

    taking: Taking | None
    home: Layer
    by: float

    def holds_for(self, layer: Layer, home: Layer, by: float, hero: Tile) -> bool:
        """Whether another would come out the same."""
        made = self.taking
        return made is not None and made.layer is layer and made.hero is hero and self.home is home and self.by == by


def takings(
    layers: Sequence[Layer],
    homes: Mapping[str, Home],
    atop: Mapping[str, float],
    hero: Tile,
    known: dict[str, Known],
) -> dict[str, Taking]:
    """Return what the still has taken over of the parts of an instant.

    Parameters
    ----------
    layers : sequence of Layer
    homes : mapping of part id to Home
        How all is assembled, at the end of the shot that each part's still belongs to.
    atop : mapping of part id to float
        By how much the still goes atop of parts, 0 to 1.
    hero : Tile
    known : dict
        Takings of other frames, to be used again where they are the same; kept up to date.

    """
    out = {}
    for layer in layers:
        home = homes[layer.part].layers.get(layer.part) if layer.part in homes else None
        if home is None:
            continue
        by, old = atop[layer.part], known.get(layer.part)
        if old is None or not old.holds_for(layer, home, by, hero):
            old = known[layer.part] = Known(_taking(layer, home, by, hero), home, by)
        if old.taking is not None:
            out[layer.part] = old.taking
    return out


def _taking(layer: Layer, home: Layer, by: float, hero: Tile) -> Taking | None:
    common = layer.tile.window.common(home.tile.window)
    common = None if common is None else common.common(hero.window)
    if common is None:
        return None
    now, then = (one.share[common.within(one.tile.window)] for one in (layer, home))
    amount = np.minimum(now, then) * np.float32(by)
    return Taking(layer, hero, common, amount) if amount.any() else None
