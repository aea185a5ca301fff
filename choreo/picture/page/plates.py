"""Plates as the page carries them: small, lossy, and where they are to be laid.

A plate is shrunk until the widest picture that a page shows (`WIDE_PX`) shows no more than its own px, averaged in
linear light. Colour goes on a little under the edge of the matte, or the coding would darken that edge.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from choreo.picture.render.colour import to_8_bit
from choreo.picture.render.plates import PlateImage

WIDE_PX = 1200.0
"""Of the moving picture on a page, as far as plates are meant to be sharp."""
_QUALITY = 88
_UNDER_PX = 15
"""How far colour goes on under the edge; a block of the coding is 16 px wide."""


@dataclass(frozen=True)
class SmallPicture:
    """One picture at the size of the page."""

    address: str
    """``data:``"""
    px_per_mm: tuple[float, float]
    """Across and down; whole px make them differ a little."""
    pivot_px: tuple[float, float]


@dataclass(frozen=True)
class SmallPlate:
    """One plate: a single picture, or the photographs of a sequence that a film shows."""

    pictures: Mapping[int, SmallPicture]
    """By number; a single picture has the number 0."""
    turn: float = 0.0
    """Degrees by which the pictures themselves are turned, clockwise, to lie right."""
    frames: tuple[int, int] | None = None
    """First and last number of the whole sequence; None: a single picture."""

    def number(self, plate_frame: float | None) -> int:
        """Return the picture that shows a plate frame: the nearest; past the end of a closed circle the first."""
        if self.frames is None:
            return 0
        first, last = self.frames
        whole = first if plate_frame is None else math.floor(plate_frame + 0.5)
        return first if whole > last else max(whole, first)

    def data(self) -> dict[str, Any]:
        """Return it as JSON data."""
        return {
            "pictures": {
                str(number): {
                    "address": one.address,
                    "scale": [round(value, 8) for value in one.px_per_mm],
                    "pivot": [round(value, 4) for value in one.pivot_px],
                }
                for number, one in self.pictures.items()
            },
            "turn": self.turn,
            "sequence": self.frames is not None,
        }


def small_picture(plate: PlateImage, scale: float, width: int) -> SmallPicture:
    """Return a picture at the size that a page needs.

    Parameters
    ----------
    plate : PlateImage
    scale : float
        The largest that the film shows it at, screen px per mm.
    width : int
        Of the film's picture, px.

    """
    share = min(1.0, scale * WIDE_PX / width / plate.px_per_mm)
    height_px, width_px = plate.picture.shape[:2]
    size = (max(1, round(width_px * share)), max(1, round(height_px * share)))
    across, down = size[0] / width_px, size[1] / height_px
    return SmallPicture(
        _encoded(plate, size),
        (plate.px_per_mm * across, plate.px_per_mm * down),
        (plate.pivot_px[0] * across, plate.pivot_px[1] * down),
    )


def _encoded(plate: PlateImage, size: tuple[int, int]) -> str:
    import cv2  # noqa: PLC0415

    picture = plate.picture
    if size != (picture.shape[1], picture.shape[0]):
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    around = np.asarray(cv2.blur(picture, (2 * _UNDER_PX + 1, 2 * _UNDER_PX + 1)), dtype=np.float32)
    own = to_8_bit(picture)
    codes = np.where(picture[..., 3:] > 0, own, to_8_bit(around))
    codes[..., 3] = own[..., 3]
    done, data = cv2.imencode(".webp", np.ascontiguousarray(codes[..., [2, 1, 0, 3]]), [_quality(), _QUALITY])
    if not done:
        raise ValueError("a plate could not be coded")
    return "data:image/webp;base64," + base64.b64encode(data.tobytes()).decode()


def _quality() -> int:
    import cv2  # noqa: PLC0415

    return int(cv2.IMWRITE_WEBP_QUALITY)
