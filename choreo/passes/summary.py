"""Say in numbers what a compile made.

In:  facts of each shot      Out: Report
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from choreo.errors import Finding
from choreo.geometry.cameras.camera import Camera
from choreo.model.assembly import Assembly
from choreo.model.choreography import Shot
from choreo.model.plan import Move, Removal
from choreo.model.plate_use import PlateUse
from choreo.model.report import Middle, MoveReport, PartReport, Report, ShotReport, StillOver
from choreo.model.tracks import PartTrack, ShotTracks

_HOME_MM = 1e-9
"""A part is assembled where it is this near to its place."""
_OFF_MIDDLE = 0.03
"""Of the frame's width: what stands farther off its middle looks placed there (our own judgement, no source)."""


@dataclass(frozen=True, eq=False)
class ShotFacts:
    """What the passes know about one shot."""

    shot: Shot
    tracks: ShotTracks
    least_gap_px: float
    camera: Camera
    """Of frame 0."""
    distance_mm: float | None
    """From the camera to what it looks at; None for an orthographic camera."""
    moves: tuple[Move, ...]
    bare_pairs: tuple[tuple[str, str], ...]
    clearance: Mapping[tuple[str, str], float]
    warnings: tuple[Finding, ...]
    visible: Mapping[str, float] = field(default_factory=dict)
    """The least fraction of each part that shows at rest; empty where they never are."""
    settled: Mapping[str, int] = field(default_factory=dict)
    """From which frame on each part is in place for good; empty where no still takes over at the end."""
    register_px: Mapping[str, float] = field(default_factory=dict)
    """How far plates are moved to meet the still."""
    crossings: int | None = None
    """Pairs of parts whose ways cross on the screen; None where nothing rests apart."""
    plates: tuple[PlateUse, ...] = ()
    still: Mapping[str, StillOver] = field(default_factory=dict)
    """When the still lies over each part; empty without a hand-off."""
    whole_still: StillOver | None = None
    """When it lies over the whole."""


def summarise(
    assembly: Assembly,
    removal: Removal,
    shots: Sequence[ShotFacts],
    resolution: tuple[int, int],
    warnings: Sequence[Finding] = (),
) -> Report:
    """Return the report of a whole compile; warnings in the order in which they were found."""
    middle = _middle_of(assembly)
    steps = [step for part in removal.order if (step := removal.step_of(part))]
    turned = [_turned(step.part, step.joint_axis, step.direction) for step in steps if step.joint_axis]
    said = [*warnings, *turned]
    for facts in shots:
        said.extend(facts.warnings)
        said.extend(_close(facts.shot.name, pair) for pair in facts.bare_pairs)
    return Report(
        assembly.name,
        removal.body,
        removal.order,
        tuple(_shot(removal, facts, _stands(facts, middle, resolution)) for facts in shots),
        tuple(said),
        removal.steps,
        tuple((part.id, part.stand_in) for part in assembly.parts if part.stand_in is not None),
        assembly.without_plate,
    )


def _middle_of(assembly: Assembly) -> np.ndarray:
    """The middle of the assembled product's bounds, mm."""
    ends = []
    for part in assembly.parts:
        for slab in part.slabs:
            across = np.asarray(slab.outline, dtype=np.float64)
            low, high = (*across.min(axis=0), min(slab.z)), (*across.max(axis=0), max(slab.z))
            ends += [np.add(low, part.offset), np.add(high, part.offset)]
    return np.asarray((np.min(ends, axis=0) + np.max(ends, axis=0)) / 2)


def _stands(facts: ShotFacts, middle: np.ndarray, resolution: tuple[int, int]) -> Middle | None:
    tracks = facts.tracks
    away = np.max([np.abs(track.position).max(axis=1) for track in tracks.parts], axis=0)
    frame = next((frame for frame in (tracks.frames - 1, 0) if away[frame] <= _HOME_MM), None)
    if frame is None:
        return None
    u, v, w = tracks.cameras[frame] @ np.append(middle, 1.0)
    right, down = float(u / w - resolution[0] / 2), float(v / w - resolution[1] / 2)
    x, y, z = (float(c) for c in middle)
    wide = float(np.hypot(right, down)) > _OFF_MIDDLE * resolution[0]
    return Middle((x, y, z), right, down, frame, facts.shot.view.target is not None, wide)


def _shot(removal: Removal, facts: ShotFacts, middle: Middle | None) -> ShotReport:
    tracks, camera = facts.tracks, facts.camera
    parts = tuple(_part(removal, facts, track) for track in tracks.parts)
    held = {f for h in tracks.masking.holdouts for f in range(h.first, h.last + 1)}
    fastest = max(parts, key=lambda part: part.fastest_px)
    at = np.zeros(3)
    if camera.position is not None and facts.distance_mm is not None:
        at = camera.position + facts.distance_mm * camera.forward
    scale = float(camera.scale_at(at))
    return ShotReport(
        tracks.name,
        tracks.frames,
        float(facts.least_gap_px) if np.isfinite(facts.least_gap_px) else None,
        scale,
        facts.distance_mm,
        len(tracks.masking.orders) - 1,
        len(held),
        fastest.id if fastest.fastest_px > 0 else None,
        parts,
        facts.crossings,
        facts.plates,
        facts.whole_still,
        middle,
    )


def _part(removal: Removal, facts: ShotFacts, track: PartTrack) -> PartReport:
    legs = np.linalg.norm(np.diff(track.route, axis=0), axis=1)
    speed = np.linalg.norm(np.diff(track.screen, axis=0), axis=1)
    still = len(track.route) < 2
    worst = int(np.argmax(speed)) if len(speed) and not still else None
    step = removal.step_of(track.id)
    bare = any(track.id in pair for pair in facts.bare_pairs)
    kept = [room for pair, room in facts.clearance.items() if track.id in pair]
    moves = tuple(
        MoveReport(m.phase, m.kind, m.start, m.start + m.frames, m.wish, m.reason)
        for m in facts.moves
        if m.part == track.id
    )
    return PartReport(
        track.id,
        removal.rank(track.id) + 1 if step else None,
        None if still or not legs[0] else _unit(track.route[1] - track.route[0]),
        step.joint_axis if step else None,
        float(legs.sum()),
        tuple(float(leg) for leg in legs),
        float(speed[worst]) if worst is not None else 0.0,
        worst + 1 if worst is not None else None,
        min(kept) if kept and not bare and not still else None,
        moves,
        facts.visible.get(track.id),
        facts.settled.get(track.id),
        facts.register_px.get(track.id),
        facts.still.get(track.id),
    )


def _unit(vector: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (float(c) for c in vector / np.linalg.norm(vector))
    return x, y, z


def _turned(part: str, axis: tuple[float, float, float], way: tuple[float, float, float]) -> Finding:
    def say(vector: tuple[float, float, float]) -> str:
        return "(" + ", ".join(f"{c:g}" for c in vector) + ")"

    return Finding(
        code="axis-refused",
        severity="warning",
        what=f'Part "{part}" leaves along {say(way)}, not along the axis {say(axis)} of its joint.',
        why="Something that is still there stands in the way of that axis.",
        remedy="Check the joint's axis, or whether a part that holds it should leave first.",
    )


def _close(shot: str, pair: tuple[str, str]) -> Finding:
    return Finding(
        code="clearance-not-kept",
        severity="warning",
        what=f'In shot "{shot}" parts "{pair[0]}" and "{pair[1]}" pass each other closer than clearance_mm.',
        why="They do not collide, but their routes leave no more room.",
        remedy="Lower clearance_mm if that is how the product is made, or pin one of them to another way.",
    )
