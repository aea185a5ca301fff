"""Moving pictures: H.264 in MP4 and VP9 in WebM, by PyAV, at the exact rate and with colours that mean what they say.

Codes stay those of sRGB, and the stream says so: primaries and matrix of BT.709, transfer of IEC 61966-2-1, limited
range (the code points of ITU-T H.273: 1, 13, 1). Conversion is our own: luma to the nearest code, chroma at the left
of each pair of pixels as H.264 has it by default, so no colour lies half a pixel off.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from choreo.errors import ChoreoError, Finding, wrong_input

if TYPE_CHECKING:
    from types import ModuleType

KINDS = ("mp4", "webm")
_THREADS = {"mp4": 1, "webm": 2}
"""Encoders cut their work by the number of threads, so it is the same on every machine. VP9's threads work on tiles,
which do not know of each other; with two of them x264 has been seen to give other bytes once in a thousand runs."""
_CODECS: dict[str, tuple[str, dict[str, str], dict[str, str]]] = {
    "mp4": ("libx264", {"preset": "veryfast", "crf": "16", "bf": "0"}, {"movflags": "+faststart"}),
    "webm": (
        "libvpx-vp9",
        {"crf": "20", "b": "0", "deadline": "good", "cpu-used": "4", "tile-columns": "2"},
        {"fflags": "+bitexact"},
    ),
}
"""Codec, its options, those of the container. Without pictures that look ahead (bf) a movie begins at its own zero and
no edit list is needed; players step through it evenly."""
_PRIMARIES, _TRANSFER, _MATRIX, _LIMITED = 1, 13, 1, 1
_KR, _KB = 0.2126, 0.0722
"""ITU-R BT.709-6, item 3.2."""


def write_movie(
    path: Path, frames: Iterable[NDArray[np.uint8]], pixels: tuple[int, int], rate: tuple[int, int]
) -> Iterator[int]:
    """Write a movie, whole or not at all; its name's ending tells which kind.

    Parameters
    ----------
    path : Path
        Ends on ``.mp4`` or ``.webm``.
    frames : iterable of (height, width, 3) arrays of uint8
        sRGB codes.
    pixels : (width, height)
        An odd number is made even by repeating the last column or row: chroma comes in pairs.
    rate : (numerator, denominator)
        Frames a second. Exact in MP4; WebM counts milliseconds and rounds each frame's time to them.

    Yields
    ------
    int
        How many frames have been encoded, after each.

    Raises
    ------
    ChoreoError
        Exit 2 if the library is missing, or the file cannot be written.

    """
    library = _library()
    aside = path.with_name(f".choreo-{os.getpid()}-{path.name}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield from _encoded(library, aside, path.suffix[1:], frames, pixels, Fraction(*rate))
        os.replace(aside, path)  # noqa: PTH105
    except OSError as error:
        raise wrong_input(
            Finding(
                "output-not-written",
                "The movie could not be written.",
                str(path),
                why=f"The system says: {error.strerror or type(error).__name__}.",
                remedy="Make room, or allow writing there, or choose another folder. Frames that are there are whole.",
            )
        ) from None
    finally:
        with suppress(OSError):
            aside.unlink(missing_ok=True)


def encoder_version() -> str:
    """Return which library encodes.

    Raises
    ------
    ChoreoError
        Exit 2 if it is missing.

    """
    return str(_library().__version__)


def to_bt709(codes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return limited-range Y'CbCr 4:2:0 of sRGB codes, planes one below the other as encoders take them.

    Parameters
    ----------
    codes : (height, width, 3) array
        Even numbers of rows and columns.

    Returns
    -------
    (height * 3 / 2, width) array
        Each value is the nearest code to the exact one.

    """
    import cv2  # noqa: PLC0415

    height, width = codes.shape[:2]
    luma = np.array([_KR, 1 - _KR - _KB, _KB])
    rows = np.stack([luma, ([0, 0, 1] - luma) / (2 - 2 * _KB), ([1, 0, 0] - luma) / (2 - 2 * _KR)])
    scale = np.array([219.0, 224.0, 224.0])[:, None] / 255
    # Halves are added here, so that cutting off what follows the point rounds to the nearest.
    matrix = np.hstack([rows * scale, [[16.5], [128.5], [128.5]]]).astype(np.float32)
    planes = cv2.transform(codes.astype(np.float32), matrix)
    chroma = (planes[::2, :, 1:] + planes[1::2, :, 1:]) * np.float32(0.5)
    across, down = np.array([0.25, 0.5, 0.25], dtype=np.float32), np.ones(1, dtype=np.float32)
    filtered = cv2.sepFilter2D(chroma, -1, across, down, borderType=cv2.BORDER_REPLICATE)[:, ::2]
    out = np.empty((height * 3 // 2, width), dtype=np.uint8)
    out[:height] = planes[..., 0]
    out[height:] = np.moveaxis(filtered, 2, 0).reshape(height // 2, width)
    return out


def _encoded(
    library: Any,
    path: Path,
    kind: str,
    frames: Iterable[NDArray[np.uint8]],
    pixels: tuple[int, int],
    rate: Fraction,
) -> Iterator[int]:
    codec, options, container = _CODECS[kind]
    with library.open(str(path), "w", format=kind, options=container) as movie:
        stream = movie.add_stream(codec, rate=rate, options={**options, "g": str(max(1, round(rate / 2)))})
        stream.width, stream.height = (side + side % 2 for side in pixels)
        stream.pix_fmt = "yuv420p"
        context = stream.codec_context
        context.thread_count = _THREADS[kind]
        context.time_base, context.sample_aspect_ratio = 1 / rate, Fraction(1)
        context.color_primaries, context.color_trc = _PRIMARIES, _TRANSFER
        context.colorspace, context.color_range = _MATRIX, _LIMITED
        for number, codes in enumerate(frames):
            frame = library.VideoFrame.from_ndarray(to_bt709(_even(codes)), format="yuv420p")
            frame.pts, frame.time_base = number, 1 / rate
            frame.colorspace, frame.color_range = _MATRIX, _LIMITED
            frame.color_primaries, frame.color_trc = _PRIMARIES, _TRANSFER
            movie.mux(stream.encode(frame))
            yield number + 1
        movie.mux(stream.encode())


def _even(codes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    height, width = codes.shape[:2]
    return np.pad(codes, ((0, height % 2), (0, width % 2), (0, 0)), mode="edge") if height % 2 or width % 2 else codes


def _library() -> ModuleType:
    try:
        import av  # noqa: PLC0415
    except ImportError as error:
        raise _missing() from error
    return av


def _missing() -> ChoreoError:
    return wrong_input(
        Finding(
            "movies-need-av",
            "Movies are written by PyAV, which is not installed.",
            why="It is left out by default, as it brings an encoder under the GPL with it.",
            remedy="Type: pip install av",
        )
    )
