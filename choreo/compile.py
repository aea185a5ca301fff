"""The compiler: assembly and choreography in, tracks and report out. A reader starts here.

Every pass is called by name, in order. After each, `on_stage(name, artefact)` is called; timing and
dumping hang on that single hook and no pass knows of them. The checks that are cheap run always.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.geometry.cameras.silhouette import hull_points
from choreo.geometry.collision.encounter import Encounters, make_encounters
from choreo.geometry.layout.approved import Kept
from choreo.geometry.layout.subject import Frame
from choreo.geometry.solids.solid import Solid, build_solid
from choreo.labelled_shot import labelled_shot, warned
from choreo.model.assembly import Assembly
from choreo.model.choreography import Choreography, Shot
from choreo.model.plan import Removal
from choreo.model.registration import Photographs, Registration
from choreo.model.report import Report
from choreo.model.tracks import FilmSection, ShotTracks, Tracks
from choreo.motion.sections import ShotSpan, lay_out_sections, sections_within
from choreo.passes.contacts import ContactGraph, find_contacts, find_loose_joints, find_overlaps
from choreo.passes.keep import keep_approved, still_parts
from choreo.passes.registration import register
from choreo.passes.removal import choose_body, plan_removal
from choreo.passes.summary import ShotFacts, summarise
from choreo.passes.wishes import settle_wishes
from choreo.recall import Recall, anew, content
from choreo.timed_shot import Set, TimedShot, time_around
from choreo.tracked_shot import Paths, TrackedShot, masked_shot, tracked_shot

if TYPE_CHECKING:
    OnStage = Callable[[str, Any], None]


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
    photographs: Photographs | None = None,
    warnings: tuple[Finding, ...] = (),
    on_stage: OnStage = no_hook,
    recall: Recall = anew,
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
    photographs : Photographs, optional
        Plates and hero still, to be laid on each other for shots that hand over to the still.
    warnings : tuple of Finding
        The reader's, carried into the report.
    on_stage : callable
        Called after each pass with its name and result; not after those whose answer was recalled.
    recall : Recall
        Where answers to the same questions are kept from one compile to the next, if they are.

    Returns
    -------
    Film
        All guarantees of the contract hold, or an error was raised.

    Raises
    ------
    ChoreoError
        Exit 2 for input that is wrong, exit 1 for input without a solution; all shots are tried first.

    """
    still = still_parts(choreography.lock, approved, assembly.ids)
    clearance = choreography.clearance_mm
    shapes = content(assembly)
    apart = recall(
        "apart",
        (shapes, clearance, search, file, still),
        lambda: take_apart(assembly, clearance, search=search, file=file, still=still, on_stage=on_stage),
    )
    film = _set(choreography, apart, shapes, photographs, digests[0], recall)
    wanted = settle_wishes(choreography.shots, apart.removal)
    tracked, sections, failures = _tracked(choreography, wanted, film, approved, only_shot, on_stage)
    # Masks take longest, so that every path is known before the first of them.
    shots: list[tuple[ShotTracks, ShotFacts]] = []
    for name, bare in tracked.items():
        try:
            shots.append(masked_shot(bare, film, on_stage))
        except ChoreoError as error:
            failures[name] = error
    if failures:
        faults = [failures[shot.name] for shot in wanted if shot.name in failures]
        findings = tuple(finding for error in faults for finding in error.findings)
        raise ChoreoError(findings, exit_code=max(error.exit_code for error in faults))

    rate = (film.rate.numerator, film.rate.denominator)
    tracks = Tracks(*digests, rate, choreography.resolution, tuple(made for made, _ in shots), sections)
    known = [facts for _, facts in shots]
    report = summarise(assembly, apart.removal, known, choreography.resolution, (*warnings, *apart.warnings))
    on_stage("report", report)
    return Film(apart, tracks, report, film.frame)


def _tracked(
    choreography: Choreography,
    wanted: Sequence[Shot],
    film: Set,
    approved: Tracks | None,
    only_shot: str | None,
    on_stage: OnStage,
) -> tuple[dict[str, TrackedShot], tuple[FilmSection, ...], dict[str, ChoreoError]]:
    """The paths of all shots, the film's sections, and what could not be timed."""  # fmt: skip
    tracked: dict[str, TrackedShot] = {}
    failures: dict[str, ChoreoError] = {}
    spans: list[ShotSpan] = []
    start = 0
    for shot in wanted:
        chosen = only_shot in (None, shot.name)
        length = shot.frames
        if chosen or any(phase.fit for phase in shot.phases):  # the starts of later shots hang on its length
            try:
                kept = keep_approved(shot, choreography.lock, approved, film.assembly.ids)
                timed = _timed(shot, film, kept, on_stage if chosen else no_hook)
                length = timed.shot.frames
                if chosen:
                    tracked[shot.name] = tracked_shot(timed, start, film, on_stage)
            except ChoreoError as error:
                failures[shot.name] = error
        spans.append(ShotSpan(shot.name, start, length))
        start += length
    sections = () if failures else _sections(choreography, spans, only_shot)
    if not failures:
        on_stage("paths", Paths(tuple(one.bare for one in tracked.values()), sections))
    return tracked, sections, failures


def _set(
    choreography: Choreography, apart: Apart, shapes: bytes, photographs: Photographs | None, pictures: str,
    recall: Recall,
) -> Set:  # fmt: skip
    """What all shots have in common; `shapes` is the assembly's digest, `pictures` that of what a still is laid on."""
    assembly, clearance = apart.assembly, choreography.clearance_mm
    points = {part: hull_points(solid) for part, solid in apart.solids.items()}
    pictures = f"{pictures} {photographs.known if photographs else None}"
    registration = _registration(choreography, apart, photographs, (shapes, pictures), recall)
    known = content(shapes, clearance, apart.removal, None if registration is None else pictures)
    return Set(
        assembly, apart.solids, apart.encounters, apart.removal, points, _frame(choreography), choreography.frame_rate,
        registration, known, recall,
    )  # fmt: skip


def _timed(shot: Shot, film: Set, kept: Kept | None, on_stage: OnStage) -> TimedShot:
    """Lay a shot out and time it; around what is kept, where something is."""

    def make() -> TimedShot:
        if kept is None:
            return labelled_shot(shot, film, on_stage)
        return warned(time_around(shot, film, kept, on_stage), film)

    return film.recall("timed", (film.content, film.frame, shot, kept), make)


def _sections(choreography: Choreography, spans: Sequence[ShotSpan], only_shot: str | None) -> tuple[FilmSection, ...]:
    """The sections of the film, or of the shot that was chosen."""
    sections, faults = lay_out_sections(choreography.sections, spans, choreography.frame_rate)
    if faults:
        wrong = [(f"section[{fault.index}].{fault.key}", fault) for fault in faults]
        raise wrong_input(*(Finding("section-range", f.what, place=place, remedy=f.remedy) for place, f in wrong))
    chosen = [span for span in spans if span.name == only_shot]
    return sections_within(sections, chosen[0]) if chosen else sections


def _registration(
    choreography: Choreography, apart: Apart, photographs: Photographs | None, known: tuple[bytes, str], recall: Recall
) -> Registration | None:
    """Lay the plates on the still, by the strictest hand-off."""
    asked = [shot.handoff.handoff_px for shot in choreography.shots if shot.handoff is not None]
    if photographs is None or not asked:
        return None
    plates, hero = photographs.plates, photographs.hero
    return recall(
        "registration",
        (*known, min(asked)),
        lambda: register(apart.assembly, plates, hero, min(asked), apart.solids),
    )


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
