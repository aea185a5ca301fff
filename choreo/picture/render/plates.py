"""Parts with a plate: a photographed picture, laid on the screen where the tracks say.

A plate is kept at several sizes, a quarter octave apart, each the true average of the finest (area filter). The
size nearest to what the screen needs is refined to twice its grid by a cubic filter whose even samples are the
originals, and then read linearly at exact places: a step is never longer than 2.2 of those samples, and a plate
that is shown at its own size, or at a half or a quarter, on whole pixels comes out as it was or as its average.
All of it happens premultiplied, in linear light, so no colour of hidden pixels leaks into an edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from choreo.geometry.plane.filled import filled_window
from choreo.model.plan import Floats
from choreo.picture.render.colour import Picture
from choreo.picture.render.coverage import Window, window_around
from choreo.picture.render.tile import Tile

_STEP = 2.0**0.25
"""From one kept size to the next."""
CROP_GRID = 16
"""Plates are cropped on this grid, px, so that averages of 2, 4, 8 and 16 px are those of the whole plate."""
_KEPT_SIZES = 4
"""How many refined sizes of a plate are kept: a zoom passes from one to the next."""


@dataclass(frozen=True, eq=False)
class PlateImage:
    """A plate in memory. Its alpha is cropped to what is not empty when it is first used."""

    picture: Picture
    """(height, width, 4) linear light, premultiplied, float32."""
    px_per_mm: float
    pivot_px: tuple[float, float]
    """Where the part's origin lies: px from the top-left corner of the top-left pixel."""
    turn: float = 0.0
    """Degrees by which the picture itself is turned about its pivot, clockwise, to lie right."""
    _sizes: dict[int, tuple[Picture, Floats]] = field(default_factory=dict)
    _crop: list[tuple[int, int, Picture]] = field(default_factory=list)

    def cropped(self) -> tuple[int, int, Picture]:
        """Return left, top and the part of the picture that is not empty (one empty pixel if all is)."""
        if not self._crop:
            rows, columns = filled_window(self.picture[..., 3], CROP_GRID)
            self._crop.append((columns.start, rows.start, np.ascontiguousarray(self.picture[rows, columns])))
        return self._crop[0]

    def refined(self, scale: float) -> tuple[Picture, Floats]:
        """Return the picture to be read at `scale` screen px for each of its own, and how its grid lies.

        Returns
        -------
        picture : (height, width, 4)
        grid : (4,)
            Samples along x and along y for each px of the plate, and the sample (x, y) at its top-left corner.

        """
        number = max(0, round(-math.log2(scale) / math.log2(_STEP)))
        if number not in self._sizes:
            while len(self._sizes) >= _KEPT_SIZES:
                self._sizes.pop(next(iter(self._sizes)))
            self._sizes[number] = self._refine(number)
        return self._sizes[number]

    def _refine(self, number: int) -> tuple[Picture, Floats]:
        import cv2  # noqa: PLC0415

        left, top, picture = self.cropped()
        height, width = picture.shape[:2]
        if number:
            share = _STEP**-number
            size = max(1, round(width * share)), max(1, round(height * share))
            picture = _singles(cv2.resize(picture, size, interpolation=cv2.INTER_AREA))
        per_x, per_y = picture.shape[1] / width, picture.shape[0] / height
        # Beyond its border a plate is empty: one pixel of that is part of the picture, or its edge would be cut.
        picture = np.pad(picture, ((2, 2), (2, 2), (0, 0)))
        half = np.array([[0.5, 0.0, 0.0], [0.0, 0.5, 0.0]])
        doubled = (picture.shape[1] * 2, picture.shape[0] * 2)
        fine = _singles(cv2.warpAffine(picture, half, doubled, flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP))
        # A cubic filter overshoots beside edges; light below none, or more than its alpha allows, is no picture.
        np.clip(fine, 0.0, 1.0, out=fine)
        np.minimum(fine[..., :3], fine[..., 3:], out=fine[..., :3])
        # Sample 2 (k + 2) stands at the centre of pixel k, which is at (k + 0.5) px.
        start = [2 * (1.5 - left * per_x), 2 * (1.5 - top * per_y)]
        return fine, np.array([2 * per_x, 2 * per_y, *start])


def plate_tile(
    plate: PlateImage, pivot: tuple[float, float], scale: float, frame: Window, opacity: float = 1.0, turn: float = 0.0
) -> Tile | None:
    """Return a plate on the screen, None if nothing of it is inside of the frame.

    Parameters
    ----------
    plate : PlateImage
    pivot : (x, y)
        Where its pivot lands, px.
    scale : float
        Screen px per mm, positive.
    frame : Window
        What lies outside of it is left out.
    opacity : float
        0 to 1.
    turn : float
        Degrees about the pivot, clockwise on the screen, beyond the plate's own turn.

    """
    import cv2  # noqa: PLC0415

    ratio = scale / plate.px_per_mm
    left, top, picture = plate.cropped()
    angle = math.radians(plate.turn + turn)
    cos, sin = math.cos(angle), math.sin(angle)
    x0, y0 = left - plate.pivot_px[0], top - plate.pivot_px[1]
    corners = [(x, y) for x in (x0, x0 + picture.shape[1]) for y in (y0, y0 + picture.shape[0])]
    across = [(cos * x - sin * y) * ratio + pivot[0] for x, y in corners]
    down = [(sin * x + cos * y) * ratio + pivot[1] for x, y in corners]
    window = window_around((min(across), min(down), max(across), max(down)), frame, margin=1)
    if window is None or opacity <= 0:
        return None
    fine, (per_x, per_y, start_x, start_y) = plate.refined(ratio)
    # From the centre of a pixel of the window to px of the plate, to a sample.
    x, y = window.x + 0.5 - pivot[0], window.y + 0.5 - pivot[1]
    back = np.array(
        [
            [cos, sin, cos * x + sin * y + plate.pivot_px[0] * ratio],
            [-sin, cos, cos * y - sin * x + plate.pivot_px[1] * ratio],
        ]
    )
    back *= np.array([[per_x], [per_y]]) / ratio
    back[:, 2] += (start_x, start_y)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    out = _singles(cv2.warpAffine(fine, back, (window.width, window.height), flags=flags))
    if opacity < 1:
        out *= np.float32(opacity)
    return Tile(window, out)


def _singles(found: object) -> Picture:
    return np.asarray(found, dtype=np.float32)
