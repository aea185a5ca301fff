"""What the decoders of pictures share: their answer, their refusals, and the largest size that is decoded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from choreo.read.notes import printable
from choreo.read.refused import Refused

LONGEST_SIDE_PX = 16384
MOST_PIXELS = 200_000_000
"""What a medium-format back records is below this; four channels of 16 bit are 1.6 GB of memory."""

Pixels = NDArray[Any]

UPRIGHT: dict[int, Callable[[Pixels], Pixels]] = {
    2: lambda pixels: pixels[:, ::-1],
    3: lambda pixels: pixels[::-1, ::-1],
    4: lambda pixels: pixels[::-1],
    5: lambda pixels: pixels.swapaxes(0, 1),
    6: lambda pixels: pixels[::-1].swapaxes(0, 1),
    7: lambda pixels: pixels[::-1, ::-1].swapaxes(0, 1),
    8: lambda pixels: pixels[:, ::-1].swapaxes(0, 1),
}
"""By the tag Orientation (TIFF 6.0, page 36; Exif has it too): how rows as stored become
the picture that viewers show."""

SAVE = "Save the keyed picture with its alpha channel, as RGBA in PNG, TIFF or OpenEXR."


@dataclass(frozen=True, eq=False)
class Decoded:
    """What a decoder found."""

    alpha: Pixels | None
    premultiplied: bool
    colour: Callable[[], Pixels]
    profile: str = ""
    """The name of the colour profile it carries."""
    unmarked: bool = False
    """Whether there is a further channel of which the file does not say that it is alpha."""


def check_size(width: int, height: int) -> None:
    """Raise `Refused` for a declared size that is nothing, or too much to decode."""
    if width < 1 or height < 1:
        raise damaged(f"it declares a size of {width} x {height} px")
    if max(width, height) > LONGEST_SIDE_PX or width * height > MOST_PIXELS:
        raise Refused(
            "image-too-large",
            f"This picture declares {width} x {height} px; at most {LONGEST_SIDE_PX} px a side and"
            f" {MOST_PIXELS // 10**6} million in all are read.",
            "Crop it, or save it smaller and change px_per_mm and pivot_px to match.",
        )


def damaged(reason: str) -> Refused:
    """Return the refusal of a file that is not what it says."""
    return Refused("image-damaged", f"This picture is damaged: {printable(reason)}.", "Export or copy it again.")


def several() -> Refused:
    """Return the refusal of a file that holds more than one picture."""
    what = "This file holds several pictures: an animation, pages or parts."
    return Refused("several-images", what, "Save the one that is meant as a file of its own.")


def wrong_mode(mode: str) -> Refused:
    """Return the refusal of a colour mode that has no full alpha channel."""
    return Refused("image-mode", f"This picture is stored as {printable(mode)}.", SAVE, "Only RGBA and grey are read.")


def spread(values: Pixels) -> Pixels:
    """Return one or three channels as three."""
    channels = values[..., None] if values.ndim == 2 else values
    return np.broadcast_to(channels, (*channels.shape[:2], 3)) if channels.shape[2] == 1 else channels
