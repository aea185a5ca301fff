"""PNG (W3C, third edition, 2025): straight alpha, 8 or 16 bit."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from choreo.read.image_base import UPRIGHT, Decoded, check_size, damaged, several, spread, wrong_mode
from choreo.read.image_profile import MOST_PROFILE_BYTES, profile_name

_ORIENTATION, _SHORT = 274, 3
_GREY, _RGB, _PALETTE, _GREY_ALPHA, _RGBA = 0, 2, 3, 4, 6


def decode(data: bytes) -> Decoded:
    """Return the picture in the bytes of a PNG, or raise `Refused`."""
    import imagecodecs  # noqa: PLC0415

    chunks = _chunks(data)
    kind, header, profile = *next(chunks, (b"", b"")), ""
    if kind != b"IHDR" or len(header) != 13:
        raise damaged("its header is missing")
    width, height, bits, colour_type = struct.unpack(">IIBB", header[:10])
    check_size(width, height)
    if colour_type == _PALETTE:
        raise wrong_mode("colours of a palette")
    if colour_type not in (_GREY, _RGB, _GREY_ALPHA, _RGBA) or bits not in (1, 2, 4, 8, 16):
        raise damaged(f"colour type {colour_type} with {bits} bit is none")
    if bits < 8:
        raise wrong_mode(f"{bits} bit grey")
    for kind, content in chunks:
        if kind == b"iCCP":
            profile = _profile(content)
        if kind == b"acTL":
            raise several()
        if kind == b"tRNS":
            # A single colour that counts as transparent is no matte; decoders would make one of it.
            raise wrong_mode("one colour that counts as transparent")
    try:
        pixels = imagecodecs.png_decode(_bare(data))
    except MemoryError:
        raise
    except Exception as error:  # a decoder may raise anything on hostile bytes
        raise damaged(str(error)) from error
    if pixels.shape[:2] != (height, width):
        raise damaged("its size is not the one in its header")
    pixels = pixels.reshape(height, width, -1)
    upright = UPRIGHT.get(_orientation(data))
    pixels = pixels if upright is None else upright(pixels)
    if colour_type in (_GREY_ALPHA, _RGBA):
        return Decoded(pixels[..., -1], premultiplied=False, colour=lambda: spread(pixels[..., :-1]), profile=profile)
    return Decoded(None, premultiplied=False, colour=lambda: spread(pixels), profile=profile)


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Yield names and contents of the chunks before the pixels."""
    at = 8
    while at + 8 <= len(data):
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        if kind == b"IDAT":
            return
        if at + 12 + length > len(data):
            break
        yield kind, data[at + 8 : at + 8 + length]
        at += 12 + length
    raise damaged("it ends before its pixels begin")


def _orientation(data: bytes) -> int:
    """Return the tag Orientation of an eXIf chunk, which may stand before or after the pixels; 0 without one."""
    at = 8
    while at + 8 <= len(data):
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        if kind == b"eXIf":
            try:
                return _exif_orientation(data[at + 8 : at + 8 + length])
            except struct.error:  # cut off: it says nothing
                return 0
        at += 12 + length
    return 0


def _exif_orientation(content: bytes) -> int:
    """Return the tag of the first directory of Exif, which is laid out as TIFF is; 0 where there is none."""
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(content[:4])
    if order is None:
        return 0
    (start,) = struct.unpack(order + "I", content[4:8])
    (entries,) = struct.unpack(order + "H", content[start : start + 2])
    for index in range(entries):
        entry = content[start + 2 + 12 * index :][:10]
        code, kind, count, value = struct.unpack(order + "HHIH", entry)
        if (code, kind, count) == (_ORIENTATION, _SHORT, 1):
            return int(value)
    return 0


def _bare(data: bytes) -> bytes:
    """Return the file with its header and from its pixels on.

    What stands between can change none of them, but the decoder's library speaks to the terminal about it.
    """
    at, head = 8, b""
    while at + 8 <= len(data):
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        if kind == b"IDAT":
            return data[:8] + head + data[at:]
        if kind == b"IHDR":
            head = data[at : at + 12 + length]
        at += 12 + length
    return data


def _profile(content: bytes) -> str:
    """Return what an ICC profile says it is for; the chunk's own name where that cannot be read."""
    name, _, packed = content.partition(b"\0")
    try:
        # A name is near the beginning; what a hostile chunk might unpack to is never asked for.
        found = profile_name(zlib.decompressobj().decompress(packed[1:], MOST_PROFILE_BYTES))
    except zlib.error:
        found = ""
    return found or name.decode("latin-1")
