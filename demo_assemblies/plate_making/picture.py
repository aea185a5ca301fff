"""Pictures of parts as a studio would deliver them: keyed, cropped, with an exact soft edge; and their files."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from choreo.geometry.cameras.camera import orthographic_camera
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.solids.solid import Solid
from choreo.picture.render.colour import to_srgb
from choreo.picture.render.coverage import Window, coverage
from plate_making.finish import Coat, colours
from plate_making.light import light_on
from plate_making.surface import Piece, View, look, rows_of

_EACH_WAY = 3
"""Samples of colour a px, each way; the edge is no sample, but the true area."""
_MARGIN = 2
"""Empty px around a part."""


@dataclass(frozen=True, eq=False)
class Subject:
    """A part to be photographed."""

    solid: Solid
    """In its assembled place."""
    origin: np.ndarray
    """Where the part's own origin lies there, mm."""
    coat: Coat


@dataclass(frozen=True, eq=False)
class Photo:
    """A picture and where it stands."""

    codes: np.ndarray
    """(height, width, 4) sRGB, straight alpha."""
    pivot_px: tuple[float, float]


def photograph(
    subjects: Sequence[Subject],
    origin: np.ndarray,
    azimuth: float,
    elevation: float,
    px_per_mm: float,
    middle: np.ndarray,
    table: np.ndarray | None = None,
    window: Window | None = None,
) -> Photo:
    """Return a picture of parts about one point of product space, cropped to them.

    Parameters
    ----------
    subjects : sequence of Subject
        Drawn together, as they stand.
    origin : (3,)
        What the pivot is, product space, mm.
    azimuth, elevation : float
        Where the camera stands, degrees.
    px_per_mm : float
    middle : (3,) array
        Of the product, mm: the lamp is set up for it.
    table : (3, 3) array, optional
        How far parts are turned about the origin.
    window : Window, optional
        Px about the origin that the picture holds; as close to the parts as can be if left out.

    """
    turn = np.eye(3) if table is None else table
    outline = outline_of(subjects, origin, azimuth, elevation, px_per_mm, turn)
    window = cropped(outline) if window is None else window
    alpha = np.floor(coverage(outline, window) * 255 + 0.5).astype(np.uint8)
    axes = rows_of(azimuth, elevation) @ turn
    at = axes @ origin
    n, fine = _EACH_WAY, px_per_mm * _EACH_WAY
    pivot = -window.x * n - at[0] * fine, -window.y * n + at[1] * fine
    view = View(axes, fine, (float(pivot[0]), float(pivot[1])), window.width * n, window.height * n)
    pieces = [Piece(one.solid, one.coat.first.bevel_mm, one.coat.first.smooth_degrees) for one in subjects]
    high, seen = look(view, pieces)
    light = light_on(view, pieces, high, seen, middle)
    lit = colours(seen, light, [one.coat for one in subjects], [one.origin for one in subjects], axes)
    colour = _averaged(lit, seen.index, window, n)
    codes = np.zeros((window.height, window.width, 4), dtype=np.uint8)
    # A hair is added before rounding down, so that machines that round sums differently give one code.
    codes[..., :3] = np.floor(to_srgb(_mapped(colour)) * 255 + 0.5 + 1e-7)
    codes[..., 3] = alpha
    codes[alpha == 0] = 0
    return Photo(codes, (float(-window.x), float(-window.y)))


def outline_of(
    subjects: Sequence[Subject],
    origin: np.ndarray,
    azimuth: float,
    elevation: float,
    px_per_mm: float,
    turn: np.ndarray,
) -> shapely.Geometry:
    """Return what the parts cover, px about the origin; parts are turned about z or the camera is, never both."""
    camera = orthographic_camera(*_angles(rows_of(azimuth, elevation) @ turn), origin, px_per_mm, (0, 0))
    return shapely.union_all([silhouettes(one.solid, camera, np.zeros((1, 3)))[0] for one in subjects])


def cropped(outline: shapely.Geometry, margin: int = _MARGIN) -> Window:
    """Return whole px around an outline."""
    left, top, right, bottom = outline.bounds
    x, y = int(np.floor(left)) - margin, int(np.floor(top)) - margin
    return Window(x, y, int(np.ceil(right)) + margin - x, int(np.ceil(bottom)) + margin - y)


def _angles(axes: np.ndarray) -> tuple[float, float]:
    """Azimuth and elevation of a camera whose right stays level."""
    back = axes[2]
    if abs(axes[0, 1]) > 1e-9:
        raise ValueError("a table whose axis is not upright tilts the camera")
    azimuth = np.degrees(np.arctan2(back[0], back[2]))
    return round(float(azimuth), 9), round(float(np.degrees(np.arcsin(back[1]))), 9)


def _averaged(lit: np.ndarray, index: np.ndarray, window: Window, n: int) -> np.ndarray:
    """The mean of the samples of each px that meet something; px that meet nothing take their neighbours'."""
    row, column = np.divmod(index, window.width * n)
    place = row // n * window.width + column // n
    size = window.width * window.height
    count = np.bincount(place, minlength=size).astype(float)
    total = np.stack([np.bincount(place, weights=lit[:, c], minlength=size) for c in range(3)], axis=1)
    count, total = count.reshape(window.height, window.width), total.reshape(window.height, window.width, 3)
    for _ in range(2):
        empty = count == 0
        near, sums = _around(count), _around(total)
        count, total = np.where(empty, near, count), np.where(empty[..., None], sums, total)
    return total / np.where(count > 0, count, 1.0)[..., None]


def _around(values: np.ndarray) -> np.ndarray:
    padded = np.pad(values, [(1, 1), (1, 1), *[(0, 0)] * (values.ndim - 2)])
    height, width = values.shape[:2]
    return sum(padded[y : y + height, x : x + width] for y in range(3) for x in range(3))


def _mapped(light: np.ndarray) -> np.ndarray:
    """A soft shoulder: what is brighter than paper is pressed together, not cut."""
    knee = 0.7
    over = np.maximum(light - knee, 0.0)
    return np.minimum(light, knee) + (1 - knee) * (1 - np.exp(-over / (1 - knee)))


def png_bytes(codes: np.ndarray) -> bytes:
    """Return a PNG of (height, width, 4) codes of 8 bits, sRGB (W3C PNG; filters by the least sum of sizes)."""
    height, width = codes.shape[:2]
    rows = codes.reshape(height, width * 4).astype(np.int16)
    left = np.pad(rows, ((0, 0), (4, 0)))[:, :-4]
    above = np.pad(rows, ((1, 0), (0, 0)))[:-1]
    corner = np.pad(left, ((1, 0), (0, 0)))[:-1]
    guess = left + above - corner
    near = [np.abs(guess - one) for one in (left, above, corner)]
    paeth = np.where((near[0] <= near[1]) & (near[0] <= near[2]), left, np.where(near[1] <= near[2], above, corner))
    tried = np.stack([rows, rows - left, rows - above, rows - (left + above) // 2, rows - paeth]).astype(np.uint8)
    size = np.abs(tried.astype(np.int8).astype(np.int32)).sum(axis=2)
    chosen = size.argmin(axis=0)
    lines = tried[chosen, np.arange(height)]
    raw = np.column_stack([chosen.astype(np.uint8), lines]).tobytes()
    header = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)
    chunks = [(b"IHDR", header), (b"sRGB", b"\0"), (b"IDAT", zlib.compress(raw, 9)), (b"IEND", b"")]
    body = b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )
    return b"\x89PNG\r\n\x1a\n" + body
