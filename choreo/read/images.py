"""Pictures with an alpha channel: PNG, TIFF and OpenEXR, at the depth at which they were saved.

The first bytes of a file say of what kind it is, never its name. Its declared size is looked at before a pixel is
decoded. Whatever is wrong ends in one finding.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.read.file_bytes import read_bytes
from choreo.read.image_base import SAVE, Decoded, Pixels
from choreo.read.notes import printable
from choreo.read.refused import Refused

MOST_FILE_BYTES = 2 * 2**30


@dataclass(frozen=True, eq=False)
class Image:
    """One picture."""

    alpha: Pixels
    """(height, width), as stored: uint8 or uint16 up to their largest, float16 or float32 up to 1."""
    kind: str
    """``"png"``, ``"tiff"`` or ``"exr"``."""
    premultiplied: bool
    """Whether colour is stored multiplied by alpha: always in OpenEXR, never in PNG, as a TIFF's tag says."""
    digest: str
    """``sha256:`` and the hexadecimal digest of the file's bytes."""
    _colour: Callable[[], Pixels]
    profile: str = ""
    """The name of the colour profile it carries; colours are taken to be sRGB (OpenEXR: linear) whatever it is."""

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, px."""
        return self.alpha.shape[1], self.alpha.shape[0]

    @property
    def depth(self) -> str:
        """Type of one value: ``"uint8"``, ``"uint16"``, ``"float16"`` or ``"float32"``."""
        return str(self.alpha.dtype)

    @cached_property
    def colour(self) -> Pixels:
        """(height, width, 3) red, green and blue as stored, a grey picture's value three times; numbers all."""
        colour = self._colour()
        if colour.dtype.kind == "f" and not np.isfinite(colour).all():
            # A render's stray pixels; left in, one of them would spread over all that is filtered with it.
            return np.asarray(np.nan_to_num(colour, nan=0.0, posinf=1.0, neginf=0.0))
        return colour


def read_image(path: Path, name: str | None = None, *, alpha: bool = True) -> Image:
    """Return a picture.

    Parameters
    ----------
    path : Path
        A plain file. That it lies inside the project is for `read.paths.check_path` to see to.
    name : str, optional
        What findings call it; the path if left out.
    alpha : bool
        Whether it must have an alpha channel. Where it need not, a picture without one is opaque.

    Raises
    ------
    ChoreoError
        With one finding, if it cannot be read, is too large, is no PNG, TIFF or OpenEXR, is damaged, holds several
        pictures, or has no alpha channel.

    """
    called = printable(name if name is not None else str(path))
    try:
        data = read_bytes(path, MOST_FILE_BYTES)
        kind = _kind(data)
        decoded = _decoder(kind)(data)
        found = _opaque(decoded.colour()) if decoded.alpha is None and not alpha else decoded.alpha
    except Refused as refused:
        raise _error(refused, called) from refused
    except MemoryError as error:
        large = Refused("image-too-large", "This picture does not fit into memory.", "Save it smaller.")
        raise _error(large, called) from error
    if found is None:
        what = "This picture has no alpha channel."
        if decoded.unmarked:
            what = "This picture has a further channel, of which it does not say that it is alpha."
        none = Refused("no-alpha", what, SAVE, "The matte is what is read.")
        raise _error(none, called)
    digest = "sha256:" + hashlib.sha256(data).hexdigest()
    return Image(found, kind, decoded.premultiplied, digest, decoded.colour, decoded.profile)


def _error(refused: Refused, called: str) -> ChoreoError:
    return wrong_input(Finding(refused.code, refused.what, called, why=refused.why, remedy=refused.remedy))


_KINDS = {
    "png": (b"\x89PNG\r\n\x1a\n",),
    "tiff": (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),
    "exr": (b"\x76\x2f\x31\x01",),
}
_OTHERS = {
    "a JPEG, which has no alpha": (b"\xff\xd8\xff",),
    "a GIF": (b"GIF8",),
    "a BMP": (b"BM",),
    "a layered document": (b"8BPS",),
    "a WebP or another RIFF file": (b"RIFF",),
    "a PDF": (b"%PDF",),
    "an SVG or another XML file": (b"<?xml", b"<svg"),
}


def _kind(data: bytes) -> str:
    for kind, starts in _KINDS.items():
        if data.startswith(starts):
            return kind
    other = next((name for name, starts in _OTHERS.items() if data.startswith(starts)), None)
    what = f"This is {other}." if other else "This is no picture that can be read here."
    if not data:
        what = "The file is empty."
    raise Refused(
        "not-an-image", what, "Save it as PNG, TIFF or OpenEXR.", "Its first bytes say so, whatever its name."
    )


def _decoder(kind: str) -> Callable[[bytes], Decoded]:
    from choreo.read import image_exr, image_png, image_tiff  # noqa: PLC0415  (projects without pictures never pay)

    return {"png": image_png.decode, "tiff": image_tiff.decode, "exr": image_exr.decode}[kind]


def _opaque(colour: Pixels) -> Pixels:
    full = 1 if colour.dtype.kind == "f" else np.iinfo(colour.dtype).max
    return np.full(colour.shape[:2], full, dtype=colour.dtype)
