"""Pictures that are wrong on purpose, each in its own way, by name: what a folder from anywhere may hold."""

from __future__ import annotations

import io
import os
import struct

import numpy as np
from pictures import disc, png_bytes, png_file, rgba
from PIL import Image

SOUND = png_bytes(rgba(disc((60, 40), (30, 20), 12)))


def saved(kind, mode="RGBA", pages=1, **options):
    """A picture as Pillow writes it."""
    out = io.BytesIO()
    frames = [Image.fromarray(rgba(disc((60, 40), (30 - 3 * k, 20), 12))).convert(mode) for k in range(pages)]
    more = {"save_all": True, "append_images": frames[1:]} if pages > 1 else {}
    frames[0].save(out, kind, **more, **options)
    return out.getvalue()


def declared(width, height):
    """A PNG of a few bytes that says it is that large."""
    return png_file(("IHDR", struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)), ("IDAT", b""), ("IEND", b""))


BYTES = {
    "truncated in its header": lambda: (SOUND[:20], "image-damaged"),
    "truncated in its pixels": lambda: (SOUND[: len(SOUND) * 2 // 3], "image-damaged"),
    "truncated TIFF": lambda: (saved("TIFF")[:-2000], "image-damaged"),
    "a byte changed": lambda: (SOUND[:80] + bytes([SOUND[80] ^ 255]) + SOUND[81:], "image-damaged"),
    "declared huge": lambda: (declared(2**31 - 1, 2**31 - 1), "image-too-large"),
    "declared larger than it is": lambda: (SOUND[:16] + struct.pack(">II", 9000, 9000) + SOUND[24:], "image-damaged"),
    "without alpha": lambda: (saved("PNG", "RGB"), "no-alpha"),
    "an empty matte": lambda: (png_bytes(rgba(np.zeros((40, 60)))), "empty-matte"),
    "animated": lambda: (saved("PNG", pages=3), "several-images"),
    "several pages": lambda: (saved("TIFF", pages=2), "several-images"),
    "a palette": lambda: (saved("PNG", "P"), "image-mode"),
    "CMYK": lambda: (saved("TIFF", "CMYK"), "image-mode"),
    "one bit": lambda: (saved("PNG", "1"), "image-mode"),
    "a JPEG": lambda: (saved("JPEG", "RGB"), "not-an-image"),
    "no picture": lambda: (b"<html>", "not-an-image"),
    "nothing": lambda: (b"", "not-an-image"),
}
"""By name: bytes, and the code of the one finding."""


def lay(path, name):
    """Put one of `BYTES` there, and return the code of its finding."""
    data, code = BYTES[name]()
    path.write_bytes(data)
    return code


NODES = {
    "a folder": (lambda path: path.mkdir(), "not-a-file"),
    "a pipe": (os.mkfifo, "not-a-file"),
    "a link that leads out": (lambda path: path.symlink_to("/etc/hostname"), "path-outside"),
    "a link to itself": (lambda path: path.symlink_to(path.name), None),
}
"""Things that are no files: how they are made, and the code of the finding where it is always the same."""
