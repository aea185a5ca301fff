"""Pictures as OpenEXR (Academy Software Foundation): half or float, one part, scan lines, packed without loss.

Only the rectangle that holds something is stored (the data window); the display window says how large the picture is,
and outside of what is stored it is empty, as the format's documentation has it. Colour is linear light with the
primaries that the format takes for granted, those of Rec. ITU-R BT.709, and multiplied by alpha.
"""

from __future__ import annotations

import io
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

_LONGEST_NAME = 31
"""Bytes of an attribute's name; longer ones need a flag that not every reader knows."""


def exr_bytes(
    channels: Mapping[str, NDArray[np.generic]],
    corner: tuple[int, int],
    size: tuple[int, int],
    words: Mapping[str, str | int | float] | None = None,
    *,
    single_lines: bool = False,
) -> bytes:
    """Return the bytes of an OpenEXR file.

    Parameters
    ----------
    channels : mapping of name to (height, width) array of float16 or float32
        Of equal shape, the stored rectangle; none of it may be empty.
    corner : (x, y)
        Where that lies in the picture, px.
    size : (width, height)
        Of the whole picture.
    words : mapping of name to str, int or float, optional
        Attributes of the header: text, whole numbers, floats. Names have at most 31 bytes.
    single_lines : bool
        Pack each line by itself (ZIPS), else sixteen together (ZIP), which is a little smaller.

    """
    import OpenEXR  # noqa: PLC0415

    assert all(len(name.encode()) <= _LONGEST_NAME for name in words or {})
    height, width = next(iter(channels.values())).shape
    first = np.array(corner, dtype=np.int32)
    header = {
        "type": OpenEXR.scanlineimage,
        "compression": OpenEXR.ZIPS_COMPRESSION if single_lines else OpenEXR.ZIP_COMPRESSION,
        "dataWindow": (first, first + np.array([width - 1, height - 1], dtype=np.int32)),
        "displayWindow": (np.zeros(2, dtype=np.int32), np.array(size, dtype=np.int32) - 1),
        **(words or {}),
    }
    out = io.BytesIO()
    planes = {name: np.ascontiguousarray(plane) for name, plane in channels.items()}
    OpenEXR.File(header, planes).write(out)
    return out.getvalue()
