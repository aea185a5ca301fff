"""Colour: sRGB codes and linear light, premultiplied alpha, and the operators that join pictures.

All work is done in linear light, premultiplied, in float32, red, green, blue, alpha in the last axis. Codes in
and out are sRGB (IEC 61966-2-1) with straight alpha, as PNG has them (W3C PNG, 6.2); alpha is never encoded.

Quantising rounds to the nearest code, halves up; there is no dither, so equal pictures give equal bytes. To 8
bits colours go by way of a table of 65536 steps: a code may be off by one where the exact value lies within
0.03 of a half (the slope of the curve at black is 12.92 x 255 / 65535 codes a step, at most).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from choreo.model.plan import Floats

Singles = NDArray[np.float32]
Picture = Singles
"""(height, width, 4) linear light, premultiplied."""
Codes = NDArray[np.uint8] | NDArray[np.uint16]

_STEPS = 65535
_NONE = np.float32(1e-6)
"""Alpha below this is none: colour cannot be told from rounding, and no code of 16 bits shows it."""


def to_linear(value: ArrayLike) -> Floats:
    """Return the linear light of sRGB values, 0 to 1 each, in double precision (IEC 61966-2-1)."""
    encoded = np.asarray(value, dtype=np.float64)
    return np.where(encoded <= 0.04045, encoded / 12.92, ((np.maximum(encoded, 0.0) + 0.055) / 1.055) ** 2.4)


def to_srgb(light: ArrayLike) -> Floats:
    """Return the sRGB values of linear light, 0 to 1 each, in double precision (IEC 61966-2-1)."""
    linear = np.asarray(light, dtype=np.float64)
    return np.where(linear <= 0.0031308, linear * 12.92, 1.055 * np.maximum(linear, 0.0) ** (1 / 2.4) - 0.055)


def hex_to_linear(colour: str) -> Floats:
    """Return the (3,) linear light of ``#rrggbb``."""
    return to_linear([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])


def from_codes(codes: Codes) -> Picture:
    """Return the picture that straight sRGB codes stand for.

    Parameters
    ----------
    codes : (height, width, 3 or 4) array of uint8 or uint16
        Without a fourth channel the picture is opaque.

    """
    table = _linear_table(codes.dtype == np.uint16)
    out = np.ones((*codes.shape[:2], 4), dtype=np.float32)
    out[..., :3] = table[codes[..., :3]]
    if codes.shape[2] == 4:
        out[..., 3] = codes[..., 3].astype(np.float32) / np.float32(np.iinfo(codes.dtype).max)
        out[..., :3] *= out[..., 3:]
    return out


def from_stored(
    colour: NDArray[np.generic], alpha: NDArray[np.generic], *, linear: bool, premultiplied: bool
) -> Picture:
    """Return the picture that a file's values stand for.

    Parameters
    ----------
    colour : (height, width, 3) array
        uint8 or uint16 up to their largest, float16 or float32 up to 1; what is brighter counts as 1.
    alpha : (height, width) array
        Of the same kinds.
    linear : bool
        Whether colours are linear light; else they are sRGB.
    premultiplied : bool
        Whether they are multiplied by alpha as they are stored.

    """
    if colour.dtype == alpha.dtype and colour.dtype in (np.uint8, np.uint16) and not linear and not premultiplied:
        return from_codes(np.dstack([colour, alpha]))
    out = np.empty((*alpha.shape, 4), dtype=np.float32)
    out[..., 3] = np.clip(_shares(alpha), 0, 1)
    light: Singles = _shares(colour)
    if premultiplied and not linear:
        light /= np.where(out[..., 3:] > _NONE, out[..., 3:], np.float32(1))
    if not linear:
        light = np.asarray(to_linear(np.clip(light, 0, 1)), dtype=np.float32)
    if not (premultiplied and linear):
        light = np.asarray(np.clip(light, 0, 1) * out[..., 3:], dtype=np.float32)
    np.clip(light, 0, out[..., 3:], out=out[..., :3])
    return out


