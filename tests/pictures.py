"""Pictures for tests, drawn by rasterisers that the project does not use, and files that are wrong on purpose."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np

SUPERSAMPLED = 16


def coverage(size, outlines, holes=(), factor=SUPERSAMPLED):
    """Coverage, 0 to 1, of polygons (px): samples whose centre is inside are filled, and boxes averaged."""
    width, height = size
    fine = np.zeros((height * factor, width * factor), dtype=bool)
    for ring in (*outlines, *holes):
        fine ^= samples(np.array(ring, dtype=float) * factor - 0.5, fine.shape)
    return fine.reshape(height, factor, width, factor).mean(axis=(1, 3))


def samples(ring, shape):
    """Which whole places lie inside a ring, by counting the edges to the left of them on each row (even-odd)."""
    crossed = np.zeros((shape[0], shape[1] + 1), dtype=np.int64)
    for (x0, y0), (x1, y1) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        low, high = sorted((y0, y1))
        rows = np.arange(max(int(np.ceil(low)), 0), min(int(np.ceil(high)), shape[0]))
        if len(rows):
            x = x0 + (rows - y0) * (x1 - x0) / (y1 - y0)
            np.add.at(crossed, (rows, np.clip(np.ceil(x).astype(int), 0, shape[1])), 1)
    return np.cumsum(crossed, axis=1)[:, :-1] % 2 == 1


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
