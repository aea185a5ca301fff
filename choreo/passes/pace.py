"""Warn where parts move faster than reads well: where they strobe, and where they are only a streak.

In:  hulls, cameras, tracks of one shot, frame rate      Out: findings (one a shot)

With a shutter of 180 degrees an image is smeared over half of what it moves in a frame. A part no wider than that
leaves holes between two smears, and the eye sees it jump: strobing. For whole frames there is a guide, that a pan
should take seven seconds for the frame's width; a part may well be ten times as fast, for it is small and soon there
(common practice, no source), but not more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from choreo.errors import Finding
from choreo.geometry.cameras.camera import Camera
from choreo.model.choreography import FrameRate
from choreo.model.plan import Floats
from choreo.model.report import SHUTTER
from choreo.model.tracks import PartTrack

PAN_SECONDS = 7.0
"""A pan takes this long for the frame's width: a guide of camera makers for 24 frames a second, no hard limit."""
PART_FACTOR = 10.0
"""How much faster than such a pan a single part may be."""
_SHOWN = 4
"""Parts named in the finding; the report has them all."""


def pan_limit(width_px: int, rate: FrameRate) -> float:
    """Return how many px a frame a pan of `PAN_SECONDS` moves."""
    return width_px * rate.denominator / (PAN_SECONDS * rate.numerator)


def check_pace(
    shot: str,
    points: Mapping[str, Floats],
    cameras: Sequence[Camera],
    parts: Sequence[PartTrack],
    width_px: int,
    rate: FrameRate,
) -> tuple[Finding, ...]:
    """Return what moves faster than reads well, in one warning.

    Parameters
    ----------
    shot : str
        For the message.
    points : mapping of part id to (k, 3) array
        Corners of each part's convex hull, assembled, mm.
    cameras : sequence of Camera
        One a frame.
    parts : sequence of PartTrack
        Positions and places on the screen at whole frames.
    width_px : int
        Of the frame.
    rate : FrameRate
        Frames a second.

    Returns
    -------
    tuple of Finding
        Empty, or one that names the worst parts with the frames between which they are fastest.

    """
    limit = PART_FACTOR * pan_limit(width_px, rate)
    said: list[tuple[float, str]] = []
    for track in parts:
        if len(track.route) < 2 or len(track.screen) < 2:
            continue
        steps = np.diff(track.screen, axis=0)
        speed = np.linalg.norm(steps, axis=1)
        f = int(np.argmax(speed))
        if speed[f] == 0.0:
            continue
        pixels = cameras[f + 1].project(points[track.id] + track.position[f + 1])[0]
        width = float(np.ptp(pixels @ (steps[f] / speed[f])))
        hole = float(speed[f] * (1 - SHUTTER) - width)
        excess = max(float(speed[f]) / limit, float(speed[f] * (1 - SHUTTER)) / width if hole > 0 else 0.0)
        if speed[f] > limit or hole > 0:
            why = f", {hole:.0f} px between its smears" if hole > 0 else ""
            said.append((excess, f'"{track.id}" {speed[f]:.0f} px from frame {f} to {f + 1}{why}'))
    said.sort(key=lambda one: -one[0])
    return (_too_fast(shot, [text for _, text in said], limit),) if said else ()


def _too_fast(shot: str, said: list[str], limit: float) -> Finding:
    more = f", and {len(said) - _SHOWN} more" if len(said) > _SHOWN else ""
    return Finding(
        code="too-fast",
        severity="warning",
        what=f'In shot "{shot}" parts move faster than reads well: {"; ".join(said[:_SHOWN])}{more}.',
        why=f"More than {limit:.0f} px a frame is a streak, and a part narrower than half its step strobes under a "
        "180 degree shutter.",
        remedy="Give them a longer move or an easing with a gentler middle, or let them travel less.",
    )
