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
from dataclasses import dataclass, field

import numpy as np
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.regions import joined
from choreo.picture.render import blend, overlap
from choreo.picture.render.colour import Picture, Singles, by_pixel
from choreo.picture.render.coverage import WHOLE, Window, covered, rings_of, window_around
from choreo.picture.render.form import Form, Ints, Outline, commons, form_of, united
from choreo.picture.render.moment import Hold
from choreo.picture.render.tile import Tile

Silhouette = Callable[[str], BaseGeometry]
"""The outline of a part, px."""


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

    def add_to(self, total: Picture, frame: Window, window: Window) -> None:
        """Add what the part adds to the picture of a frame, within a window inside of its tile's."""
        if self.whole:
            total[window.within(frame)] += self.tile.picture[window.within(self.tile.window)]
        else:
            self.tile.add_to(total, frame, window, self.share)


@dataclass(frozen=True, eq=False)
class Peeping:
    """Where a part shows in its holdout, since the plates that it stands behind are not opaque there."""

    window: Window
    share: Singles
    """(height, width) how much of it shows."""
    through: frozenset[str]
    """The parts whose plates those are."""


@dataclass(frozen=True, eq=False)
class Known:
    """A layer and what it was made from."""

    layer: Layer
    before: tuple[Layer, ...]
    """What meets it in front."""
    hiders: tuple[Tile | None, ...]
    holds: tuple[Hold, ...]
    """What is left out of it, and of others for its sake."""
    alpha: Singles
    """Of the tile, less its holdouts."""
    peeping: Peeping | None = None

    def holds_for(self, other: Known) -> bool:
        """Whether another would come out the same."""
        one, two = ((k.layer.tile, *k.before, *k.hiders, None, *k.holds) for k in (self, other))
        return _same(one, two)

    def held_for(self, other: Known) -> bool:
        """Whether what is left out of another's tile would be the same, whatever stands before it."""
        one, two = ((k.layer.tile, *k.hiders, None, *k.holds) for k in (self, other))
        return self.peeping is None and _same(one, two)


