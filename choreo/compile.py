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
from choreo.geometry.encounter import Encounters, make_encounters
from choreo.geometry.silhouette import hull_points
from choreo.geometry.solid import Solid, build_solid
from choreo.geometry.subject import Frame, Subject
from choreo.model.assembly import Assembly
from choreo.model.choreography import Choreography, Shot
from choreo.model.plan import Floats, Removal
from choreo.model.report import Report
from choreo.model.tracks import ShotTracks, Tracks
from choreo.passes.contacts import ContactGraph, find_contacts, find_loose_joints, find_overlaps
from choreo.passes.framing import check_framing
from choreo.passes.handoff import handoff
from choreo.passes.layout import Layout, plan_layout
from choreo.passes.masking import masking
from choreo.passes.reading import check_readable
from choreo.passes.removal import choose_body, plan_removal
from choreo.passes.sampling import sample_tracks
from choreo.passes.schedule import Schedule, plan_schedule
from choreo.passes.summary import ShotFacts, summarise
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

    body = choose_body(assembly, {name: solid.volume for name, solid in solids.items()})
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
    apart = take_apart(assembly, choreography.clearance_mm, search=search, file=file, on_stage=on_stage)
    frame = _frame(choreography)
    points = {part: hull_points(solid) for part, solid in apart.solids.items()}
    wanted = settle_wishes(choreography.shots, apart.removal)
    shots: list[tuple[ShotTracks, ShotFacts]] = []
    failures: list[ChoreoError] = []
    start = 0
    for shot in wanted:
        chosen = only_shot in (None, shot.name)
        length = shot.frames
        if chosen or any(phase.fit for phase in shot.phases):  # the starts of later shots hang on its length
            try:
                timed = _time_shot(shot, apart, points, frame, on_stage if chosen else no_hook)
                length = timed.shot.frames
                if chosen:
                    shots.append(_compile_shot(timed, start, apart, points, frame, on_stage))
            except ChoreoError as error:
                failures.append(error)
        start += length
    if failures:
        findings = tuple(finding for error in failures for finding in error.findings)
        raise ChoreoError(findings, exit_code=max(error.exit_code for error in failures))

    rate = choreography.frame_rate
    tracks = Tracks(
        *digests, (rate.numerator, rate.denominator), choreography.resolution, tuple(made for made, _ in shots)
    )
    report = summarise(assembly, apart.removal, [facts for _, facts in shots], (*warnings, *apart.warnings))
    on_stage("report", report)
    return Film(apart, tracks, report, frame)


@dataclass(frozen=True, eq=False)
class _TimedShot:
    """A shot with its layout and schedule; phases that fit have the length that the schedule found."""

    shot: Shot
    layout: Layout
    schedule: Schedule


def _time_shot(shot: Shot, apart: Apart, points: Mapping[str, Floats], frame: Frame, on_stage: OnStage) -> _TimedShot:
    """Lay a shot out and time it, again and again where the two hang on each other.

    An orbit makes the layout hang on the length of the shot, and a phase with ``frames = "fit"`` makes that hang on
    the schedule, which hangs on the layout. They are solved in turn until they agree: then each phase is the
    shortest for this layout. Where they do not within `_FIT_ROUNDS`, the longest length met is kept and timed like
    one that was given: nothing then proves that it is the shortest. `on_stage` hears of every round.
    """
    removal, encounters = apart.removal, apart.encounters
    ways = plan_ways(shot, removal, encounters)
    subject = Subject(points, removal, ways.directions, ways.travels, encounters, ways.vias)
    met: list[tuple[int, ...]] = []
    while True:
        layout = plan_layout(subject, shot, frame)
        on_stage(f"layout of {shot.name}", layout)
        # Timing comes last: it never touches the geometry, it only asks it which lags collide.
        schedule = plan_schedule(shot, removal, layout.routes, encounters, shared_mm=layout.shared_mm)
        on_stage(f"schedule of {shot.name}", schedule)
        if schedule.frames == tuple(phase.frames for phase in shot.phases):
            return _TimedShot(shot, layout, schedule)
        met.append(schedule.frames)
        last = len(met) >= _FIT_ROUNDS
        lengths = tuple(map(max, *met)) if last else schedule.frames
        fits = [phase.fit and not last for phase in shot.phases]
        phases = zip(shot.phases, lengths, fits, strict=True)
        shot = replace(shot, phases=tuple(replace(phase, frames=n, fit=fit) for phase, n, fit in phases))


def _compile_shot(
    timed: _TimedShot, start: int, apart: Apart, points: Mapping[str, Floats], frame: Frame, on_stage: OnStage
) -> tuple[ShotTracks, ShotFacts]:
    """The passes that look at one shot, from its timing on."""
    assembly, removal = apart.assembly, apart.removal
    shot, layout, schedule = timed.shot, timed.layout, timed.schedule

    origins = {part.id: np.array(part.offset) for part in assembly.parts}
    parts = sample_tracks(shot, assembly.ids, origins, layout.cameras, layout.routes, schedule.moves)
    positions = {track.id: track.position for track in parts}
    # An easing may jump on its first frame: then that frame shows no part at rest any more.
    rest = [f for f in layout.rest_frames if all(np.allclose(t.position[f], t.route[-1], atol=1e-9) for t in parts)]
    unframed = check_framing(shot.name, points, layout.cameras, positions, rest, frame)
    if unframed:
        raise no_solution(*unframed)
    on_stage(f"tracks of {shot.name}", parts)

    cameras = np.stack([camera.matrix for camera in layout.cameras])
    solids = [apart.solids[part] for part in assembly.ids]
    seen = visibility(solids, cameras, np.stack([positions[part] for part in assembly.ids]), assembly.touch_mm)
    masks = masking(seen, assembly.ids, removal)
    on_stage(f"masking of {shot.name}", masks)
    gap = layout.least_gap_px
    shown, hidden = check_readable(shot.name, apart.solids, cameras, positions, masks, rest, frame.readable, gap)
    if hidden:
        raise no_solution(*hidden)

    hero = handoff(shot, apart.solids, cameras, positions)
    made = ShotTracks(shot.name, start, shot.frames, cameras, parts, hero, masks)
    check_tracks(made, assembly.ids)
    return made, _facts(shot, made, layout, schedule, apart, shown)


def _facts(
    shot: Shot, made: ShotTracks, layout: Layout, schedule: Schedule, apart: Apart, shown: Mapping[str, float]
) -> ShotFacts:
    return ShotFacts(
        shot, made, layout.least_gap_px, layout.cameras[0], layout.distance_mm, schedule.moves,
        schedule.bare_pairs, apart.encounters.clearance, schedule.warnings, shown, layout.crossings,
    )  # fmt: skip


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
