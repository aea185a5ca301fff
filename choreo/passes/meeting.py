"""Plates meet the still: what each is off by is said, or eased away while the part comes home.

In:  tracks and hero opacity of one shot, a Registration      Out: tracks with a correction a frame, findings

A correction moves pictures, not parts: a plate whose numbers are wrong shows its part beside where it is. Solids, and
what is proved of them, stay as they are; how far a picture is moved is held against the clearance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from choreo.errors import Finding
from choreo.geometry.cameras.camera import Camera, view_axes
from choreo.geometry.registration.similarity import from_hero_view, level_shift, relative
from choreo.model.assembly import Assembly, Hero
from choreo.model.choreography import Shot
from choreo.model.plan import Floats
from choreo.model.plate_use import PlateUse
from choreo.model.registration import PartRegistration, Registration, Similarity
from choreo.model.tracks import PartTrack
from choreo.motion.law import evaluate_keys

_SAME_VIEW = 0.05
"""Degrees: 0.05 % of a part's depth, 0.1 px for 20 mm at 10 px a mm."""
_LISTED = 4
_NONE = (0.0, 0.0, 1.0, 0.0)


@dataclass(frozen=True, eq=False)
class Meeting:
    """How the plates of one shot meet the still."""

    parts: tuple[PartTrack, ...]
    register_px: Mapping[str, float]
    """How far the farthest point of each plate is moved, px of the hero still; of parts that are corrected."""
    warnings: tuple[Finding, ...] = ()


def meet_still(
    shot: Shot,
    parts: tuple[PartTrack, ...],
    hero_opacity: Floats,
    cameras: Sequence[Camera],
    assembly: Assembly,
    uses: Sequence[PlateUse],
    found: Registration | None,
    clearance_mm: float = 0.0,
) -> Meeting:
    """Return the tracks of a shot, with corrections where it asks for them, and what is worth a warning.

    Parameters
    ----------
    shot : Shot
    parts : tuple of PartTrack
        Those that have a correction already, from approved tracks, keep it.
    hero_opacity : (frames,) array
    cameras : sequence of Camera
        One a frame.
    assembly : Assembly
    uses : sequence of PlateUse
        Which plate each part shows.
    found : Registration or None
        None where there are no plates or no still.
    clearance_mm : float
        Half of it is the most that a picture may be moved without a warning.

    Returns
    -------
    Meeting
        A correction is whole on every frame on which the still shows, and none where the part is at rest; between, it
        goes as the part does. A part that stays goes as the last one that moves.

    """
    asked = shot.handoff
    if asked is None or (found is None and not asked.settle_into_register):
        return Meeting(parts, {})
    measured = {one.part: one for one in found.parts if one.goal is not None} if found is not None else {}
    shown = {use.part for use in uses if assembly.hero and from_hero_view(assembly.plates[use.plate], assembly.hero)}
    measured = {part: one for part, one in measured.items() if part in shown}
    if not asked.settle_into_register:
        return Meeting(parts, {}, _residual(shot.name, asked.handoff_px, measured))
    if measured and assembly.hero is not None and _turned_by(cameras, hero_opacity, assembly.hero) > _SAME_VIEW:
        other = _other_view(shot.name, _turned_by(cameras, hero_opacity, assembly.hero))
        return Meeting(parts, {}, (other, *_residual(shot.name, asked.handoff_px, measured)))
    shares = _shares(shot, parts, hero_opacity)
    settled = []
    for track in parts:
        one = measured.get(track.id)
        if track.register is None:
            track = replace(track, register=_samples(track, one, shares[track.id], assembly.hero))  # noqa: PLW2901
        settled.append(track)
    moved = {part: one.off_px for part, one in measured.items() if one.off_px is not None}
    return Meeting(tuple(settled), moved, _too_far(shot.name, moved, assembly.hero, clearance_mm))


def _samples(track: PartTrack, one: PartRegistration | None, share: Floats, hero: Hero | None) -> Floats:
    """(frames, 4): shift of the pivot, px of the frame; growth; turn, degrees clockwise."""
    out = np.tile(np.array(_NONE), (len(share), 1))
    if one is None or hero is None or one.placed is None or one.goal is None or one.pivot_at_px is None:
        return out
    by: Similarity = relative(one.placed, one.goal, one.pivot_at_px)
    out[:, :2] = np.array(level_shift(by.shift_px, hero)) * (share * track.scale / hero.px_per_mm)[:, None]
    out[:, 2] = by.scale**share
    out[:, 3] = by.turn_degrees * share
    return out


