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

import numpy as np

from choreo.picture.render.colour import Picture
from choreo.picture.render.coverage import Window
from choreo.picture.render.shares import Layer
from choreo.picture.render.tile import Tile


@dataclass(frozen=True, eq=False)
class Taking:
    """A part of a picture, and what the still has taken over of its share."""

    layer: Layer
    """The part without the still."""
    left: Layer
    """What the still leaves of it."""
    upon: Layer
    """The still upon it, cut to where both are."""

    def light(self, window: Window) -> Picture:
        """Return what shows in the part's share within a window inside of its tile's: of the part, and of the still."""
        out = self.left.light(window).copy()
        common = window.common(self.upon.tile.window)
        if common is not None:
            out[common.within(window)] += self.upon.light(common)
        return out

    def add_to(self, total: Picture, frame: Window, window: Window) -> None:
        """Add that to the picture of a frame."""
        self.left.add_to(total, frame, window)
        common = window.common(self.upon.tile.window)
        if common is not None:
            self.upon.add_to(total, frame, common)


@dataclass(frozen=True, eq=False)
class Home:
    """Who shows where when all is assembled."""

    layers: Mapping[str, Layer]
    key: bytes
    """Tells it from others."""


@dataclass(frozen=True, eq=False)
class Known:
    """A taking and what it was made from."""

    taking: Taking
    home: Layer
    by: float
    hero: Tile

    def holds_for(self, layer: Layer, home: Layer, by: float, hero: Tile) -> bool:
        """Whether another would come out the same."""
        return self.taking.layer is layer and self.hero is hero and self.home is home and self.by == by


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
            cut = _cut(layer, home, hero, old)
            if cut is None:
                continue
            old = known[layer.part] = Known(_taking(layer, home, by, cut), home, by, hero)
        out[layer.part] = old.taking
    return out


def _cut(layer: Layer, home: Layer, hero: Tile, old: Known | None) -> Tile | None:
    """The still where it may lie upon a part; the same tile as before while it is the same."""
    common = layer.tile.window.common(home.tile.window)
    common = None if common is None else common.common(hero.window)
    if common is None:
        return None
    if old is not None and old.hero is hero and old.taking.upon.tile.window == common:
        return old.taking.upon.tile
    return Tile(common, hero.picture[common.within(hero.window)].copy())


def _taking(layer: Layer, home: Layer, by: float, cut: Tile) -> Taking:
    """Atop: of a share c the still takes min(c, c when all is assembled) times `by`, as far as it is opaque."""
    here = cut.window.within(layer.tile.window)
    now, then = layer.share[here], home.share[cut.window.within(home.tile.window)]
    amount = np.minimum(now, then) * np.float32(by) * cut.alpha
    share = layer.share.copy()
    share[here] = np.maximum(share[here] - amount, 0)
    left = Layer(layer.part, layer.tile, share, whole=False)
    return Taking(layer, left, Layer("\n" + layer.part, cut, amount, whole=False))
