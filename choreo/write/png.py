"""Pictures as PNG (W3C, Portable Network Graphics, third edition): 8 or 16 bits, grey, colour, with alpha or without.

Our own, because frames come by the thousand: each row is told by its difference from the pixel to the left (filter
1), which is four times as fast to make and to pack as trying all filters, and hardly larger for what is drawn here.
Colour is marked as sRGB; the same picture gives the same bytes.
"""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_COLOUR_TYPES = {1: 0, 2: 4, 3: 2, 4: 6}
"""By channels: grey, grey with alpha, colour, colour with alpha."""
_LEFT = 1
"""The filter that takes the pixel to the left away."""
_LEVEL = 4


def png_bytes(codes: NDArray[np.generic]) -> bytes:
    """Return the bytes of a PNG.

    Parameters
    ----------
    codes : (height, width) or (height, width, 1 to 4) array of uint8 or uint16
        sRGB; alpha is straight, not multiplied into the colour.

    """
    import imagecodecs  # noqa: PLC0415

    pixels = codes[..., None] if codes.ndim == 2 else codes
    height, width, channels = pixels.shape
    depth = pixels.dtype.itemsize
    big = np.ascontiguousarray(pixels, dtype=pixels.dtype.newbyteorder(">"))
    rows = big.view(np.uint8).reshape(height, -1)
    step = channels * depth
    filtered = np.empty((height, 1 + rows.shape[1]), dtype=np.uint8)
    filtered[:, 0] = _LEFT
    filtered[:, 1 : 1 + step] = rows[:, :step]
    np.subtract(rows[:, step:], rows[:, :-step], out=filtered[:, 1 + step :])
    head = struct.pack(">IIBBBBB", width, height, 8 * depth, _COLOUR_TYPES[channels], 0, 0, 0)
    packed = bytes(imagecodecs.zlibng_encode(filtered.tobytes(), level=_LEVEL))
    # sRGB with perceptual intent; grey pictures are mattes, and coverage has no colour space.
    space = _chunk(b"sRGB", b"\0") if channels >= 3 else b""
    return _SIGNATURE + _chunk(b"IHDR", head) + space + _chunk(b"IDAT", packed) + _chunk(b"IEND", b"")


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(data, zlib.crc32(kind)))