def _shares(shot: Shot, parts: Sequence[PartTrack], hero_opacity: Floats) -> dict[str, Floats]:
    """How much of its correction each part has on each frame, 0 to 1."""
    frames = np.arange(len(hero_opacity))
    ways = {track.id: np.clip(evaluate_keys(track.keys, frames), 0.0, 1.0) for track in parts}
    farthest = np.max(list(ways.values()), axis=0)
    within = _home(shot, hero_opacity)
    return {part: np.where(within, 1.0 - (way if way.any() else farthest), 0.0) for part, way in ways.items()}


def _home(shot: Shot, hero_opacity: Floats) -> np.ndarray:
    """Frames from the start of the last way home, and to the end of the first way out, where the still shows there."""
    ends = np.cumsum([phase.frames for phase in shot.phases])
    kinds = [phase.kind for phase in shot.phases]
    frames = np.arange(len(hero_opacity))
    within = np.zeros(len(frames), dtype=bool)
    if hero_opacity[-1] > 0:
        last = max((k for k, kind in enumerate(kinds) if kind == "assemble"), default=0)
        within |= frames >= int(ends[last]) - shot.phases[last].frames
    if hero_opacity[0] > 0:
        first = min((k for k, kind in enumerate(kinds) if kind == "explode"), default=len(kinds) - 1)
        within |= frames < int(ends[first])
    return within


def _turned_by(cameras: Sequence[Camera], hero_opacity: Floats, hero: Hero) -> float:
    """How far the camera is from the hero's view while the still shows, at most, degrees."""
    forward = view_axes(hero.view.azimuth, hero.view.elevation)[2]
    seen = np.stack([cameras[frame].forward for frame in np.flatnonzero(hero_opacity > 0).tolist()])
    apart = np.linalg.norm(np.cross(seen, forward), axis=1)
    return float(np.degrees(np.arctan2(apart, seen @ forward)).max())


def _residual(shot: str, limit: float, measured: Mapping[str, PartRegistration]) -> tuple[Finding, ...]:
    off = sorted(
        (one for one in measured.values() if one.off_px is not None and one.off_px > limit),
        key=lambda one: (-(one.off_px or 0.0), one.part),
    )
    if not off:
        return ()
    listed = "; ".join(f'"{one.part}" by {_up(one.off_px or 0.0)} px at {_at(one)}' for one in off[:_LISTED])
    more = f" and {len(off) - _LISTED} more" if len(off) > _LISTED else ""
    return (
        Finding(
            "handoff-residual",
            f'In shot "{shot}" plates are off the hero still by more than {limit:g} px: {listed}{more}.',
            place="shot.handoff",
            why="When the still takes over, what they show jumps by that much.",
            remedy="Paste the numbers that choreo check prints, or set settle_into_register = true in the hand-off.",
            severity="warning",
        ),
    )


def _other_view(shot: str, degrees: float) -> Finding:
    return Finding(
        "register-view-differs",
        f'In shot "{shot}" the camera is up to {degrees:.2g} degrees off the hero\'s view while the still shows.',
        place="shot.handoff.settle_into_register",
        why="What was measured on the still holds from its own view only, so no plate is corrected.",
        remedy="Let the shot begin and end with the hero's view, or photograph the still from the shot's.",
        severity="warning",
    )


def _too_far(shot: str, moved: Mapping[str, float], hero: Hero | None, clearance_mm: float) -> tuple[Finding, ...]:
    if hero is None:
        return ()
    far = {part: px / hero.px_per_mm for part, px in moved.items() if px / hero.px_per_mm > clearance_mm / 2}
    if not far:
        return ()
    listed = ", ".join(f'"{part}" by {mm:.2f} mm' for part, mm in list(far.items())[:_LISTED])
    return (
        Finding(
            "register-beyond-clearance",
            f'In shot "{shot}" plates are moved by more than half of clearance_mm to meet the still: {listed}.',
            place="shot.handoff.settle_into_register",
            why="Parts do not collide, but pictures that are moved so far may overlap while they pass each other.",
            remedy="Paste the numbers that choreo check prints, so that less is left to be corrected.",
            severity="warning",
        ),
    )


def _up(px: float) -> str:
    return f"{np.ceil(px * 100 - 1e-6) / 100:.2f}"


def _at(one: PartRegistration) -> str:
    x, y = one.off_at_px or (0.0, 0.0)
    return f"({x:.0f}, {y:.0f})"
