"""Who is seen in how much of each pixel, so that edges that meet leave no gap and none shines through another.

Plain *over* takes two edges within one pixel for independent. That is right to within an edge pixel where they
cross, and wrong where they run together: of two parts that abut, a quarter of the background would shine through;
of two with the same outline, a quarter of the hidden one. So wherever the outlines of a part and of what stands
before it share a pixel, geometry tells how much of the two areas is common (exactly, from their polygons), and the
alphas of the pictures overlap by as much, as far along between the least and the most that they could. Everywhere
else one of the two is whole or none, and *over* is exact.

A picture is then the sum over its parts of colour times share.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.geometry.regions import joined, minus
from choreo.model.plan import Floats
from choreo.picture.render.colour import Picture, Singles, by_pixel
from choreo.picture.render.coverage import Window, coverage, edge_pixels, window_around
from choreo.picture.render.moment import Hold
from choreo.picture.render.tile import Tile

Outline = Callable[[str], BaseGeometry]
"""The silhouette of a part, px."""


@dataclass(frozen=True, eq=False)
class Layer:
    """One part of a picture."""

    part: str
    tile: Tile
    share: Singles
    """(height, width) how much of each pixel shows the part, all in all: its visible matte."""
    whole: bool
    """Whether that is the tile's own alpha: nothing hides any of it."""

    def light(self, window: Window) -> Picture:
        """Return what the part adds to the picture within a window inside of its tile's."""
        there = window.within(self.tile.window)
        picture = self.tile.picture[there]
        return picture if self.whole else _scaled(picture, self.share[there])


@dataclass(frozen=True, eq=False)
class Known:
    """A layer and what it was made from."""

    layer: Layer
    before: tuple[Layer, ...]
    """What meets it in front."""
    hiders: tuple[Tile | None, ...]
    holds: tuple[Hold, ...]
    """What is left out of it, and of others for its sake."""

    def holds_for(self, other: Known) -> bool:
        """Whether another would come out the same."""
        one, two = ((known.layer.tile, *known.before, *known.hiders) for known in (self, other))
        return len(one) == len(two) and all(a is b for a, b in zip(one, two, strict=True)) and self.holds == other.holds


def layers_of(
    tiles: Mapping[str, Tile],
    order: Sequence[str],
    holds: Mapping[str, Sequence[Hold]],
    outline: Outline,
    frame: Window,
    blank: Singles | None = None,
    known: Mapping[str, Known] | None = None,
) -> dict[str, Known]:
    """Return the layers of a frame, front to back, by part; parts without a tile are left out.

    Exact for opaque solids. For plates the outlines are taken to lie as their solids' do.

    Parameters
    ----------
    tiles : mapping of part id to Tile
        Each part whole.
    order : sequence of part id
        Back to front.
    holds : mapping of part id to sequence of Hold
        What is left out of each part.
    outline : callable
        Asked for the silhouettes of those parts whose pictures meet.
    frame : Window
        Of all tiles.
    blank : (height, width) array, optional
        Of zeros, the size of the frame, to work on; it comes back filled.
    known : mapping of part id to Known, optional
        Layers of another frame; those on which nothing has changed are used again.

    Returns
    -------
    mapping of part id to Known

    """
    taken = np.zeros((frame.height, frame.width), dtype=np.float32) if blank is None else blank
    work = _Work(tiles, holds, outline, taken, frame, known or {})
    for part in reversed(order):
        if part in tiles:
            work.add(part)
    return work.made


