"""Pictures for tests, drawn by rasterisers that the project does not use, and files that are wrong on purpose."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
from skimage.draw import polygon

SUPERSAMPLED = 16


def coverage(size, outlines, holes=(), factor=SUPERSAMPLED):
    """Coverage, 0 to 1, of polygons (px): scikit-image fills the samples whose centre is inside, boxes are averaged."""
    width, height = size
    fine = np.zeros((height * factor, width * factor))
    for value, rings in ((1.0, outlines), (0.0, holes)):
        for ring in rings:
            x, y = np.array(ring, dtype=float).T * factor - 0.5  # it counts from the centre of the first sample
            fine[polygon(y, x, fine.shape)] = value
    return fine.reshape(height, factor, width, factor).mean(axis=(1, 3))


def disc(size, centre, radius):
    """Exact-enough coverage of a disc, 0 to 1: 16 x 16 samples a pixel."""
    width, height = size
    fine = (np.arange(max(size) * 16) + 0.5) / 16
    inside = (fine[None, : width * 16] - centre[0]) ** 2 + (fine[: height * 16, None] - centre[1]) ** 2 <= radius**2
    return inside.reshape(height, 16, width, 16).mean(axis=(1, 3))


def rgba(alpha, depth="uint8"):
    """(h, w, 4) picture whose colour is a gradient, so that no channel could pass for another."""
    full = np.iinfo(depth).max if depth.startswith("u") else 1.0
    height, width = alpha.shape
    ramp = np.linspace(0.1, 0.6, width)[None, :].repeat(height, axis=0)
    channels = np.stack([ramp, ramp / 2, 1 - ramp, alpha], axis=-1) * full
    return (np.rint(channels) if depth.startswith("u") else channels).astype(depth)


def write_png(path, pixels):
    """A PNG of 8 or 16 bit, written after the standard (W3C PNG, sections 5 to 11), not by the library that reads."""
    path.write_bytes(png_bytes(pixels))
    return path


def png_bytes(pixels, extra=()):
    height, width, channels = pixels.shape
    bits = pixels.dtype.itemsize * 8
    header = struct.pack(">IIBBBBB", width, height, bits, {1: 0, 2: 4, 3: 2, 4: 6}[channels], 0, 0, 0)
    rows = pixels.astype(pixels.dtype.newbyteorder(">")).reshape(height, -1)
    raw = b"".join(b"\0" + row.tobytes() for row in rows)
    return png_file(("IHDR", header), *extra, ("IDAT", zlib.compress(raw, 1)), ("IEND", b""))


def png_file(*chunks):
    out = io.BytesIO(b"")
    out.write(b"\x89PNG\r\n\x1a\n")
    for name, content in chunks:
        body = name.encode("ascii") + content
        out.write(struct.pack(">I", len(content)) + body + struct.pack(">I", zlib.crc32(body)))
    return out.getvalue()
