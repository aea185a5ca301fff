"""A part's layer of a frame as a file: placed, masked, ready to be stacked."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from choreo.frames.sequences import KINDS, Numbering
from choreo.model.tracks import ShotTracks
from choreo.picture.render.coverage import Window
from choreo.picture.render.frame import Renderer
from choreo.picture.render.stack import Ordered, Stored, codes_16_bit, halves, ordered
from choreo.picture.render.stack_mended import mended_8_bit
from choreo.write.exr import exr_bytes
from choreo.write.png import png_bytes

Store = Callable[[Sequence[Ordered], Window], list[Stored]]
_STORES: Mapping[str, Store] = {"exr": halves, "png16": codes_16_bit, "png8": mended_8_bit}


@dataclass(frozen=True)
class LayerFiles:
    """Draws the layers of a frame, one file a part."""

    order: tuple[str, ...]
    """Back to front, the same for the whole film."""
    kind: str
    """One of `KINDS`."""
    first_number: int

    @property
    def numbering(self) -> Numbering:
        """How the files are called."""
        return Numbering(self.first_number, KINDS[self.kind])

    @property
    def all_sequences(self) -> tuple[str, ...]:
        """All that there may be of a film."""
        return self.order

    def names(self, shot: ShotTracks, frame: int) -> list[str]:
        """Return the files of a frame."""
        return [self.numbering.name(part, shot, frame) for part in self.order]

    def __call__(self, renderer: Renderer, shot: ShotTracks, frame: int) -> dict[str, bytes]:
        """Return the files; a part that does not show has an empty picture."""
        layers = ordered(renderer.shown(shot, frame), self.order, renderer.window)
        stored = {one.part: one for one in _STORES[self.kind](layers, renderer.window)}
        return {
            self.numbering.name(part, shot, frame): self._bytes(stored.get(part), renderer.window)
            for part in self.order
        }

    def _bytes(self, layer: Stored | None, frame: Window) -> bytes:
        if layer is None:
            return _empty(self.kind, frame)
        if self.kind == "exr":
            return _exr(layer.pixels, layer.window, frame)
        return png_bytes(on_frame(layer.pixels, layer.window, frame))


def on_frame(pixels: NDArray[np.generic], window: Window, frame: Window) -> NDArray[np.generic]:
    """Return pixels (height, width, ...) of a window in a picture of the whole frame, zero elsewhere."""
    out = np.zeros((frame.height, frame.width, *pixels.shape[2:]), dtype=pixels.dtype)
    out[window.slices] = pixels
    return out


def _exr(pixels: NDArray[np.generic], window: Window, frame: Window) -> bytes:
    channels = {name: pixels[..., number] for number, name in enumerate("RGBA")}
    return exr_bytes(channels, (window.x, window.y), (frame.width, frame.height))


@cache
def _empty(kind: str, frame: Window) -> bytes:
    if kind == "exr":
        return _exr(np.zeros((1, 1, 4), dtype=np.float16), Window(0, 0, 1, 1), frame)
    depth = np.uint16 if kind == "png16" else np.uint8
    return png_bytes(np.zeros((frame.height, frame.width, 4), dtype=depth))