def layers_of(
    tiles: Mapping[str, Tile],
    order: Sequence[str],
    holds: Mapping[str, Sequence[Hold]],
    outline: Silhouette,
    frame: Window,
    blank: Singles | None = None,
    known: Mapping[str, Known] | None = None,
    forms: dict[str, Form] | None = None,
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
        Of zeros, the size of the frame, to work on; it comes back as it was.
    known : mapping of part id to Known, optional
        Layers of another frame; those on which nothing has changed are used again.
    forms : dict of part id to Form, optional
        Of another frame; those that are the same are used again, the others replaced.

    Returns
    -------
    mapping of part id to Known

    """
    taken = np.zeros((frame.height, frame.width), dtype=np.float32) if blank is None else blank
    work = _Work(tiles, holds, outline, taken, frame, known or {}, {} if forms is None else forms)
    work.draw([part for part in reversed(order) if part in tiles])
    return work.made


_NOTHING = np.zeros((0, 0), dtype=np.float32)


@dataclass(frozen=True, eq=False)
class _Work:
    """Front to back, what is taken of each pixel."""

    tiles: Mapping[str, Tile]
    holds: Mapping[str, Sequence[Hold]]
    outline: Silhouette
    taken: Singles
    frame: Window
    known: Mapping[str, Known]
    forms: dict[str, Form]
    made: dict[str, Known] = field(default_factory=dict)
    asked: dict[str, Form] = field(default_factory=dict)
    """Forms of this frame."""
    peeping: list[Peeping] = field(default_factory=list)

    def draw(self, parts: Sequence[str]) -> None:
        """Take parts, seen from the front; what is taken of pixels is worked out where somebody new asks for it."""
        meets: dict[str, list[str]] = {}
        fresh: dict[str, bool] = {}
        for number, part in enumerate(parts):
            window = self.tiles[part].window
            meets[part] = [name for name in parts[:number] if self.tiles[name].window.meets(window)]
            fresh[part] = any(fresh[name] for name in meets[part]) or self._is_new(part, meets[part])
        asked = {name for part in parts if fresh[part] for name in meets[part]}
        for part in parts:
            if fresh[part]:
                self.made[part] = self._made(self._found(part, meets[part], self.made), meets[part])
            else:
                self.made[part] = self.known[part]
            layer, peeping = self.made[part].layer, self.made[part].peeping
            if part in asked:
                self.taken[layer.tile.window.within(self.frame)] += layer.share
            if peeping is not None:
                self.peeping.append(peeping)
        for part in asked:
            self.taken[self.tiles[part].window.within(self.frame)] = 0

    def _is_new(self, part: str, meets: list[str]) -> bool:
        """Whether a part comes out otherwise than it is known, given that those before it do not."""
        return part not in self.known or not self.known[part].holds_for(self._found(part, meets, self.known))

    def _found(self, part: str, meets: list[str], before: Mapping[str, Known]) -> Known:
        """What a part's layer is made from; the layer is still to come."""
        own = tuple(self.holds.get(part, ()))
        theirs = [hold for name in meets for hold in self.holds.get(name, ()) if part in hold.behind]
        hiders = tuple(self.tiles.get(name) for hold in own for name in hold.behind)
        blank = Layer(part, self.tiles[part], _NOTHING, whole=True)
        return Known(blank, tuple(before[name].layer for name in meets), hiders, (*own, *theirs), _NOTHING)

    def _made(self, new: Known, meets: list[str]) -> Known:
        part, tile = new.layer.part, new.layer.tile
        alpha, peeping, old = tile.alpha, None, self.known.get(part)
        if part in self.holds:
            alpha, peeping = (old.alpha, None) if old is not None and old.held_for(new) else self._held(part, tile)
        share = np.empty_like(alpha)
        before = self._before(part, tile.window)
        top, left = tile.window.y - before.window.y, tile.window.x - before.window.x
        hidden, seen = blend.hide(alpha, before.values, top, left, share) if meets else (False, True)
        if hidden:
            if seen:  # of what is hidden whole nothing comes back at edges
                self._mend(part, meets, alpha, before, share)
            if before.values is not self.taken:
                np.minimum(share, 1 - self.taken[tile.window.within(self.frame)], out=share)
        else:
            share = alpha
        layer = Layer(part, tile, share, share is tile.alpha)
        return Known(layer, new.before, new.hiders, new.holds, alpha, peeping)

    def _held(self, part: str, tile: Tile) -> tuple[Singles, Peeping | None]:
        """The alpha of a part less its holdouts, each as opaque as the plate that it stands behind."""
        window, own, holds = tile.window, tile.alpha, self.holds[part]
        silhouette, *regions = self._form(part).outlines
        union = holds[0].region
        if len(holds) > 1:
            union = joined([np.array([hold.region], dtype=np.object_) for hold in holds])[0]
        where = None if union.is_empty else window_around(union.bounds, window)
        if where is None:
            return own, None
        held = covered(regions[0].rings if len(holds) == 1 else rings_of(union), where).astype(np.float32)
        hiders = np.zeros_like(held)
        for hold in holds:
            for name in hold.behind:
                _add(hiders, where, self.tiles.get(name))
        there, peeping = where.within(window), None
        peeps = np.maximum(held - np.minimum(hiders, 1), 0)
        if peeps.any():
            names = frozenset(name for hold in holds for name in hold.behind)
            free = 1 - self.taken[where.within(self.frame)]
            peeping = Peeping(where, own[there] * peeps * free, names)
        held -= peeps
        out = own.copy()
        out[there] *= 1 - held
        index = united([overlap.in_both(silhouette.fringe, region.fringe) for region in regions])
        self._put_right(index, [silhouette], [[region] for region in regions], _At(own, window), _At(held, where), out)
        return out, peeping

    def _mend(self, part: str, meets: list[str], alpha: Singles, before: _At, share: Singles) -> None:
        """Put right the pixels in which the outlines of a part and of those before it meet.

        Of those before it that have no edge in such a pixel, each covers it whole or not at all: they change nothing.
        """
        own, mine = self._form(part), _At(alpha, self.tiles[part].window)
        shared = [(form, overlap.in_both(own.fringe, form.fringe)) for form in map(self._form, meets)]
        near = [(form, index) for form, index in shared if index.size]
        index = united([index for _, index in near])
        self._put_right(index, own.outlines, [form.outlines for form, _ in near], mine, before, share)

    def _put_right(
        self,
        index: Ints,
        own: Sequence[Outline],
        others: Sequence[Sequence[Outline]],
        mine: _At,
        its: _At,
        share: Singles,
    ) -> None:
        at, its_at = (mine.window.y, mine.window.x), (its.window.y, its.window.x)
        if index.size:
            index = blend.undecided(index, self.frame.width, mine.values, at, its.values, its_at)
        if index.size:
            areas = commons(index, self.frame, own, others)
            blend.mend(index, self.frame.width, areas, WHOLE, mine.values, share, at, its.values, its_at)

    def _before(self, part: str, window: Window) -> _At:
        """What is taken before a part, less what shows only because this part's plate is not opaque there."""
        out = None
        for peeping in self.peeping:
            common = peeping.window.common(window) if part in peeping.through else None
            if common is not None:
                out = self.taken[window.within(self.frame)].copy() if out is None else out
                out[common.within(window)] -= peeping.share[common.within(peeping.window)]
        return _At(self.taken, self.frame) if out is None else _At(np.maximum(out, 0), window)

    def _form(self, part: str) -> Form:
        if part not in self.asked:
            holds = self.holds.get(part, ())
            self.asked[part] = form_of(self.outline(part), holds, self.frame, self.forms.get(part))
            self.forms[part] = self.asked[part]
        return self.asked[part]


@dataclass(frozen=True, eq=False)
class _At:
    """Numbers (height, width) of the pixels of a window."""

    values: Singles
    window: Window


def _same(one: Sequence[object], two: Sequence[object]) -> bool:
    return len(one) == len(two) and all(a is b for a, b in zip(one, two, strict=True))


def _add(total: Singles, where: Window, tile: Tile | None) -> None:
    common = None if tile is None else tile.window.common(where)
    if tile is not None and common is not None:
        total[common.within(where)] += tile.alpha[common.within(tile.window)]


def _scaled(picture: Picture, alpha: Singles) -> Picture:
    """A picture with another alpha and the same colours."""
    own = picture[..., 3]
    return by_pixel(picture, alpha / np.where(own > 0, own, np.float32(1)))