def _shares(values: NDArray[np.generic]) -> Singles:
    if values.dtype.kind == "f":  # what is no number is no light
        return np.asarray(np.nan_to_num(values.astype(np.float32), nan=0.0, posinf=1.0, neginf=0.0))
    top = 255 if values.dtype == np.uint8 else 65535
    return np.asarray(values, dtype=np.float32) / np.float32(top)


def to_8_bit(picture: Picture) -> NDArray[np.uint8]:
    """Return straight sRGB codes of 8 bits; a pixel without alpha is black."""
    alpha = np.ascontiguousarray(picture[..., 3])
    # Division comes once a pixel, and the table's index is made on the way; alpha goes along, and is put in at the end.
    out = _coded(
        by_pixel(picture, np.float32(_STEPS) / np.where(alpha > _NONE, alpha, np.float32(1))) + np.float32(0.5)
    )
    out[..., 3] = np.minimum(alpha, 1) * np.float32(255) + np.float32(0.5)
    return out


@dataclass(frozen=True)
class OnColour:
    """Encodes pictures over one colour to 8 bits, red, green and blue, in linear light."""

    colour: str
    """``#rrggbb``"""

    def __call__(self, picture: Picture) -> NDArray[np.uint8]:
        """Return sRGB codes (height, width, 3)."""
        out = np.empty((*picture.shape[:2], 3), dtype=np.uint8)
        self.fill(np.ascontiguousarray(picture), out, 0, 0, *picture.shape[:2])
        return out

    def fill(self, picture: Picture, out: NDArray[np.uint8], top: int, left: int, height: int, width: int) -> None:
        """Fill the codes of a picture in a window; both arrays are whole ones."""
        from choreo.picture.render import blend  # noqa: PLC0415

        rows, codes = picture.reshape(len(picture), -1), out.reshape(len(out), -1)
        blend.coded(rows, (top, left), (height, width), hex_to_linear(self.colour), _code_table(), codes)


def to_16_bit(picture: Picture) -> NDArray[np.uint16]:
    """Return straight sRGB codes of 16 bits; a pixel without alpha is black."""
    out = np.empty(picture.shape, dtype=np.uint16)
    out[..., :3] = _rounded(to_srgb(_straight(picture)), 65535)
    out[..., 3] = _rounded(picture[..., 3], 65535)
    return out


def over(upper: Picture, lower: Picture) -> Picture:
    """Return the upper picture over the lower one (Porter and Duff 1984): ``upper + (1 - alpha of upper) lower``."""
    return np.asarray(upper + (1 - upper[..., 3:]) * lower)


def by_pixel(picture: Picture, factor: NDArray[np.floating]) -> Picture:
    """Return a picture whose four channels are multiplied by one factor a pixel (height, width)."""
    import cv2  # noqa: PLC0415  (numpy takes three times as long over an axis of four)

    return np.asarray(cv2.multiply(picture, cv2.merge([np.asarray(factor, dtype=np.float32)] * 4)), dtype=np.float32)


def _coded(steps: Singles) -> NDArray[np.uint8]:
    """Codes of linear light in steps of the table, half a step added; works on what it is given."""
    import cv2  # noqa: PLC0415

    np.clip(steps, 0, np.float32(_STEPS), out=steps)
    return np.asarray(cv2.LUT(steps.astype(np.uint16), _code_table()[None]), dtype=np.uint8)


def _straight(picture: Picture) -> Singles:
    """Colours with the alpha divided out, within 0 and 1."""
    alpha = picture[..., 3:]
    straight = picture[..., :3] / np.where(alpha > _NONE, alpha, np.float32(1))
    return np.asarray(np.clip(straight, 0, 1), dtype=np.float32)


def _rounded(values: NDArray[np.floating], top: int) -> NDArray[np.floating]:
    return np.asarray(np.floor(np.clip(values, 0, 1) * top + 0.5))


@cache
def _code_table() -> NDArray[np.uint8]:
    table = _rounded(to_srgb(np.arange(_STEPS + 1) / _STEPS), 255).astype(np.uint8)
    table.setflags(write=False)
    return table


@cache
def _linear_table(deep: bool) -> Singles:
    top = 65535 if deep else 255
    table = to_linear(np.arange(top + 1) / top).astype(np.float32)
    table.setflags(write=False)
    return table
