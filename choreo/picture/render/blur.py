"""Motion blur: a frame is the mean of pictures at instants while the shutter is open.

The shutter is centred on the frame, so a blurred part lies, in the mean, where its track says. Each instant is a
whole picture with its own camera, places and masks; means are taken premultiplied, in linear light, so no light is
lost. An edge that moves d px while the shutter is open is drawn as n steps for a ramp. Within a pixel their
difference is at most ``1 / (2 n)`` of the contrast, and ``d / (8 n^2)`` where steps are no longer than a pixel.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from choreo.model.plan import Floats
from choreo.model.tracks import ShotTracks
from choreo.picture.render.moment import px_moved

ERROR = 1 / 256
"""Of the contrast of an edge, in linear light: what blur may be off by."""
STILL_PX = 0.05
"""Who moves less while the shutter is open stands still: half of it is within ERROR of a pixel's filter."""
MOST = 96
"""Instants at most; past 96 px the bound is 1/192 of the contrast and steps are longer than a pixel."""


def samples_for(moved_px: float) -> int:
    """Return how many instants blur needs for a way of so many px."""
    if moved_px <= STILL_PX:
        return 1
    return min(MOST, max(math.ceil(moved_px), math.ceil(math.sqrt(moved_px / (8 * ERROR)))))


def instants(
    shot: ShotTracks,
    frame: int,
    shutter: float,
    origins: Mapping[str, Floats],
    size: float = 1.0,
    reach: Mapping[str, float] | None = None,
) -> list[float]:
    """Return the times, in frames, whose pictures a blurred frame is the mean of; they lie about it evenly.

    Parameters
    ----------
    shot : ShotTracks
    frame : int
    shutter : float
        Degrees, 0 to 360: the exposure is ``shutter / 360`` of a frame.
    origins, size
        See `moment_at`.
    reach : mapping of part id to float, optional
        See `px_moved`.

    """
    span = shutter / 360
    count = samples_for(px_moved(shot, frame, span, origins, size, reach)) if span > 0 else 1
    return [frame + span * ((step + 0.5) / count - 0.5) for step in range(count)] if count > 1 else [float(frame)]
