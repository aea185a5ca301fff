"""The hero still takes over from the stack, or hands over to it.

Only the hero's opacity changes; the stack stays whole beneath it. The hero "over" a whole stack then has the
alpha of the stack or more at every step, where a cross-fade of both would dip to 3/4 in the middle
(1 - 1/2 * 1/2).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from choreo.errors import Finding, no_solution
from choreo.geometry.silhouette import hull_points
from choreo.geometry.solid import Solid
from choreo.model.choreography import Shot
from choreo.model.plan import Floats


def handoff(shot: Shot, solids: Mapping[str, Solid], cameras: Floats, positions: Mapping[str, Floats]) -> Floats:
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
    off = {name: _off_px(solid, cameras, positions[name]) for name, solid in solids.items()}
    findings: list[Finding] = []
    for starts in _assembled_ends(shot):
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
    shot: Shot, solids: Mapping[str, Solid], cameras: Floats, positions: Mapping[str, Floats]
) -> dict[str, int]:
    """Return from which frame on each part is within ``shot.handoff.handoff_px`` of its place for good.

    From there a compositor may let the still cover a part that has come home before the last one.

    Returns
    -------
    dict of part id to int
        Empty where no still takes over at the end of the shot.

    """
    if shot.handoff is None or False not in _assembled_ends(shot):
        return {}
    limit = shot.handoff.handoff_px
    away = {name: np.flatnonzero(_off_px(solid, cameras, positions[name]) > limit) for name, solid in solids.items()}
    return {name: int(frames[-1]) + 1 if frames.size else 0 for name, frames in away.items()}


def _assembled_ends(shot: Shot) -> list[bool]:
    """True for a beginning, False for an end, that the shot's phases leave assembled.

    Of two such ends one without a hold is left alone if the other has one: a shot that bursts at once and comes
    back to rest means its hand-off for the end.
    """
    moving = [phase.kind for phase in shot.phases if phase.kind != "hold"]
    begins = not shot.begins_exploded
    ends = not moving or moving[-1] == "assemble"
    if begins and ends:
        held = [shot.phases[0].kind == "hold", shot.phases[-1].kind == "hold"]
        return [end for end, still in zip((True, False), held, strict=True) if still] or [True, False]
    return [True] * begins + [False] * ends


def _off_px(solid: Solid, cameras: Floats, positions: Floats) -> Floats:
    """How far, frame by frame, the solid's outermost points lie from where they would be assembled, px."""
    frames = np.flatnonzero(positions.any(axis=1))
    turned = cameras[frames, :, :3]
    home = hull_points(solid) @ turned.transpose(0, 2, 1) + cameras[frames, None, :, 3]
    now = home + (turned @ positions[frames, :, None]).transpose(0, 2, 1)
    apart = now[..., :2] / now[..., 2:] - home[..., :2] / home[..., 2:]
    out = np.zeros(len(cameras))
    out[frames] = np.hypot(apart[..., 0], apart[..., 1]).max(axis=1, initial=0.0)
    return out


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
