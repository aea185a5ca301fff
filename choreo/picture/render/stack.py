"""Layers that plain *over*, in one order for the whole film, turns into the frame, whatever the true order is.

Of each frame only two things count: what each part adds to it, ``C`` (premultiplied, linear light), and how much of
each pixel shows it, ``v``; both are means over the time that the shutter is open. Seen from the front, a layer that is
given a share ``T`` of a pixel by those above it adds ``T C / T`` to the picture, so it is ``C / T``, with the alpha
``v / T``. All ``v`` together are at most 1, so ``v <= T``: it always is an alpha. Where nothing is left (``T`` = 0)
nothing more is seen, and the layer is free: there it shows its part whole, so that it may be softened or moved a
little by hand.

What a file stores is rounded, and that must not add up. So ``T`` is taken from the alphas as they were rounded:
an error is answered for by the layer that makes it, and the ones below put right what they can. The lowest layer that
shows in a pixel leaves what the picture leaves; where that is nothing, none below it gets a hole by mistake.

- Half floats: an alpha is rounded down where something is to come below, so that there is room for it; 1/2048 of
  what shows is the most that light is off, or what nobody can see.
- 16 bits: rounded to the nearest.
- 8 bits: 1/255 of light is up to 13 codes in the dark, so a bright edge before a dark one cannot just be rounded.
  `stack_mended` says what is done in such pixels.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from choreo.picture.render.colour import Picture, Singles, to_8_bit, to_16_bit
from choreo.picture.render.coverage import Window
from choreo.picture.render.exposure import HERO, Shown
from choreo.picture.render.tile import Tile

Halves = NDArray[np.float16]
Kept = TypeVar("Kept", bound=NDArray[Any])

FULL = 1e-5
"""Where layers above leave less of a pixel than this, what lies below is as good as unseen."""
_DIM = 1e-4
"""Light that nobody misses: a third of a code of 8 bits, in the dark."""
NONE = 1e-6
"""A part that shows in less of a pixel than this does not show."""


@dataclass(frozen=True, eq=False)
class Stored:
    """A layer as a file has it; what lies outside of its window is empty."""

    part: str
    window: Window
    pixels: NDArray[np.generic]
    """(height, width, 4): codes are straight sRGB; half floats are linear light, premultiplied."""


@dataclass(frozen=True, eq=False)
class Ordered:
    """What a layer must add, and what it shows where it is free."""

    part: str
    window: Window
    light: Picture
    free: Picture


def in_order(shown: Iterable[Shown], order: Sequence[str], frame: Window) -> list[Tile]:
    """Return pictures that plain *over*, back to front in any order at all, turns into the frame.

    Equal to the frame up to rounding of float32, whatever the order.

    Parameters
    ----------
    shown : iterable of Shown
        Of one frame.
    order : sequence of part id
        Back to front; may name parts that are not there. Without `HERO` it is the frame without the hero.
    frame : Window

    Returns
    -------
    list of Tile
        Back to front, one for each part that is there.

    """
    layers = ordered(shown, order, frame)
    pictures = from_the_front(layers, frame, lambda picture, _: (picture, picture[..., 3]))
    return [Tile(layer.window, picture) for layer, picture in zip(layers, pictures, strict=True)]


def ordered(shown: Iterable[Shown], order: Sequence[str], frame: Window) -> list[Ordered]:
    """Return what the layers of a frame must add, back to front; see `in_order`."""
    known = {one.part: one for one in shown}
    names = [name for name in order if name in known]
    if HERO not in names:
        return [Ordered(name, known[name].window, known[name].bare, known[name].whole) for name in names]
    # Beneath a hero that covers all, a layer is what it would be without it.
    parts = [name for name in names if name != HERO]
    bare = in_order(known.values(), parts, frame)
    free = {name: tile.picture for name, tile in zip(parts, bare, strict=True)} | {HERO: known[HERO].whole}
    return [Ordered(name, known[name].window, known[name].light, free[name]) for name in names]


def halves(layers: Sequence[Ordered], frame: Window) -> list[Stored]:
    """Return layers as half floats: linear light, premultiplied."""

    def rounded(picture: Picture, below: Singles) -> tuple[Halves, Singles]:
        out = picture.astype(np.float16)
        alpha = out[..., 3]
        high = (below > _DIM) & (alpha.astype(np.float32) > picture[..., 3])
        out[..., 3] = np.where(high, np.nextafter(alpha, np.float16(0)), alpha)
        return out, out[..., 3].astype(np.float32)

    return _stored(layers, from_the_front(layers, frame, rounded, straight=False))


def codes_16_bit(layers: Sequence[Ordered], frame: Window) -> list[Stored]:
    """Return layers as straight sRGB codes of 16 bits."""

    def rounded(picture: Picture, _: Singles) -> tuple[NDArray[np.uint16], Singles]:
        out = to_16_bit(picture)
        return out, out[..., 3].astype(np.float32) / np.float32(65535)

    return _stored(layers, from_the_front(layers, frame, rounded))


def codes_8_bit(layers: Sequence[Ordered], frame: Window) -> list[Stored]:
    """Return layers as straight sRGB codes of 8 bits, rounded one by one; `mended` does the rest."""

    def rounded(picture: Picture, _: Singles) -> tuple[NDArray[np.uint8], Singles]:
        out = to_8_bit(picture)
        return out, out[..., 3].astype(np.float32) / np.float32(255)

    return _stored(layers, from_the_front(layers, frame, rounded))


def from_the_front(
    layers: Sequence[Ordered],
    frame: Window,
    rounded: Callable[[Picture, Singles], tuple[Kept, Singles]],
    *,
    straight: bool = True,
) -> list[Kept]:
    """Return layers as they are stored, back to front.

    Parameters
    ----------
    layers : sequence of Ordered
        Back to front.
    frame : Window
    rounded : callable
        Given a layer's picture and how much is to come below it, returns what is stored and the alpha of that.
    straight : bool
        Whether a colour stays what it is where an alpha is not quite what it should be; else its light does, where
        that can be seen.

    """
    left, nothing = np.ones((2, frame.height, frame.width), dtype=np.float32)
    below = np.zeros_like(left)
    for layer in layers:
        below[layer.window.slices] += layer.light[..., 3]
    nothing -= below
    nothing[nothing < NONE] = 0
    out = []
    for layer in reversed(layers):
        here = layer.window.slices
        below[here] -= layer.light[..., 3]
        leave = np.where(below[here] > NONE, -1, nothing[here])
        stored, alpha = rounded(_own(layer, left[here], leave, straight=straight), below[here])
        left[here] *= 1 - alpha
        out.append(stored)
    return out[::-1]


def _own(layer: Ordered, left: Singles, leave: Singles, *, straight: bool) -> Picture:
    """A layer's picture, given what those above it leave of each pixel, and what it has to leave itself (-1: any)."""
    free = left <= FULL
    room = np.where(free, np.float32(1), left)
    share = layer.light[..., 3]
    alpha = np.clip(np.where(leave < 0, share / room, 1 - leave / room), 0, 1)
    scale = alpha / np.maximum(share, NONE)
    if not straight:
        off = np.abs(alpha * room - share) / np.maximum(share, NONE) * _brightest(layer.light)
        scale = np.where(off > _DIM, 1 / room, scale)
    out = layer.light * scale[..., None]
    out[..., 3] = alpha
    # Rounding of sums leaves a hair of light where there is none.
    out[share <= NONE] = 0
    return np.asarray(np.where(free[..., None], layer.free, out), dtype=np.float32)


def _brightest(light: Picture) -> Singles:
    """The largest of red, green and blue; numpy's own maximum along a short axis is slow."""
    return np.maximum(np.maximum(light[..., 0], light[..., 1]), light[..., 2])


def _stored(layers: Sequence[Ordered], pixels: Sequence[NDArray[np.generic]]) -> list[Stored]:
    return [Stored(layer.part, layer.window, found) for layer, found in zip(layers, pixels, strict=True)]
