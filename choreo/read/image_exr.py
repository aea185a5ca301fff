"""OpenEXR (Academy Software Foundation): half or float, colour multiplied by alpha, a window into a larger picture."""

from __future__ import annotations

import contextlib
import io
import os
from collections.abc import Iterator
from typing import Any

import numpy as np

from choreo.read.image_base import Decoded, Pixels, check_size, damaged, several, wrong_mode
from choreo.read.image_profile import primaries_name
from choreo.read.refused import Refused

Window = tuple[int, int, int, int]
"""x and y of the first pixel, x and y of the last."""


def decode(data: bytes) -> Decoded:
    """Return the picture in the bytes of an OpenEXR file, or raise `Refused`.

    Notes
    -----
    The picture is the display window: pixels outside it are left out, and where no pixels are stored it is
    transparent, as the format's own documentation has it.

    """
    try:
        shown, stored, profile = _check(data)
        channels = {name: channel.pixels for name, channel in _open(data, header_only=False).channels().items()}
    except UnicodeDecodeError as error:  # the library reads names only when they are asked for
        raise damaged("a name in its header is no text") from error
    for name, pixels in channels.items():
        if pixels is None or pixels.shape != (stored[3] - stored[1] + 1, stored[2] - stored[0] + 1):
            raise damaged(f"channel {name} has no pixels")
    colours = [name for name in ("R", "G", "B") if name in channels] or [name for name in ("Y",) if name in channels]
    alpha = _placed(channels["A"], shown, stored) if "A" in channels else None
    if alpha is not None and not np.isfinite(alpha).all():
        raise damaged("its alpha holds values that are not finite")

    def colour() -> Pixels:
        width, height = shown[2] - shown[0] + 1, shown[3] - shown[1] + 1
        out = np.zeros((height, width, 3), dtype=np.float32 if not colours else channels[colours[0]].dtype)
        for index, name in enumerate(("R", "G", "B")):
            source = "Y" if colours == ["Y"] else name
            if source in channels:
                out[..., index] = _placed(channels[source], shown, stored)
        return out

    if alpha is None and not colours:
        raise Refused(
            "no-alpha",
            f"This picture has no channel A; its channels are {', '.join(sorted(channels)[:8]) or 'none'}.",
            "Save the layer that is meant as the file's own R, G, B and A.",
        )
    return Decoded(alpha, premultiplied=True, colour=colour, profile=profile)


def _check(data: bytes) -> tuple[Window, Window, str]:
    """Refuse by the header, before a pixel is decoded; return display and data window, and unusual primaries."""
    file = _open(data, header_only=True)
    if len(file.parts) != 1:
        raise several()
    header = file.header()
    if "deep" in str(header.get("type", "")).lower():
        raise wrong_mode("deep samples")
    shown, stored = _window(header["displayWindow"]), _window(header["dataWindow"])
    for window in (shown, stored):
        check_size(window[2] - window[0] + 1, window[3] - window[1] + 1)
    for channel in header["channels"]:
        if channel.name in ("R", "G", "B", "Y", "A") and (channel.xSampling, channel.ySampling) != (1, 1):
            raise wrong_mode("channels of several resolutions")
    return shown, stored, primaries_name([float(place) for place in header.get("chromaticities", ())])


def _open(data: bytes, *, header_only: bool) -> Any:
    import OpenEXR  # noqa: PLC0415

    try:
        with _silent():
            file = OpenEXR.File(io.BytesIO(data), separate_channels=True, header_only=header_only)
    except MemoryError:
        raise
    except Exception as error:  # a decoder may raise anything on hostile bytes
        raise damaged("its header cannot be read" if header_only else "its pixels cannot be read") from error
    if not file.parts:
        raise damaged("its pixels cannot be read")
    return file


def _window(corners: Any) -> Window:
    (left, top), (right, bottom) = ((int(x), int(y)) for x, y in corners)
    return left, top, right, bottom


def _placed(pixels: Pixels, shown: Window, stored: Window) -> Pixels:
    """Return the stored pixels where the display window has them."""
    if pixels.dtype.kind != "f":
        raise wrong_mode("whole numbers")
    if shown == stored:
        return pixels
    out = np.zeros((shown[3] - shown[1] + 1, shown[2] - shown[0] + 1), dtype=pixels.dtype)
    left, top = max(shown[0], stored[0]), max(shown[1], stored[1])
    right, bottom = min(shown[2], stored[2]) + 1, min(shown[3], stored[3]) + 1
    if right > left and bottom > top:
        out[top - shown[1] : bottom - shown[1], left - shown[0] : right - shown[0]] = pixels[
            top - stored[1] : bottom - stored[1], left - stored[0] : right - stored[0]
        ]
    return out


@contextlib.contextmanager
def _silent() -> Iterator[None]:
    """Keep the library's own remarks off the terminal: it prints from Python and from C."""
    words = io.StringIO()
    with contextlib.ExitStack() as stack:
        stack.enter_context(contextlib.redirect_stdout(words))
        stack.enter_context(contextlib.redirect_stderr(words))
        with contextlib.suppress(OSError):  # there may be no standard error at all
            kept = os.dup(2)
            stack.callback(os.close, kept)
            stack.callback(os.dup2, kept, 2)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 2)
            os.close(nowhere)
        yield
