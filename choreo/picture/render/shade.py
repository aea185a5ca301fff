"""The shading of a solid at one instant of an open shutter, lent to the instants about it.

While a shutter is open a part hardly turns before the camera: what is seen of its faces slides and grows with it. So a
blurred frame works a solid's shading out for few of its instants, as many as keep every place on the part within a
quarter of a pixel (`lenders`), and lays it under the exact outlines of all. Outlines, coverage and who is seen where
are never lent.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from choreo.geometry.solids.solid import Solid
from choreo.model.plan import Floats
from choreo.picture.render.colour import Singles
from choreo.picture.render.coverage import Window
from choreo.picture.render.moment import Moment

_STRAY_PX = 0.5
"""How far places on a part may move against each other between the ends of what one instant lends to."""
_RIM = 3
"""px by which shading is carried on beyond the outline, for outlines that are not quite the same."""
_NOTHING = 1e-3
"""Even what is turned away from the light gives back more of it than this; below it are roundings."""
_NINTH = np.float32(1 / 9)
BEYOND = 128
"""px around the frame for which shading is worked out as well: more than a part goes while a shutter is open."""


@dataclass(frozen=True, eq=False)
class Shade:
    """What comes back from a solid, with nothing cut off at its outline."""

    window: Window
    values: Singles
    """(height, width) share of light."""
    pivot: tuple[float, float]
    """Where the part's origin lies, px."""
    scale: float
    """px per mm there."""

    def laid(self, pivot: tuple[float, float], scale: float, window: Window) -> Singles:
        """Return it within a window, for the part's origin and scale at another instant."""
        import cv2  # noqa: PLC0415

        back = self.scale / scale
        offset = [
            (corner + 0.5 - there) * back + here - own - 0.5
            for corner, there, here, own in zip(
                (window.x, window.y), pivot, self.pivot, (self.window.x, self.window.y), strict=True
            )
        ]
        across = np.array([[back, 0.0, offset[0]], [0.0, back, offset[1]]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        size = (window.width, window.height)
        found = cv2.warpAffine(self.values, across, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(found, dtype=np.float32)


def carried_on(values: Floats) -> Singles:
    """Return shading (height, width) with what is next to it where there is none (0)."""
    import cv2  # noqa: PLC0415

    out = np.where(values > _NOTHING, values, 0.0).astype(np.float32)
    for _ in range(_RIM):
        there = (out > 0).astype(np.float32)
        near, count = cv2.blur(out, (3, 3)), cv2.blur(there, (3, 3))
        # The filter's running sums leave roundings where there is nothing; one pixel of nine is the least that counts.
        some = count > _NINTH / 2
        out = np.where((there == 0) & some, near / np.where(some, count, np.float32(1)), out)
    return out


def lenders(moments: Sequence[Moment], solids: dict[str, Solid]) -> list[Moment]:
    """Return the instants of one frame, each with the one whose shading it may take.

    Parameters
    ----------
    moments : sequence of Moment
        In the order of time.
    solids : dict of part id to Solid
        Those that are drawn as solids, at their assembled places.

    """
    if len(moments) < 3 or not solids:
        return list(moments)
    stray = max(_stray(part, solid, moments[0], moments[-1]) for part, solid in solids.items())
    groups = max(1, math.ceil(stray / _STRAY_PX))
    if groups > len(moments) // 2:
        return list(moments)
    cuts = [round(step * len(moments) / groups) for step in range(groups + 1)]
    out = []
    for start, stop in itertools.pairwise(cuts):
        middle = moments[(start + stop) // 2]
        out += [replace(moment, lit=middle) for moment in moments[start:stop]]
    return out


def _stray(part: str, solid: Solid, one: Moment, two: Moment) -> float:
    """How far the corners of a solid's box move on the screen beyond what its origin and scale tell, px."""
    low, high = solid.bounds
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    seen = []
    for moment in (one, two):
        at = moment.parts[part]
        seen.append((at.camera.project(corners + at.shift)[0] - at.screen) / at.scale)
    most = max(one.parts[part].scale, two.parts[part].scale)
    return float(np.linalg.norm(seen[1] - seen[0], axis=1).max()) * most
