"""How finely samples of tracks are written; what is made from them is made from what is written."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from choreo.model.tracks import Floats, PartTrack

MM_DIGITS = 10
"""Decimals of a position, mm: half a step is 5e-11, far below the 1e-9 to which samples agree with the route."""
PX_DIGITS = 9
"""Decimals of a sample on the screen, px."""
TURN_DIGITS = 9
"""Decimals of a turn, degrees."""


def as_written(track: PartTrack) -> PartTrack:
    """Return a track with its samples as `tracks.json` holds them.

    Masks that are made from it are then the same, digit for digit, when it comes back from a lock.
    """
    return replace(
        track,
        position=_rounded(track.position, MM_DIGITS),
        screen=_rounded(track.screen, PX_DIGITS),
        turn=None if track.turn is None else _rounded(track.turn, TURN_DIGITS),
        register=None if track.register is None else _rounded(track.register, PX_DIGITS),
    )


def _rounded(values: Floats, digits: int) -> Floats:
    # Adding 0 makes -0 the same number as 0, as writing does.
    return np.asarray(np.round(values, digits) + 0.0)
