"""The name of the colour profile that a picture carries (ICC.1:2022, the tag of the profile's description)."""

from __future__ import annotations

import struct
from collections.abc import Sequence

from choreo.errors import Finding

MOST_PROFILE_BYTES = 4 * 2**20
_HEADER, _ENTRY, _MOST_TAGS = 128, 12, 200
_LONGEST = 80
_REC709 = (0.64, 0.33, 0.3, 0.6, 0.15, 0.06, 0.3127, 0.329)
"""x and y of red, green, blue and white (Recommendation ITU-R BT.709-6), which OpenEXR takes where a file has none."""


def profile_name(data: bytes) -> str:
    """Return what a profile calls itself; empty where it cannot be read."""
    try:
        (count,) = struct.unpack_from(">I", data, _HEADER)
        for index in range(min(count, _MOST_TAGS)):
            tag, offset, size = struct.unpack_from(">4sII", data, _HEADER + 4 + index * _ENTRY)
            if tag == b"desc":
                return _text(data[offset : offset + min(size, 4096)])
    except struct.error:
        return ""
    return ""


def primaries_name(places: Sequence[float]) -> str:
    """Return a name for primaries and white that are not the usual ones, given as their x and y; else nothing."""
    if len(places) != len(_REC709) or all(abs(a - b) < 2e-3 for a, b in zip(places, _REC709, strict=True)):
        return ""
    red, green = f"red at ({places[0]:.3f}, {places[1]:.3f})", f"green at ({places[2]:.3f}, {places[3]:.3f})"
    return f"primaries of its own, {red}, {green}"


def profile_notes(profile: str, name: str) -> list[Finding]:
    """Return a warning where a picture says that its colours are others than those taken for granted.

    Parameters
    ----------
    profile : str
        Of an `Image`.
    name : str
        Of the picture, safe to print.

    """
    if not profile or "srgb" in profile.casefold().replace(" ", ""):
        return []
    what = f"{name}: its colour profile is not that of sRGB ({profile[:_LONGEST]}), and is not followed."
    why = "Its colours are shown as if they were sRGB (OpenEXR: linear, primaries of BT.709)."
    remedy = "Convert it to sRGB where colours matter; outlines, tracks and mattes do not hang on them."
    return [Finding("colour-profile", what, why=why, remedy=remedy, severity="warning")]


def _text(tag: bytes) -> str:
    """Text of a description: ASCII (version 2), or the first of its languages in UTF-16 (version 4)."""
    if tag[:4] == b"desc":
        (length,) = struct.unpack_from(">I", tag, 8)
        text = tag[12 : 12 + min(length, _LONGEST)].decode("ascii", "replace")
    elif tag[:4] == b"mluc":
        length, offset = struct.unpack_from(">II", tag, 20)
        text = tag[offset : offset + min(length, 2 * _LONGEST)].decode("utf-16-be", "replace")
    else:
        return ""
    return "".join(letter for letter in text if letter.isprintable()).strip()
