"""One shot on its way to tracks: laid out, its corners rounded, timed, sampled; around a lock where there is one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from choreo.errors import ChoreoError, no_solution
from choreo.geometry.cameras.silhouette import hull_points
from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.collision.spinning import as_swept, with_turning
from choreo.geometry.layout.approved import Kept
from choreo.geometry.layout.subject import Frame, Subject
from choreo.geometry.solids.solid import Solid
from choreo.geometry.solids.turned import swept_by_turning
from choreo.model.assembly import Assembly
from choreo.model.choreography import FrameRate, PartMotion, Phase, Shot
from choreo.model.digits import as_written
from choreo.model.plan import Floats, Removal
from choreo.model.registration import Registration
from choreo.model.tracks import PartTrack, Spin
from choreo.motion.easing import parse_easing
from choreo.passes.corners import Corners, Sight, round_corners
from choreo.passes.framing import check_framing, frames_at_rest
from choreo.passes.layout import Layout, plan_layout
from choreo.passes.sampling import sample_tracks
from choreo.passes.schedule import Schedule, plan_schedule
from choreo.passes.spins import Spins, plan_spins
from choreo.passes.unlocking import around_lock, lacks_room, least_unlocking, roomier_gap, unlocking
from choreo.passes.ways import plan_ways
from choreo.recall import Recall, anew

OnStage = Callable[[str, Any], None]
_MOST_PARTS = 40
"""A product of more parts is not tried with other gaps around a lock: it would take too long."""
_FIT_ROUNDS = 8
"""Lengths that are tried for a shot that turns and whose phases fit; two or three agree as a rule."""


@dataclass(frozen=True, eq=False)
class Set:
    """What all shots have in common."""

    assembly: Assembly
    solids: Mapping[str, Solid]
    encounters: Encounters
    removal: Removal
    points: Mapping[str, Floats]
    """Convex hull corners of each part, assembled, mm."""
    frame: Frame
    rate: FrameRate
    registration: Registration | None = None
    """How the plates meet the hero still; None where that was not measured."""
    content: bytes = b""
    """Digest of all that went into the above."""
    recall: Recall = anew

    @cached_property
    def origins(self) -> Mapping[str, Floats]:
        """Where the origin of each part lies when assembled, mm."""
        return {part.id: np.array(part.offset) for part in self.assembly.parts}


@dataclass(frozen=True, eq=False)
class TimedShot:
    """A shot with its layout and schedule; phases that fit have the length that the schedule found."""

    shot: Shot
    layout: Layout
    schedule: Schedule
    spins: Mapping[str, Spin]
    kept: Kept | None = None


def time_shot(shot: Shot, film: Set, on_stage: OnStage) -> TimedShot:
    """Lay a shot out and time it as `time_as_laid_out` does, with as few crossing ways as can be timed.

    Where parts were moved so that fewer ways cross and the shot then cannot be timed, they stay where they were.
    """
    moved: list[bool] = []

    def heard(stage: str, artefact: Any) -> None:
        moved.append(isinstance(artefact, Layout) and artefact.uncrossed)
        on_stage(stage, artefact)

    try:
        return time_as_laid_out(shot, film, heard)
    except ChoreoError:
        if not any(moved):
            raise
        return time_as_laid_out(shot, film, on_stage, fewest_crossings=False)


def time_as_laid_out(shot: Shot, film: Set, on_stage: OnStage, *, fewest_crossings: bool = True) -> TimedShot:
    """Lay a shot out and time it, again and again where the two hang on each other.

    An orbit makes the layout hang on the length of the shot, and a phase with ``frames = "fit"`` makes that hang on
    the schedule, which hangs on the layout. They are solved in turn until they agree: then each phase is the
    shortest for this layout. Where they do not within `_FIT_ROUNDS`, the longest length met is kept and timed like
    one that was given: nothing then proves that it is the shortest. `on_stage` hears of every round.
    """
    removal, encounters = film.removal, film.encounters
    met: list[tuple[int, ...]] = []
    while True:
        laid = laid_out(shot, film, fewest_crossings=fewest_crossings)
        layout, bent, spins = laid.layout, laid.corners, laid.spins
        on_stage(f"layout of {shot.name}", layout)
        # Timing comes last: it never touches the geometry, it only asks it which lags collide.
        met_by = with_turning(encounters, spins.turning)
        schedule = plan_schedule(shot, removal, bent.routes, met_by, shared_mm=bent.shared_mm, stops_mm=bent.stops_mm)
        schedule = replace(schedule, warnings=(*bent.warnings, *schedule.warnings))
        on_stage(f"schedule of {shot.name}", schedule)
        if schedule.frames == tuple(phase.frames for phase in shot.phases):
            return TimedShot(shot, layout, schedule, spins.law)
        met.append(schedule.frames)
        last = len(met) >= _FIT_ROUNDS
        lengths = tuple(map(max, *met)) if last else schedule.frames
        fits = [phase.fit and not last for phase in shot.phases]
        phases = zip(shot.phases, lengths, fits, strict=True)
        shot = replace(shot, phases=tuple(replace(phase, frames=n, fit=fit) for phase, n, fit in phases))


@dataclass(frozen=True, eq=False)
class LaidOut:
    """A shot before it is timed."""

    layout: Layout
    """Its routes have their corners rounded."""
    corners: Corners
    spins: Spins


def laid_out(shot: Shot, film: Set, *, fewest_crossings: bool = True) -> LaidOut:
    """Lay a shot out; what only timing asks for is kept from it, so that an edit of the timing changes nothing here."""
    shape = untimed(shot)
    content = (film.content, film.frame, shape, fewest_crossings)
    return film.recall("layout", content, lambda: _lay_out(shape, film, fewest_crossings))


def _lay_out(shape: Shot, film: Set, fewest_crossings: bool) -> LaidOut:
    removal, encounters = film.removal, film.encounters
    layout = plan_layout(subject_of(shape, film), shape, film.frame, fewest_crossings=fewest_crossings)
    sight = Sight(film.points, layout.cameras, layout.rest_frames, film.frame.resolution)
    bent = round_corners(shape, removal, layout.routes, layout.shared_mm, encounters, sight)
    layout = replace(layout, routes=bent.routes, shared_mm=bent.shared_mm)
    spins = plan_spins(shape, removal, film.origins, bent.routes, encounters, bent.shared_mm)
    return LaidOut(layout, bent, spins)


def untimed(shot: Shot) -> Shot:
    """Return a shot of the same view and lengths without what is said of its timing; easings only by their extent."""

    def still(motion: PartMotion) -> PartMotion:
        extent = parse_easing(motion.easing).extent
        return PartMotion("linear" if extent == (0.0, 1.0) else motion.easing, None)

    def shape(phase: Phase) -> Phase:
        default = still(phase.default)
        own = {part: still(motion) for part, motion in phase.parts.items()}
        return Phase(
            phase.kind, phase.frames, 0, default, {p: motion for p, motion in own.items() if motion != default}
        )

    return replace(shot, phases=tuple(map(shape, shot.phases)), handoff=None)


def time_around(shot: Shot, film: Set, kept: Kept, on_stage: OnStage) -> TimedShot:
    """Lay out and time a shot around what is approved of it; where that fails, say what the least unlocking is."""
    try:
        timed = _timed_kept(shot, film, kept)
    except ChoreoError as error:
        if error.exit_code != 1:
            raise
        least = least_unlocking(kept, film.removal, lambda fewer: _can_be_timed(shot, film, fewer))
        late = [part for part in film.removal.order if part not in kept.tracks]
        gap = None
        if lacks_room(error.findings) and len(film.assembly.parts) <= _MOST_PARTS:
            gap = roomier_gap(film.frame.gap_px, lambda px: _can_be_timed(shot, _with_gap(film, px), kept))
        found = [around_lock(finding, late, gap) for finding in error.findings]
        raise no_solution(*found, unlocking(shot.name, least, late)) from error
    on_stage(f"layout of {shot.name}", timed.layout)
    on_stage(f"schedule of {shot.name}", timed.schedule)
    return timed


def _timed_kept(shot: Shot, film: Set, kept: Kept) -> TimedShot:
    """Time a shot around what is kept; late parts stay in the frame.

    Late parts rest where they would without a lock, also where a kept part has passed before; then they wait for it.
    Where there is no time for that, they keep out of all ways.
    """
    try:
        timed = _time_kept(shot, film, kept, ways_free=True)
        sampled(timed, film)  # that late parts stay in the frame is for the lock to answer for
    except ChoreoError as error:
        try:
            timed = _time_kept(shot, film, kept, ways_free=False)
            sampled(timed, film)
        except ChoreoError:
            raise error from None
    return timed


def _time_kept(shot: Shot, film: Set, kept: Kept, *, ways_free: bool) -> TimedShot:
    removal, encounters, subject = film.removal, film.encounters, subject_of(shot, film)
    layout = plan_layout(subject, shot, film.frame, kept, ways_free=ways_free)
    sight = Sight(film.points, layout.cameras, layout.rest_frames, film.frame.resolution)
    bent = round_corners(shot, removal, layout.routes, layout.shared_mm, encounters, sight)
    late = [part for part in removal.order if part not in kept.tracks]
    routes = {**layout.routes, **{part: bent.routes[part] for part in late}}
    alone = [item.part for item in subject.items if len(item.members) == 1 and not item.groups]
    routes = kept.as_approved(routes, alone)  # members of groups share corners, and stay as they are
    shared = {**layout.shared_mm, **{part: bent.shared_mm[part] for part in late if part in bent.shared_mm}}
    stops = {part: bent.stops_mm[part] for part in late if part in bent.stops_mm}
    layout = replace(layout, routes=routes, shared_mm=shared)
    spins = plan_spins(shot, removal, film.origins, routes, encounters, shared)
    schedule = plan_schedule(
        shot,
        removal,
        routes,
        with_turning(encounters, spins.turning),
        shared_mm=shared,
        stops_mm=stops,
        kept=kept.moves,
    )
    schedule = replace(schedule, warnings=(*bent.warnings, *schedule.warnings))
    return TimedShot(shot, layout, schedule, spins.law, kept)


def _with_gap(film: Set, gap_px: float) -> Set:
    return replace(film, frame=replace(film.frame, gap_px=gap_px))


def _can_be_timed(shot: Shot, film: Set, kept: Kept) -> bool:
    try:
        _timed_kept(shot, film, kept)
    except ChoreoError:
        return False
    return True


def subject_of(shot: Shot, film: Set) -> Subject:
    """What is laid out; a part that spins needs room for all that it sweeps."""
    removal, encounters = film.removal, film.encounters
    ways = plan_ways(shot, removal, encounters)
    spinning = {part: film.origins[part] for part, pin in shot.pins.items() if pin.spin}
    return Subject(
        _points(shot, film), removal, ways.directions, ways.travels, as_swept(encounters, spinning), ways.vias
    )


def _points(shot: Shot, film: Set) -> Mapping[str, Floats]:
    """Hull corners of each part as this shot shows it."""
    solids, axes = film.solids, film.origins
    spinning = [part for part, pin in shot.pins.items() if pin.spin]
    return {**film.points, **{p: hull_points(swept_by_turning(solids[p], axes[p])) for p in spinning}}


def sampled(timed: TimedShot, film: Set) -> tuple[PartTrack, ...]:
    """Tracks of a timed shot, inside the frame; what is kept stays as it was approved, to the last digit."""
    shot, layout, assembly = timed.shot, timed.layout, film.assembly
    moves, spins = timed.schedule.moves, timed.spins
    made = sample_tracks(shot, assembly.ids, film.origins, layout.cameras, layout.routes, moves, spins)
    parts = tuple(map(as_written, made))
    if (kept := timed.kept) is not None:
        parts = tuple(kept.tracks.get(track.id, kept.samples_as_approved(track)) for track in parts)
    positions = {track.id: track.position for track in parts}
    rest = frames_at_rest(layout.rest_frames, parts)
    unframed = check_framing(shot.name, _points(shot, film), layout.cameras, positions, rest, film.frame)
    if unframed:
        raise no_solution(*unframed)
    return parts
