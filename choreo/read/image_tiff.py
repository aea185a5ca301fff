"""TIFF 6.0 (Adobe, 1992): 8, 16 bit or floating point; the tag ExtraSamples says what its alpha means."""

from __future__ import annotations

import io
import logging
from typing import Any

import numpy as np

from choreo.read.image_base import UPRIGHT, Decoded, Pixels, check_size, damaged, several, spread, wrong_mode
from choreo.read.image_profile import profile_name
from choreo.read.refused import Refused

_BLACK_IS_ZERO, _RGB = 1, 2
_MODES = {0: "grey with white as zero", 3: "colours of a palette", 4: "a transparency mask", 5: "CMYK", 6: "YCbCr"}
_ASSOCIATED, _UNASSOCIATED = 1, 2
_ORIENTATION = 274
_DEPTHS = ("uint8", "uint16", "float16", "float32")


def decode(data: bytes) -> Decoded:
    """Return the picture in the bytes of a TIFF, or raise `Refused`."""
    import tifffile  # noqa: PLC0415

    # The library logs what it finds odd; what matters of it comes out as a finding.
    logging.getLogger("tifffile").addHandler(logging.NullHandler())
    logging.getLogger("tifffile").propagate = False

    try:
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            page: Any = file.pages[0]
            _check(page, file)
            pixels = page.asarray()
            extra = tuple(int(sample) for sample in page.extrasamples)
            planes = page.planarconfig == 2 and pixels.ndim == 3
            size = (page.imagelength, page.imagewidth)
            upright = UPRIGHT.get(_number(page, _ORIENTATION))
            profile = profile_name(bytes(page.iccprofile or b""))
    except (Refused, MemoryError):
        raise
    except Exception as error:  # a decoder may raise anything on hostile bytes
        raise damaged(str(error)) from error
    pixels = pixels.transpose(1, 2, 0) if planes else pixels.reshape(*size, -1)
    return _parted(pixels if upright is None else upright(pixels), extra, profile)


def _check(page: Any, file: Any) -> None:
    """Refuse by the tags, before a pixel is decoded."""
    check_size(int(page.imagewidth), int(page.imagelength))
    mode = int(page.photometric)
    if mode not in (_BLACK_IS_ZERO, _RGB):
        raise wrong_mode(_MODES.get(mode, f"colour mode {mode}"))
    if page.dtype is None or str(page.dtype) not in _DEPTHS or page.bitspersample < 8:
        raise wrong_mode(f"{page.bitspersample} bit values of another kind")
    if page.imagedepth != 1:
        raise several()
    if page.samplesperpixel > 4 + 1:
        raise wrong_mode(f"{page.samplesperpixel} channels")
    try:
        more = file.pages[1]
    except IndexError:
        return
    if not more.is_reduced:  # a small copy of the picture for browsing is no page
        raise several()


def _parted(pixels: Pixels, extra: tuple[int, ...], profile: str) -> Decoded:
    """Return colour and alpha apart; a further channel of no stated meaning is no alpha."""
    colours = pixels.shape[2] - len(extra)
    if colours not in (1, 3):
        raise wrong_mode(f"{pixels.shape[2]} channels, none of them marked as alpha")
    kinds = [(index, kind) for index, kind in enumerate(extra) if kind in (_ASSOCIATED, _UNASSOCIATED)]
    colour = pixels[..., :colours]
    if not kinds:
        return Decoded(None, premultiplied=False, colour=lambda: spread(colour), profile=profile, unmarked=bool(extra))
    index, kind = kinds[0]
    alpha = pixels[..., colours + index]
    if alpha.dtype.kind == "f" and not np.isfinite(alpha).all():
        raise damaged("its alpha holds values that are not finite")
    return Decoded(alpha, kind == _ASSOCIATED, lambda: spread(colour), profile)


def _number(page: Any, code: int) -> int:
    tag = page.tags.get(code)
    return int(tag.value) if tag is not None else 0
