"""A timed shot on its way to tracks: sampled first, which is quick; masked, measured and checked then, which is not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from choreo.checks.check_handoff import check_handoff
from choreo.checks.check_tracks import check_tracks
from choreo.errors import Finding, no_solution
from choreo.geometry.solids.turned import solids_on, turns_of
from choreo.model.assembly import Assembly
from choreo.model.plate_use import PlateUse
from choreo.model.tracks import FilmSection, Masking, PartTrack, ShotTracks
from choreo.passes.absent_photographs import absent_findings
from choreo.passes.framing import frames_at_rest
from choreo.passes.handoff import handoff, settled_frames
from choreo.passes.masking import masking
from choreo.passes.meeting import meet_still
from choreo.passes.pace import check_pace
from choreo.passes.part_handoff import hand_over_parts
from choreo.passes.plate_use import plan_plates, plate_findings
from choreo.passes.reading import check_readable
from choreo.passes.summary import ShotFacts
from choreo.passes.visibility import visibility
from choreo.timed_shot import OnStage, Set, TimedShot, sampled


@dataclass(frozen=True, eq=False)
class TrackedShot:
    """A timed shot with its paths; the order of its layers, its masks and its hand-off are to come."""

    timed: TimedShot
    bare: ShotTracks
    uses: tuple[PlateUse, ...]
    warnings: tuple[Finding, ...]
    """That plates do not suit."""
    content: tuple[object, ...]
    """All that it hangs on, for `Recall`."""


@dataclass(frozen=True, eq=False)
class Paths:
    """All paths of a film, and its sections; nothing is masked yet."""

    shots: tuple[ShotTracks, ...]
    sections: tuple[FilmSection, ...]


def tracked_shot(timed: TimedShot, start: int, film: Set, on_stage: OnStage) -> TrackedShot:
    """Sample a timed shot that begins on frame `start` of the film.

    Raises
    ------
    ChoreoError
        Exit 1: parts leave the frame, or an angle is needed that nobody photographed, or whose photograph is lost.

    """
    content = (film.content, film.frame, film.rate, timed.shot, timed.kept, start)
    return film.recall("tracks", content, lambda: _tracked(timed, start, film, on_stage, content))


def _tracked(timed: TimedShot, start: int, film: Set, on_stage: OnStage, content: tuple[object, ...]) -> TrackedShot:
    shot, layout, assembly = timed.shot, timed.layout, film.assembly
    parts = sampled(timed, film)
    turned_by = {track.id: track.turn for track in parts if track.turn is not None}
    uses = plan_plates(assembly, film.rate, layout.cameras, parts, film.points, turned_by)
    missing, unfit = plate_findings(shot.name, uses, assembly)
    pictures = {use.part: use.plate_frame for use in uses}
    parts = tuple(replace(track, plate_frame=pictures.get(track.id, track.plate_frame)) for track in parts)
    parts = _as_approved(parts, timed)
    missing += absent_findings(shot.name, parts, uses, assembly)
    if missing:
        raise no_solution(*missing)
    cameras = np.stack([camera.matrix for camera in layout.cameras])
    bare = ShotTracks(shot.name, start, shot.frames, cameras, parts, np.zeros(shot.frames), Masking((), ()))
    on_stage(f"tracks of {shot.name}", bare)
    return TrackedShot(timed, bare, uses, tuple(unfit), content)


def masked_shot(tracked: TrackedShot, film: Set, on_stage: OnStage) -> tuple[ShotTracks, ShotFacts]:
    """Return a shot's tracks, and its facts with a warning for each part that moves faster than reads well.

    Raises
    ------
    ChoreoError
        Exit 1: parts that cannot be read at rest.

    """

    def make() -> tuple[ShotTracks, ShotFacts]:
        made, facts = _masked(tracked, film, on_stage)
        width = film.frame.resolution[0]
        pace = check_pace(made.name, film.points, tracked.timed.layout.cameras, made.parts, width, film.rate)
        return made, replace(facts, warnings=(*facts.warnings, *pace))

    return film.recall("shot", tracked.content, make)


def _masked(tracked: TrackedShot, film: Set, on_stage: OnStage) -> tuple[ShotTracks, ShotFacts]:
    """The passes that look at one shot, from its paths on."""
    assembly, removal, timed, bare = film.assembly, film.removal, tracked.timed, tracked.bare
    shot, layout, schedule, uses = timed.shot, timed.layout, timed.schedule, tracked.uses
    parts, cameras = bare.parts, bare.cameras
    positions = {track.id: track.position for track in parts}
    solids = [film.solids[part] for part in assembly.ids]
    turns = turns_of(parts, {part.id: part.offset for part in assembly.parts})
    spun = {assembly.ids.index(part): turn for part, turn in turns.items()}
    places = np.stack([positions[part] for part in assembly.ids])
    masks = film.recall(
        "masking",
        (film.content, cameras, places, spun),
        lambda: masking(
            visibility(solids, cameras, places, assembly.touch_mm, spun, _pressed(assembly)), assembly.ids, removal
        ),
    )
    on_stage(f"masking of {shot.name}", masks)
    rest, least = frames_at_rest(layout.rest_frames, parts), film.frame.readable
    gap = layout.least_gap_px
    stood = solids_on(film.solids, turns, rest[0]) if rest else film.solids
    shown, hidden = check_readable(shot.name, stood, cameras, positions, masks, rest, least, gap)
    if hidden:
        raise no_solution(*hidden)

    hero = handoff(shot, film.solids, cameras, positions, turns)
    met = meet_still(shot, parts, hero, layout.cameras, assembly, uses, film.registration, film.frame.clearance_mm)
    parts = _as_approved(met.parts, timed)
    offsets = {part.id: part.offset for part in assembly.parts}
    taken = hand_over_parts(shot, film.solids, offsets, cameras, parts, hero, masks, turns, timed.kept)
    made = replace(bare, parts=parts, hero_opacity=hero, masking=masks, hero_parts=taken.opacity)
    check_tracks(made, assembly.ids)
    check_handoff(made, assembly, shot.handoff)
    facts = ShotFacts(
        shot, made, layout.least_gap_px, layout.cameras[0], layout.distance_mm, schedule.moves,
        schedule.bare_pairs, film.encounters.clearance, (*schedule.warnings, *tracked.warnings, *met.warnings), shown,
        settled_frames(shot, film.solids, cameras, positions, turns), met.register_px, layout.crossings, uses,
        taken.over, taken.whole,
    )  # fmt: skip
    return made, facts


def _as_approved(parts: Sequence[PartTrack], timed: TimedShot) -> tuple[PartTrack, ...]:
    """Put back what is locked: photographs that came or changed since do not touch it."""
    kept = {} if timed.kept is None else timed.kept.tracks
    return tuple(kept.get(track.id, track) for track in parts)


def _pressed(assembly: Assembly) -> dict[tuple[int, int], float]:
    """Return the interference of the pairs of parts that are pressed together, mm."""
    out: dict[tuple[int, int], float] = {}
    for joint in assembly.joints:
        if joint.press_mm:
            one, two = sorted(map(assembly.ids.index, (joint.part, joint.into)))
            out[one, two] = max(joint.press_mm, out.get((one, two), 0.0))
    return out
