"""Pictures in memory from their first reading to their next use, without what is empty around them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from choreo.geometry.plane.filled import filled_window
from choreo.geometry.plane.trace import full_scale
from choreo.model.registration import Pixels
from choreo.read.images import Image

KEPT_BYTES = 128 * 2**20
"""Of plates' pixels, from their first reading until they are laid on the still; beyond that they are read twice."""
_MARGIN_PX = 2
"""Straight colours beside what shows: where pictures are read between px, these count in."""


@dataclass(frozen=True, eq=False)
class CutPicture:
    """What is not empty of a picture, with a little around it: plates fill little of their frames."""

    shape: tuple[int, ...]
    window: tuple[slice, slice]
    colour: Pixels
    """Straight, as `straight_codes` has it; so is alpha."""
    alpha: Pixels

    @classmethod
    def of(cls, image: Image) -> CutPicture:
        """Return the picture cut to what shows."""
        rows, columns = (_wider(each) for each in filled_window(image.alpha))
        window = rows, columns
        part = replace(image, alpha=image.alpha[window], _colour=lambda: image.colour[window])
        colour, alpha = straight_codes(part)
        return cls(image.alpha.shape, window, np.ascontiguousarray(colour), np.ascontiguousarray(alpha))

    @property
    def bytes(self) -> int:
        """Return how much memory it takes."""
        return int(self.colour.nbytes + self.alpha.nbytes)

    def whole(self) -> tuple[Pixels, Pixels]:
        """Colour and alpha of the whole picture, empty around what was kept."""
        colour, alpha = np.zeros((*self.shape, 3), self.colour.dtype), np.zeros(self.shape, self.alpha.dtype)
        colour[self.window], alpha[self.window] = self.colour, self.alpha
        return colour, alpha


def keep(image: Image, room: list[int] | None) -> Callable[[], tuple[Pixels, Pixels]] | None:
    """Keep a picture, as `straight_codes` has it, while there is room, bytes, which it then takes; else None."""
    if not room or room[0] <= 0:
        return None
    kept = CutPicture.of(image)
    if kept.bytes > room[0]:
        return None
    room[0] -= kept.bytes
    return kept.whole


def _wider(span: slice) -> slice:
    return slice(max(span.start - _MARGIN_PX, 0), span.stop + _MARGIN_PX)


def straight_codes(image: Image) -> tuple[Pixels, Pixels]:
    """Return colour, (h, w, 3), not multiplied by alpha, as sRGB has it, and alpha, (h, w), of a picture.

    OpenEXR holds linear light and becomes sRGB (IEC 61966-2-1); everything else is taken to be sRGB already.
    """
    colour, alpha = image.colour, image.alpha
    if image.premultiplied:
        share = alpha[..., None].astype(np.float32) / np.float32(full_scale(alpha))
        light = colour.astype(np.float32) / np.float32(full_scale(colour))
        colour = np.clip(np.divide(light, share, out=np.zeros_like(light), where=share > 0), 0.0, 1.0)
    if image.kind == "exr":
        light = np.clip(colour.astype(np.float32), 0.0, 1.0)
        colour = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return colour, alpha
