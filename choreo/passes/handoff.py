"""The hero still takes over from the stack, or hands over to it.

Only the hero's opacity changes; the stack stays whole beneath it. The hero "over" a whole stack then has the
alpha of the stack or more at every step, where a cross-fade of both would dip to 3/4 in the middle
(1 - 1/2 * 1/2).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from choreo.errors import Finding, no_solution
from choreo.geometry.cameras.away import off_px
from choreo.geometry.solids.solid import Solid
from choreo.geometry.solids.turned import Turns
from choreo.model.choreography import Shot
from choreo.model.plan import Floats


def handoff(
    shot: Shot,
    solids: Mapping[str, Solid],
    cameras: Floats,
    positions: Mapping[str, Floats],
    turns: Mapping[str, Turns] = MappingProxyType({}),
) -> Floats:
    """Return the opacity of the hero still on every frame of a shot.

    Where the shot ends assembled it rises by equal steps to 1 on the last frame; where the shot begins
    assembled it falls from 1 on the first. It is 0 on every frame on which some part is off its assembled
    place by more than ``shot.handoff.handoff_px``, and everywhere where the shot asks for no hand-off.

    Parameters
    ----------
    shot : Shot
    solids : mapping of part id to Solid
    cameras : (frames, 3, 4) array
    positions : mapping of part id to (frames, 3) array
        Displacement from assembled, mm.
    turns : mapping of part id to Turns
        Of the parts that spin.

    Returns
    -------
    (frames,) array
        0 to 1.

    Raises
    ------
    ChoreoError
        Exit 1, one finding for each end of the shot that stands assembled for too few frames.

    """
    opacity = np.zeros(len(cameras))
    if shot.handoff is None:
        return opacity
    off = {name: off_px(solid, cameras, positions[name], turns.get(name)) for name, solid in solids.items()}
    findings: list[Finding] = []
    for starts in shot.assembled_ends:
        steps = shot.handoff.frames
        order = 1 if starts else -1
        by_part = {name: px[::order] for name, px in off.items()}
        findings += _too_short(shot, by_part, starts=starts)
        ramp = np.zeros(len(cameras))
        ramp[:steps] = 1 - np.arange(min(steps, len(ramp))) / steps
        opacity = np.maximum(opacity, ramp[::order])
    if findings:
        raise no_solution(*findings)
    return opacity


def settled_frames(
    shot: Shot,
    solids: Mapping[str, Solid],
    cameras: Floats,
    positions: Mapping[str, Floats],
    turns: Mapping[str, Turns] = MappingProxyType({}),
) -> dict[str, int]:
    """Return from which frame on each part is within ``shot.handoff.handoff_px`` of its place for good.

    What its plate is still moved by to meet the still does not count here.

    Returns
    -------
    dict of part id to int
        Empty where no still takes over at the end of the shot.

    """
    if shot.handoff is None or False not in shot.assembled_ends:
        return {}
    limit = shot.handoff.handoff_px
    off = {name: off_px(solid, cameras, positions[name], turns.get(name)) for name, solid in solids.items()}
    away = {name: np.flatnonzero(px > limit) for name, px in off.items()}
    return {name: int(frames[-1]) + 1 if frames.size else 0 for name, frames in away.items()}


def _too_short(shot: Shot, off: Mapping[str, Floats], *, starts: bool) -> list[Finding]:
    """At most one finding; `off` counts frames from the end in question."""
    assert shot.handoff is not None
    limit, steps = shot.handoff.handoff_px, shot.handoff.frames
    worst = np.max(list(off.values()), axis=0) if off else np.zeros(shot.frames)
    far = np.flatnonzero(worst > limit)
    whole = int(far[0]) if far.size else len(worst)
    if whole >= steps:
        return []
    end = "begins" if starts else "ends"
    why = f"The shot itself has {len(worst)} frames."
    if far.size:
        name = max(off, key=lambda part: float(off[part][whole]))
        frame = whole if starts else len(worst) - 1 - whole
        why = f'On frame {frame}, "{name}" is {_rounded_up(worst[whole])} px off; {limit:g} px is allowed.'
    return [
        Finding(
            "handoff-too-short",
            f'Shot "{shot.name}" {end} assembled for {whole} {"frame" if whole == 1 else "frames"}, '
            f"and the hand-off asks for {steps}.",
            place="shot.handoff.frames",
            why=why,
            remedy=f"Add {steps - whole} to the frames of the hold with which the shot {end}, "
            f"or ask for {whole} {'frame' if whole == 1 else 'frames'} of hand-off.",
        )
    ]


def _rounded_up(px: float) -> str:
    """Hundredths, so that what is over the limit never reads as the limit; rounding errors do not count."""
    return f"{math.ceil(px * 100 - 1e-6) / 100:.2f}"
