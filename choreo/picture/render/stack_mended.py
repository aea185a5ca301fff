"""Layers of 8 bits that stack to the frame within one code.

A code of alpha is 1/255 of light, and in the dark that is up to 13 codes of colour. Where a layer's edge is rounded,
what comes below it is too bright or too dark by as much, and the eye sees it as a fringe. So where layers that were
rounded one by one stack to something else than the frame, they are chosen together instead:

- an upper layer's alpha is rounded down: room that it leaves can be darkened, room that it takes cannot be given back;
- the lowest one that shows takes the alpha that is missing, and the colour that makes the pixel come out right.

The colour of the lowest layer is rounded once, and what shows of it is at most the whole: so a pixel that parts cover
whole is the frame's to within one code. Where they cover it in part, alpha is within one code too, and colours are as
far as they can be seen: their difference in codes times the alpha is at most one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats
from choreo.picture.render.colour import Picture, from_codes, to_linear, to_srgb
from choreo.picture.render.coverage import Window
from choreo.picture.render.stack import NONE, Ordered, Stored, codes_8_bit

Pixels = NDArray[np.int64]

_HAIR = 1e-4
"""Of a code: rounding of float32 is below it."""
_MARGIN = 0.05
"""Of a code: what readers may see differently, who decode by a table or in single precision."""


def mended_8_bit(layers: Sequence[Ordered], frame: Window) -> list[Stored]:
    """Return layers as straight sRGB codes of 8 bits, back to front, that stack to the frame.

    Parameters
    ----------
    layers : sequence of Ordered
        Back to front.
    frame : Window

    """
    stored = codes_8_bit(layers, frame)
    found, wanted = np.zeros((2, frame.height, frame.width, 4), dtype=np.float32)
    crowd = np.zeros((frame.height, frame.width), dtype=np.int16)
    for layer, kept in zip(layers, stored, strict=True):
        here = layer.window.slices
        picture = from_codes(np.asarray(kept.pixels, dtype=np.uint8))
        found[here] *= 1 - picture[..., 3:]
        found[here] += picture
        wanted[here] += layer.light
        crowd[here] += layer.light[..., 3] > NONE
    mixed = np.flatnonzero(crowd > 1)
    wrong = mixed[_differ(found.reshape(-1, 4)[mixed], wanted.reshape(-1, 4)[mixed])]
    if not wrong.size:
        return stored
    return _mended(layers, stored, wrong, frame)


def _differ(found: Picture, wanted: Picture) -> NDArray[np.bool_]:
    """Which of some pixels (n, 4) may be more than one code apart, colours as far as they can be seen."""
    alpha = np.minimum(wanted[:, 3], 1)
    one, two = (to_srgb(each[:, :3] / np.maximum(each[:, 3:], NONE)) * 255 for each in (found, wanted))
    # However they are rounded, they are then less than that many codes apart.
    colour = np.floor(np.abs(one - two).max(axis=1) + _MARGIN) + 1
    return np.asarray((np.abs(found[:, 3] - wanted[:, 3]) * 255 > 1 - _MARGIN) | (colour * alpha > 1 + _HAIR))


def _mended(layers: Sequence[Ordered], stored: Sequence[Stored], wrong: Pixels, frame: Window) -> list[Stored]:
    rows, columns = np.divmod(wrong, frame.width)
    inside = [_within(layer.window, rows, columns) for layer in layers]
    light = np.zeros((len(layers), wrong.size, 4))
    for number, (layer, (which, place)) in enumerate(zip(layers, inside, strict=True)):
        light[number, which] = layer.light[place]
    light[light[..., 3] <= NONE] = 0
    codes = _together(light)
    out = []
    for number, (kept, (which, place)) in enumerate(zip(stored, inside, strict=True)):
        pixels = kept.pixels.copy()
        pixels[place] = codes[number, which]
        out.append(replace(kept, pixels=pixels))
    return out


def _within(window: Window, rows: Pixels, columns: Pixels) -> tuple[Pixels, tuple[Pixels, Pixels]]:
    """Which of some pixels lie in a window, and where."""
    y, x = rows - window.y, columns - window.x
    which = np.flatnonzero((y >= 0) & (y < window.height) & (x >= 0) & (x < window.width))
    return which, (y[which], x[which])


def _together(light: Floats) -> NDArray[np.uint8]:
    """Return codes (layers, n, 4), back to front, that together make some pixels right.

    Parameters
    ----------
    light : (layers, n, 4) array
        What each layer is to add, back to front; premultiplied.

    """
    total = light.sum(axis=0)
    straight = total[:, :3] / total[:, 3:]
    lowest = np.argmax(light[..., 3] > 0, axis=0)
    left = np.ones(len(total))
    sum_ = np.zeros_like(straight)
    out = np.zeros(light.shape, dtype=np.uint8)
    for number in reversed(range(len(light))):
        share = light[number, :, 3]
        ends = lowest == number
        room = np.maximum(left, 1e-12)
        down = np.floor(share / room * 255 + _HAIR)
        up = np.ceil((1 - (1 - total[:, 3]) / room) * 255 - _HAIR)
        alpha = np.clip(np.where(ends, up, down), 0, 255) * (share > 0)
        kept = left * (1 - alpha / 255)
        adds = np.maximum(left * alpha / 255, 1e-12)[:, None]
        own = light[number, :, :3] / np.maximum(share, 1e-12)[:, None]
        missing = (straight * (1 - kept)[:, None] - sum_) / adds
        colour = np.floor(np.clip(to_srgb(np.clip(np.where(ends[:, None], missing, own), 0, 1)), 0, 1) * 255 + 0.5)
        colour *= (alpha > 0)[:, None]
        sum_ += (left * alpha / 255)[:, None] * to_linear(colour / 255)
        left = kept
        out[number, :, :3], out[number, :, 3] = colour, alpha
    return out