@dataclass(frozen=True, eq=False)
class _Work:
    """Front to back, what is taken of each pixel."""

    tiles: Mapping[str, Tile]
    holds: Mapping[str, Sequence[Hold]]
    outline: Outline
    taken: Singles
    frame: Window
    known: Mapping[str, Known]
    made: dict[str, Known] = field(default_factory=dict)
    outlines: dict[tuple[str, bool], BaseGeometry] = field(default_factory=dict)
    """Silhouettes that were asked for; True: less what is left out of them."""
    peeping: list[tuple[Window, Singles, set[str]]] = field(default_factory=list)
    """Where a part shows in its holdout, how much, and through which parts' plates."""

    def add(self, part: str) -> None:
        """Take the next part, seen from the front."""
        tile = self.tiles[part]
        meets = [name for name in self.made if self.tiles[name].window.common(tile.window)]
        own = tuple(self.holds.get(part, ()))
        theirs = [hold for name in meets for hold in self.holds.get(name, ()) if part in hold.behind]
        hiders = tuple(self.tiles.get(name) for hold in own for name in hold.behind)
        blank = Layer(part, tile, tile.picture[..., 3], whole=True)
        new = Known(blank, tuple(self.made[name].layer for name in meets), hiders, (*own, *theirs))
        old = self.known.get(part)
        below = self.taken[tile.window.within(self.frame)]
        if old is None or not old.holds_for(new) or new.holds:
            old = replace(new, layer=self._layer(part, tile, meets, below))
        self.made[part] = old
        below += old.layer.share

    def _layer(self, part: str, tile: Tile, meets: list[str], below: Singles) -> Layer:
        own = tile.picture[..., 3]
        alpha = self._held(part, tile) if part in self.holds else own
        share = alpha
        if meets and below.any():
            before = self._less_peeping(part, below)
            share = alpha * (1 - before)
            self._mend(part, meets, alpha, before, share)
            share = share if before is below else np.minimum(share, 1 - below)
        return Layer(part, tile, share, share is own)

    def _held(self, part: str, tile: Tile) -> Singles:
        """The alpha of a part less its holdouts, each as opaque as the plate that it stands behind."""
        window, own = tile.window, tile.picture[..., 3]
        regions = [hold.region for hold in self.holds[part]]
        union = joined([_one(region) for region in regions])[0]
        where = None if union.is_empty else window_around(union.bounds, window)
        if where is None:
            return own
        held = coverage(union, where).astype(np.float32)
        hiders = np.zeros_like(held)
        for hold in self.holds[part]:
            for name in hold.behind:
                _add(hiders, where, self.tiles.get(name))
        there = where.within(window)
        peeping = np.maximum(held - np.minimum(hiders, 1), 0)
        if peeping.any():
            names = {name for hold in self.holds[part] for name in hold.behind}
            free = 1 - self.taken[where.within(self.frame)]
            self.peeping.append((where, own[there] * peeping * free, names))
        held -= peeping
        out = own.copy()
        out[there] *= 1 - held
        index, known = _together([self._silhouette(part), union, self._natural(part)], where)
        mine, its = own[there].ravel()[index], held.ravel()[index]
        out[there] = _replaced(out[there], index, mine - _overlap(known, mine, its))
        return out

    def _mend(self, part: str, meets: list[str], alpha: Singles, below: Singles, share: Singles) -> None:
        """Put right the pixels in which the outlines of a part and of those before it meet."""
        own = self._natural(part)
        near = [self._natural(name) for name in meets]
        near = [shape for shape in near if not shape.is_empty]
        if not near or own.is_empty:
            return
        covered = joined([_one(shape) for shape in near])
        left = minus(_one(own), covered)[0]
        window = self.tiles[part].window
        where = window_around(covered[0].bounds, window)
        if where is not None:
            there = where.within(window)
            index, known = _together([own, covered[0], left], where)
            mine, its = alpha[there].ravel()[index], below[there].ravel()[index]
            share[there] = _replaced(share[there], index, mine - _overlap(known, mine, its))

    def _less_peeping(self, part: str, below: Singles) -> Singles:
        """What is taken before a part, less what shows only because this part's plate is not opaque there."""
        window, out = self.tiles[part].window, below
        for where, peeping, hiders in self.peeping:
            common = where.common(window) if part in hiders else None
            if common is not None:
                out = out.copy() if out is below else out
                out[common.within(window)] -= peeping[common.within(where)]
        return np.maximum(out, 0) if out is not below else below

    def _silhouette(self, part: str) -> BaseGeometry:
        if (part, False) not in self.outlines:
            self.outlines[part, False] = self.outline(part)
        return self.outlines[part, False]

    def _natural(self, part: str) -> BaseGeometry:
        """The outline less what is left out."""
        if (part, True) not in self.outlines:
            shape = self._silhouette(part)
            for hold in self.holds.get(part, ()):
                shape = minus(_one(shape), _one(hold.region))[0]
            self.outlines[part, True] = shape
        return self.outlines[part, True]


def _together(
    shapes: Sequence[BaseGeometry], window: Window
) -> tuple[NDArray[np.int64], tuple[Floats, Floats, Floats]]:
    """Pixels that both of two shapes cover in part; coverage of the first, the second, and first less second."""
    first, second, less = edge_pixels(shapes, window)
    index = np.intersect1d(first.index, second.index, assume_unique=True)
    # A pixel that the difference does not cover in part it does not cover: the first shape is not whole there.
    return index, (first.at(index), second.at(index), np.nan_to_num(less.at(index)))


def _overlap(known: tuple[Floats, Floats, Floats], mine: Singles, its: Singles) -> Singles:
    """How much two alphas have in common, if they do as the areas do that are known.

    As far along between the least they can have in common (side by side) and the most (one in the other).
    """
    one, other, less = known
    least, most = np.maximum(one + other - 1, 0), np.minimum(one, other)
    along = np.clip((one - less - least) / np.maximum(most - least, 1e-12), 0, 1)
    least, most = np.maximum(mine + its - 1.0, 0), np.minimum(mine, its)
    return np.asarray(least + along * (most - least), dtype=np.float32)


def _replaced(values: Singles, index: NDArray[np.int64], new: Singles) -> Singles:
    flat = values.ravel()  # a copy where the values are a part of a larger picture
    flat[index] = np.maximum(new, 0)
    return flat.reshape(values.shape)


def _add(total: Singles, where: Window, tile: Tile | None) -> None:
    common = None if tile is None else tile.window.common(where)
    if tile is not None and common is not None:
        total[common.within(where)] += tile.picture[common.within(tile.window)][..., 3]


def _scaled(picture: Picture, alpha: Singles) -> Picture:
    """A picture with another alpha and the same colours."""
    own = picture[..., 3]
    return by_pixel(picture, alpha / np.where(own > 0, own, np.float32(1)))


def _one(shape: BaseGeometry) -> NDArray[np.object_]:
    out = np.empty(1, dtype=np.object_)
    out[0] = shape
    return out
