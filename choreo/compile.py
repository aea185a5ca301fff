"""The compiler: assembly and choreography in, tracks and report out. A reader starts here.

Every pass is called by name, in order. After each, `on_stage(name, artefact)` is called; timing and
dumping hang on that single hook and no pass knows of them. The checks that are cheap run always.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from choreo.checks.check_tracks import check_tracks
from choreo.errors import ChoreoError, Finding, no_solution, wrong_input
from choreo.geometry.approved import Kept
from choreo.geometry.encounter import Encounters, make_encounters
from choreo.geometry.silhouette import hull_points
from choreo.geometry.solid import Solid, build_solid
from choreo.geometry.subject import Frame, Subject
from choreo.model.assembly import Assembly
from choreo.model.choreography import Choreography, FrameRate, Shot
from choreo.model.plan import Floats, Removal
from choreo.model.report import Report
from choreo.model.tracks import PartTrack, ShotTracks, Tracks
from choreo.passes.contacts import ContactGraph, find_contacts, find_loose_joints, find_overlaps
from choreo.passes.corners import Sight, round_corners
from choreo.passes.framing import check_framing, frames_at_rest
from choreo.passes.handoff import handoff
from choreo.passes.keep import keep_approved, still_parts
from choreo.passes.layout import Layout, plan_layout
from choreo.passes.masking import masking
from choreo.passes.pace import check_pace
from choreo.passes.plate_use import plan_plates, plate_findings
from choreo.passes.reading import check_readable
from choreo.passes.removal import choose_body, plan_removal
from choreo.passes.sampling import sample_tracks
from choreo.passes.schedule import Schedule, plan_schedule
from choreo.passes.summary import ShotFacts, summarise
from choreo.passes.unlocking import least_unlocking, unlocking
from choreo.passes.visibility import visibility
from choreo.passes.ways import plan_ways
from choreo.passes.wishes import settle_wishes

if TYPE_CHECKING:
    OnStage = Callable[[str, Any], None]


_FIT_ROUNDS = 8
"""Lengths that are tried for a shot that turns and whose phases fit; two or three agree as a rule."""


def no_hook(_name: str, _artefact: Any) -> None:
    """Do nothing between stages."""


@dataclass(frozen=True, eq=False)
class Apart:
    """An assembly that is proved to come apart."""

    assembly: Assembly
    solids: Mapping[str, Solid]
    contacts: ContactGraph
    encounters: Encounters
    removal: Removal
    warnings: tuple[Finding, ...] = ()


@dataclass(frozen=True, eq=False)
class Film:
    """Everything a compile found out."""

    apart: Apart
    tracks: Tracks
    report: Report
    frame: Frame


def take_apart(
    assembly: Assembly,
    clearance_mm: float = 0.0,
    *,
    search: int = 1,
    file: str | None = None,
    still: tuple[str, ...] = (),
    on_stage: OnStage = no_hook,
) -> Apart:
    """Prove that the assembly comes apart, and in which order.

    Parameters
    ----------
    assembly : Assembly
        Checked by the reader.
    clearance_mm : float
        Room that pairs which do not touch at rest should keep while moving.
    search : int
        How many times as far as usual ways of several moves are looked for, and groups that leave by them.
    file : str, optional
        The assembly's file, for messages.
    still : tuple of str
        Parts of which one must be the body; empty: whichever suits best.
    on_stage : callable
        Called after each pass with its name and result.

    Raises
    ------
    ChoreoError
        Exit 2: parts overlap at rest. Exit 1: interlocked (an `Interlocked`, with the proof), or a limit of the
        search was reached.

    """
    solids = {part.id: build_solid(part.slabs, part.offset) for part in assembly.parts}
    on_stage("solids", solids)

    encounters = _encounters(assembly, solids, clearance_mm)
    overlaps = find_overlaps(assembly, encounters, file)
    if overlaps:
        raise wrong_input(*overlaps)
    contacts = find_contacts(assembly, solids, reach_mm=assembly.touch_mm)
    warnings = find_loose_joints(contacts, solids, file)
    on_stage("contacts", contacts)

    body = choose_body(assembly, {name: solid.volume for name, solid in solids.items()}, still or None)
    normals = {part: contacts.normals_of(part) for part in assembly.ids}
    removal = plan_removal(assembly, encounters, normals, body, search=search)
    on_stage("removal", removal)
    return Apart(assembly, solids, contacts, encounters, removal, warnings)


def compile_film(
    assembly: Assembly,
    choreography: Choreography,
    *,
    digests: tuple[str, str] = ("", ""),
    file: str | None = None,
    only_shot: str | None = None,
    search: int = 1,
    approved: Tracks | None = None,
    warnings: tuple[Finding, ...] = (),
    on_stage: OnStage = no_hook,
) -> Film:
    """Compile.

    Parameters
    ----------
    assembly, choreography
        Checked by the reader.
    digests : (assembly, choreography)
        Of the source files, for the record in the tracks.
    file : str, optional
        The assembly's file, for messages.
    only_shot : str, optional
        Compile this shot only; its start frame stays what it is in the whole film.
    search : int
        See `take_apart`.
    approved : Tracks, optional
        What the choreography's lock names: what it keeps of them stays as it is, digit for digit.
    warnings : tuple of Finding
        The reader's, carried into the report.
    on_stage : callable
        Called after each pass with its name and result.

    Returns
    -------
    Film
        All guarantees of the contract hold, or an error was raised.

    Raises
    ------
    ChoreoError
        Exit 2 for input that is wrong, exit 1 for input without a solution; all shots are tried first.

    """
    lock = choreography.lock
    still = still_parts(lock, approved, assembly.ids)
    clearance = choreography.clearance_mm
    apart = take_apart(assembly, clearance, search=search, file=file, still=still, on_stage=on_stage)
    wanted = settle_wishes(choreography.shots, apart.removal)
    points = {part: hull_points(solid) for part, solid in apart.solids.items()}
    film = _Set(apart, points, _frame(choreography), choreography.frame_rate)
    shots: list[tuple[ShotTracks, ShotFacts]] = []
    failures: list[ChoreoError] = []
    start = 0
    for shot in wanted:
        chosen = only_shot in (None, shot.name)
        length = shot.frames
        if chosen or any(phase.fit for phase in shot.phases):  # the starts of later shots hang on its length
            try:
                kept = keep_approved(shot, lock, approved, assembly.ids)
                heard = on_stage if chosen else no_hook
                timed = _time_around(shot, film, kept, heard) if kept is not None else _time_shot(shot, film, heard)
                length = timed.shot.frames
                if chosen:
                    made, facts = _compile_shot(timed, start, film, on_stage)
                    pace = check_pace(
                        shot.name,
                        film.points,
                        timed.layout.cameras,
                        made.parts,
                        film.frame.resolution[0],
                        choreography.frame_rate,
                    )
                    shots.append((made, replace(facts, warnings=(*facts.warnings, *pace))))
            except ChoreoError as error:
                failures.append(error)
        start += length
    if failures:
        findings = tuple(finding for error in failures for finding in error.findings)
        raise ChoreoError(findings, exit_code=max(error.exit_code for error in failures))

    rate = (film.rate.numerator, film.rate.denominator)
    tracks = Tracks(*digests, rate, choreography.resolution, tuple(made for made, _ in shots))
    report = summarise(assembly, apart.removal, [facts for _, facts in shots], (*warnings, *apart.warnings))
    on_stage("report", report)
    return Film(apart, tracks, report, film.frame)


@dataclass(frozen=True, eq=False)
class _Set:
    """What all shots have in common."""

    apart: Apart
    points: Mapping[str, Floats]
    """Convex hull corners of each part, assembled, mm."""
    frame: Frame
    rate: FrameRate


@dataclass(frozen=True, eq=False)
class _TimedShot:
    """A shot with its layout and schedule; phases that fit have the length that the schedule found."""

    shot: Shot
    layout: Layout
    schedule: Schedule
    kept: Kept | None = None


def _time_shot(shot: Shot, film: _Set, on_stage: OnStage) -> _TimedShot:
    """Lay a shot out and time it, again and again where the two hang on each other.

    An orbit makes the layout hang on the length of the shot, and a phase with ``frames = "fit"`` makes that hang on
    the schedule, which hangs on the layout. They are solved in turn until they agree: then each phase is the
    shortest for this layout. Where they do not within `_FIT_ROUNDS`, the longest length met is kept and timed like
    one that was given: nothing then proves that it is the shortest. `on_stage` hears of every round.
    """
    removal, encounters, subject = film.apart.removal, film.apart.encounters, _subject(shot, film)
    met: list[tuple[int, ...]] = []
    while True:
        layout = plan_layout(subject, shot, film.frame)
        on_stage(f"layout of {shot.name}", layout)
        sight = Sight(film.points, layout.cameras, layout.rest_frames, film.frame.resolution)
        bent = round_corners(shot, removal, layout.routes, layout.shared_mm, encounters, sight)
        layout = replace(layout, routes=bent.routes, shared_mm=bent.shared_mm)
        # Timing comes last: it never touches the geometry, it only asks it which lags collide.
        schedule = plan_schedule(
            shot, removal, bent.routes, encounters, shared_mm=bent.shared_mm, stops_mm=bent.stops_mm
        )
        schedule = replace(schedule, warnings=(*bent.warnings, *schedule.warnings))
        on_stage(f"schedule of {shot.name}", schedule)
        if schedule.frames == tuple(phase.frames for phase in shot.phases):
            return _TimedShot(shot, layout, schedule)
        met.append(schedule.frames)
        last = len(met) >= _FIT_ROUNDS
        lengths = tuple(map(max, *met)) if last else schedule.frames
        fits = [phase.fit and not last for phase in shot.phases]
        phases = zip(shot.phases, lengths, fits, strict=True)
        shot = replace(shot, phases=tuple(replace(phase, frames=n, fit=fit) for phase, n, fit in phases))


def _time_around(shot: Shot, film: _Set, kept: Kept, on_stage: OnStage) -> _TimedShot:
    """Lay out and time a shot around what is approved of it; where that fails, say what the least unlocking is."""
    try:
        timed = _time_kept(shot, film, kept)
        _sampled(timed, film)  # that late parts stay in the frame is for the lock to answer for
    except ChoreoError as error:
        if error.exit_code != 1:
            raise
        least = least_unlocking(kept, film.apart.removal, lambda fewer: _can_be_timed(shot, film, fewer))
        raise no_solution(*error.findings, unlocking(shot.name, least)) from error
    on_stage(f"layout of {shot.name}", timed.layout)
    on_stage(f"schedule of {shot.name}", timed.schedule)
    return timed


def _time_kept(shot: Shot, film: _Set, kept: Kept) -> _TimedShot:
    subject = _subject(shot, film)
    layout = plan_layout(subject, shot, film.frame, kept)
    schedule = plan_schedule(
        shot, subject.removal, layout.routes, subject.encounters, shared_mm=layout.shared_mm, kept=kept.moves
    )
    return _TimedShot(shot, layout, schedule, kept)


def _can_be_timed(shot: Shot, film: _Set, kept: Kept) -> bool:
    try:
        _sampled(_time_kept(shot, film, kept), film)
    except ChoreoError:
        return False
    return True


def _subject(shot: Shot, film: _Set) -> Subject:
    removal, encounters = film.apart.removal, film.apart.encounters
    ways = plan_ways(shot, removal, encounters)
    return Subject(film.points, removal, ways.directions, ways.travels, encounters, ways.vias)


def _sampled(timed: _TimedShot, film: _Set) -> tuple[PartTrack, ...]:
    """Tracks of a timed shot, inside the frame; what is kept stays as it was approved, to the last digit."""
    shot, layout, assembly = timed.shot, timed.layout, film.apart.assembly
    origins = {part.id: np.array(part.offset) for part in assembly.parts}
    made = sample_tracks(shot, assembly.ids, origins, layout.cameras, layout.routes, timed.schedule.moves)
    kept = {} if timed.kept is None else timed.kept.tracks
    parts = tuple(kept.get(track.id, track) for track in made)
    positions = {track.id: track.position for track in parts}
    rest = frames_at_rest(layout.rest_frames, parts)
    unframed = check_framing(shot.name, film.points, layout.cameras, positions, rest, film.frame)
    if unframed:
        raise no_solution(*unframed)
    return parts


def _compile_shot(timed: _TimedShot, start: int, film: _Set, on_stage: OnStage) -> tuple[ShotTracks, ShotFacts]:
    """The passes that look at one shot, from its timing on."""
    apart, assembly, removal = film.apart, film.apart.assembly, film.apart.removal
    shot, layout, schedule = timed.shot, timed.layout, timed.schedule

    parts = _sampled(timed, film)
    uses = plan_plates(assembly, film.rate, layout.cameras, parts, film.points, {})
    missing, unfit = plate_findings(shot.name, uses, assembly)
    if missing:
        raise no_solution(*missing)
    pictures = {use.part: use.plate_frame for use in uses}
    parts = tuple(replace(track, plate_frame=pictures.get(track.id, track.plate_frame)) for track in parts)
    positions = {track.id: track.position for track in parts}
    on_stage(f"tracks of {shot.name}", parts)

    cameras = np.stack([camera.matrix for camera in layout.cameras])
    solids = [apart.solids[part] for part in assembly.ids]
    seen = visibility(solids, cameras, np.stack([positions[part] for part in assembly.ids]), assembly.touch_mm)
    masks = masking(seen, assembly.ids, removal)
    on_stage(f"masking of {shot.name}", masks)
    rest, least = frames_at_rest(layout.rest_frames, parts), film.frame.readable
    gap = layout.least_gap_px
    shown, hidden = check_readable(shot.name, apart.solids, cameras, positions, masks, rest, least, gap)
    if hidden:
        raise no_solution(*hidden)

    hero = handoff(shot, apart.solids, cameras, positions)
    made = ShotTracks(shot.name, start, shot.frames, cameras, parts, hero, masks)
    check_tracks(made, assembly.ids)
    facts = ShotFacts(
        shot, made, layout.least_gap_px, layout.cameras[0], layout.distance_mm, schedule.moves,
        schedule.bare_pairs, apart.encounters.clearance, (*schedule.warnings, *unfit), shown, layout.crossings, uses,
    )  # fmt: skip
    return made, facts


def _frame(choreography: Choreography) -> Frame:
    width, height = choreography.resolution
    left, top, right, bottom = choreography.safe_area
    margins = (left * width, top * height, right * width, bottom * height)
    return Frame(
        choreography.resolution, margins, choreography.gap_px, choreography.clearance_mm, choreography.readable
    )


def _encounters(assembly: Assembly, solids: Mapping[str, Solid], clearance_mm: float) -> Encounters:
    """Shapes of all pairs; pairs that rest nearer than the clearance slide in contact and need none."""
    order = {part: index for index, part in enumerate(assembly.ids)}
    pressed: dict[tuple[str, str], float] = {}
    for joint in assembly.joints:
        if joint.press_mm:
            one, two = sorted((joint.part, joint.into), key=order.__getitem__)
            pressed[one, two] = max(joint.press_mm, pressed.get((one, two), 0.0))
    bare = make_encounters(solids, assembly.touch_mm, pressed)
    if clearance_mm <= 0:
        return bare
    apart = {(a, b): clearance_mm for a, b in combinations(assembly.ids, 2) if not bare.rest_within(a, b, clearance_mm)}
    return bare.with_clearance(apart)
